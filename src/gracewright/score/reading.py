"""The one door for every format.

Conventions: the ending of the name says the format; where it does not, the first bytes do.

Public: read, is_musicxml, scores_in, ENDINGS.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

from gracewright.errors import BadInput
from gracewright.score.doors import read_abc, read_humdrum
from gracewright.score.mei import read_mei
from gracewright.score.midi import read_midi
from gracewright.score.model import Piece
from gracewright.score.musicxml import read_musicxml
from gracewright.score.safe import MAX_XML, text_of

Door = Callable[[bytes, str], Piece]
ENDINGS: Final[dict[str, Door]] = {
    ".musicxml": read_musicxml, ".xml": read_musicxml, ".mxl": read_musicxml, ".mei": read_mei, ".krn": read_humdrum,
    ".kern": read_humdrum, ".hmd": read_humdrum, ".abc": read_abc, ".mid": read_midi, ".midi": read_midi,
    ".smf": read_midi,
}  # fmt: skip
"""File endings that are read, in lower case."""


def read(path: Path | str, data: bytes | None = None) -> Piece:
    """Read a score. With ``data`` the path only names it. Raises BadInput or UnsafeInput with one sentence."""
    path = Path(path)
    if data is None:
        try:
            with path.open("rb") as stream:
                data = stream.read(MAX_XML + 1)
        except OSError as fault:
            raise BadInput(f"the file cannot be opened ({fault.strerror})", file=path.name) from None
    if not data.strip(b"\0 \r\n\t"):
        raise BadInput("the file is empty", file=path.name, remedy="export the score again")
    door = ENDINGS.get(path.suffix.lower())
    seen = _seen(data, path.name)
    if door is None and seen is None:
        listed = ", ".join(sorted(ENDINGS))
        raise BadInput(f"files ending in {path.suffix or 'nothing'} are not read", file=path.name,
                       remedy=f"give one ending in {listed}")  # fmt: skip
    try:
        return (seen or door or read_musicxml)(data, path.name)
    except (ValueError, ArithmeticError, LookupError, TypeError, AttributeError, RecursionError) as fault:
        words = " ".join(str(fault).split())[:80]
        raise BadInput(f"the score cannot be made sense of ({words or type(fault).__name__})", file=path.name,
                       remedy="export it again from the program it came from") from None  # fmt: skip


def _seen(data: bytes, name: str) -> Door | None:
    """The door that the first bytes ask for, where they leave no doubt."""
    if data[:4] == b"MThd":
        return read_midi
    if data[:2] == b"PK":
        return read_musicxml
    start = text_of(data[:4000], name).lstrip("\ufeff \r\n\t")
    if start.startswith("<"):
        return read_mei if "<mei" in start or "music-encoding.org/ns/mei" in start else read_musicxml
    if "**kern" in start or start.startswith(("!!!", "**")):
        return read_humdrum
    return None


def is_musicxml(data: bytes) -> bool:
    """Whether the first bytes are those of MusicXML, packed or not.

    >>> is_musicxml(b'<?xml version="1.0"?><score-partwise/>'), is_musicxml(b"X:1"), is_musicxml(b"<mei/>")
    (True, False, False)
    """
    return _seen(data, "") is read_musicxml


def scores_in(folder: Path | str) -> tuple[Path, ...]:
    """The files in a folder and below that end like scores, sorted; hidden ones left out. Raises BadInput."""
    folder = Path(folder)
    if not folder.is_dir():
        raise BadInput("this is not a folder", file=folder.name)
    found = (
        path for path in folder.rglob("*")
        if path.suffix.lower() in ENDINGS and path.is_file()
        and not any(name.startswith(".") for name in path.relative_to(folder).parts)
    )  # fmt: skip
    return tuple(sorted(found))
