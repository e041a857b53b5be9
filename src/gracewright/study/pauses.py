"""Where a piece pauses, and what each beat sees of the line or section it belongs to.

A chorale visits keys line by line, and the chord under the fermata says which; in other pieces the end of a section
(a repeat sign, a double bar) says where the music went. A beat looks ahead to the pause of its passage and back to the
one before.

Conventions: a pause is the frame on which the last note of a line begins, or the last frame of a section; windows as
in :mod:`gracewright.study.evidence`. Internal to the study.

Public: Pauses, LineView, pauses_of, line_view.
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
CLOSE: Final = 4  # quarters before the end of a section in which its cadence arrives
NEAR: Final = 8  # quarters to a pause: all nearer, and
FAR: Final = 24  # farther off, are told apart


@dataclass(frozen=True)
class Pauses:
    """Frames of the pauses in order; the last chord arrives on a frame from ``first`` to before ``stop``."""

    at: Ints
    first: Ints
    stop: Ints
    chorale: bool  # whether the piece pauses line by line

    def moved(self, place: Ints) -> Pauses:
        """The same pauses where each frame stands at another ``place``."""
        at = place[self.at]
        return Pauses(at, at - self.at + self.first, at - self.at + self.stop, self.chorale)

    def inside(self, begin: int, end: int) -> Pauses:
        """Those on the frames ``begin`` to before ``end``, counted from ``begin``."""
        kept = (self.at >= begin) & (self.at < end)
        span = end - begin
        first, stop = np.maximum(self.first[kept] - begin, 0), np.minimum(self.stop[kept] - begin, span)
        return Pauses(self.at[kept] - begin, first, stop, self.chorale)


@dataclass(frozen=True)
class LineView:
    """For each beat: windows (beats, 14, WIDTH), a dominant arriving at the next and the last pause as a major and as
    a minor chord (beats, 8, PLACES), and how far off they are (beats, 7)."""

    windows: Floats
    arrivals: Floats
    facts: Floats


def pauses_of(piece: Piece, line: Timeline, frames: Frames) -> Pauses:
    """The fermatas of a chorale; the ends of sections of any other piece, its own end last."""
    marked = sorted({line.ticks(note.onset) for note in piece.notes if note.marks.fermata})
    kept: list[int] = []
    for time in marked:
        if kept and time - kept[-1] < APART * frames.quarter:
            kept.pop()
        kept.append(time)
    last = len(frames) - 1
    if len(kept) >= FEWEST and frames.end[-1] <= FARTHEST * frames.quarter * len(kept):
        at = np.searchsorted(frames.start, kept, side="right") - 1
        if kept[-1] < frames.start[-1] - TAIL * frames.quarter:
            at = np.append(at, last)
        return Pauses(at, np.maximum(at - 1, 0), np.minimum(at + 2, len(frames)), chorale=True)
    bars = piece.bars
    ends = [line.ticks(bar.end) for bar, after in zip(bars, [*bars[1:], None], strict=True)
            if after is None or bar.repeat_end or bar.double_bar or bar.final_bar or after.repeat_start]  # fmt: skip
    at = np.unique(np.maximum(np.searchsorted(frames.start, ends, side="left") - 1, 0))
    first = np.searchsorted(frames.start, frames.end[at] - CLOSE * frames.quarter, side="left")
    return Pauses(at, np.minimum(first, at), at + 1, chorale=False)


def line_view(frames: Frames, first: Ints, field: Floats, pauses: Pauses) -> LineView:
    """What the beats whose first frames are ``first`` see of their line; ``field`` is the chord field."""
    if not len(pauses.at):
        last_frame = np.array([len(frames) - 1])
        pauses = Pauses(last_frame, last_frame, last_frame + 1, pauses.chorale)
    ahead = np.minimum(np.searchsorted(pauses.at, first, side="left"), len(pauses.at) - 1)
    behind = np.maximum(ahead - 1, 0)
    known = (ahead > 0).astype(np.float32)
    there, last = pauses.at[ahead], pauses.at[behind]
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
    best = np.stack([reached[a:b].max(axis=0) for a, b in zip(pauses.first, pauses.stop, strict=True)])
    quarter = frames.quarter
    to = np.maximum(frames.start[there] - frames.start[first], 0) / quarter
    since = np.where(ahead > 0, np.maximum(frames.start[first] - frames.start[last], 0) / quarter, FAR)
    goal = best[ahead]
    arrivals = np.concatenate(
        [goal, best[behind] * known[:, None, None], goal * (0.5 ** (to / NEAR))[:, None, None],
         goal * (0.5 ** (to / FAR))[:, None, None]], axis=1
    )  # fmt: skip
    facts = np.stack(
        [np.ones(len(first)), np.minimum(to, NEAR) / NEAR, np.minimum(since, NEAR) / NEAR, to <= 1,
         ahead == len(pauses.at) - 1, np.minimum(to, FAR) / FAR, np.minimum(since, FAR) / FAR], axis=1
    )  # fmt: skip
    return LineView(stacked(*rows), arrivals.astype(np.float32), facts.astype(np.float32))
