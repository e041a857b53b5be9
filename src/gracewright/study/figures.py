"""Printed figures as evidence for harmony.

Conventions: figures count staff places above the bass note under which they stand; what is not altered follows the
signature; a slash or a plus raises. Suspended figures (4 with 5, 9, 7 going to 6) speak for the chord they resolve
into. Common practice, no source.

Public: figure_evidence, figured_members.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.pitch import FIFTHS, Pitch
from gracewright.score import Figure, FigureItem, Piece
from gracewright.score.lines import alter_in
from gracewright.study.frames import PLACES, SHIFT, Floats, Frames, Ints, Timeline
from gracewright.study.numerals import MEMBERS
from gracewright.study.tables import QUALITIES

WEIGHT: Final = 3.0
_RAISE: Final = {"sharp": 1, "flat": -1, "natural": 0, "double-sharp": 2, "sharp-sharp": 2, "flat-flat": -2}
_UP_HALF: Final = frozenset({"slash", "backslash", "plus", "vertical"})


def figured_members(bass: Pitch, items: Sequence[FigureItem], fifths: int) -> tuple[frozenset[int], frozenset[int]]:
    """Places (line of fifths) the figures name or imply over a bass note, and those they only suspend."""
    altered = {item.number or 3: item for item in items if not item.extend or item.number}
    numbers = {1 if number == 8 else number for number in altered}
    suspended = set()
    if 4 in numbers and not numbers & {2, 3, 6}:
        suspended.add(4)
        numbers.add(3)
    if 9 in numbers:
        suspended.add(9)
        numbers.add(1)
    if 2 in numbers:
        numbers |= {4, 6}
    elif 4 in numbers and 3 in numbers and 4 not in suspended:
        numbers |= {6}
    elif 6 in numbers and 4 not in numbers:
        numbers |= {3}
    elif not numbers & {6, 4} or 7 in numbers:
        numbers |= {3, 5} if 7 not in numbers else {3}
    numbers |= {1}
    named = {number: _place(bass, number, altered.get(number), fifths) for number in numbers | suspended}
    return (
        frozenset(place for number, place in named.items() if number not in suspended),
        frozenset(place for number, place in named.items() if number in suspended),
    )


def _place(bass: Pitch, number: int, item: FigureItem | None, fifths: int) -> int:
    if number == 1:
        return bass.fifths
    step = (bass.step + number - 1) % 7
    alter = alter_in(fifths, step)
    if item is not None:
        for mark in (item.prefix, item.suffix):
            if mark in _RAISE:
                alter = _RAISE[mark]
            elif mark in _UP_HALF:
                alter += 1
    return FIFTHS[step] + 7 * alter


def figure_evidence(piece: Piece, line: Timeline, frames: Frames, roots: Ints) -> Floats | None:
    """Evidence for each root and quality on the frames that figures cover, or None where nothing is figured."""
    figures = [figure for figure in piece.figures if figure.items]
    if not figures:
        return None
    extra = np.zeros((len(frames), len(roots) * len(QUALITIES)), dtype=np.float32)
    holds = _membership(roots)
    by_part = {figure.part for figure in figures}
    for part in by_part:
        bass = [note for note in piece.by_part[part] if note.pitch is not None and note.length and not note.cue]
        onsets = [note.onset for note in bass]
        own = sorted((figure for figure in figures if figure.part == part), key=lambda figure: figure.onset)
        for figure, later in zip(own, [*own[1:], None], strict=True):
            at = bisect_right(onsets, figure.onset) - 1
            if at < 0:
                continue
            note = min((n for n in bass[max(0, at - 3) : at + 1] if n.onset == onsets[at]), key=lambda n: n.pitch or 0)
            assert note.pitch is not None, "rests were left out"
            end = note.end
            if figure.length:
                end = min(end, figure.onset + figure.length) if figure.onset + figure.length > figure.onset else end
            if later is not None:
                end = min(end, later.onset) if later.onset > figure.onset else end
            first = int(np.searchsorted(frames.end, line.ticks(figure.onset), side="right"))
            last = int(np.searchsorted(frames.start, line.ticks(max(end, figure.onset)), side="left"))
            wanted = _resolved(figure, later, note.end)
            places, hung = figured_members(note.pitch, wanted, piece.bars[figure.bar].fifths)
            extra[first : max(last, first + 1)] += WEIGHT * _fit(holds, places, hung)
    return extra


def _resolved(figure: Figure, later: Figure | None, end: Fraction) -> Sequence[FigureItem]:
    """Over one bass, a seventh going to a sixth, or a six-four to a five-three, is a suspension: read the goal."""
    if later is None or later.onset >= end:
        return figure.items
    numbers, following = {i.number for i in figure.items}, {i.number for i in later.items}
    if numbers == {7} and following == {6}:
        return later.items
    if numbers == {6, 4} and following <= {5, 3, None}:
        return [item for item in later.items if item.number != 5] or [FigureItem(5)]
    return figure.items


def _membership(roots: Ints) -> Floats:
    """Which places each chord holds, shape (chords, PLACES)."""
    holds = np.zeros((len(roots), len(QUALITIES), PLACES), dtype=np.float32)
    for row, root in enumerate(roots.tolist()):
        for column, quality in enumerate(QUALITIES):
            for member in MEMBERS[quality]:
                if 0 <= root + member < PLACES:
                    holds[row, column, root + member] = 1
    return holds.reshape(-1, PLACES)


def _fit(holds: Floats, places: frozenset[int], hung: frozenset[int]) -> Floats:
    wanted = [place + SHIFT for place in places if 0 <= place + SHIFT < PLACES]
    inside = holds[:, wanted].sum(axis=1)
    outside = len(wanted) - inside
    surplus = np.maximum(holds.sum(axis=1) - inside, 0)
    return np.asarray(0.3 * inside - outside - 0.5 * surplus, dtype=np.float32)
