"""Pieces made by hand for tests of the study."""

from collections.abc import Callable
from fractions import Fraction as F

import pytest

from gracewright.pitch import Pitch
from gracewright.score import Bar, Meter, Note, Part, Piece

COMMON = Meter(4, 4)


def piece_of(lines: dict[str, str], *, meter: Meter = COMMON, fifths: int = 0, pickup: F | int = 0) -> Piece:
    """A piece from lines such as ``"C5:1 D5:1/2 r:1"``: pitch and length in quarters."""
    notes = []
    total = F(0)
    starts: list[F] = []
    for part, text in lines.items():
        at = F(0)
        for number, word in enumerate(text.split()):
            name, _, length = word.partition(":")
            span = F(length)
            bar = 0 if at < pickup else int((at - pickup) // meter.length) + (1 if pickup else 0)
            pitch = None if name == "r" else Pitch.parse(name)
            notes.append(Note(f"{part}.{number}", part, 1, "1", bar, at, span, pitch, span))
            at += span
        total = max(total, at)
    begin, length = F(0), pickup or meter.length
    while begin < total:
        starts.append(begin)
        begin, length = begin + length, meter.length
    ends = [*starts[1:], begin]
    bars = tuple(
        Bar(index, str(index + (not pickup)), start, end - start, meter, fifths, pickup=bool(pickup) and not index)
        for index, (start, end) in enumerate(zip(starts, ends, strict=True))
    )
    order = list(lines)
    notes.sort(key=lambda note: (note.onset, order.index(note.part)))
    return Piece("", "", tuple(Part(part, part) for part in lines), bars, tuple(notes))


@pytest.fixture
def make_piece() -> Callable[..., Piece]:
    return piece_of
