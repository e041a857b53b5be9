"""Evidence for chords and keys: what sounds around each frame, seen from every possible root and tonic.

Conventions: a *window* is a profile over the line of fifths (see :mod:`gracewright.study.frames`). Seen from a root,
a window keeps the ``SPAN`` places from ``-BELOW`` to ``+ABOVE`` fifths: enough for every chord member and neighbour.
Internal to the study.

Public: chord_windows, key_windows, seen_from, CHORD_WINDOWS, KEY_WINDOWS, BELOW, SPAN.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from gracewright.study.frames import HIGH, PLACES, Floats, Frames, Ints

BELOW: Final = 10
ABOVE: Final = 10
SPAN: Final = BELOW + ABOVE + 1
CHORD_WINDOWS: Final = (
    "now", "begin", "beat", "group", "before", "after", "low", "low beat", "low group", "low before", "low after",
    "top", "previous", "next",
)  # fmt: skip
KEY_WINDOWS: Final = ("beat", "before 2", "before 8", "after 2", "after 8", "low 4", "low after", "piece")


def chord_windows(frames: Frames) -> Floats:
    """Windows of each frame, shape (frames, CHORD_WINDOWS, PLACES)."""
    beat, beat_low = _pooled(frames, frames.beat)
    group, group_low = _pooled(frames, frames.group)
    low = _one_hot(frames.low)
    sums = _sums(frames, frames.now)
    quarter = frames.quarter
    return np.stack(
        [
            frames.now, frames.begin, beat, group,
            _span(frames, sums, frames.start - quarter, frames.start),
            _span(frames, sums, frames.end, frames.end + quarter),
            low, _one_hot(beat_low), _one_hot(group_low), _shifted(low, 1), _shifted(low, -1),
            _one_hot(np.where(frames.top > 0, frames.top, HIGH)), _shifted(frames.now, 1), _shifted(frames.now, -1),
        ],
        axis=1,
    )  # fmt: skip


def key_windows(frames: Frames) -> Floats:
    """Windows of each frame, shape (frames, KEY_WINDOWS, PLACES); numbers in the names are quarters."""
    sums = _sums(frames, frames.now)
    lows = _sums(frames, _one_hot(frames.low))
    start, end, quarter = frames.start, frames.end, frames.quarter
    beat, _ = _pooled(frames, frames.beat)
    whole = np.broadcast_to(sums[-1] / max(1.0, float(sums[-1].sum())), beat.shape).astype(np.float32)
    return np.stack(
        [
            beat,
            _span(frames, sums, start - 2 * quarter, start), _span(frames, sums, start - 8 * quarter, start),
            _span(frames, sums, start, end + 2 * quarter), _span(frames, sums, start, end + 8 * quarter),
            _span(frames, lows, start - 4 * quarter, end), _span(frames, lows, start, end + 4 * quarter), whole * 4,
        ],
        axis=1,
    )  # fmt: skip


def seen_from(windows: Floats, root: int) -> Floats:
    """The windows as they look from a root (or tonic) at ``root`` in place numbers, shape (frames, windows * SPAN)."""
    first = root - BELOW
    if first >= 0 and first + SPAN <= PLACES:
        return windows[:, :, first : first + SPAN].reshape(len(windows), windows.shape[1] * SPAN)
    wide = np.pad(windows, ((0, 0), (0, 0), (SPAN, SPAN)))
    return wide[:, :, first + SPAN : first + 2 * SPAN].reshape(len(windows), windows.shape[1] * SPAN)


def _one_hot(codes: Ints) -> Floats:
    hot = np.zeros((len(codes), PLACES), dtype=np.float32)
    known = codes < HIGH
    hot[np.nonzero(known)[0], codes[known] % 64] = 1.0
    return hot


def _pooled(frames: Frames, group: Ints) -> tuple[Floats, Ints]:
    """Share of a group of frames in which each place sounds, and the lowest note of the group, for each frame."""
    first = np.searchsorted(group, np.arange(int(group[-1]) + 1))
    weight = frames.length.astype(np.float32)
    total = np.add.reduceat(weight, first)
    share = np.add.reduceat(frames.now * weight[:, None], first) / np.maximum(total, 1)[:, None]
    return share[group].astype(np.float32), np.minimum.reduceat(frames.low, first)[group]


def _sums(frames: Frames, profile: Floats) -> Floats:
    sums = np.zeros((len(frames) + 1, PLACES), dtype=np.float64)
    np.cumsum(profile * frames.length[:, None], axis=0, out=sums[1:])
    return sums.astype(np.float32)


def _span(frames: Frames, sums: Floats, begin: Ints, end: Ints) -> Floats:
    """Mean sounding of each place between two times of each frame (to the nearest frame)."""
    first = np.searchsorted(frames.start, begin, side="left")
    last = np.searchsorted(frames.start, end, side="left")
    edges = np.append(frames.start, frames.end[-1])
    length = np.maximum(edges[last] - edges[first], 1).astype(np.float32)
    return np.asarray((sums[last] - sums[first]) / length[:, None], dtype=np.float32)


def _shifted(profile: Floats, by: int) -> Floats:
    moved = np.zeros_like(profile)
    if by > 0:
        moved[by:] = profile[:-by]
    else:
        moved[:by] = profile[-by:]
    return moved
