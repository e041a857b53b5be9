"""The one door for every format.

Public: read.
"""

from __future__ import annotations

from pathlib import Path
from typing import Final

from gracewright.errors import BadInput
from gracewright.score.mei import read_mei
from gracewright.score.model import Piece
from gracewright.score.musicxml import read_musicxml
from gracewright.score.safe import MAX_FILE

MUSICXML: Final = frozenset({".musicxml", ".xml", ".mxl"})


def read(path: Path | str, data: bytes | None = None) -> Piece:
    """Read a score. With ``data`` the path only names it. Raises BadInput or UnsafeInput with one sentence."""
    path = Path(path)
    if data is None:
        try:
            with path.open("rb") as stream:
                data = stream.read(2 * MAX_FILE + 1)
        except OSError as fault:
            raise BadInput(f"the file cannot be opened ({fault.strerror})", file=path.name) from None
    if path.suffix.lower() in MUSICXML:
        return read_musicxml(data, path.name)
    if path.suffix.lower() == ".mei":
        return read_mei(data, path.name)
    raise BadInput(f"files ending in {path.suffix or 'nothing'} are not read yet", file=path.name,
                   remedy="export it as MusicXML")  # fmt: skip
