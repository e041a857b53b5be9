"""What a close looks like: how likely a cadence arrives on every beat, and a phrase ends.

It is read twice: first each beat by itself (:mod:`beat_harmony`, :mod:`beat_motion`, :mod:`beat_form`), then in the
light of what was thought of the beats around it (:mod:`surroundings`); the two readings are averaged.

Conventions: one row for each beat. Internal to the study.

Public: Closes, read_closes, close_features, ARRIVALS, SORTS, sorts_of, mean_chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import groupby
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.study.beat_form import page_facts, parallel_facts, place_facts
from gracewright.study.beat_harmony import chord_facts, note_facts, voice_facts
from gracewright.study.beat_motion import line_facts, rhythm_facts
from gracewright.study.beats import Beats
from gracewright.study.frames import Floats, Ints
from gracewright.study.harmony import Reading
from gracewright.study.material import Material
from gracewright.study.model import CadenceKind, Sequence
from gracewright.study.surroundings import surroundings
from gracewright.study.tables import weights

ARRIVALS: Final[tuple[CadenceKind | None, ...]] = (None, "authentic-perfect", "authentic-imperfect", "half")
SORTS: Final = ("perfect", "authentic", "half", "broken", "phrase")
"""What is learned of each beat: a perfect authentic cadence arrives, an authentic one of either kind, a half cadence,
a deceptive or evaded one; a phrase ends."""
FACTS: Final = (
    chord_facts, voice_facts, note_facts, rhythm_facts, line_facts, place_facts, page_facts, parallel_facts,
)  # fmt: skip


@dataclass(frozen=True)
class Closes:
    """Of each beat: its start in ticks, the probability of each arrival (as ARRIVALS) and of a phrase end.

    ``apart`` is the start with later endings moved far from the first, which they do not follow; ``running`` marks
    beats within a sequence, after its first leg.
    """

    start: Ints
    arrival: Floats
    phrase: Floats
    apart: Ints
    running: NDArray[np.bool_]


def read_closes(material: Material, reading: Reading, sequences: tuple[Sequence, ...]) -> Closes:
    """How likely every beat is a cadence of each kind, and the end of a phrase."""
    beats = Beats(material, reading, sequences)
    first = _first_scores(beats)
    again = weights().layers["close_again"].scores(surroundings(beats, mean_chance(first)))
    return sorts_of(beats, mean_chance(first, again))


def _first_scores(beats: Beats) -> Floats:
    """Scores of each beat by itself; facts are used up one group after another, which spares memory."""
    layer = weights().layers["close"]
    hidden, row = np.zeros((len(beats), layer.first.shape[1]), dtype=np.float32), 0
    for facts in FACTS:
        seen = facts(beats)
        hidden += seen @ layer.first[row : row + seen.shape[1]]
        row += seen.shape[1]
    return layer.finish(hidden)


def close_features(beats: Beats) -> Floats:
    """All that is known of each beat by itself, shape (beats, features)."""
    return np.concatenate([facts(beats) for facts in FACTS], axis=1)


def sorts_of(beats: Beats, chance: Floats) -> Closes:
    """Chances of SORTS told as arrivals; broken cadences are too rare to be told from these chances."""
    perfect, authentic, half, _, phrase = _as_before_the_first_ending(beats, chance).T
    imperfect = np.maximum(authentic - perfect, 0)
    none = np.maximum(1 - perfect - imperfect - half, 0)
    arrival = np.stack([none, perfect, imperfect, half], axis=1)
    starts = beats.material.line.bar_start
    apart = beats.start + sum((beats.start >= starts[later]) * starts[-1] for _, (later, _) in _endings(beats))
    return Closes(beats.start, arrival, phrase, apart, beats.running)


def _as_before_the_first_ending(beats: Beats, chance: Floats) -> Floats:
    """A later ending follows the same bars as the first one: what arrives there on the same chord arrives here too."""
    starts, roots = beats.material.line.bar_start, beats.chords.root[beats.first]
    chance = chance.copy()
    for (first, stop), (begin, end) in _endings(beats):
        here = np.flatnonzero((beats.start >= starts[begin]) & (beats.start < starts[end]))
        time = beats.start[here] - starts[begin] + starts[first]
        there = np.minimum(np.searchsorted(beats.start, time), len(beats) - 1)
        same = (beats.start[there] == time) & (time < starts[stop]) & (roots[here] == roots[there])
        chance[here[same]] = np.maximum(chance[here[same]], chance[there[same]])
    return chance


def _endings(beats: Beats) -> list[tuple[tuple[int, int], tuple[int, int]]]:
    """Bars (from, up to) of each first ending, with those of a later ending that takes its place."""
    found: list[tuple[tuple[int, int], tuple[int, int]]] = []
    first: tuple[int, int] | None = None
    at = 0
    for numbers, run in groupby(bar.endings for bar in beats.material.piece.bars):
        here = (at, at + len(list(run)))
        at = here[1]
        if 1 in numbers:
            first = here
        elif numbers and first is not None:
            found.append((first, here))
    return found


def mean_chance(*scores: Floats) -> Floats:
    """The chance that the mean of some log odds gives."""
    mean = np.mean(np.stack(scores).astype(np.float64), axis=0)
    return np.asarray(1 / (1 + np.exp(-np.clip(mean, -30, 30))))
