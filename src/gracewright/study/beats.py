"""The beats of a piece as closes are sought on them: where each begins, what sounds lowest, which key and section.

Conventions: arrays with one entry for each beat; times in ticks; places on the line of fifths as in the timeline.
A bar cut in two by a repeat counts as one: the part after the cut is an upbeat. Internal to the study.

Public: Beats, hot.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from gracewright.study.chords import ChordPath
from gracewright.study.frames import HIGH, SHIFT, Floats, Ints
from gracewright.study.harmony import Reading
from gracewright.study.keys import FIRST_TONIC
from gracewright.study.material import Material
from gracewright.study.model import Sequence


def hot(values: Ints, known: tuple[int, ...]) -> Floats:
    """One column for each known value: 1 where a row has it."""
    return np.asarray(values[:, None] == np.array(known)[None, :], dtype=np.float32)


@dataclass(frozen=True)
class Beats:
    """``first`` is the frame with which each beat begins."""

    material: Material
    reading: Reading
    sequences: tuple[Sequence, ...] = ()

    @property
    def chords(self) -> ChordPath:
        return self.reading.chords

    @property
    def first(self) -> Ints:
        return self.reading.keys.first

    def __len__(self) -> int:
        return len(self.first)

    @cached_property
    def start(self) -> Ints:
        return np.asarray(self.material.frames.start[self.first])

    @cached_property
    def bar(self) -> Ints:
        """Index of the bar."""
        return np.asarray(self.material.frames.bar[self.first])

    @cached_property
    def _bar_ticks(self) -> tuple[Ints, Ints]:
        """Ticks of a beat and of a full bar, for every bar of the piece."""
        quarter = self.material.line.quarter
        meters = {bar.meter for bar in self.material.piece.bars}
        spans = {meter: (max(1, int(meter.beat * quarter)), max(1, int(meter.length * quarter))) for meter in meters}
        both = np.array([spans[bar.meter] for bar in self.material.piece.bars], dtype=np.int64)
        return both[:, 0], both[:, 1]

    @cached_property
    def beat(self) -> Ints:
        """Length of the beat in ticks."""
        return np.asarray(self._bar_ticks[0][self.bar])

    @cached_property
    def full(self) -> Ints:
        """Length of a full bar in ticks."""
        return np.asarray(self._bar_ticks[1][self.bar])

    @cached_property
    def tonic(self) -> Ints:
        """Place of the tonic in force."""
        return np.asarray(FIRST_TONIC + self.reading.columns[self.first] // 2)

    @cached_property
    def bottom(self) -> Ints:
        """The lowest note that sounds within the beat (midi * 64 + place): of a lone line, the bass it implies."""
        frames = self.material.frames
        last = np.maximum(np.searchsorted(frames.start, self.start + self.beat), self.first + 1)
        pairs = np.stack([self.first, last], axis=1).ravel()
        return np.asarray(np.minimum.reduceat(np.append(frames.low, HIGH), pairs)[::2])

    @cached_property
    def base(self) -> Ints:
        """Place of the lowest note within the beat; C in a silence."""
        return np.where(self.bottom >= HIGH, SHIFT, self.bottom % 64)

    @cached_property
    def running(self) -> NDArray[np.bool_]:
        """Whether the beat lies within a sequence, after its first leg."""
        ticks = self.material.line.ticks
        inside = np.zeros(len(self), dtype=bool)
        for sequence in self.sequences:
            inside |= (self.start >= ticks(sequence.legs[1].start)) & (self.start < ticks(sequence.end))
        return inside

    def frame_at(self, times: NDArray[Any]) -> Ints:
        """The frame in which each time lies."""
        frames = self.material.frames
        return np.clip(np.searchsorted(frames.start, times, side="right") - 1, 0, len(frames) - 1)

    @cached_property
    def attacks(self) -> tuple[Ints, Ints, Ints]:
        """Times at which something begins, with the highest and lowest note (midi * 64 + place) beginning there."""
        line = self.material.line
        struck = ~line.held
        onset, code = line.onset[struck], (line.midi * 64 + line.place)[struck]
        times, index = np.unique(onset, return_index=True)
        if not len(times):
            return np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
        return times, np.maximum.reduceat(code, index), np.minimum.reduceat(code, index)

    @cached_property
    def closing(self) -> NDArray[np.bool_]:
        """For every bar of the piece: whether a section ends with it."""
        bars = self.material.piece.bars
        closing = np.array([bool(bar.repeat_end or bar.double_bar or bar.final_bar) for bar in bars])
        closing[-1] = True
        return closing

    @cached_property
    def section(self) -> Ints:
        """For every bar of the piece: the number of its section."""
        opening = np.array([bar.repeat_start for bar in self.material.piece.bars])
        fresh = np.zeros(len(opening), dtype=np.int64)
        fresh[1:] = self.closing[:-1] | opening[1:]
        return np.cumsum(fresh)

    @cached_property
    def upbeat(self) -> Ints:
        """For every bar of the piece: ticks missing at its beginning (a pickup, or the rest of a bar cut in two)."""
        real = np.diff(self.material.line.bar_start)
        begins = np.diff(self.section, prepend=-1) > 0
        pickup = np.array([bar.pickup for bar in self.material.piece.bars])
        short = np.maximum(self._bar_ticks[1] - real, 0)
        return np.where(begins | pickup, short, 0)

    @cached_property
    def section_spans(self) -> tuple[Ints, Ints, Ints]:
        """Of each section: where it begins, its first full downbeat, and its end."""
        starts = self.material.line.bar_start
        begin = np.flatnonzero(np.diff(self.section, prepend=-1))
        stop = np.append(begin[1:], len(self.section))
        down = np.where((self.upbeat[begin] > 0) & (stop - begin > 1), begin + 1, begin)
        return starts[begin], starts[down], starts[stop]
