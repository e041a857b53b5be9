"""What was thought of the other beats: closes come at regular distances and at the same place in the bar.

Conventions: ``chance`` has one row for each beat and one column for each of closes.SORTS. Internal to the study; the
order of the columns is the order in which weights were learned.

Public: surroundings, log_odds.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gracewright.study.beats import Beats
from gracewright.study.frames import Floats, Ints

AROUND: Final = (-4, -3, -2, -1, 1, 2, 3, 4)  # beats
BARS: Final = (-8, -6, -5, -4, -3, -2, -1, 1, 2, 3, 4, 5, 6, 8)
SPANS: Final = (
    (-8, -6), (-6, -4.01), (-4.01, -3), (-3, -2), (-2, -1), (-1, -0.01), (0.01, 1), (1, 2), (2, 3), (3, 4.01),
    (4.01, 6), (6, 8),
)  # fmt: skip
TOLD: Final = [1, 2, 4]  # authentic, half, phrase end
SIXTEENTHS: Final = 16


def log_odds(chance: Floats, least: float = 1e-4) -> Floats:
    """Logarithm of the odds of chances, kept finite."""
    kept = np.clip(chance, least, 1 - least)
    return np.asarray(np.log(kept / (1 - kept)))


def surroundings(beats: Beats, chance: Floats) -> Floats:
    """First thoughts about each beat, its neighbours, and beats some bars away, shape (beats, features)."""
    told = np.asarray(chance[:, TOLD], dtype=np.float64)
    start, full = beats.start, beats.full
    parts: list[NDArray[Any]] = [log_odds(chance) / 4, chance]
    rows = np.arange(len(beats))
    for shift in AROUND:
        at = rows + shift
        known = (at >= 0) & (at < len(beats))
        parts.append(np.where(known[:, None], told[np.clip(at, 0, len(beats) - 1)], 0))
    near = np.maximum(told, 0.7 * _highest(told, 1))
    for bars in BARS:
        time = start + bars * full
        at = np.clip(np.searchsorted(start, time), 0, len(beats) - 1)
        parts.append(np.where((start[at] == time)[:, None], near[at], 0))
    total = np.concatenate([np.zeros((1, len(TOLD))), np.cumsum(told, axis=0)])
    for begin, end in SPANS:
        first, stop = np.searchsorted(start, start + begin * full), np.searchsorted(start, start + end * full)
        parts.append(np.minimum(total[stop] - total[first], 2) / 2)
    parts += _at_the_same_place(beats, told)
    parts += [told / np.maximum(_highest(told, reach), 1e-6) for reach in (2, 4, 8)]
    return np.concatenate([np.asarray(part, dtype=np.float32) for part in parts], axis=1)


def _highest(told: Floats, reach: int) -> Floats:
    """The highest value within so many beats."""
    padded = np.pad(told, ((reach, reach), (0, 0)))
    return np.asarray(np.lib.stride_tricks.sliding_window_view(padded, 2 * reach + 1, axis=0).max(axis=-1))


def _at_the_same_place(beats: Beats, told: Floats) -> list[NDArray[Any]]:
    """How much of all that was thought lies at this place in the bar, also in every second and every fourth bar."""
    line = beats.material.line
    place = np.round((beats.start - line.bar_start[beats.bar]) / beats.full * SIXTEENTHS).astype(np.int64)
    total = np.maximum(told.sum(axis=0), 1e-6)
    share = told / total
    count = np.bincount(place)[place][:, None]
    here = _pooled(place, share)
    parts: list[NDArray[Any]] = [
        here * total / count * 4, here, np.broadcast_to(total / len(line.bar_start), told.shape)
    ]
    whole = np.floor((beats.start - beats.section_spans[1][beats.section[beats.bar]]) / beats.full).astype(np.int64)
    for bars in (2, 4):
        parts.append(_pooled((whole % bars) * (SIXTEENTHS + 1) + place, share) - share)
    return parts


def _pooled(place: Ints, share: Floats) -> Floats:
    """Sums over the rows with the same number, given back to each row."""
    return np.stack([np.bincount(place, weights=column)[place] for column in share.T], axis=1)
