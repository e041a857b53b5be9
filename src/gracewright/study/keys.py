"""Local keys: a learned score of every tonic and mode on every beat, and the smoothest path through them.

Conventions: keys are columns ``2 * (tonic - FIRST_TONIC) + minor``; tonics are place numbers of
:mod:`gracewright.study.frames`. The path is found by dynamic programming over beats (Viterbi), a change costing more
the farther the keys lie apart and the weaker the beat.

Public: KeyPath, read_keys, key_spans, FIRST_TONIC, TONICS.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Final

import numpy as np

from gracewright.pitch import Key, class_from_fifths
from gracewright.score import Piece
from gracewright.study.evidence import key_windows, seen_from
from gracewright.study.frames import SHIFT, Floats, Frames, Ints, Timeline
from gracewright.study.model import KeySpan
from gracewright.study.tables import weights

FIRST_TONIC: Final = SHIFT - 8
TONICS: Final = 18
LOWEST: Final = -4
HIGHEST: Final = 7


@dataclass(frozen=True)
class KeyPath:
    """The key of each beat (``path``), scores of all keys (``score``, log probabilities), first frame of each beat."""

    first: Ints
    path: Ints
    score: Floats
    margin: Floats
    runner_up: Ints

    def of_frames(self, frames: Frames) -> Ints:
        return np.asarray(self.path[frames.beat], dtype=np.int64)


def key_at(column: int) -> Key:
    """The key of a column."""
    return Key(FIRST_TONIC - SHIFT + column // 2, "minor" if column % 2 else "major")


def read_keys(piece: Piece, frames: Frames) -> KeyPath:
    """The most likely local key of every beat."""
    first = np.searchsorted(frames.beat, np.arange(int(frames.beat[-1]) + 1))
    score = _log_softmax(key_scores(piece, frames, first))
    numbers = weights().numbers
    path, best_through = _viterbi(
        score * np.float32(numbers["keys.trust"]), _change_costs(numbers), _beat_costs(frames, first, numbers)
    )
    rows = np.arange(len(path))
    others = best_through.copy()
    others[rows, path] = -np.inf
    runner = others.argmax(axis=1)
    margin = best_through[rows, path] - others[rows, runner]
    return KeyPath(first, path, score, margin, runner)


def key_features(piece: Piece, frames: Frames, first: Ints, tonic: int, windows: Floats) -> Floats:
    """Features of the beats seen from one tonic, shape (beats, features)."""
    signatures = np.array([bar.fifths for bar in piece.bars])[frames.bar[first]]
    offset = np.clip(tonic - SHIFT - signatures, LOWEST, HIGHEST) - LOWEST
    hot = np.eye(HIGHEST - LOWEST + 1, dtype=np.float32)[offset]
    return np.concatenate([seen_from(windows, tonic), hot], axis=1)


def key_scores(piece: Piece, frames: Frames, first: Ints) -> Floats:
    windows = key_windows(frames)[first]
    layer = weights().layers["key"]
    parts = [layer.scores(key_features(piece, frames, first, FIRST_TONIC + t, windows)) for t in range(TONICS)]
    return np.concatenate(parts, axis=1)


def _log_softmax(score: Floats) -> Floats:
    shifted = score - score.max(axis=1, keepdims=True)
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True)), dtype=np.float32)


def _change_costs(numbers: dict[str, float]) -> Floats:
    column = np.arange(2 * TONICS)
    signature = column // 2 - 3 * (column % 2)
    apart = np.abs(signature[:, None] - signature[None, :])
    costs = numbers["keys.change"] + numbers["keys.distance"] * np.minimum(apart, 6)
    costs[column, column] = 0
    return np.asarray(-costs, dtype=np.float32)


def _beat_costs(frames: Frames, first: Ints, numbers: dict[str, float]) -> Floats:
    """Factor on the cost of a change, larger on weak beats."""
    return np.asarray(1 + numbers["keys.weak"] * np.minimum(frames.level[first], 4) / 4, dtype=np.float32)


def _viterbi(score: Floats, change: Floats, factor: Floats) -> tuple[Ints, Floats]:
    """Best path, and for each beat and key the score of the best path through it."""
    count, keys = score.shape
    ahead = np.empty_like(score)
    back = np.empty((count, keys), dtype=np.int64)
    ahead[0] = score[0]
    for beat in range(1, count):
        steps = ahead[beat - 1][:, None] + change * factor[beat]
        back[beat] = steps.argmax(axis=0)
        ahead[beat] = steps.max(axis=0) + score[beat]
    behind = np.zeros_like(score)
    for beat in range(count - 2, -1, -1):
        behind[beat] = (change * factor[beat + 1] + (score[beat + 1] + behind[beat + 1])[None, :]).max(axis=1)
    path = np.empty(count, dtype=np.int64)
    path[-1] = ahead[-1].argmax()
    for beat in range(count - 1, 0, -1):
        path[beat - 1] = back[beat, path[beat]]
    return path, ahead + behind


def key_spans(line: Timeline, frames: Frames, keys: KeyPath) -> tuple[KeySpan, ...]:
    """Runs of one key, each with its margin over the runner-up and what speaks for it."""
    edges = [0, *(np.nonzero(np.diff(keys.path))[0] + 1).tolist(), len(keys.path)]
    spans = []
    for begin, end in itertools.pairwise(edges):
        start = int(frames.start[keys.first[begin]])
        last = int(frames.start[keys.first[end]]) if end < len(keys.path) else int(frames.end[-1])
        column = int(keys.path[begin])
        totals = keys.score[begin:end].sum(axis=0)
        totals[column] = -np.inf
        runner = int(totals.argmax())
        margin = float((keys.score[begin:end, column] - keys.score[begin:end, runner]).mean())
        key = key_at(column)
        inside = slice(int(keys.first[begin]), int(keys.first[end]) if end < len(keys.path) else len(frames))
        spans.append(
            KeySpan(line.time(start), line.time(last - start), key, _sure(margin), key_at(runner),
                    _evidence(frames, inside, key, key_at(runner)))
        )  # fmt: skip
    return tuple(spans)


def _sure(margin: float) -> float:
    return round(float(1 / (1 + np.exp(-margin))), 3)


def _evidence(frames: Frames, inside: slice, key: Key, other: Key) -> str:
    """Words for what tells the key from the runner-up."""
    heard = frames.now[inside].sum(axis=0)
    leading = key.tonic_fifths + 5 + SHIFT
    parts = []
    if 0 <= leading < len(heard) and heard[leading] > 0:
        parts.append(f"leading note {key.leading}")
    here = set(_collection(key)) - set(_collection(other))
    telling = [class_from_fifths(f) for f in sorted(here) if 0 <= f + SHIFT < len(heard) and heard[f + SHIFT] > 0]
    telling = [name for name in telling if name != key.leading]
    if telling:
        parts.append(f"{', '.join(telling)} where {other} has none")
    return "; ".join(parts) or "the notes of its scale"


def _collection(key: Key) -> range:
    return range(key.signature - 1, key.signature + 6)
