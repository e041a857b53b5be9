"""Local keys: a learned score of every tonic and mode on every beat, and the smoothest path through them.

Conventions: keys are columns ``2 * (tonic - FIRST_TONIC) + minor``; tonics are place numbers of
:mod:`gracewright.study.frames`. The path is found by dynamic programming over beats (Viterbi), a change costing more
the farther the keys lie apart and the weaker the beat.

Public: KeyPath, KeyView, key_scores, key_features, key_path, confirmed, key_spans, key_at, FIRST_TONIC, TONICS,
log_softmax.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np

from gracewright.pitch import Key, class_from_fifths
from gracewright.study.evidence import REACH, WIDE, spread, view
from gracewright.study.frames import SHIFT, Floats, Frames, Ints, Timeline
from gracewright.study.model import KeySpan
from gracewright.study.pauses import LineView
from gracewright.study.tables import weights

FIRST_TONIC: Final = SHIFT - 8
TONICS: Final = 18
LOWEST: Final = -4
HIGHEST: Final = 7
FAR: Final = 6
OUT_OF_QUESTION: Final = -40.0
UNLIKELY: Final = -3.0  # log probability under which no close confirms a key
LONGEST_CLOSE: Final = 3  # beats before the arrival that a close confirms at most
_SIGNATURES: Final = FIRST_TONIC - SHIFT + np.arange(2 * TONICS) // 2 - 3 * (np.arange(2 * TONICS) % 2)


@dataclass(frozen=True)
class KeyPath:
    """The key of each beat (``path``), log probabilities of all keys (``score``), first frame of each beat."""

    first: Ints
    path: Ints
    score: Floats
    chorale: bool = False

    def of_frames(self, frames: Frames) -> Ints:
        return np.asarray(self.path[frames.beat], dtype=np.int64)


def key_at(column: int) -> Key:
    """The key of a column."""
    return Key(FIRST_TONIC - SHIFT + column // 2, "minor" if column % 2 else "major")


@dataclass(frozen=True)
class KeyView:
    """What is known of each beat: windows of notes and of chords, dominants that arrive, signature and texture, and
    its line or section."""

    notes: Floats
    chords: Floats
    arrivals: Floats
    signatures: Ints
    texture: Floats
    lines: LineView

    def own(self, tonic: int) -> Floats:
        """What is no window, as one tonic sees it."""
        lines = [self.lines.arrivals[:, :, tonic], self.lines.facts]
        return np.concatenate(
            [self.arrivals[:, :, tonic], _signature(self.signatures, tonic), self.texture, *lines], axis=1
        )

    def windows(self) -> tuple[tuple[Floats, int], ...]:
        """Its windows, each with its reach."""
        return (self.notes, REACH), (self.chords, WIDE), (self.lines.windows, WIDE)


def key_features(seen: KeyView, tonic: int) -> Floats:
    """All that is known of each beat as one tonic sees it, shape (beats, features)."""
    parts = [view(windows, tonic, reach) for windows, reach in seen.windows()]
    return np.concatenate([*parts, seen.own(tonic)], axis=1)


def _signature(signatures: Ints, tonic: int) -> Floats:
    offset = np.clip(tonic - SHIFT - signatures, LOWEST, HIGHEST) - LOWEST
    return np.eye(HIGHEST - LOWEST + 1, dtype=np.float32)[offset]


def key_scores(seen: KeyView, places: Ints) -> Floats:
    """Log probability of each key on each beat, shape (beats, 2 * TONICS).

    Only tonics among the neighbouring ``places`` or next to them are in question.
    """
    layer = weights().layers["key"]
    low, high = int(places[0]) - 1, int(places[-1]) + 1
    tonics = np.arange(max(low, FIRST_TONIC), min(high, FIRST_TONIC + TONICS - 1) + 1)
    if not len(tonics):
        tonics = np.arange(FIRST_TONIC, FIRST_TONIC + TONICS)
    hidden: Floats = np.zeros((len(seen.notes), len(tonics), layer.first.shape[1]), dtype=np.float32)
    edge = 0
    for windows, reach in seen.windows():
        stop = edge + windows.shape[1] * (2 * reach + 1)
        hidden += spread(layer.first[edge:stop], windows, tonics, reach)
        edge = stop
    own = np.stack([seen.own(tonic) for tonic in tonics.tolist()], axis=1)
    found = layer.finish(hidden + own @ layer.first[edge:])
    score = np.full((len(own), TONICS, 2), OUT_OF_QUESTION, dtype=np.float32)
    score[:, tonics - FIRST_TONIC] = found
    return log_softmax(score.reshape(len(own), -1))


def log_softmax(score: Floats) -> Floats:
    """Scores as log probabilities."""
    shifted = score - score.max(axis=1, keepdims=True)
    return np.asarray(shifted - np.log(np.exp(shifted).sum(axis=1, keepdims=True)), dtype=np.float32)


def key_path(frames: Frames, first: Ints, score: Floats, signatures: Ints, chorale: bool = False) -> KeyPath:
    """The smoothest path through the scores; a chorale visits keys line by line and clings less to its home key.

    What is printed at the clef speaks once for the whole piece, so that it tells where there are few notes to go by.
    """
    numbers = weights().numbers
    away = np.abs(_SIGNATURES[None] - signatures[:, None])
    score = score - numbers["keys.printed"] * away.astype(np.float32) / len(score)
    restless = numbers[f"{_dials(chorale)}.restless"]
    score = log_softmax(score - restless * score.mean(axis=0, keepdims=True))
    return KeyPath(first, _smoothest(frames, first, score, chorale), score, chorale)


def confirmed(frames: Frames, keys: KeyPath, closes: Sequence[tuple[int, int, Key]]) -> KeyPath:
    """The path again, now that closes are known: an authentic cadence confirms its key.

    Each close has the times in ticks of its dominant and of its arrival, and its key. Where all stand in the key of the
    path already, the path stays.
    """
    start = frames.start[keys.first]
    more = np.zeros(keys.score.shape, dtype=np.float32)
    news = False
    for begin, arrival, key in closes:
        column = 2 * (key.tonic_fifths + SHIFT - FIRST_TONIC) + (key.mode == "minor")
        if not 0 <= column < 2 * TONICS:
            continue
        last = int(np.searchsorted(start, arrival, side="right")) - 1
        if keys.score[last, column] < UNLIKELY:
            continue
        first = max(int(np.searchsorted(start, begin, side="right")) - 1, last - LONGEST_CLOSE, 0)
        more[first : last + 1, column] += weights().numbers["keys.confirm"]
        news = news or int(keys.path[last]) != column
    if not news:
        return keys
    return replace(keys, path=_smoothest(frames, keys.first, keys.score, keys.chorale, more))


def _dials(chorale: bool) -> str:
    return "chorale_keys" if chorale else "keys"


def _smoothest(
    frames: Frames, first: Ints, score: Floats, chorale: bool, more: Floats | None = None
) -> Ints:
    numbers, dials = weights().numbers, _dials(chorale)
    likely = score.max(axis=0) > -FAR
    if more is not None:
        likely |= more.max(axis=0) > 0
    used = np.flatnonzero(likely)
    column = np.arange(2 * TONICS)
    apart = np.abs(_SIGNATURES[:, None] - _SIGNATURES[None, :])
    costs = numbers[f"{dials}.change"] + numbers[f"{dials}.distance"] * np.minimum(apart, 6)
    costs[column, column] = 0
    factor = 1 + numbers[f"{dials}.weak"] * np.minimum(frames.level[first], 4) / 4
    local = score * numbers[f"{dials}.trust"] + (0 if more is None else more)
    return np.asarray(used[viterbi(local[:, used], -costs[np.ix_(used, used)], factor)])


def viterbi(score: Floats, change: Floats, factor: Floats) -> Ints:
    """Best path: local scores (steps, states), scores of a move (states, states), a factor on moves for each step."""
    count, states = score.shape
    local = score.astype(np.float64)
    back = np.empty((count, states), dtype=np.int64)
    ahead = local[0].copy()
    turned = np.ascontiguousarray(change.T)
    rows = np.arange(states)
    for step in range(1, count):
        total = ahead + turned * factor[step]
        at = total.argmax(axis=1)
        back[step] = at
        ahead = total[rows, at] + local[step]
    path = np.empty(count, dtype=np.int64)
    here = int(ahead.argmax())
    for step in range(count - 1, 0, -1):
        path[step] = here
        here = int(back[step, here])
    path[0] = here
    return path


def key_spans(line: Timeline, frames: Frames, keys: KeyPath) -> tuple[KeySpan, ...]:
    """Runs of one key, each with its margin over the runner-up and what speaks for it."""
    edges = [0, *(np.nonzero(np.diff(keys.path))[0] + 1).tolist(), len(keys.path)]
    spans = []
    for begin, end in pairwise(edges):
        start = int(frames.start[keys.first[begin]])
        last = int(frames.start[keys.first[end]]) if end < len(keys.path) else int(frames.end[-1])
        column = int(keys.path[begin])
        totals = keys.score[begin:end].mean(axis=0)
        here = float(totals[column])
        totals[column] = -np.inf
        runner = int(totals.argmax())
        key, other = key_at(column), key_at(runner)
        inside = slice(int(keys.first[begin]), int(keys.first[end]) if end < len(keys.path) else len(frames))
        margin = round(float(1 / (1 + np.exp(min(50.0, float(totals[runner]) - here)))), 3)
        words = _evidence(frames, inside, key, other)
        spans.append(KeySpan(line.time(start), line.time(last - start), key, margin, other, words))
    return tuple(spans)


def _evidence(frames: Frames, inside: slice, key: Key, other: Key) -> str:
    """Words for what tells the key from the runner-up."""
    heard = np.asarray(frames.now[inside].sum(axis=0) > 0)
    leading = key.tonic_fifths + 5 + SHIFT
    parts = []
    if 0 <= leading < len(heard) and heard[leading]:
        parts.append(f"leading note {key.leading}")
    here = set(_collection(key)) - set(_collection(other))
    telling = [class_from_fifths(f) for f in sorted(here) if 0 <= f + SHIFT < len(heard) and heard[f + SHIFT]]
    telling = [name for name in telling if name != key.leading]
    if telling:
        parts.append(f"{', '.join(telling)} where {other} has none")
    return "; ".join(parts) or "the notes of its scale"


def _collection(key: Key) -> range:
    return range(key.signature - 1, key.signature + 6)
