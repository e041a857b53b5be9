"""Why a grace stands where it stands, in a teacher's words, from the very features that decided.

Public: why_chosen, why_here, why_required, source_of, how_made, effect_of, strength_of.
"""

from __future__ import annotations

import math
from typing import Final

from gracewright.graces import Grace
from gracewright.study.model import Cadence
from gracewright.taste.features import COLUMN, FEATURES
from gracewright.taste.manner import COMMON, Manner, kinds
from gracewright.taste.required import Wanted
from gracewright.taste.scores import Scores
from gracewright.taste.sites import Sites

LEARNED: Final = "learned from open scores"
MOST: Final = 3
"""Reasons told at most."""
MUSICAL: Final = (
    "cadence-close", "close-next", "suspended", "resolves", "dotted", "from-step-above",
    "from-step-below", "from-leap-above", "from-leap-below", "from-third-above", "from-third-below", "from-same",
    "from-rest", "high-point", "low-point", "upper-corner", "lower-corner", "leading-note", "raised", "phrase-first",
    "downbeat", "longest-of-bar", "leads-group", "syncopated", "expressive",
)  # fmt: skip
"""Features that a player would give as a reason; the others are for reckoning."""
CADENCES: Final = {
    "authentic-perfect": "a full close",
    "authentic-imperfect": "a close on the tonic",
    "half": "a half close on the dominant",
    "phrygian": "a Phrygian half close",
    "deceptive": "a deceptive close",
    "evaded": "a close that is evaded",
}


def sentence(words: str) -> str:
    """A capital and a full stop.

    >>> sentence("the tune falls a step")
    'The tune falls a step.'
    """
    return words[:1].upper() + words[1:].rstrip(".") + "."


def close_of(cadence: Cadence) -> str:
    """A cadence in words."""
    return f"{CADENCES[cadence.kind]} in {cadence.key}"


def why_required(sites: Sites, wanted: Wanted, grace: Grace) -> tuple[str, ...]:
    """For the shake of a strong cadence."""
    degree = "this note"
    if sites.on("second-degree")[wanted.site]:
        degree = "the second degree"
    elif sites.on("leading-note")[wanted.site]:
        degree = "the leading note"
    first = f"{close_of(wanted.cadence)} is prepared here, and {degree} over the dominant wants a shake"
    return (sentence(first), *how_made(sites, wanted.site, grace))


def how_made(sites: Sites, site: int, grace: Grace) -> tuple[str, ...]:
    """What in the place decided the form."""
    told = []
    if grace.id == "shake" and grace.lean:
        told.append("there is time to lean on the upper note first")
    if grace.ending == "turned":
        told.append("the tune goes up next, so the shake ends with a turn"
                    if 0 < sites.step_after[site] < 99 else "the shake is rounded off with a turn")  # fmt: skip
    elif grace.ending == "anticipation":
        told.append("the tune falls next, so the shake ends by touching that note early")
    if grace.accelerate:
        told.append("it may begin slowly and quicken")
    return (sentence(" and ".join(told)),) if told else ()


def why_chosen(
    sites: Sites, scores: Scores, manner: Manner, site: int, kind: str, grace: Grace, time_through: int
) -> tuple[str, ...]:
    """The rules that spoke most strongly for a kind on a note, growth and form."""
    row = scores.rules[site]
    speaking = [
        (row[column], weight)
        for column, weight in enumerate(manner.weights)
        if weight.rule.kind == kind and row[column] > 0
    ]
    speaking.sort(key=lambda pair: -pair[0])
    told = [sentence(weight.rule.says) for _, weight in speaking[:MOST]]
    if not told:
        told = [*why_here(sites, scores, manner, site, kind)]
    if sites.on("leg")[site] > 0:
        told.append("A further leg of a sequence may be richer than the last.")
    elif sites.on("climax")[site] > 0:
        told.append("The line reaches its height here and may be bold.")
    elif time_through > 1 or sites.on("again")[site] > 0:
        told.append("The passage is heard again and may be richer.")
    return (*told, *how_made(sites, site, grace))


def why_here(sites: Sites, scores: Scores, manner: Manner, site: int, kind: str) -> tuple[str, ...]:
    """Where no rule speaks: what is musical about the place, of all that spoke for it in the scores of the masters."""
    learned = scores.learned[:, manner.kinds.index(kind)]
    if not learned.any():
        return (sentence("nothing forbids it here, and the richness asked for leaves room for it"),)
    held = [(learned[COLUMN[name]], name) for name in MUSICAL if sites.on(name)[site] > 0]
    held.sort(key=lambda pair: -pair[0])
    place = " and ".join(FEATURES[name] for _, name in held[:2])
    return (*([sentence(place)] if place else []), sentence("the masters whose signs we have set many in such places"))


def source_of(scores: Scores, manner: Manner, site: int, kind: str) -> str:
    """On whose word: the named source of the rule that spoke most strongly, else the kind's."""
    best, found = 0.0, ""
    spoken = False
    for column, weight in enumerate(manner.weights):
        if weight.rule.kind == kind and scores.rules[site, column] > 0:
            spoken = True
            if scores.rules[site, column] > best and weight.source != COMMON:
                best, found = float(scores.rules[site, column]), weight.source
    if not spoken and kind in manner.learned:
        return LEARNED
    return found or manner.bias.get(kind, (0.0, COMMON))[1]


def effect_of(kind: str) -> str:
    """What a kind, or nothing, would do to the line."""
    return kinds()[kind].effect if kind else "leaves the note plain and lets the line run on"


def strength_of(margin: float) -> float:
    """How strongly a place wants its grace, in (0, 1), from what the plan would lose without it.

    >>> strength_of(0.0), strength_of(3.0)
    (0.5, 0.95)
    """
    return round(1 / (1 + math.exp(-max(-20.0, min(20.0, margin)))), 2)
