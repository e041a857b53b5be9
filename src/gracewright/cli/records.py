"""What was made before, and from what: a small hidden file beside the results, so that a stopped run can go on.

Conventions: all results of a piece lie in one folder; the file ``.gracewright-done`` there holds one JSON object a
line, ``{"results": [names], "from": digest}``; the last line about a result counts, a line that cannot be read is
passed over. The digest covers the version of the program, the command, all that was asked for, and the bytes of every
file it is made from, so that other wishes or a changed score are done again whatever the dates of the files say.

Public: digest_of, done_before, remember, left_by_us, RECORD.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Final

from gracewright import __version__

RECORD: Final = ".gracewright-done"
NO_MATTER: Final = frozenset({"pieces", "played", "plain", "demo", "out", "again", "quiet"})
"""Parameters that say where and how, not what."""


def digest_of(command: str, asked: Mapping[str, object], inputs: Iterable[Path]) -> str:
    """One word for what a result is made from. A wish that names a file (a manner or instrument of the user's own)
    counts with that file's bytes; a file that cannot be read counts as nothing (its job will say so)."""
    found = hashlib.sha256(f"{__version__}\n{command}\n".encode())
    for name, value in sorted(asked.items()):
        if name not in NO_MATTER:
            found.update(f"{name}={value!r}\n".encode())
            own = Path(value) if isinstance(value, str) and value.endswith(".toml") else value
            if isinstance(own, Path) and own.is_file():
                found.update(_content(own))
    for path in inputs:
        found.update(_content(path))
    return found.hexdigest()[:32]


def _content(path: Path) -> bytes:
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").digest()
    except OSError:
        return b""


def done_before(results: Sequence[Path], digest: str) -> bool:
    """Whether these results lie there and were made from just this."""
    made = _record(results[0].parent)
    return all(result.exists() and made.get(result.name) == digest for result in results)


def remember(results: Sequence[Path], digest: str) -> None:
    """Note what these results, which lie there now, were made from."""
    line = {"results": [result.name for result in results], "from": digest}
    with (results[0].parent / RECORD).open("a", encoding="utf-8") as stream:
        stream.write(json.dumps(line, ensure_ascii=False) + "\n")


def left_by_us(path: Path) -> bool:
    """Whether a file is a result of a run over many pieces: such a file is no piece of its own."""
    return path.name in _record(path.parent)


def _record(folder: Path) -> dict[str, str]:
    """Name of a result → digest."""
    try:
        lines = (folder / RECORD).read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError):
        return {}
    found: dict[str, str] = {}
    for line in lines:
        try:
            row = json.loads(line)
            found.update(dict.fromkeys(map(str, row["results"]), str(row["from"])))
        except (ValueError, KeyError, TypeError):
            continue
    return found
