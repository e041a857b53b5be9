"""The question put to the search: a written note with its ground, in whole ticks.

Conventions: a tick is the largest fraction of a quarter that measures everything in one question; offsets are ticks
from the host's onset.

Public: Task, task_of.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm
from typing import Final

from gracewright.divisions.model import Ground
from gracewright.divisions.mould import Mould, mould_of
from gracewright.graces.model import Context
from gracewright.pitch import Pitch

REACH: Final = 8
"""Staff places that a passage may stray from the written note."""


@dataclass(frozen=True, slots=True)
class Task:
    """All that the search asks, made comparable so that equal questions are answered once."""

    ticks: int  # in a quarter
    quarter: float  # seconds
    least: float
    pitch: Pitch
    length: int
    phase: int  # of the host's onset after a beat
    beat: int
    following: Pitch | None
    moulds: tuple[Mould, ...]  # one for each chord
    changes: tuple[int, ...]  # offsets where the chord changes, first 0
    basses: tuple[tuple[int, int | None], ...]  # MIDI numbers from their offsets on
    inner: tuple[tuple[int, int, int], ...]  # motions of other voices: offset, from which MIDI number, to which
    known_after: bool  # the last bass is the one under the following note
    low: int
    high: int
    foreign: bool  # the written note is not of the first chord

    def chord_at(self, offset: int) -> Mould:
        """The mould in force at an offset."""
        return self.moulds[max(k for k, change in enumerate(self.changes) if change <= offset)]

    def moves(self, begin: int, end: int) -> list[tuple[int, int, int]]:
        """Where other voices move after ``begin`` up to ``end``: ticks from ``begin``, from which note, to which."""
        bass = [
            (offset - begin, now, then)
            for (_, now), (offset, then) in zip(self.basses, self.basses[1:], strict=False)
            if begin < offset <= end and now is not None and then is not None and now != then
        ]
        return bass + [(offset - begin, now, then) for offset, now, then in self.inner if begin < offset <= end]


def task_of(
    context: Context, ground: Sequence[Ground], compass: tuple[Pitch, Pitch] | None, beat: Fraction | None
) -> Task:
    """Lay out the question for a written note."""
    pitch, host = context.pitch, (context.pitch.step, context.pitch.alter)
    ground = [one for one in ground if 0 <= one.offset <= context.length] or [
        Ground(Fraction(0), context.bass, context.harmony)
    ]
    felt = beat or (Fraction(3, 2) if context.ternary and context.length == Fraction(3, 2) else Fraction(1))
    phase = context.onset % felt if beat is not None or felt == 1 else Fraction(0)
    measured = (context.length, felt, phase, *(one.offset for one in ground))
    ticks = lcm(*(time.denominator for time in measured))
    length = int(context.length * ticks)
    moulds, changes, basses = list[Mould](), list[int](), list[tuple[int, int | None]]()
    for one in ground:
        offset = int(one.offset * ticks)
        basses.append((offset, one.bass.midi if one.bass else None))
        if offset < length:
            own = host if not offset or not one.harmony else (-1, 0)
            mould = mould_of(context.key, one.harmony, context.bar_state, own, _letter(one.bass))
            if not moulds or mould is not moulds[-1]:
                moulds.append(mould)
                changes.append(offset)
    low, high = pitch.diatonic - REACH, pitch.diatonic + REACH
    if compass is not None:
        low, high = max(low, compass[0].diatonic), min(high, compass[1].diatonic)
    return Task(
        ticks, float(context.quarter), context.least, pitch, length, int(phase * ticks), int(felt * ticks),
        None if context.rest_after else context.following, tuple(moulds), tuple(changes), tuple(basses),
        tuple((int(one.offset * ticks), now.midi, then.midi) for one in ground for now, then in one.inner),
        basses[-1][0] == length, low, high, not moulds[0].chord[pitch.step],
    )  # fmt: skip


def _letter(pitch: Pitch | None) -> tuple[int, int] | None:
    return (pitch.step, pitch.alter) if pitch is not None else None
