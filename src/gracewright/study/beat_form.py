"""Where a beat lies: metre, section, signs on the page, and whether an earlier passage begins anew after it.

Conventions: one row for each beat; bars are counted from the first full downbeat of the section, so that a phrase of
four bars that begins with an upbeat ends in its fourth. Internal to the study; the order of the columns is the order
in which weights were learned.

Public: place_facts, page_facts, parallel_facts.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gracewright.study.beats import Beats
from gracewright.study.frames import Floats, Ints

NONE: Final = -99
CELLS: Final = 4  # to a beat, where rhythms are compared


def place_facts(beats: Beats) -> Floats:
    """Bars since the section's first downbeat and until its end, alone and within groups of two, four and eight."""
    section = beats.section[beats.bar]
    _, down, end = beats.section_spans
    since, until = (beats.start - down[section]) / beats.full, (end[section] - beats.start) / beats.full
    whole, left = np.floor(since).astype(int), np.ceil(until).astype(int)
    inside = since - whole
    columns = [
        np.clip(since, -1, 16) / 16, np.clip(until, 0, 16) / 16, since < 0, inside, beats.full / beats.beat / 4,
        beats.beat / beats.material.line.quarter / 2,
    ]  # fmt: skip
    fours, from_end, downbeat = np.eye(4)[whole % 4], np.eye(4)[left % 4], (inside == 0)[:, None]
    groups = [np.eye(8)[whole % 8], fours, from_end, np.eye(2)[whole % 2], fours * downbeat, from_end * downbeat]
    level = np.eye(6)[np.minimum(beats.material.frames.level[beats.first], 5)]
    return np.concatenate([_table(columns), *groups, level], axis=1).astype(np.float32)


def page_facts(beats: Beats) -> Floats:
    """Shakes before the beat, fermatas on it, bar lines near it, and whether a sequence runs on."""
    material, start, bar = beats.material, beats.start, beats.bar
    frames, line, bars = material.frames, material.line, material.piece.bars
    closing = np.append(beats.closing, True)
    opening = np.append([row.repeat_start for row in bars], False)
    trills, holds = _marked(beats)
    shaken = np.searchsorted(trills, start) - np.searchsorted(trills, start - 2 * beats.beat)
    columns = [
        np.minimum(shaken, 1), np.isin(start, holds), beats.running, closing[bar],
        closing[bar] & (bar == len(bars) - 1), closing[np.maximum(bar - 1, 0)], opening[bar + 1],
        np.minimum((line.bar_start[bar + 1] - start) / beats.beat, 4) / 4,
        (frames.end[-1] - start) / beats.beat < 3,
    ]  # fmt: skip
    return _table(columns)


def _marked(beats: Beats) -> tuple[Ints, Ints]:
    """Times of shakes and of fermatas, sorted."""
    line = beats.material.line
    trills: list[int] = []
    holds: list[int] = []
    for note in beats.material.piece.notes:
        if note.marks.signs and any("trill" in sign.element or "wavy" in sign.element for sign in note.marks.signs):
            trills.append(line.ticks(note.onset))
        if note.marks.fermata:
            holds.append(line.ticks(note.onset))
    return np.array(sorted(trills), dtype=np.int64), np.array(sorted(holds), dtype=np.int64)


class _Grid:
    """Where a line begins notes, on a grid of quarter beats: staff places (NONE where nothing begins) and steps."""

    def __init__(self, onsets: Ints, tones: Any, cell: int, cells: int) -> None:
        at = onsets // cell
        self.place = np.full(cells, NONE)
        self.place[at[::-1]] = [tone.pitch.diatonic for tone in reversed(tones)]
        self.struck = self.place != NONE
        used = np.flatnonzero(self.struck)
        self.step = np.zeros(cells, dtype=np.int64)
        self.step[used[1:]] = np.diff(self.place[used])


def parallel_facts(beats: Beats) -> Floats:
    """How alike what follows is to what stood one to eight bars earlier, and to the opening of piece and section."""
    material = beats.material
    cell = max(1, int(np.median(beats.beat)) // CELLS)
    cells = int(material.line.bar_start[-1]) // cell + 2
    bar = max(1, int(np.median(beats.full)) // cell)
    melody = _Grid(material.melody_onsets, material.melody, cell, cells)
    ground = _Grid(material.ground_onsets, material.ground, cell, cells)
    at = beats.start // cell
    columns: list[NDArray[Any]] = []
    for bars in (1, 2, 4, 8):
        columns += _alike(melody, at, bars * bar, ((1, bar + 1), (-bar, 1)))
        columns += _alike(ground, at, bars * bar, ((1, bar + 1),))
    begin = material.melody_onsets[
        np.minimum(np.searchsorted(material.melody_onsets, beats.section_spans[0]), len(material.melody) - 1)
    ]
    for opening in (np.full(len(beats), begin[0]), begin[beats.section[beats.bar]]):
        columns += _opening_again(beats, melody, opening, cell, bar)
    return _table(columns)


def _alike(grid: _Grid, at: Ints, lag: int, windows: tuple[tuple[int, int], ...]) -> list[NDArray[Any]]:
    """Shares of a window's attacks (and of those with the same staff place) found ``lag`` cells earlier."""
    cells = len(grid.place)
    earlier = np.full(cells, NONE)
    earlier[lag:] = grid.place[: max(0, cells - lag)]
    both = grid.struck & (earlier != NONE)
    sums = [np.append(0, np.cumsum(x)) for x in (both, both & (grid.place == earlier), grid.struck | (earlier != NONE))]
    columns: list[NDArray[Any]] = []
    for begin, end in windows:
        first, stop = np.clip(at + begin, 0, cells), np.clip(at + end, 0, cells)
        met, same, either = (total[stop] - total[first] for total in sums)
        known = (at >= lag) / np.maximum(either, 1)
        columns += [met * known, same * known]
    return columns


def _opening_again(beats: Beats, grid: _Grid, opening: Ints, cell: int, bar: int) -> list[NDArray[Any]]:
    """Likeness of an opening with what begins at the next place in the bar where that opening begins."""
    line, start = beats.material.line, beats.start
    upbeat = beats.upbeat
    opening_bar = np.clip(np.searchsorted(line.bar_start, opening, side="right") - 1, 0, len(upbeat) - 1)
    wanted = opening - line.bar_start[opening_bar] + upbeat[opening_bar]
    here = start - line.bar_start[beats.bar] + upbeat[beats.bar]
    gap = (wanted - here - 1) % beats.full + 1
    again = start + gap
    columns: list[NDArray[Any]] = []
    for width in (bar, 2 * bar):
        span = np.arange(width)
        one = np.clip((again // cell)[:, None] + span, 0, len(grid.place) - 1)
        other = np.clip((opening // cell)[:, None] + span, 0, len(grid.place) - 1)
        met = grid.struck[one] & grid.struck[other]
        either = np.maximum((grid.struck[one] | grid.struck[other]).sum(axis=1), 1)
        fits = (again + width * cell <= line.bar_start[-1]) / either
        steps = (met & (grid.step[one] == grid.step[other]))[:, 1:]
        places = met & (grid.place[one] == grid.place[other])
        columns += [met.sum(axis=1) * fits, steps.sum(axis=1) * fits, places.sum(axis=1) * fits]
    between = np.searchsorted(beats.material.melody_onsets, again) - np.searchsorted(
        beats.material.melody_onsets, start, side="right"
    )
    struck = grid.struck[np.clip(again // cell, 0, len(grid.place) - 1)]
    return [*columns, np.minimum(gap / beats.beat, 4) / 4, struck, np.minimum(between, 4) / 4, between == 0]


def _table(columns: list[NDArray[Any]]) -> Floats:
    return np.stack([np.asarray(column, dtype=np.float32) for column in columns], axis=1)
