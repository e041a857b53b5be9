"""The timeline of a piece as arrays: every sounding note in integer ticks, and the frames harmony is read on.

Conventions: ``quarter`` ticks make a quarter note. A frame is one cell of an eighth-note grid (sixteenth where the
meter counts sixteenths); cells in which neither note nor figure begins are joined to the one before. A *profile* has
one column for each place on the line of fifths from ``-SHIFT`` upwards, ``PLACES`` in all. Internal to the study.

Public: Timeline, Frames, timeline, frames_of, levels_at, PLACES, SHIFT.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from math import lcm
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gracewright.pitch import FIFTHS
from gracewright.score import Meter, Piece
from gracewright.study.metre import FINEST, levels_of

PLACES: Final = 40
SHIFT: Final = 18
HIGH: Final = 1 << 20

Ints = NDArray[np.int64]
Floats = NDArray[np.floating[Any]]


@dataclass(frozen=True)
class Timeline:
    """Sounding notes sorted by onset; ``held`` marks those tied to the note before."""

    quarter: int
    onset: Ints
    end: Ints
    midi: Ints
    place: Ints  # on the line of fifths, plus SHIFT
    held: NDArray[np.bool_]
    bar_start: Ints  # of each bar, and the end of the last one

    def ticks(self, time: Fraction) -> int:
        return time.numerator * self.quarter // time.denominator

    def time(self, ticks: int) -> Fraction:
        return Fraction(int(ticks), self.quarter)


@dataclass(frozen=True)
class Frames:
    """Frames in order. ``level`` is the metrical level of each start, ``beat`` and ``group`` number the beat and the
    half bar (or bar) a frame lies in."""

    quarter: int
    start: Ints
    end: Ints
    level: Ints
    bar: Ints
    beat: Ints
    group: Ints
    now: Floats  # share of the frame in which each place sounds
    begin: Floats  # sounding as the frame begins
    low: Ints  # lowest note: midi * 64 + place; HIGH where silent
    top: Ints  # highest note, likewise; 0 where silent

    def __len__(self) -> int:
        return len(self.start)

    @cached_property
    def length(self) -> Ints:
        return self.end - self.start

    def part(self, first: int, stop: int) -> Frames:
        """Frames ``first`` to ``stop``, beats and groups counted anew."""
        if first == 0 and stop >= len(self):
            return self
        span = slice(first, stop)
        return Frames(
            self.quarter, self.start[span], self.end[span], self.level[span], self.bar[span],
            self.beat[span] - self.beat[first], self.group[span] - self.group[first], self.now[span],
            self.begin[span], self.low[span], self.top[span],
        )  # fmt: skip


def timeline(piece: Piece) -> Timeline:
    """The piece in integer ticks."""
    notes = [note for note in piece.notes if note.pitch is not None and note.length and not note.cue]
    bars = [bar.onset for bar in piece.bars] + [piece.length]
    denominators = {note.onset.denominator for note in notes} | {note.length.denominator for note in notes}
    denominators |= {onset.denominator for onset in bars} | {2}
    quarter = lcm(*denominators)
    onset = np.array([n.onset.numerator * (quarter // n.onset.denominator) for n in notes], dtype=np.int64)
    length = np.array([n.length.numerator * (quarter // n.length.denominator) for n in notes], dtype=np.int64)
    pitches = [note.pitch for note in notes]
    midi = np.array([pitch.midi for pitch in pitches if pitch], dtype=np.int64)
    place = np.array([FIFTHS[p.step] + 7 * p.alter for p in pitches if p], dtype=np.int64) + SHIFT
    return Timeline(
        quarter, onset, onset + length, midi, np.clip(place, 0, PLACES - 1),
        np.array([note.tie_in for note in notes], dtype=bool),
        np.array([int(time * quarter) for time in bars], dtype=np.int64),
    )  # fmt: skip


def frames_of(piece: Piece, line: Timeline) -> Frames:
    """Cut the timeline into frames and measure what sounds in each."""
    start, bar = _grid(piece, line)
    total = int(line.bar_start[-1])
    cell = np.searchsorted(start, line.onset, side="right") - 1
    used = np.zeros(len(start), dtype=bool)
    used[cell[~line.held]] = True
    figured = [line.ticks(figure.onset) for figure in piece.figures]
    used[np.searchsorted(start, figured, side="right") - 1] = True
    used[0] = True
    start, bar = start[used], bar[used]
    end = np.append(start[1:], total)
    level, beat, group = _metre(piece, line, start, bar)
    first = np.searchsorted(start, line.onset, side="right") - 1
    last = np.searchsorted(start, line.end, side="left") - 1
    count = np.maximum(last - first + 1, 1)
    note = np.repeat(np.arange(len(first)), count)
    frame = np.arange(len(note)) - np.repeat(np.cumsum(count) - count, count) + first[note]
    frame = np.minimum(frame, len(start) - 1)
    share = np.minimum(line.end[note], end[frame]) - np.maximum(line.onset[note], start[frame])
    size = len(start) * PLACES
    slot = frame * PLACES + line.place[note]
    weight = share / np.maximum(end - start, 1)[frame]
    now = np.minimum(np.bincount(slot, weights=weight, minlength=size), 1.0).astype(np.float32)
    starting = line.onset[note] <= start[frame]
    begin = np.minimum(np.bincount(slot[starting], minlength=size), 1).astype(np.float32)
    code = line.midi * 64 + line.place
    low = np.full(len(start), HIGH, dtype=np.int64)
    np.minimum.at(low, frame, code[note])
    top = np.zeros(len(start), dtype=np.int64)
    np.maximum.at(top, frame, code[note])
    shape = (len(start), PLACES)
    return Frames(line.quarter, start, end, level, bar, beat, group, now.reshape(shape), begin.reshape(shape), low, top)


def _grid(piece: Piece, line: Timeline) -> tuple[Ints, Ints]:
    starts: list[Ints] = []
    bars: list[Ints] = []
    for bar, begin, end in zip(piece.bars, line.bar_start[:-1].tolist(), line.bar_start[1:].tolist(), strict=True):
        unit = max(1, line.quarter // 4 if bar.meter.unit >= 16 else line.quarter // 2)
        cells = np.arange(begin + (end - begin) % unit, end, unit, dtype=np.int64)
        if not len(cells) or cells[0] != begin:
            cells = np.append(np.int64(begin), cells)
        if end > begin:
            starts.append(cells)
            bars.append(np.full(len(cells), bar.index, dtype=np.int64))
    if not starts:
        return np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
    return np.concatenate(starts), np.concatenate(bars)


def levels_at(piece: Piece, line: Timeline, times: Ints) -> Ints:
    """Metrical level of any times in ticks."""
    bar = np.clip(np.searchsorted(line.bar_start, times, side="right") - 1, 0, len(piece.bars) - 1)
    return _metre(piece, line, times, bar)[0]


def _metre(piece: Piece, line: Timeline, start: Ints, bar: Ints) -> tuple[Ints, Ints, Ints]:
    """Metrical level of each time; running numbers of its beat and of its half bar (bar in triple time)."""
    spans = np.zeros((len(piece.bars), FINEST + 1), dtype=np.int64)
    by_meter: dict[Meter, tuple[list[int], int, int]] = {}
    shift = np.zeros(len(piece.bars), dtype=np.int64)
    beats, groups = np.ones(len(piece.bars), dtype=np.int64), np.ones(len(piece.bars), dtype=np.int64)
    for row in piece.bars:
        if row.meter not in by_meter:
            ticks = [max(1, int(span * line.quarter)) for span in levels_of(row.meter)][: FINEST + 1]
            many = row.meter.length / row.meter.beat
            halves = many >= 4 and many % 2 == 0
            by_meter[row.meter] = ticks, max(1, int(row.meter.beat * line.quarter)), ticks[1] if halves else ticks[0]
        spans[row.index], beats[row.index], groups[row.index] = by_meter[row.meter]
        if row.pickup and row.length < row.meter.length:
            shift[row.index] = int((row.meter.length - row.length) * line.quarter)
    offset = start - line.bar_start[bar] + shift[bar]
    fits = offset[:, None] % spans[bar] == 0
    level = np.where(fits.any(axis=1), fits.argmax(axis=1), FINEST + 1)
    return level, _running(bar, offset // beats[bar]), _running(bar, offset // groups[bar])


def _running(bar: Ints, inner: Ints) -> Ints:
    fresh = np.ones(len(bar), dtype=np.int64)
    fresh[1:] = (bar[1:] != bar[:-1]) | (inner[1:] != inner[:-1])
    return np.cumsum(fresh) - 1
