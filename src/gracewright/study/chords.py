"""Chords: a learned score of every root and quality on every frame, and the likeliest succession in the local keys.

Conventions: a chord is ``root * QUALITIES + quality`` with the root a place number. Of all chords the ``KEPT`` best of
each frame are followed by dynamic programming (Viterbi); a change costs more on weak places, and follows the counted
habits of chords in their key. Inversion is read from the bass afterwards, along the same lines.

Public: ChordPath, read_chords, chord_scores.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from gracewright.study.evidence import chord_windows, seen_from
from gracewright.study.frames import PLACES, SHIFT, Floats, Frames, Ints
from gracewright.study.keys import FIRST_TONIC
from gracewright.study.tables import QUALITIES, weights

KEPT: Final = 16
COUNT: Final = len(QUALITIES)
REACH: Final = 8  # roots within so many fifths of the tonic have their own habits
CHUNK: Final = 1024


@dataclass(frozen=True)
class ChordPath:
    """Of each frame: root (place number), quality (index), inversion, and how sure (0..1)."""

    root: Ints
    quality: Ints
    inversion: Ints
    sure: Floats


def roots_of(frames: Frames) -> Ints:
    """Places that may be roots: all between the flattest and the sharpest note of the piece."""
    used = np.nonzero(frames.now.any(axis=0))[0]
    return np.arange(used[0], used[-1] + 1) if len(used) else np.array([SHIFT])


def chord_scores(windows: Floats, roots: Ints) -> Floats:
    """Log probability of each root and quality, shape (frames, roots * QUALITIES)."""
    layer = weights().layers["chord"]
    score = np.concatenate([layer.scores(seen_from(windows, int(root))) for root in roots], axis=1)
    score -= score.max(axis=1, keepdims=True)
    score -= np.log(np.exp(score).sum(axis=1, keepdims=True))
    return score


def read_chords(frames: Frames, key_columns: Ints, extra: Floats | None = None) -> ChordPath:
    """The likeliest chords, given the local key of each frame; ``extra`` adds evidence (figures), same shape."""
    roots = roots_of(frames)
    windows = chord_windows(frames)
    pieces = [chord_scores(windows[at : at + CHUNK], roots) for at in range(0, len(frames), CHUNK)]
    score = np.concatenate(pieces)
    if extra is not None:
        score = score + extra
    path, sure = _best_path(frames, score, roots, key_columns)
    root, quality = roots[path // COUNT], path % COUNT
    return ChordPath(root, quality, _inversions(frames, windows, root, quality), sure)


def relative(root: Ints, quality: Ints, key_columns: Ints) -> Ints:
    """Chords as their key sees them: one number for each mode-free degree and quality."""
    tonic = FIRST_TONIC + key_columns // 2
    return np.asarray(np.clip(root - tonic, -REACH, REACH) + REACH, dtype=np.int64) * COUNT + quality


def _best_path(frames: Frames, score: Floats, roots: Ints, key_columns: Ints) -> tuple[Ints, Floats]:
    learned, numbers = weights().tables, weights().numbers
    kept = min(KEPT, score.shape[1])
    best = np.argpartition(-score, kept - 1, axis=1)[:, :kept]
    here = np.take_along_axis(score, best, axis=1)
    mode = key_columns % 2
    degree = relative(roots[best // COUNT], best % COUNT, key_columns[:, None])
    habit = np.stack([learned["habit_major"][0], learned["habit_minor"][0]])
    trust, wont = np.float32(numbers["chords.trust"]), np.float32(numbers["chords.habit"])
    local = here * trust + wont * habit[mode[:, None], degree]
    moves = np.stack([learned["moves_major"], learned["moves_minor"]])
    change = np.float32(numbers["chords.change"]) + np.float32(numbers["chords.weak"]) * np.minimum(frames.level, 5)
    ahead = local[0].astype(np.float64)
    back = np.zeros((len(frames), kept), dtype=np.int64)
    before = relative(roots[best[:-1] // COUNT], best[:-1] % COUNT, key_columns[1:, None])
    for begin in range(1, len(frames), CHUNK):
        end = min(begin + CHUNK, len(frames))
        span = slice(begin, end)
        step = np.float32(numbers["chords.move"]) * moves[
            mode[span, None, None], before[begin - 1 : end - 1, :, None], degree[span, None, :]
        ] - change[span, None, None]
        step[best[begin - 1 : end - 1, :, None] == best[span, None, :]] = 0
        for frame in range(begin, end):
            total = ahead[:, None] + step[frame - begin]
            back[frame] = total.argmax(axis=0)
            ahead = total.max(axis=0) + local[frame]
    choice = np.empty(len(frames), dtype=np.int64)
    choice[-1] = ahead.argmax()
    for frame in range(len(frames) - 1, 0, -1):
        choice[frame - 1] = back[frame, choice[frame]]
    rows = np.arange(len(frames))
    path = best[rows, choice]
    return path, np.exp(score[rows, path])


def _inversions(frames: Frames, windows: Floats, root: Ints, quality: Ints) -> Ints:
    """Which member is the bass: scored for each frame, then summed over the frames of a chord on one bass note."""
    layer = weights().layers["inversion"]
    seen = np.empty((len(frames), layer.first.shape[0]), dtype=np.float32)
    for place in np.unique(root):
        rows = root == place
        seen[rows] = inversion_features(windows[rows], int(place), quality[rows])
    score = layer.scores(seen)
    triad = np.array([name in ("major", "minor", "diminished", "augmented") for name in QUALITIES])
    score[triad[quality], 3] = -99
    change = np.float32(weights().numbers["inversions.change"])
    same = np.zeros(len(frames), dtype=bool)
    same[1:] = (root[1:] == root[:-1]) & (quality[1:] == quality[:-1])
    return _smooth(score, same, change)


def inversion_features(windows: Floats, root: int, quality: Ints) -> Floats:
    """Bass windows seen from the root, and the quality."""
    bass = windows[:, BASS_WINDOWS]
    return np.concatenate([seen_from(bass, root), np.eye(COUNT, dtype=np.float32)[quality]], axis=1)


BASS_WINDOWS: Final = [6, 7, 8, 9, 10, 0, 1]


def _smooth(score: Floats, same: np.ndarray, change: np.float32) -> Ints:
    count, kinds = score.shape
    step = np.full((kinds, kinds), -change, dtype=np.float32)
    np.fill_diagonal(step, 0)
    flat = np.zeros((kinds, kinds), dtype=np.float32)
    ahead = score[0].astype(np.float64)
    back = np.zeros((count, kinds), dtype=np.int64)
    for frame in range(1, count):
        total = ahead[:, None] + (step if same[frame] else flat)
        back[frame] = total.argmax(axis=0)
        ahead = total.max(axis=0) + score[frame]
    choice = np.empty(count, dtype=np.int64)
    choice[-1] = ahead.argmax()
    for frame in range(count - 1, 0, -1):
        choice[frame - 1] = back[frame, choice[frame]]
    return choice


assert PLACES > SHIFT
