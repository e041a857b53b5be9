"""Variety of passages: what was heard lately does not come again so soon; the legs of a sequence share their figure.

Conventions: sites are rows of the table of sites; graces are asked for in the order in which the line is played.

Public: Heard.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Final

from gracewright.graces import Grace
from gracewright.study.model import Study
from gracewright.taste.manner import kinds
from gracewright.taste.realising import Workshop
from gracewright.taste.sites import Sites

REMEMBERED: Final = 32
"""Passages that a listener still has in the ear (own choice)."""


class Heard:
    """What a listener has heard so far of one plan, while it is made."""

    def __init__(self, workshop: Workshop, study: Study) -> None:
        self.workshop = workshop
        self.earlier = workshop.sites.keep("earlier legs", lambda: earlier_legs(workshop.sites, study))
        self.later: dict[int, list[int]] = {}
        for site, legs in self.earlier.items():
            for leg in legs:
                self.later.setdefault(leg, []).append(site)
        self.row: list[tuple[int, str]] = []
        self.placed: dict[tuple[int, int], str] = {}

    def grace(self, site: int, kind: str, step: int, required: bool, time_through: int) -> Grace | None:
        """The grace of a kind on a tone, as :meth:`Workshop.grace` makes it; a passage unlike those before it, but
        like that of an earlier leg of its sequence."""
        if kinds()[kind].family != "division":
            return self.workshop.grace(site, kind, step, required)
        legs = (self.placed.get((time_through, leg), "") for leg in self.earlier.get(site, ()))
        like = next((formula for formula in legs if formula), "") or self._for_all(site, step)
        grace = self.workshop.grace(site, kind, step, required, self._lately(site), like)
        passage = self.workshop.passages.get((site, grace)) if grace is not None else None
        if passage is not None:
            self.row.append((site, passage.formula))
            self.placed[time_through, site] = passage.formula
        return grace

    def _for_all(self, site: int, step: int) -> str:
        """The best figure that suits this leg of a sequence and the later ones; empty where there is none."""
        others = [set(self.workshop.formulas(leg, step)) for leg in self.later.get(site, ())]
        if not others:
            return ""
        mine = self.workshop.formulas(site, step, self._lately(site))
        return next((formula for formula in mine if all(formula in other for other in others)), "")

    def _lately(self, site: int) -> tuple[str, ...]:
        """Formulas, the freshest last: what this note, or one of its motif, had before counts as just heard."""
        motif = self.workshop.sites.motif
        mine = [formula for place, formula in self.row if motif[place] == motif[site]]
        return (*(formula for _, formula in self.row[-REMEMBERED:]), *mine[-2:])


def earlier_legs(sites: Sites, study: Study) -> Mapping[int, Sequence[int]]:
    """Site → the sites that stand in its place in the earlier legs of its sequence, the nearest leg first."""
    onsets = [tone.onset for tone in sites.tones]
    at = {onset: index for index, onset in enumerate(onsets)}
    found: dict[int, list[int]] = {}
    for sequence in study.sequences:
        for number, leg in enumerate(sequence.legs):
            if not number:
                continue
            for index in range(bisect_left(onsets, leg.start), bisect_left(onsets, leg.end)):
                into = onsets[index] - leg.start
                before = [_twin(sites, at, index, other.start + into) for other in reversed(sequence.legs[:number])]
                found.setdefault(index, []).extend(twin for twin in before if twin >= 0)
    return found


def _twin(sites: Sites, at: Mapping[Fraction, int], index: int, onset: Fraction) -> int:
    """The note there, if it is as long and goes on alike; else -1."""
    twin = at.get(onset, -1)
    if twin < 0 or sites.tones[twin].length != sites.tones[index].length:
        return -1
    return twin if sites.step_after[twin] == sites.step_after[index] else -1
