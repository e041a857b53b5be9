"""Printed figures as evidence for harmony.

Conventions: figures count staff places above the bass note under which they stand; what is not altered follows the
signature; a slash or a plus raises. Suspended figures (4 with 5, 9, 7 going to 6) speak for the chord they resolve
into. Common practice, no source.

Public: FiguredSpan, figured_spans, figured_places, figure_evidence, figured_members.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.pitch import FIFTHS, Pitch
from gracewright.score import Figure, FigureItem, Note, Piece
from gracewright.score.lines import alter_in
from gracewright.study.frames import PLACES, SHIFT, Floats, Frames, Ints, Timeline
from gracewright.study.metre import level_at
from gracewright.study.numerals import MEMBERS
from gracewright.study.tables import QUALITIES

WEIGHT: Final = 3.0  # of a printed figure
BARE: Final = 1.5  # of a bass note left without figures among figured ones, where the parts leave the chord open
BARE_FULL: Final = 0.4  # and where they sound it
OPEN: Final = 2  # so many different notes leave it open
BARE_LEVEL: Final = 2  # such a note counts from this metrical level up
NEAR_FIGURES: Final = 2  # figures within a bar that make a note one among figured ones
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


@dataclass(frozen=True)
class FiguredSpan:
    """Frames ``first`` to before ``stop`` with the places figures name there, those they suspend, and how sure."""

    first: int
    stop: int
    places: frozenset[int]
    hung: frozenset[int]
    weight: float = WEIGHT


def figured_spans(piece: Piece, line: Timeline, frames: Frames) -> list[FiguredSpan]:
    """What printed figures say; a bass note left bare among figured ones means its plain triad, less surely."""
    spans: list[FiguredSpan] = []
    figures = sorted((figure for figure in piece.figures if figure.items), key=lambda figure: figure.onset)
    for part in sorted({figure.part for figure in figures}):
        bass = _lowest(piece, part)
        if bass:
            spans += _spans(piece, line, frames, bass, [figure for figure in figures if figure.part == part])
    return spans


def _lowest(piece: Piece, part: str) -> list[Note]:
    """The lowest note of a part at each onset."""
    found: dict[Fraction, Note] = {}
    for note in piece.by_part[part]:
        if note.pitch is not None and note.length and not note.cue:
            other = found.get(note.onset)
            if other is None or other.pitch is None or note.pitch < other.pitch:
                found[note.onset] = note
    return [found[onset] for onset in sorted(found)]


def _spans(
    piece: Piece, line: Timeline, frames: Frames, bass: Sequence[Note], figures: Sequence[Figure]
) -> Iterator[FiguredSpan]:
    onsets = [note.onset for note in bass]
    taken: set[int] = set()
    covered = Fraction(-1)

    def span(begin: Fraction, end: Fraction, note: Note, items: Sequence[FigureItem], weight: float) -> FiguredSpan:
        assert note.pitch is not None, "rests were left out"
        first = int(np.searchsorted(frames.end, line.ticks(begin), side="right"))
        stop = int(np.searchsorted(frames.start, line.ticks(end), side="left"))
        places, hung = figured_members(note.pitch, items, piece.bars[note.bar].fifths)
        return FiguredSpan(first, max(stop, first + 1), places, hung, weight)

    for figure, later in zip(figures, [*figures[1:], None], strict=True):
        at = bisect_right(onsets, figure.onset) - 1
        if (at < 0 or bass[at].end <= figure.onset) and at + 1 < len(bass):
            at += 1  # over a rest: the chord of the bass note that follows
        note = bass[at]
        until = max(figure.onset, note.onset) + figure.length if figure.length else note.end
        held = any(item.extend for item in figure.items)
        end = max(note.end, until) if held else min(note.end, until)
        if later is not None and later.onset > figure.onset:
            end = min(end, later.onset)
        taken.add(at)
        covered = max(covered, end)
        taken |= {other for other in range(at + 1, len(bass)) if onsets[other] < end} if held else set()
        yield span(figure.onset, max(end, figure.onset), note, _resolved(figure, later, note.end), WEIGHT)
    times = [line.ticks(figure.onset) for figure in figures]
    for at, note in enumerate(bass):
        if at in taken or note.tie_in:
            continue
        bar, begin = piece.bars[note.bar], line.ticks(note.onset)
        length = line.ticks(bar.length)
        near = bisect_right(times, begin + line.ticks(note.length) + length) - bisect_left(times, begin - length)
        if near >= NEAR_FIGURES and level_at(bar, note.onset) <= BARE_LEVEL:
            found = span(note.onset, note.end, note, (), BARE)
            heard = int(frames.now[found.first : found.stop].any(axis=0).sum())
            yield found if heard <= OPEN else replace(found, weight=BARE_FULL)


def figured_places(spans: Sequence[FiguredSpan]) -> list[int]:
    """All places the figures name."""
    return sorted({place + SHIFT for span in spans for place in span.places if 0 <= place + SHIFT < PLACES})


def figure_evidence(spans: Sequence[FiguredSpan], count: int, roots: Ints) -> Floats | None:
    """Evidence for each root and quality on each of ``count`` frames, or None where nothing is figured."""
    if not spans:
        return None
    extra = np.zeros((count, len(roots) * len(QUALITIES)), dtype=np.float32)
    holds = _membership(roots)
    for span in spans:
        extra[span.first : span.stop] += span.weight * _fit(holds, span.places, span.hung)
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
