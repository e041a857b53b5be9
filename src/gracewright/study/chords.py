"""Chords: two learned scorers, and the likeliest succession.

The first scorer looks at the notes alone and gives every root and quality a probability on every frame; local keys
are read from that (:mod:`gracewright.study.keys`). The second looks at the ``TOP`` likeliest roots again, now knowing
the key and the chords before and after. The succession is then found by dynamic programming (Viterbi); a change costs
more on weak places. Inversion is read from the bass afterwards.

Conventions: a chord is ``root * QUALITIES + quality`` with the root a place number.

Public: ChordPath, roots_of, first_scores, second_scores, second_features, chord_path, inversion_features, top_roots,
in_the_running, inversion_scores, smooth_inversions.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.study.evidence import NEAR, REACH, spread, view
from gracewright.study.frames import SHIFT, Floats, Frames, Ints
from gracewright.study.keys import FIRST_TONIC, log_softmax
from gracewright.study.tables import QUALITIES, weights

TOP: Final = 4
BEHIND: Final = 5.0  # log odds at which a root is out of the running
NOTHING: Final = -40.0
KEPT: Final = 6
COUNT: Final = len(QUALITIES)
OFF: Final = 8  # roots within so many fifths of the tonic have their own weight
HOMES: Final = 2 * OFF + 1
TRIAD: Final = np.array([name in ("major", "minor", "diminished", "augmented") for name in QUALITIES])


@dataclass(frozen=True)
class ChordPath:
    """Of each frame: root (place number), quality (index), inversion, and how sure (0..1)."""

    root: Ints
    quality: Ints
    inversion: Ints
    sure: Floats


def roots_of(frames: Frames, more: Sequence[int] = ()) -> Ints:
    """Places that may be roots: all between the flattest and the sharpest note of the piece, and ``more``."""
    used = [*np.nonzero(frames.now.any(axis=0))[0].tolist(), *more]
    return np.arange(min(used), max(used) + 1) if used else np.array([SHIFT])


def first_scores(windows: Floats, facts: Floats, roots: Ints) -> Floats:
    """Log probability of each root and quality from the notes alone, shape (frames, roots * COUNT)."""
    layer = weights().layers["chord"]
    edge = windows.shape[1] * (2 * REACH + 1)
    hidden = spread(layer.first[:edge], windows, roots, REACH)
    hidden += (facts @ layer.first[edge:])[:, None]
    return log_softmax(layer.finish(hidden).reshape(len(windows), -1))


def top_roots(score: Floats, roots: Ints) -> Ints:
    """Indices into ``roots`` of the likeliest roots of each frame, shape (frames, up to TOP)."""
    best = score.reshape(len(score), len(roots), COUNT).max(axis=2)
    kept = min(TOP, len(roots))
    return np.argpartition(-best, kept - 1, axis=1)[:, :kept]


def in_the_running(score: Floats, roots: Ints, top: Ints) -> NDArray[np.bool_]:
    """Which of the top roots are not far behind the best, shape (frames, top)."""
    best = score.reshape(len(score), len(roots), COUNT).max(axis=2)[np.arange(len(top))[:, None], top]
    return np.asarray(best > best.max(axis=1, keepdims=True) - BEHIND)


def second_features(
    windows: Floats, facts: Floats, field: Floats, keys: Ints, own: Floats, root: int, rows: Ints
) -> Floats:
    """All that is known of the frames ``rows`` as one root sees them; ``own`` holds that root's first scores."""
    home = np.eye(2 * HOMES, dtype=np.float32)[_homes(root, keys[rows])]
    seen = [view(windows, root, REACH, rows), facts[rows], home, view(field, root, NEAR, rows), own[rows]]
    return np.concatenate(seen, axis=1)


def _homes(root: int, keys: Ints) -> Ints:
    """Where a root stands in each key: fifths from the tonic, major keys first."""
    return np.asarray(np.clip(root - (FIRST_TONIC + keys // 2), -OFF, OFF) + OFF + HOMES * (keys % 2))


def second_scores(
    windows: Floats, facts: Floats, field: Floats, keys: Ints, first: Floats, roots: Ints, top: Ints,
    running: NDArray[np.bool_],
) -> Floats:  # fmt: skip
    """Log probability of each quality on each of the top roots that are ``running``, shape (frames, top * COUNT).

    As ``second_features`` sees them, one kind of feature after another, without laying them side by side.
    """
    layer = weights().layers["chord_in_key"]
    widths = (windows.shape[1] * (2 * REACH + 1), facts.shape[1], 2 * HOMES, field.shape[1] * (2 * NEAR + 1), COUNT)
    sounding, metre, home, around, own = np.split(layer.first, np.cumsum(widths)[:-1])
    told = facts @ metre
    by_root = (first - first.max(axis=1, keepdims=True)).reshape(len(first), len(roots), COUNT)
    score = np.full((*top.shape, COUNT), NOTHING, dtype=np.float32)
    for index, root in enumerate(roots.tolist()):
        rows, columns = np.nonzero((top == index) & running)
        if len(rows):
            hidden = view(windows, root, REACH, rows) @ sounding
            hidden += view(field, root, NEAR, rows) @ around
            hidden += told[rows] + home[_homes(root, keys[rows])] + by_root[rows, index] @ own
            score[rows, columns] = layer.finish(hidden)
    return log_softmax(score.reshape(len(first), -1))


def chord_path(frames: Frames, score: Floats, top: Ints, roots: Ints) -> tuple[Ints, Ints, Floats]:
    """Root, quality and probability of the likeliest chord of each frame."""
    numbers = weights().numbers
    kept = min(KEPT, score.shape[1])
    slot = np.argpartition(-score, kept - 1, axis=1)[:, :kept]
    rows = np.arange(len(frames))[:, None]
    local = score[rows, slot].astype(np.float64)
    chord = top[rows, slot // COUNT] * COUNT + slot % COUNT
    cost = numbers["chords.change"] + numbers["chords.weak"] * np.minimum(frames.level, 5)
    stays = chord[:-1, :, None] == chord[1:, None, :]
    held = np.where(stays.any(axis=1), stays.argmax(axis=1), -1)
    chosen = _stay_or_go(local, held, cost)
    at = np.arange(len(frames))
    found = chord[at, chosen]
    return roots[found // COUNT], found % COUNT, np.exp(local[at, chosen]).astype(np.float32)


def _stay_or_go(local: NDArray[np.float64], held: Ints, cost: NDArray[np.float64]) -> Ints:
    """Viterbi where a move costs the same whatever the states: compare staying with leaving the best one.

    ``held`` gives for each later frame and state the same state's place in the frame before, -1 where it is new. Plain
    numbers: so few states are quicker to walk than to make arrays of.
    """
    rows: list[list[float]] = local.tolist()
    ahead = rows[0]
    back: list[list[int]] = []
    for row, same, price in zip(rows[1:], held.tolist(), cost[1:].tolist(), strict=True):
        best = max(ahead)
        leave, go = ahead.index(best), best - price
        came = [at if at >= 0 and ahead[at] >= go else leave for at in same]
        ahead = [
            (ahead[at] if at == origin else go) + here for at, origin, here in zip(same, came, row, strict=True)
        ]
        back.append(came)
    here = ahead.index(max(ahead))
    chosen = [here]
    for came in reversed(back):
        here = came[here]
        chosen.append(here)
    return np.array(chosen[::-1], dtype=np.int64)


def inversion_scores(windows: Floats, facts: Floats, root: Ints, quality: Ints) -> Floats:
    """Score of each member being the bass, shape (frames, 4); ``windows`` are those of the bass."""
    layer = weights().layers["inversion"]
    seen = np.empty((len(root), layer.first.shape[0]), dtype=np.float32)
    for place in np.unique(root).tolist():
        rows = root == place
        seen[rows] = inversion_features(windows[rows], facts[rows], int(place), quality[rows])
    score = log_softmax(layer.scores(seen))
    score[TRIAD[quality], 3] = -99
    return score


def inversion_features(windows: Floats, facts: Floats, root: int, quality: Ints) -> Floats:
    """Bass windows seen from the root, the quality, metre and texture."""
    return np.concatenate([view(windows, root, REACH), np.eye(COUNT, dtype=np.float32)[quality], facts], axis=1)


def smooth_inversions(score: Floats, root: Ints, quality: Ints) -> Ints:
    """The likeliest inversions, a change within a chord costing something."""
    change = weights().numbers["inversions.change"]
    kinds = score.shape[1]
    local = score.astype(np.float64)
    cost = np.zeros(len(score))
    cost[1:] = np.where((root[1:] == root[:-1]) & (quality[1:] == quality[:-1]), change, 0.0)
    return _stay_or_go(local, np.broadcast_to(np.arange(kinds), (len(score) - 1, kinds)), cost)
