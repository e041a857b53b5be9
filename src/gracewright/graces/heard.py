"""Ornaments in a recording of a player (a MIDI file), where they are plain to see: quick notes that spell a shake, a
mordent or a turn become the held note with its sign again.

Conventions: only notes that follow on each other count, all quick but the last, which may be held; a leaning first note
is left as a note, for it may be one of the melody's. What becomes a sign sounds as before, whatever the composer wrote.

Public: from_playing, figures_in, open_piece.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby
from pathlib import Path
from statistics import median
from typing import Final

from gracewright.graces.model import Grace
from gracewright.graces.recognise import classify
from gracewright.graces.shape import Mark
from gracewright.score import Held, Piece, Sign, Struck, read, read_held

QUICK: Final = 0.15
"""Seconds: notes of an ornament are no longer; a shake has six strokes or more a second at a player's least. Ours."""
SMALL: Final = 5
"""Figures of fewer notes must stand out more, or a melody's own turns would be taken for ornaments."""
VERY_QUICK: Final = 0.13
"""Seconds: the notes of a small figure, but the last, are no longer. Ours."""
APART: Final = 3
"""They are so many times quicker than half the notes of their line. Ours, tuned on plain lines of open data."""
STEADY: Final = 1.5
"""A short shake of four notes may be so many times slower: to and fro is plainer than once. Ours, likewise."""
HELD: Final = Fraction(3, 2)
"""A mordent or turn ends on a note so many times as long as its first, else it is running notes. Ours."""
GAP: Final = Fraction(1, 16)
"""Quarters of silence or overlap between notes that still follow on each other. Ours."""
MOST: Final = 64
SIGNS: Final = {
    # grace as recognised, its start → the sign for it
    ("shake", ""): "trill-mark", ("turned-shake", ""): "trill-mark", ("shake", "main"): "trill-mark",
    ("mordent", ""): "mordent", ("turn", ""): "turn",
}  # fmt: skip


def open_piece(path: Path | str, data: bytes | None = None) -> Piece:
    """Read a score of any format; of a player's recording, plain ornaments as signs. Raises BadInput."""
    return from_playing(read(path, data))


def from_playing(piece: Piece) -> Piece:
    """A piece from MIDI with its plain ornaments as signs; any other piece as it is."""
    figures = figures_in(piece.heard.notes) if piece.heard is not None else ()
    return read_held(piece, figures) if figures else piece


def figures_in(notes: Sequence[Struck]) -> tuple[Held, ...]:
    """The ornaments in played notes, in order, none overlapping."""
    found: list[Held] = []
    for _, group in groupby(sorted(notes, key=lambda note: (note.track, note.number)), key=lambda note: note.track):
        line, at = list(group), 0
        usual = median(note.seconds for note in line)
        while at < len(line):
            figure = _figure(line, at, usual / APART)
            if figure is not None:
                found.append(figure)
            at = figure.last + 1 if figure is not None else at + 1
    return tuple(found)


def _figure(line: Sequence[Struck], at: int, quick: float) -> Held | None:
    """The longest ornament that begins at a note; ``quick`` is what is quick for this line, in seconds."""
    stop = at
    while stop < len(line) and stop - at < MOST and line[stop].seconds <= QUICK and _goes_on(line, at, stop):
        stop += 1
    last = stop if at < stop < len(line) and _goes_on(line, at, stop) else stop - 1  # a longer note may end it
    for end in range(last, at + 1, -1):
        figure = line[at : end + 1]
        for main in dict.fromkeys((figure[-1].key, min(note.key for note in figure))):
            grace = _spelled(figure, main)
            sign = SIGNS.get((grace.id, grace.start)) if grace is not None else None
            if sign is not None and _stands_out(figure, sign, quick):
                return Held(figure[0].track, figure[0].number, figure[-1].number, main, Sign(sign))
    return None


def _goes_on(line: Sequence[Struck], first: int, at: int) -> bool:
    """Whether a note is the first of the row, or follows on the one before it."""
    before = line[at - 1]
    gap = line[at].onset - before.onset - before.length
    return at == first or (abs(gap) <= GAP and line[at].onset > before.onset)


def _spelled(figure: Sequence[Struck], main: int) -> Grace | None:
    """The grace that played notes spell around a main note; a neighbour is one or two semitones away."""
    total = figure[-1].onset + figure[-1].length - figure[0].onset
    steps = {0: 0, 1: 1, 2: 1, -1: -1, -2: -1}
    if any(note.key - main not in steps for note in figure):
        return None
    return classify([Mark(steps[note.key - main], note.length / total) for note in figure])


def _stands_out(figure: Sequence[Struck], sign: str, quick: float) -> bool:
    """Whether a figure is an ornament and not a stretch of running notes."""
    shake = sign == "trill-mark" and len(figure) > 3
    allowed = QUICK if len(figure) >= SMALL else min(QUICK, quick * STEADY) if shake else min(VERY_QUICK, quick)
    return figure[0].seconds <= allowed and (shake or figure[-1].length >= HELD * figure[0].length)
