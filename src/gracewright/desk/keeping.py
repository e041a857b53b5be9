"""The state on disk: what was decided is never lost, whatever happens to the program.

Layout of the state folder: ``desk.json`` (last piece, port, address key) and ``pieces/DIGEST/`` with the score as it
was brought (``score`` and its name in ``work.json``) and every moment. Files are written beside and renamed into
place. The folder is the user's own (mode 700), by default under the system's place for state; the environment variable
``GRACEWRIGHT_STATE`` or ``--state`` moves it.

Public: Keeping, Kept, state_folder.
"""

from __future__ import annotations

import hashlib
import json
import os
import secrets
import sys
import tempfile
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Any, Final, Literal, cast

from gracewright.desk.decisions import Decision, Moment
from gracewright.desk.dials import wishes_from_json, wishes_json
from gracewright.errors import BadInput
from gracewright.graces.model import Grace
from gracewright.pitch import Pitch

MOST_MOMENTS: Final = 500
"""So many steps back are kept on disk."""


@dataclass(frozen=True)
class Kept:
    """A piece's work as it lies on disk. ``at`` indexes the current moment; ``beside`` is the file that the score came
    from, where it came from one, and ``wrote`` the digest of the plan last written beside it."""

    digest: str
    name: str
    data: bytes
    moments: tuple[Moment, ...]
    at: int
    revision: int
    beside: str = ""
    wrote: str = ""


def state_folder() -> Path:
    """Where this user's state lives."""
    if named := os.environ.get("GRACEWRIGHT_STATE"):
        return Path(named)
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Application Support" / "gracewright"
    if os.name == "nt":
        return Path(os.environ.get("LOCALAPPDATA", Path.home())) / "gracewright"
    return Path(os.environ.get("XDG_STATE_HOME") or Path.home() / ".local" / "state") / "gracewright"


class Keeping:
    """Reads and writes one state folder."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        try:
            (folder / "pieces").mkdir(parents=True, exist_ok=True, mode=0o700)
            folder.chmod(0o700)
        except OSError as fault:
            raise BadInput(f"the state folder cannot be made ({fault.strerror})", file=str(folder),
                           remedy="name another with --state") from None  # fmt: skip

    def address(self) -> tuple[int, str]:
        """The port last used (0 for any) and the key in the address, made on first use."""
        settings = self.settings()
        key = settings.get("key")
        if not isinstance(key, str) or len(key) < 16:
            key = secrets.token_urlsafe(16)
            self.remember(key=key)
        port = settings.get("port", 0)
        return port if isinstance(port, int) and 0 < port < 65536 else 0, key

    def settings(self) -> dict[str, Any]:
        return read_json(self.folder / "desk.json")

    def remember(self, **settings: object) -> None:
        write_whole(self.folder / "desk.json", as_bytes({**self.settings(), **settings}))

    def bring(self, name: str, data: bytes) -> str:
        """Keep a score; the answer names it. Work already done on the very same score is found again."""
        digest = hashlib.sha256(name.encode() + b"\0" + data).hexdigest()[:24]
        folder = self.folder / "pieces" / digest
        folder.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not (folder / "score").exists():
            write_whole(folder / "score", data)
        return digest

    def score(self, digest: str) -> bytes:
        """The score as it was brought. Raises BadInput where it is gone."""
        try:
            return (self.folder / "pieces" / digest / "score").read_bytes()
        except OSError as fault:
            raise BadInput(f"the kept score cannot be read ({fault.strerror})", remedy="bring the file again") from None

    def save(self, digest: str, name: str, title: str, moments: tuple[Moment, ...], at: int, revision: int,
             beside: str = "", wrote: str = "") -> None:  # fmt: skip
        dropped = max(0, len(moments) - MOST_MOMENTS)
        work = {
            "form": 1, "name": name, "title": title, "at": at - dropped, "revision": revision,
            "beside": beside, "wrote": wrote,
            "moments": [moment_json(moment) for moment in moments[dropped:]],
        }  # fmt: skip
        write_whole(self.folder / "pieces" / digest / "work.json", as_bytes(work))

    def kept(self, digest: str) -> Kept | None:
        """What lies there; None where nothing usable does."""
        if not digest.isalnum():
            return None
        folder = self.folder / "pieces" / digest
        work = read_json(folder / "work.json")
        try:
            data = (folder / "score").read_bytes()
            moments = tuple(moment_from_json(moment) for moment in work["moments"])
            at, revision, name = int(work["at"]), int(work["revision"]), str(work["name"])
        except (OSError, KeyError, TypeError, ValueError, AttributeError):
            return None
        if not 0 <= at < len(moments):
            return None
        return Kept(digest, name, data, moments, at, revision, str(work.get("beside", "")), str(work.get("wrote", "")))

    def recent(self) -> list[dict[str, str]]:
        """Pieces worked on, latest first: digest, name, title."""
        found = []
        for path in (self.folder / "pieces").glob("*/work.json"):
            work = read_json(path)
            if work:
                when = path.stat().st_mtime
                found.append((when, path.parent.name, str(work.get("name", "")), str(work.get("title", ""))))
        found.sort(reverse=True)
        return [{"piece": digest, "name": name, "title": title} for _, digest, name, title in found]


def read_json(path: Path) -> dict[str, Any]:
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return found if isinstance(found, dict) else {}


def as_bytes(value: object) -> bytes:
    return json.dumps(value, ensure_ascii=False, separators=(",", ":")).encode()


def write_whole(path: Path, data: bytes) -> None:
    """Write beside and rename into place, so that a reader sees the old file or the new one and never half of it."""
    handle, name = tempfile.mkstemp(dir=path.parent, prefix=".writing-")
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise


def moment_json(moment: Moment) -> dict[str, Any]:
    return {
        "wishes": wishes_json(moment.wishes), "said": moment.said, "gesture": moment.gesture,
        "decisions": [
            {"note": d.note, "time": d.time_through, "lock": d.lock, "source": d.source, "reasons": list(d.reasons),
             "grace": None if d.grace is None else grace_json(d.grace)}
            for d in moment.decisions
        ],
    }  # fmt: skip


def moment_from_json(data: Mapping[str, Any]) -> Moment:
    decisions = tuple(
        Decision(
            str(d["note"]), int(d["time"]), cast(Literal["keep", "never"], d["lock"]),
            None if d["grace"] is None else grace_from_json(d["grace"]), str(d["source"]), tuple(d["reasons"]),
        )
        for d in data["decisions"]
    )  # fmt: skip
    return Moment(wishes_from_json(data["wishes"]), decisions, str(data.get("said", "")), str(data.get("gesture", "")))


PLAIN_FIELDS: Final = ("id", "entry", "start", "lean", "ending", "direction", "size", "accelerate", "upper_alter",
                       "lower_alter")  # fmt: skip


def grace_json(grace: Grace) -> dict[str, Any]:
    """A grace with exact fractions as strings."""
    found: dict[str, Any] = {name: getattr(grace, name) for name in PLAIN_FIELDS}
    found["notes"] = [[str(pitch), str(share)] for pitch, share in grace.notes]
    return found


def grace_from_json(data: Mapping[str, Any]) -> Grace:
    """Inverse of :func:`grace_json`.

    >>> grace = Grace("division", notes=((Pitch.parse("F#5"), Fraction(1, 3)),))
    >>> grace_from_json(grace_json(grace)) == grace
    True
    """
    notes = tuple((Pitch.parse(pitch), Fraction(share)) for pitch, share in data["notes"])
    return Grace(**{name: data[name] for name in PLAIN_FIELDS if name in data}, notes=notes)
