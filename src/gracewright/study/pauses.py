"""Where a chorale pauses, and what each beat sees of the line it belongs to.

A chorale visits keys line by line, and the chord under the fermata says which: a beat looks ahead to the pause of its
line and back to the one before.

Conventions: a pause is the frame on which the last note of a line begins; windows as in
:mod:`gracewright.study.evidence`. Internal to the study.

Public: LineView, pauses_of, line_view.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from gracewright.score import Piece
from gracewright.study.evidence import dominants, mean_between, stacked, sums_of
from gracewright.study.frames import PLACES, Floats, Frames, Ints, Timeline

FEWEST: Final = 3
FARTHEST: Final = 32  # quarters a line may last on average
APART: Final = 2  # fermatas nearer than so many quarters are one pause
TAIL: Final = 4  # quarters after the last fermata that make a line of their own


@dataclass(frozen=True)
class LineView:
    """For each beat: windows (beats, 14, WIDTH), a dominant arriving at the next and the last pause as a major and as
    a minor chord (beats, 4, PLACES), and how far off they are (beats, 5)."""

    windows: Floats
    arrivals: Floats
    facts: Floats


def pauses_of(piece: Piece, line: Timeline, frames: Frames) -> Ints:
    """Frames of the pauses of a chorale, in order; none where the piece does not pause line by line."""
    marked = sorted({line.ticks(note.onset) for note in piece.notes if note.marks.fermata})
    kept: list[int] = []
    for time in marked:
        if kept and time - kept[-1] < APART * frames.quarter:
            kept.pop()
        kept.append(time)
    if len(kept) < FEWEST or frames.end[-1] > FARTHEST * frames.quarter * len(kept):
        return np.zeros(0, dtype=np.int64)
    found = np.searchsorted(frames.start, kept, side="right") - 1
    if kept[-1] < frames.start[-1] - TAIL * frames.quarter:
        found = np.append(found, len(frames) - 1)
    return np.asarray(found, dtype=np.int64)


def line_view(frames: Frames, first: Ints, field: Floats, pauses: Ints) -> LineView:
    """What the beats whose first frames are ``first`` see of their line; ``field`` is the chord field."""
    pauses = pauses if len(pauses) else np.array([len(frames) - 1])
    ahead = np.minimum(np.searchsorted(pauses, first, side="left"), len(pauses) - 1)
    known = (ahead > 0).astype(np.float32)
    there, last = pauses[ahead], pauses[np.maximum(ahead - 1, 0)]
    begin, stop = np.where(ahead > 0, last + 1, 0), there + 1
    flat = field.reshape(len(field), -1)
    sounding = sums_of(frames, frames.now)
    whole = mean_between(frames, sums_of(frames, flat), begin, stop).reshape(-1, 4, PLACES)
    rows = [
        *(field[there, family] for family in range(4)), *(field[last, family] * known[:, None] for family in range(4)),
        *(whole[:, family] for family in range(4)), mean_between(frames, sounding, begin, stop),
        mean_between(frames, sounding, np.minimum(first, there), stop),
    ]  # fmt: skip
    reached = np.minimum(dominants(field), 1)[:, None] * field[:, :2]
    near = np.maximum(reached, np.maximum(_moved(reached, 1), _moved(reached, -1)))
    arrivals = np.concatenate([near[there], near[last] * known[:, None, None]], axis=1)
    quarter = frames.quarter
    to = np.clip((frames.start[there] - frames.start[first]) / quarter, 0, 8) / 8
    since = np.where(ahead > 0, np.clip((frames.start[first] - frames.start[last]) / quarter, 0, 8), 8) / 8
    ones = np.ones(len(first))
    facts = np.stack([ones, to, since, to <= 1 / 8, ahead == len(pauses) - 1], axis=1)
    return LineView(stacked(*rows), arrivals.astype(np.float32), facts.astype(np.float32))


def _moved(values: Floats, by: int) -> Floats:
    """Each row's neighbour; at the ends the row itself."""
    return values[np.clip(np.arange(len(values)) + by, 0, len(values) - 1)]
