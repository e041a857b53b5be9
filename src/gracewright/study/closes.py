"""What a close looks like: how likely a cadence arrives on every beat, and a phrase ends.

It is read twice: first each beat by itself (:mod:`beat_harmony`, :mod:`beat_motion`, :mod:`beat_form`), then in the
light of what was thought of the beats around it (:mod:`surroundings`); the two readings are averaged.

Conventions: one row for each beat. Internal to the study.

Public: Closes, read_closes, close_features, ARRIVALS, SORTS, sorts_of, mean_chance.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

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

ARRIVALS: Final[tuple[CadenceKind | None, ...]] = (
    None, "authentic-perfect", "authentic-imperfect", "half", "deceptive", "evaded",
)  # fmt: skip
SORTS: Final = ("perfect", "authentic", "half", "broken", "phrase")
"""What is learned of each beat: a perfect authentic cadence arrives, an authentic one of either kind, a half cadence,
a deceptive or evaded one; a phrase ends."""
STRETCH: Final = 2048  # beats scored at once


@dataclass(frozen=True)
class Closes:
    """Of each beat: its start in ticks, the probability of each arrival (as ARRIVALS) and of a phrase end."""

    start: Ints
    arrival: Floats
    phrase: Floats


def read_closes(material: Material, reading: Reading, sequences: tuple[Sequence, ...]) -> Closes:
    """How likely every beat is a cadence of each kind, and the end of a phrase."""
    beats = Beats(material, reading)
    layers = weights().layers
    seen = close_features(beats, sequences)
    first = np.concatenate([layers["close"].scores(seen[at : at + STRETCH]) for at in range(0, len(seen), STRETCH)])
    again = layers["close_again"].scores(surroundings(beats, mean_chance(first)))
    return sorts_of(beats.start, mean_chance(first, again))


def close_features(beats: Beats, sequences: tuple[Sequence, ...]) -> Floats:
    """All that is known of each beat by itself, shape (beats, features)."""
    return np.concatenate(
        [chord_facts(beats), voice_facts(beats), note_facts(beats), rhythm_facts(beats), line_facts(beats),
         place_facts(beats), page_facts(beats, sequences), parallel_facts(beats)], axis=1
    )  # fmt: skip


def sorts_of(start: Ints, chance: Floats) -> Closes:
    """Chances of SORTS told as arrivals; what kind of broken cadence it is, the chords will tell."""
    perfect, authentic, half, broken, phrase = chance.T
    imperfect = np.maximum(authentic - perfect, 0)
    none = np.maximum(1 - perfect - imperfect - half - broken, 0)
    return Closes(start, np.stack([none, perfect, imperfect, half, broken, broken], axis=1), phrase)


def mean_chance(*scores: Floats) -> Floats:
    """The chance that the mean of some log odds gives."""
    mean = np.mean(np.stack(scores).astype(np.float64), axis=0)
    return np.asarray(1 / (1 + np.exp(-np.clip(mean, -30, 30))))
