"""Places to breathe inside a phrase that is longer than a breath.

Conventions: common practice, no source. Good places follow a long note, stand before a leap, after the first note of
a strong beat, or between the legs of a sequence, and take their time from the note before; bad ones tear a slur, or
fall before a downbeat; none stands between a cadence's dominant and its arrival. The set of places with the least
cost is found by dynamic programming over the phrase. A player who needs no breath may read them as commas.

Public: Breathing, breathing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gracewright.score import Tone
from gracewright.study.frames import Floats, Ints
from gracewright.study.material import Material
from gracewright.study.model import Breath, Cadence
from gracewright.study.model import Sequence as Pattern

LONGEST: Final = 8.0  # seconds played in one breath without thinking of it
SHORTEST: Final = 3.0  # seconds between two breaths that nobody wants closer
EACH: Final = 3.0  # cost of any breath
TOO_LONG: Final = 6.0  # cost of a second beyond these
TOO_SHORT: Final = 2.0
LAST: Final = 1.0  # seconds of the last note that must be had: it may be left early
NEVER: Final = 1e6
LEAP: Final = 3  # staff places: a fourth
REASONS: Final = (
    "a rest", "a leg of the sequence ends", "a long note", "a leap follows", "the strong beat is over",
    "the line divides here more easily than elsewhere",
)  # fmt: skip
WORTH: Final = (3.0, 1.5, 1.5, 0.7, 0.7)  # of all reasons but the last
TORN, DOWNBEAT, HASTE, ENDING = 4.0, 0.8, 0.6, 2.0


@dataclass(frozen=True)
class Breathing:
    """After each tone of the melody: what a breath costs there, and the first of REASONS that speaks for it."""

    material: Material
    second: float  # of a tick
    cost: Floats
    reason: Ints

    def within(self, first: int, last: int) -> tuple[Breath, ...]:
        """Breaths within the phrase of melody tones ``first`` to ``last``; none where it lasts one breath."""
        onsets = self.material.melody_onsets[first : last + 1]
        begin, end = int(onsets[0]), int(self.material.melody_ends[last])
        if (end - begin) * self.second <= LONGEST:
            return ()
        end = min(end, int(onsets[-1] + LAST / self.second))
        places = self._likeliest(first, last)
        times = [0.0, *((self.material.melody_onsets[places + 1] - begin) * self.second).tolist()]
        chosen = _chosen([0.0, *self.cost[places].tolist()], times, (end - begin) * self.second)
        tones = self.material.melody
        return tuple(
            Breath(tones[places[at - 1]].id, tones[places[at - 1]].end, round(times[at] - times[before], 2),
                   REASONS[int(self.reason[places[at - 1]])])
            for before, at in chosen
        )  # fmt: skip

    def _likeliest(self, first: int, last: int) -> Ints:
        """The cheapest place of every second of a phrase."""
        places = np.arange(first, last)
        moment = (self.material.melody_onsets[places + 1] * self.second).astype(np.int64)
        order = np.lexsort((places, self.cost[places], moment))
        _, at = np.unique(moment[order], return_index=True)
        return np.sort(places[order][at])


def _chosen(cost: Sequence[float], times: Sequence[float], end: float) -> list[tuple[int, int]]:
    """The cheapest breaths, as pairs of the place before (0: the beginning) and their own."""
    best, back = [0.0], [0]
    for stop, time in enumerate([*times[1:], end], start=1):
        least, chosen = NEVER * NEVER, 0
        for begin in range(stop - 1, -1, -1):
            span = time - times[begin]
            total = best[begin] + TOO_LONG * max(0.0, span - LONGEST) + TOO_SHORT * max(0.0, SHORTEST - span)
            if total < least:
                least, chosen = total, begin
            if span > 2 * LONGEST:
                break
        best.append(least + (cost[stop] if stop < len(cost) else 0.0))
        back.append(chosen)
    found: list[tuple[int, int]] = []
    stop = back[-1]
    while stop > 0:
        found.append((back[stop], stop))
        stop = back[stop]
    return found[::-1]


def breathing(
    material: Material, cadences: Sequence[Cadence], patterns: Sequence[Pattern], ends: Floats, tempo: Fraction
) -> Breathing:
    """What a breath costs after each tone; ``ends`` are the chances that a phrase ends with it."""
    melody, onsets = material.melody, material.melody_onsets
    ahead = np.append(onsets[1:], material.melody_ends[-1:])
    length = material.melody_ends - onsets
    beats = {bar.meter: int(bar.meter.beat * material.line.quarter) for bar in material.piece.bars}
    beat = np.array([beats[material.piece.bars[tone.bar].meter] for tone in melody])
    weight = np.array(material.melody_weights)
    there = np.append(weight[1:], 1.0)
    place = np.array([tone.pitch.diatonic for tone in melody])
    legs = material.ticks_of(leg.start for pattern in patterns for leg in pattern.legs)
    favours = np.stack([
        ahead > material.melody_ends, np.isin(ahead, legs), (length >= beat) & (length > np.append(length[1:], 0)),
        np.abs(np.diff(place, append=place[-1:])) >= LEAP, (weight > there) & (weight >= 0.5),
    ])  # fmt: skip
    cost = EACH - np.array(WORTH) @ favours - ENDING * ends + TORN * _slurred(melody)
    cost = np.maximum(cost + DOWNBEAT * (there == 1.0) + HASTE * (length < beat / 2), 0.1)
    cost[_closing(material, cadences, ahead)] = NEVER
    reason = np.where(favours.any(axis=0), favours.argmax(axis=0), len(REASONS) - 1)
    return Breathing(material, 60 / float(tempo) / material.line.quarter, cost, reason)


def _closing(material: Material, cadences: Sequence[Cadence], ahead: Ints) -> NDArray[np.bool_]:
    """Whether a breath after each tone would fall between a cadence's dominant and its arrival."""
    begin = material.ticks_of(cadence.dominant_onset for cadence in cadences)
    arrival = material.ticks_of(cadence.onset for cadence in cadences)
    depth = np.zeros(len(ahead) + 1, dtype=np.int64)
    np.add.at(depth, np.searchsorted(ahead, begin, side="right"), 1)
    np.add.at(depth, np.searchsorted(ahead, arrival, side="right"), -1)
    return np.asarray(np.cumsum(depth)[:-1] > 0)


def _slurred(melody: Sequence[Tone]) -> NDArray[Any]:
    """Whether each tone is bound to the next by a slur."""
    open_slurs: set[str] = set()
    bound = []
    for tone in melody:
        if tone.marks.slur_stops or tone.marks.slur_starts:
            open_slurs = (open_slurs - set(tone.marks.slur_stops)) | set(tone.marks.slur_starts)
        bound.append(bool(open_slurs))
    return np.array(bound, dtype=np.float64)
