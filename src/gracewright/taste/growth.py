"""How a plan grows: strips of the line as played, what each may hold, and where it is richer.

A *strip* is a phrase (or part of a long one) in one time through. Strips of one *occasion* share a budget: bars heard
once, the first of several times, again, and further times. The budget is the manner's density, the richness asked for
and the occasion's share of it.

Conventions: richness and curve as in :class:`gracewright.taste.model.Plan`; a bonus is in the planner's unit.

Public: Strip, strips_of, budgets, bonus_of, OCCASIONS, order_of.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.score import Piece
from gracewright.study.model import Segment, Study
from gracewright.taste.manner import Manner
from gracewright.taste.sites import Floats, Sites

OCCASIONS: Final = ("first", "once", "again", "further")
LONGEST: Final = 24
"""Notes of a strip at most."""
SHORT_BAR: Final = 1.2
"""Seconds: a bar shorter than this counts for less when graces a bar are reckoned (own choice)."""
Curve = Sequence[tuple[Fraction, float]]


@dataclass(frozen=True, slots=True)
class Strip:
    """Rows of the table of sites, consecutive; ``occasion`` indexes OCCASIONS."""

    first: int
    last: int  # inclusive
    time_through: int
    occasion: int


def order_of(piece: Piece, study: Study) -> tuple[Segment, ...]:
    """The order as played; the page's own where the study gives none."""
    return study.order or ((Segment(0, len(piece.bars) - 1, 1),) if piece.bars else ())


def _heard(piece: Piece, order: Sequence[Segment]) -> list[int]:
    heard = [0] * len(piece.bars)
    for run in order:
        for bar in range(run.first_bar, run.last_bar + 1):
            heard[bar] += 1
    return heard


def _occasion(piece: Piece, run: Segment, before: Segment | None, bar: int, heard: Sequence[int]) -> int:
    """A second ending is heard once, but belongs to the second time."""
    if run.time_through > 1:
        return 2 if run.time_through == 2 else 3
    later_ending = bool(piece.bars[bar].endings) and 1 not in piece.bars[bar].endings
    if later_ending and before is not None and before.time_through > 1:
        return 2 if before.time_through == 2 else 3
    early_ending = bool(piece.bars[bar].endings) and 1 in piece.bars[bar].endings
    return 0 if heard[bar] > 1 or early_ending else 1


def strips_of(piece: Piece, study: Study, sites: Sites) -> tuple[Strip, ...]:
    """Every phrase in every time through, in the order as played."""
    order = order_of(piece, study)
    heard = _heard(piece, order)
    bars = [tone.bar for tone in sites.tones]
    found: list[Strip] = []
    for number, run in enumerate(order):
        before = order[number - 1] if number else None
        start, end = bisect_right(bars, run.first_bar - 1), bisect_right(bars, run.last_bar)
        kinds = [_occasion(piece, run, before, bars[index], heard) for index in range(start, end)]
        cut = start
        for index in range(start, end):
            last = index + 1 == end
            if last or _parts(sites, index, cut) or kinds[index + 1 - start] != kinds[index - start]:
                found.append(Strip(cut, index, run.time_through, kinds[index - start]))
                cut = index + 1
    return tuple(found)


def _parts(sites: Sites, index: int, cut: int) -> bool:
    """Does a strip end after this tone? At a phrase's end; a long phrase also at a rest, or where it grows too long."""
    if sites.phrase[index] != sites.phrase[index + 1]:
        return True
    if index - cut + 1 >= LONGEST:
        return True
    return index - cut + 1 >= LONGEST // 2 and sites.step_after[index] == 99


def factor_at(curve: Curve, onset: Fraction) -> float:
    """The curve's factor at a time: straight lines between its points, level outside them; 1 without a curve.

    >>> factor_at(((Fraction(0), 1.0), (Fraction(8), 2.0)), Fraction(4))
    1.5
    """
    if not curve:
        return 1.0
    points = sorted(curve)
    at = bisect_right([point[0] for point in points], onset)
    if at == 0 or at == len(points):
        return points[min(at, len(points) - 1)][1]
    (start, low), (end, high) = points[at - 1], points[at]
    return low + (high - low) * float((onset - start) / (end - start))


def budgets(piece: Piece, study: Study, manner: Manner, richness: float, curve: Curve) -> Floats:
    """Graces that each occasion may hold, as (occasions,) numbers."""
    order = order_of(piece, study)
    heard = _heard(piece, order)
    tempo = float(study.tempo)
    room = np.zeros(len(OCCASIONS))
    for number, run in enumerate(order):
        before = order[number - 1] if number else None
        for index in range(run.first_bar, run.last_bar + 1):
            bar = piece.bars[index]
            seconds = float(bar.length) * 60 / tempo
            occasion = _occasion(piece, run, before, index, heard)
            room[occasion] += min(1.0, seconds / SHORT_BAR) * factor_at(curve, bar.onset)
    density = manner.density["slow" if study.slow else "lively"]
    share = np.array([manner.growth[name] for name in OCCASIONS])
    budget: Floats = room * share * density * (richness / 5) ** 1.25
    return budget


def bonus_of(sites: Sites, study: Study, manner: Manner, strips: Sequence[Strip], curve: Curve) -> list[Floats]:
    """What every grace gains or loses on each note of each strip: legs, written repeats, climax, theme, curve.

    Within a strip the differences are the same each time through, so a repeat is never poorer.
    """
    growth, count = manner.growth, max(1, len(sites.tones))
    bonus = growth["leg"] * sites.on("leg") + growth["written_again"] * sites.on("again")
    bonus = bonus + growth["climax"] * sites.on("climax")
    if curve:
        factors = [factor_at(curve, tone.onset) for tone in sites.tones]
        bonus = bonus + np.array([math.log2(factor) if factor > 0 else -99.0 for factor in factors])
    theme = sites.phrase[0] if len(sites.tones) else 0
    found = []
    for strip in strips:
        here = bonus[strip.first : strip.last + 1].copy()
        if strip.occasion in (0, 1):
            middle = (strip.first + strip.last) / 2 / count
            here += growth["arc"] * (middle - 0.5)
            if sites.phrase[strip.first] == theme:
                here -= growth["theme"]
        else:
            here += growth["arc"] * 0.5
        found.append(here)
    return found
