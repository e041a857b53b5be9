"""Sequences: a melodic pattern copied at once on another step of the scale, twice or more.

A leg is compared with the next one at a fixed distance in time (a beat, half a bar, a bar … four bars): as many notes,
at the same times, each as many staff places away; one note in four may differ (then the sequence is not exact), and
the last of three legs may break off. Legs of a bar or more need two statements, shorter ones three and no difference.
Three notes are enough where the bass goes along. A scale or an arpeggio that runs on, and one note struck again and
again, are no sequence.

Public: find_sequences.
"""

from __future__ import annotations

from collections.abc import Sequence as Row
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.score import Tone
from gracewright.study.frames import Ints
from gracewright.study.material import Material
from gracewright.study.metre import levels_of
from gracewright.study.model import Leg, Sequence

LEAST_NOTES: Final = 3
FARTHEST: Final = 5  # staff places a leg may be moved
LIKE: Final = 0.75
"""Least share of notes in a leg that are copied to the note."""

STANDS: Final = 0.6
"""How much of a third or later leg must stand for it to count."""

PAIR: Final = 0.85
"""The same of the second."""

FULL: Final = 6
"""Notes that a stretch must have before one of them may differ."""


Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class _Found:
    """In ticks; ``copied`` is how long the stretch is that has a copy, ``like`` the share of notes copied exactly."""

    start: int
    copied: int
    period: int
    step: int
    like: float
    leg: int  # notes in the first leg

    @property
    def full(self) -> bool:
        """Whether it is heard without the bass."""
        return self.leg > LEAST_NOTES or self.legs > 2

    @property
    def legs(self) -> int:
        whole = self.copied / self.period
        return 1 + int(whole + 1 - (STANDS if whole >= 1 else PAIR))

    @property
    def end(self) -> int:
        return self.start + self.legs * self.period

    @property
    def weight(self) -> float:
        """What it explains."""
        return (self.period + self.copied) * self.like**2


def find_sequences(material: Material) -> tuple[Sequence, ...]:
    """Sequences of the solo, in order; of overlapping ones the one that explains more is kept."""
    melody = _Row.of(material, material.melody)
    ground = _Row.of(material, material.ground)
    found: list[_Found] = []
    for period in _periods(material):
        found += [one for one in _runs(melody, period, material) if one.full or _bass_goes_along(one, ground)]
    kept: list[_Found] = []
    for one in sorted(found, key=lambda f: (-f.weight, f.period, f.start)):
        if all(_shared(one, other) <= max(one.period, other.period) // 2 for other in kept):
            kept.append(one)
    return tuple(_as_sequence(one, material, ground) for one in sorted(kept, key=lambda f: f.start))


def _shared(one: _Found, other: _Found) -> int:
    """How long two stretches with their copies overlap."""
    ends = (found.start + found.period + found.copied for found in (one, other))
    return min(ends) - max(one.start, other.start)


@dataclass(frozen=True)
class _Row:
    onset: Ints
    length: Ints
    place: Ints

    @staticmethod
    def of(material: Material, tones: Row[Tone]) -> _Row:
        quarter = material.line.quarter
        onset = np.array([t.onset.numerator * (quarter // t.onset.denominator) for t in tones], dtype=np.int64)
        length = np.array([t.length.numerator * (quarter // t.length.denominator) for t in tones], dtype=np.int64)
        return _Row(onset, length, np.array([tone.pitch.diatonic for tone in tones], dtype=np.int64))


def _periods(material: Material) -> list[int]:
    """Distances worth trying, in ticks, for every meter of the piece."""
    periods: set[Fraction] = set()
    for meter in {bar.meter for bar in material.piece.bars}:
        bar, beat = meter.length, meter.beat
        spans = [span for span in levels_of(meter) if span >= beat]
        periods |= {*spans, beat * 2, bar * 2, bar * 4, bar * Fraction(3, 2)}
    return sorted(int(span * material.line.quarter) for span in periods)


def _runs(row: _Row, period: int, material: Material) -> list[_Found]:
    if len(row.onset) < 2 * LEAST_NOTES:
        return []
    target = row.onset + period
    at = np.minimum(np.searchsorted(row.onset, target), len(row.onset) - 1)
    hit = row.onset[at] == target
    step = np.where(hit, row.place[at] - row.place, 99)
    gap = np.append(np.diff(row.onset), row.length[-1])
    paced = gap == gap[at]  # the next note comes as soon as after the copy
    found = []
    many = np.bincount(np.clip(step + FARTHEST, -1, 2 * FARTHEST + 1) + 1, minlength=2 * FARTHEST + 3)
    for shift in range(-FARTHEST, FARTHEST + 1):
        if shift and many[shift + FARTHEST + 1] >= LEAST_NOTES:
            good = step == shift
            found += _stretches(row, good, good & paced, at, period, shift, material)
    return found


def _stretches(row: _Row, good: Flags, firm: Flags, at: Ints, period: int, shift: int,
               material: Material) -> list[_Found]:  # fmt: skip
    """Runs of notes that are copied in pitch and pace, allowing one that differs between copied neighbours; the last
    may be held longer or shorter than its copy."""
    near = firm.copy()
    near[1:-1] |= firm[:-2] & good[2:]
    near[1:] |= firm[:-1] & good[1:]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], near.astype(np.int8), [0]])))
    firsts, stops = edges[::2], edges[1::2]
    reach = np.append(row.onset, row.onset[-1] + row.length[-1])[stops] - row.onset[firsts]
    long = (stops - firsts >= LEAST_NOTES) & (reach >= PAIR * period)
    found = []
    for first, stop in zip(firsts[long].tolist(), stops[long].tolist(), strict=True):
        while stop > first and not good[stop - 1]:
            stop -= 1
        start, last = int(row.onset[first]), stop - 1
        bar = material.line.ticks(material.bar_at(material.line.time(start)).meter.length)
        until = int(row.onset[last] + row.length[last])
        if last + 1 < len(row.onset):
            until = max(until, min(int(row.onset[last + 1]), start + period))
        leg = row.place[first : first + int(np.count_nonzero(row.onset[first:stop] < start + period))]
        one = _Found(start, until - start, period, shift, float(good[first:stop].mean()), len(leg))
        shape = _Shape(stop - first, len(set(leg.tolist())), int(at[last] - at[first]) - (last - first))
        if _counts(one, shape, period < bar) and not _runs_on(row, first, at, last) and not _to_and_fro(row, one):
            found.append(one)
    return found


@dataclass(frozen=True, slots=True)
class _Shape:
    """Notes in the copied stretch, pitches in its first leg, and notes that only the copy has."""

    notes: int
    pitches: int
    more: int


def _counts(one: _Found, shape: _Shape, short: bool) -> bool:
    """Whether enough of it is enough alike."""
    if one.leg < LEAST_NOTES or shape.pitches < 2 or one.legs < (3 if short else 2):
        return False
    if one.like < 1 and (shape.notes < FULL or one.like < (0.85 if short else LIKE)):
        return False
    return abs(shape.more) <= (1 - LIKE) * shape.notes


def _runs_on(row: _Row, first: int, at: Ints, last: int) -> bool:
    """Whether all goes one way from the first note to the last one's copy, as a scale or an arpeggio does."""
    ways = np.sign(np.diff(row.place[first : int(at[last]) + 1]))
    return bool((ways == ways[0]).all())


def _to_and_fro(row: _Row, one: _Found) -> bool:
    """Whether two patterns take turns: the first comes back after the second, or both were there before."""
    if one.legs > 2:
        return False
    first, second, twice = one.start, one.start + one.period, 2 * one.period
    before = _same(row, first, one.period, -twice) and _same(row, second, one.period, -twice)
    return before or _same(row, first, one.period, twice)


def _same(row: _Row, start: int, period: int, away: int) -> bool:
    """Whether the notes of a stretch stand likewise so many ticks away."""
    leg = np.flatnonzero((row.onset >= start) & (row.onset < start + period))
    target = row.onset[leg] + away
    at = np.minimum(np.searchsorted(row.onset, target), len(row.onset) - 1)
    back = (row.onset[at] == target) & (row.place[at] == row.place[leg])
    return len(leg) > 0 and bool(back.mean() >= LIKE)


def _as_sequence(one: _Found, material: Material, ground: _Row) -> Sequence:
    line, last = material.line, int(material.line.bar_start[-1])
    starts = [one.start + n * one.period for n in range(one.legs)]
    legs = tuple(
        Leg(line.time(start), line.time(min(last, start + one.period)), n * one.step) for n, start in enumerate(starts)
    )
    return Sequence(legs, one.step, one.like == 1.0, _bass_goes_along(one, ground))


def _bass_goes_along(one: _Found, ground: _Row) -> bool:
    inside = (ground.onset >= one.start) & (ground.onset < one.end - one.period)
    if not inside.any():
        return False
    target = ground.onset[inside] + one.period
    at = np.minimum(np.searchsorted(ground.onset, target), len(ground.onset) - 1)
    moved = (ground.onset[at] == target) & ((ground.place[at] - ground.place[inside] - one.step) % 7 == 0)
    return bool(moved.mean() >= 0.75)
