"""Sequences: a melodic pattern copied at once on another step of the scale, twice or more.

A leg is compared with the next one at a fixed distance in time (a beat, half a bar, a bar … four bars). All notes must
have the same lengths and move by the same number of staff places; one note in a leg may differ (then the sequence is
not exact). Two legs need a bar each; shorter legs need three.

Public: find_sequences.
"""

from __future__ import annotations

from collections.abc import Sequence as Row
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.score import Tone
from gracewright.study.frames import Ints
from gracewright.study.material import Material
from gracewright.study.metre import levels_of
from gracewright.study.model import Leg, Sequence

LEAST_NOTES: Final = 3
FARTHEST: Final = 5  # staff places a leg may be moved


@dataclass(frozen=True)
class _Found:
    start: int
    end: int
    period: int
    step: int
    exact: bool
    notes: int


def find_sequences(material: Material) -> tuple[Sequence, ...]:
    """Sequences of the solo, in order; of overlapping ones the one that explains more is kept."""
    melody = _Row.of(material, material.melody)
    ground = _Row.of(material, material.ground)
    found: list[_Found] = []
    for period in _periods(material):
        found += _runs(melody, period, material)
    kept: list[_Found] = []
    for one in sorted(found, key=lambda f: (-(f.end - f.start) * (1.0 if f.exact else 0.8), f.period, f.start)):
        if all(min(one.end, other.end) - max(one.start, other.start) <= one.period // 2 for other in kept):
            kept.append(one)
    return tuple(_as_sequence(one, material, ground) for one in sorted(kept, key=lambda f: f.start))


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
    alike = hit & (row.length[at] == row.length)
    found = []
    for shift in range(-FARTHEST, FARTHEST + 1):
        if shift == 0:
            continue
        good = alike & (step == shift)
        if int(good.sum()) >= LEAST_NOTES:
            found += _stretches(row, good, hit, period, shift, material)
    return found


def _stretches(row: _Row, good: np.ndarray, hit: np.ndarray, period: int, shift: int,
               material: Material) -> list[_Found]:  # fmt: skip
    """Runs of notes that are copied, allowing one that differs between copied neighbours."""
    near = good.copy()
    near[1:-1] |= hit[1:-1] & good[:-2] & good[2:]
    edges = np.flatnonzero(np.diff(np.concatenate([[0], near.astype(np.int8), [0]])))
    found = []
    bar = int(material.piece.bars[0].meter.length * material.line.quarter)
    for first, stop in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        last = stop - 1
        start = int(row.onset[first])
        copied = int(row.onset[last] + row.length[last]) - start
        legs = 1 + (copied + period // 8) // period
        in_leg = int(np.count_nonzero(row.onset[first:stop] < start + period))
        if legs < 2 or in_leg < LEAST_NOTES or len(set(row.length[first : first + in_leg])) == 0:
            continue
        if legs == 2 and period < bar:
            continue
        exact = bool(good[first:stop].all())
        found.append(_Found(start, start + legs * period, period, shift, exact, stop - first))
    return found


def _as_sequence(one: _Found, material: Material, ground: _Row) -> Sequence:
    line = material.line
    count = (one.end - one.start) // one.period
    legs = tuple(
        Leg(line.time(one.start + n * one.period), line.time(one.start + (n + 1) * one.period), n * one.step)
        for n in range(count)
    )
    return Sequence(legs, one.step, one.exact, _bass_goes_along(one, ground))


def _bass_goes_along(one: _Found, ground: _Row) -> bool:
    inside = (ground.onset >= one.start) & (ground.onset < one.end - one.period)
    if not inside.any():
        return False
    target = ground.onset[inside] + one.period
    at = np.minimum(np.searchsorted(ground.onset, target), len(ground.onset) - 1)
    moved = (ground.onset[at] == target) & ((ground.place[at] - ground.place[inside] - one.step) % 7 == 0)
    return bool(moved.mean() >= 0.75)
