"""Evidence for chords and keys: what sounds around each frame, seen from every possible root and tonic.

Conventions: a *window* is a profile over the line of fifths (see :mod:`gracewright.study.frames`). Seen from a root or
tonic, a window keeps the places from ``REACH`` fifths below to ``REACH`` above it. Windows carry a margin of
``MARGIN`` empty places on either side, so that every view lies inside. Internal to the study.

Public: chord_windows, bass_windows, frame_facts, key_windows, chord_field, field_windows, key_field_windows,
progressions, dominants, view, spread, stacked, sums_of, mean_between, MARGIN, REACH, NEAR, WIDE, whole_piece.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from gracewright.study.frames import HIGH, PLACES, Floats, Frames, Ints
from gracewright.study.tables import QUALITIES

MARGIN: Final = 10
WIDTH: Final = PLACES + 2 * MARGIN
REACH: Final = 10
NEAR: Final = 6  # reach of chord windows seen from a root
WIDE: Final = 8  # and from a tonic
FAMILIES: Final = (0, 1, 3, 0, 2, 1, 0, 1, 3, 3, 0)
"""Of each quality: like a major triad, a minor triad, a dominant seventh, or diminished."""
DOMINANT: Final = 1.0
PLAIN_DOMINANT: Final = 0.6


def chord_windows(frames: Frames) -> Floats:
    """What sounds now, in the beat, the half bar, before and after; the bass likewise. Shape (frames, 14, WIDTH)."""
    sums = sums_of(frames, frames.now)
    quarter = frames.quarter
    return stacked(
        frames.now, frames.begin, _pooled(frames, frames.beat), _pooled(frames, frames.group),
        _span(frames, sums, frames.start - quarter, frames.start),
        _span(frames, sums, frames.end, frames.end + quarter), *_basses(frames),
        _one_hot(np.where(frames.top > 0, frames.top, HIGH)), _shifted(frames.now, 1), _shifted(frames.now, -1),
    )  # fmt: skip


def bass_windows(frames: Frames) -> Floats:
    """The bass now, in the beat, the half bar, before and after, and what sounds now. Shape (frames, 7, WIDTH)."""
    return stacked(*_basses(frames), frames.now, frames.begin)


def _basses(frames: Frames) -> tuple[Floats, ...]:
    low = _one_hot(frames.low)
    lows = (_one_hot(_lowest(frames, group)) for group in (frames.beat, frames.group))
    return low, *lows, _shifted(low, 1), _shifted(low, -1)


def frame_facts(frames: Frames) -> Floats:
    """Metrical level (seven columns) and how many notes sound, shape (frames, 8)."""
    level = np.eye(7, dtype=np.float32)[np.minimum(frames.level, 6)]
    return np.concatenate([level, frames.begin.sum(axis=1, keepdims=True) / 4], axis=1)


def key_windows(frames: Frames, first: Ints, whole: Floats, last: Floats, close: Floats) -> Floats:
    """What sounds near and far around the frames ``first``, and in the whole piece. Shape (beats, 10, WIDTH)."""
    sums = sums_of(frames, frames.now)
    lows = sums_of(frames, _one_hot(frames.low))
    start, end, quarter = frames.start[first], frames.end[first], frames.quarter
    beat = _pooled(frames, frames.beat)

    def span(begin: Ints, stop: Ints) -> Floats:
        return _span(frames, sums, begin, stop)

    shape = (len(first), PLACES)
    return stacked(
        beat[first], span(start - 2 * quarter, start), span(start - 8 * quarter, start),
        span(start, end + 2 * quarter), span(start, end + 8 * quarter),
        _span(frames, lows, start - 4 * quarter, end), _span(frames, lows, start, end + 4 * quarter),
        np.broadcast_to(whole, shape), np.broadcast_to(last, shape), np.broadcast_to(close, shape),
    )  # fmt: skip


def whole_piece(frames: Frames) -> tuple[Floats, Floats, Floats]:
    """Profile of the whole piece, its last bass note, and its last two quarters, each of PLACES columns."""
    weighed = frames.length.astype(np.float64) @ frames.now
    whole = (4 * weighed / max(1.0, float(weighed.sum()))).astype(np.float32)
    sums = sums_of(frames, frames.now)
    end = frames.end[-1:]
    return whole, _one_hot(frames.low[-1:])[0], _span(frames, sums, end - 2 * frames.quarter, end)[0]


def chord_field(score: Floats, roots: Ints) -> Floats:
    """Probability that each place is the root of a chord of each family, shape (frames, 4, PLACES)."""
    best = score.max(axis=1, keepdims=True)
    likely = np.exp(score - best)
    likely /= likely.sum(axis=1, keepdims=True)
    likely = likely.reshape(len(score), len(roots), len(QUALITIES))
    field = np.zeros((len(score), 4, PLACES), dtype=np.float32)
    for column, family in enumerate(FAMILIES):
        field[:, family, roots[0] : roots[0] + len(roots)] += likely[:, :, column]
    return field


def field_windows(frames: Frames, field: Floats) -> Floats:
    """The chord field just before and after each frame, and farther off. Shape (frames, 32, WIDTH)."""
    quarter = frames.quarter
    start, end = frames.start, frames.end
    flat, used = _in_use(field)
    sums = sums_of(frames, flat)

    def span(begin: Ints, stop: Ints) -> Floats:
        return _span(frames, sums, begin, stop)

    def within(group: Ints) -> Floats:
        first = np.searchsorted(group, np.arange(int(group[-1]) + 1))
        stop = np.append(first[1:], len(group))
        return span(start[first], end[stop - 1])[group]

    return _fields(
        [_shifted(flat, 1), _shifted(flat, -1), span(start - 2 * quarter, start), span(end, end + 2 * quarter),
         within(frames.beat), within(frames.group), span(start - 6 * quarter, start - 2 * quarter),
         span(end + 2 * quarter, end + 6 * quarter)], used
    )  # fmt: skip


def key_field_windows(frames: Frames, first: Ints, field: Floats) -> Floats:
    """The chord field before and after the frames ``first``. Shape (beats, 16, WIDTH)."""
    quarter = frames.quarter
    flat, used = _in_use(field)
    sums = sums_of(frames, flat)
    start = frames.start[first]
    return _fields(
        [_span(frames, sums, start - 8 * quarter, start), _span(frames, sums, start - quarter, start),
         _span(frames, sums, start, start + 2 * quarter),
         _span(frames, sums, start + 2 * quarter, start + 8 * quarter)], used
    )  # fmt: skip


def _in_use(field: Floats) -> tuple[Floats, Ints]:
    """The columns (family * PLACES + place) of a chord field that are not all nothing, and which they are."""
    flat = field.reshape(len(field), -1)
    used = np.flatnonzero(flat.any(axis=0))
    return flat[:, used], used


def _fields(rows: list[Floats], used: Ints) -> Floats:
    """Rows of such columns as windows, one for each row and family."""
    windows = np.zeros((len(rows[0]), len(rows), 4, WIDTH), dtype=np.float32)
    for column, row in enumerate(rows):
        windows[:, column, used // PLACES, MARGIN + used % PLACES] = row
    return windows.reshape(len(windows), -1, WIDTH)


def progressions(frames: Frames, first: Ints, field: Floats) -> Floats:
    """How often a dominant went to each place as a major and as a minor chord, in four spans around ``first``.

    Shape (beats, 8, PLACES); counts end at 3.
    """
    dominant = dominants(field)
    arrivals = np.concatenate([dominant * field[:, 0], dominant * field[:, 1]], axis=1)
    sums = np.zeros((len(field) + 1, arrivals.shape[1]), dtype=np.float64)
    np.cumsum(arrivals, axis=0, out=sums[1:])
    start, quarter = frames.start[first], frames.quarter
    rows = []
    for begin, stop in ((-16, 0), (-4, 1), (1, 4), (0, 12)):
        low = np.searchsorted(frames.start, start + begin * quarter)
        high = np.searchsorted(frames.start, start + stop * quarter)
        rows.append((sums[high] - sums[low]).reshape(-1, 2, PLACES))
    return np.minimum(np.concatenate(rows, axis=1), 3).astype(np.float32)


def dominants(field: Floats) -> Floats:
    """How far the chord before each frame is the dominant of each place, shape (frames, PLACES)."""
    before = _shifted(field.reshape(len(field), -1), 1).reshape(field.shape)
    dominant = np.zeros((len(field), PLACES), dtype=np.float32)
    dominant[:, :-1] += DOMINANT * before[:, 2, 1:] + PLAIN_DOMINANT * before[:, 0, 1:]
    dominant[:, :-5] += PLAIN_DOMINANT * before[:, 3, 5:]
    return dominant


def view(windows: Floats, root: int, reach: int, rows: Ints | None = None) -> Floats:
    """The windows (or some rows of them) as they look from a root or tonic given as a place number.

    Shape (rows, windows * span).
    """
    first = root + MARGIN - reach
    span = 2 * reach + 1
    seen = windows[:, :, first : first + span] if rows is None else windows[rows, :, first : first + span]
    return seen.reshape(len(seen), windows.shape[1] * span)


def spread(weights: Floats, windows: Floats, roots: Ints, reach: int) -> Floats:
    """``view(windows, root, reach) @ weights`` for all (neighbouring) roots at once, shape (frames, roots, hidden)."""
    span, hidden = 2 * reach + 1, weights.shape[1]
    low = int(roots[0]) + MARGIN - reach
    width = len(roots) + span - 1
    table = np.zeros((windows.shape[1], width, len(roots), hidden), dtype=np.float32)
    block = weights.reshape(windows.shape[1], span, hidden)
    for column in range(len(roots)):
        table[:, column : column + span, column] = block
    seen = windows[:, :, low : low + width].reshape(len(windows), -1)
    return (seen @ table.reshape(-1, len(roots) * hidden)).reshape(len(windows), len(roots), hidden)


def stacked(*rows: Floats) -> Floats:
    """Profiles as windows, shape (rows, profiles, WIDTH)."""
    stacked = np.zeros((len(rows[0]), len(rows), WIDTH), dtype=np.float32)
    for column, row in enumerate(rows):
        stacked[:, column, MARGIN : MARGIN + PLACES] = row
    return stacked


def _one_hot(codes: Ints) -> Floats:
    hot = np.zeros((len(codes), PLACES), dtype=np.float32)
    known = codes < HIGH
    hot[np.nonzero(known)[0], codes[known] % 64] = 1.0
    return hot


def _pooled(frames: Frames, group: Ints) -> Floats:
    """Share of a group of frames in which each place sounds, for each frame."""
    first = np.searchsorted(group, np.arange(int(group[-1]) + 1))
    weight = frames.length.astype(np.float32)
    total = np.add.reduceat(weight, first)
    share = np.add.reduceat(frames.now * weight[:, None], first) / np.maximum(total, 1)[:, None]
    return np.asarray(share[group], dtype=np.float32)


def _lowest(frames: Frames, group: Ints) -> Ints:
    """The lowest note of a group of frames, for each frame."""
    first = np.searchsorted(group, np.arange(int(group[-1]) + 1))
    return np.asarray(np.minimum.reduceat(frames.low, first)[group])


def sums_of(frames: Frames, profile: Floats) -> Floats:
    """Running sums over time, one row more than there are frames."""
    sums = np.zeros((len(frames) + 1, profile.shape[1]), dtype=np.float32)
    np.cumsum(profile * frames.length[:, None].astype(np.float32), axis=0, out=sums[1:])
    return sums


def _span(frames: Frames, sums: Floats, begin: Ints, end: Ints) -> Floats:
    """Mean sounding of each column between two times of each row (to the nearest frame)."""
    first = np.searchsorted(frames.start, begin, side="left")
    last = np.searchsorted(frames.start, end, side="left")
    return mean_between(frames, sums, first, last)


def mean_between(frames: Frames, sums: Floats, first: Ints, stop: Ints) -> Floats:
    """Mean sounding of each column from one frame to before another, for each row."""
    edges = np.append(frames.start, frames.end[-1])
    length = np.maximum(edges[stop] - edges[first], 1).astype(np.float32)
    return np.asarray((sums[stop] - sums[first]) / length[:, None], dtype=np.float32)


def _shifted(profile: Floats, by: int) -> Floats:
    moved = np.zeros_like(profile)
    if by > 0:
        moved[by:] = profile[:-by]
    else:
        moved[:by] = profile[-by:]
    return moved
