"""The shake that a strong cadence asks for: on which note, or why not.

Conventions: the note is looked for from the start of the dominant to the arrival: the last one that moves on by step
(degree 2 or 7 to the tonic, or the note before a close on the dominant), is not itself an anticipation of the close,
and is the longest where two would do. Where that note cannot be shaken, a lean from above serves it (common practice).

Public: Wanted, wanted_shakes.
"""

from __future__ import annotations

from bisect import bisect_left
from dataclasses import dataclass

from gracewright.study.model import Cadence, Study
from gracewright.taste.allowed import WHY, Allowed
from gracewright.taste.sites import Sites, strong


@dataclass(frozen=True, slots=True)
class Wanted:
    """A strong cadence: ``site`` that takes the shake (-1: none), or ``why`` not, told of ``place``; ``leans`` where
    the note is the right one for it, so that another grace from above may stand there."""

    cadence: Cadence
    site: int
    place: int
    why: str = ""
    leans: bool = False


def wanted_shakes(sites: Sites, study: Study, allowed: Allowed, shake: int) -> tuple[Wanted, ...]:
    """One for every strong cadence that the solo line takes part in. ``shake`` is the shake's column."""
    onsets = [tone.onset for tone in sites.tones]
    found = []
    for cadence in study.cadences:
        if not strong(cadence):
            continue
        arrival = sites.index.get(cadence.arrival, -1)
        end = arrival if arrival >= 0 else bisect_left(onsets, cadence.onset)
        named = sites.index.get(cadence.penultimate, -1)
        start = min(bisect_left(onsets, cadence.dominant_onset), named if named >= 0 else end)
        places = list(range(max(0, start), end))
        if not places:
            continue
        found.append(_choose(sites, cadence, allowed, shake, places, arrival))
    return tuple(found)


def _choose(
    sites: Sites, cadence: Cadence, allowed: Allowed, shake: int, places: list[int], arrival: int
) -> Wanted:
    last = places[-1]
    goal = sites.places[arrival] if arrival >= 0 else None
    if goal is not None and sites.places[last] == goal and len(places) > 1:
        places = places[:-1]  # the last note touches the close early: the shake stands before it
    if goal is not None:
        steps = [index for index in places if abs(int(sites.places[index] - goal)) == 1]
    else:
        steps = places
    if not steps:
        leap = "the tune leaps into the close, so there is no second degree or leading note to shake"
        return Wanted(cadence, -1, last, leap)
    tail = [index for index in steps if index >= places[-1] - 2]
    best = max(tail or steps, key=lambda index: (not allowed.codes[index, shake], sites.seconds[index], index))
    code = int(allowed.codes[best, shake])
    if code:
        return Wanted(cadence, -1, best, WHY[code], leans=True)
    return Wanted(cadence, best, best)
