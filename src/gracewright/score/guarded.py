"""Convert a file in a process of its own, with a time limit.

Public: convert, Converted, LIMIT.
"""

from __future__ import annotations

import json
import subprocess
import sys
from dataclasses import dataclass
from typing import Final, Literal

from gracewright.errors import BadInput
from gracewright.score.safe import MAX_FILE

LIMIT: Final = 30.0
"""Seconds that a conversion may take."""
NAMES: Final = {"humdrum": "Humdrum", "abc": "ABC", "midi": "MIDI", "to_abc": "MusicXML"}


@dataclass(frozen=True, slots=True)
class Converted:
    """A document, MEI or MusicXML, and what the converter remarked."""

    data: bytes
    said: tuple[str, ...]


Kind = Literal["humdrum", "abc", "midi", "to_abc"]


def convert(kind: Kind, data: bytes, name: str, *, limit: float = LIMIT) -> Converted:
    """Convert a file. Raises BadInput where the converter refuses, crashes or takes longer than ``limit`` seconds."""
    words = NAMES[kind]
    if len(data) > MAX_FILE:
        raise BadInput("the file is larger than 20 MiB", file=name, remedy="give a single movement")
    command = [sys.executable, "-m", "gracewright.score.converter", kind]
    try:
        done = subprocess.run(command, input=data, capture_output=True, timeout=limit, check=False)
    except subprocess.TimeoutExpired:
        raise BadInput(f"reading the {words} file takes longer than {limit:g} seconds", file=name,
                       remedy="give a single movement, or export it as MusicXML") from None  # fmt: skip
    try:
        answer = json.loads(done.stdout.decode("utf-8"))
    except ValueError:
        raise BadInput(f"the {words} file brings its converter down", file=name,
                       remedy="export it as MusicXML") from None  # fmt: skip
    if "text" not in answer:
        what = str(answer.get("fault") or "it cannot be read").rstrip(".")
        raise BadInput(f"the {words} file cannot be read ({what})", file=name, remedy="export it as MusicXML")
    return Converted(str(answer["text"]).encode("utf-8"), tuple(str(text) for text in answer.get("said") or ()))
