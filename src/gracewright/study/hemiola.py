"""Hemiola: two triple bars heard as three groups of two beats, as before a close. Common practice, no source.

A line is in twos where it begins a note on the third beat, holds it over the downbeat, and begins one again on the
second beat. Both lines in twos make a hemiola; one of them does where the bass then falls a fifth or rises a fourth
into the next downbeat, and the other line does not settle on the downbeat between.

Public: find_hemiolas.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise

from gracewright.score import Bar, Tone
from gracewright.study.material import Material
from gracewright.study.model import Hemiola


def find_hemiolas(material: Material) -> tuple[Hemiola, ...]:
    """Pairs of bars of three beats that are heard in twos, in order, none overlapping."""
    melody, ground = _Line.of(material.melody), _Line.of(material.ground)
    found: list[Hemiola] = []
    for first, second in pairwise(material.piece.bars):
        if not _triple(first, second) or (found and found[-1].end > first.onset):
            continue
        if _in_twos(melody, ground, first, second):
            found.append(Hemiola(first.onset, second.end))
    return tuple(found)


@dataclass(frozen=True, slots=True)
class _Line:
    """A line by time: what begins then, and what begins or goes on in each bar."""

    at: dict[Fraction, Tone]
    by_bar: dict[int, list[Tone]]

    @staticmethod
    def of(tones: Sequence[Tone]) -> _Line:
        by_bar: dict[int, list[Tone]] = {}
        for tone in tones:
            by_bar.setdefault(tone.bar, []).append(tone)
        return _Line({tone.onset: tone for tone in tones}, by_bar)

    def sounding(self, time: Fraction, bar: int) -> Tone | None:
        """What sounds at a time in a bar; it may have begun in the bar before."""
        inside = (tone for index in (bar, bar - 1) for tone in reversed(self.by_bar.get(index, ())))
        return next((tone for tone in inside if tone.onset <= time < tone.end), None)


def _triple(first: Bar, second: Bar) -> bool:
    whole = first.length == second.length == first.meter.length
    return whole and first.meter.beats == 3 and first.meter == second.meter


def _in_twos(melody: _Line, ground: _Line, first: Bar, second: Bar) -> bool:
    beat = first.length / 3
    strong = first.onset, first.onset + 2 * beat, second.onset + beat  # where the groups of two begin
    low = _groups(ground, strong, second)
    high = _groups(melody, strong, second) and melody.at[strong[2]].length >= beat
    if not ground.at:
        return high and strong[0] in melody.at and melody.at[strong[1]].length >= 2 * beat
    if low and high:
        return True
    if not _falls_into(ground, second):
        return False
    return low or (high and _moves(ground, second, beat))


def _groups(line: _Line, strong: Sequence[Fraction], second: Bar) -> bool:
    held = line.at.get(strong[1])
    return held is not None and held.end > second.onset and second.onset not in line.at and strong[2] in line.at


def _moves(ground: _Line, second: Bar, beat: Fraction) -> bool:
    """Whether the bass has left by the second beat what it had on the downbeat."""
    down, after = ground.sounding(second.onset, second.index), ground.sounding(second.onset + beat, second.index)
    return down is not None and after is not None and down.pitch != after.pitch


def _falls_into(ground: _Line, second: Bar) -> bool:
    """Whether the last bass note goes into the next downbeat as a dominant into its tonic."""
    inside, goal = ground.by_bar.get(second.index), ground.at.get(second.end)
    if not inside or goal is None:
        return False
    return (goal.pitch.diatonic - inside[-1].pitch.diatonic) % 7 == 3
