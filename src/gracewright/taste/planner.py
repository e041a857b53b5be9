"""The planner: from a study and a manner to a plan.

Every strip (a phrase in one time through) is a row of notes with a score for each family of graces; rules that hold
always forbid, the page, the player's locks and the cadences demand, and :mod:`gracewright.taste.chain` finds the best
row exactly. What a grace must be worth to stand is one price for each occasion, the lowest at which the plan keeps
within its budget. Chosen graces are made into exact notes and judged; one that fails is struck out and the row found
again.

Public: make_plan.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from typing import Final, Literal

import numpy as np

from gracewright.graces import Grace, page_graces
from gracewright.instruments import Instrument
from gracewright.score import Piece
from gracewright.study.model import Study
from gracewright.taste.allowed import EXACT, allowed_of
from gracewright.taste.assembling import plan_of
from gracewright.taste.beside import Voice
from gracewright.taste.chain import FORBIDDEN, Solved, costs, count_at, penalties, solve
from gracewright.taste.desk import Desk, Found, Row
from gracewright.taste.growth import OCCASIONS, Curve, Strip, bonus_of, budgets, strips_of
from gracewright.taste.manner import FAMILIES, Manner, kinds
from gracewright.taste.model import Choice, Plan
from gracewright.taste.realising import step_of, workshop_of
from gracewright.taste.required import wanted_shakes
from gracewright.taste.scores import heard_again, scores_of
from gracewright.taste.sites import Floats, Ints, Sites, sites_of, with_voices
from gracewright.taste.varying import Heard

PRICES: Final = np.arange(-48, 81) / 8
"""What a grace may have to be worth, in the planner's unit."""
FINE: Final = np.arange(-384, 641) / 64
"""The same for plans of a given number of graces."""
EDGE: Final = 0.25
"""By how much the family that a repeat is varied with may stand before the others."""
AGAIN: Final = (OCCASIONS.index("again"), OCCASIONS.index("further"))
INSTEAD: Final = 3.0
"""What a lean gains at a strong cadence whose note cannot be shaken (own choice)."""
NEAR: Final = 1.5
"""Seconds: notes that far apart hardly disturb one another."""
ROUNDS: Final = 12


def make_plan(
    piece: Piece, study: Study, manner: Manner, instrument: Instrument, *, level: str = "intermediate",
    richness: float = 5.0, curve: Curve = (), locks: Plan | None = None, signs: Literal["read", "ignore"] = "read",
    signs_by: str = "", tempo: Fraction | None = None, count: int | None = None, beside: Sequence[Voice] = (),
    barred: Sequence[tuple[int, str, str]] = (),
) -> Plan:  # fmt: skip
    """Choose graces for the solo line.

    ``richness`` 0 keeps to the signs on the page, 10 is lavish; ``curve`` bends it (page onset in quarters → factor);
    ``locks`` is an earlier plan whose locked choices stay; ``signs_by`` names the source that explains the page's
    signs; ``tempo`` in quarters a minute replaces the page's; ``count`` asks for so many graces on each occasion in
    place of the manner's density, cadences then having no right before others (for comparisons); ``beside`` are
    further sounding voices (see :mod:`gracewright.taste.together`); ``barred`` names families of graces that may not
    stand somewhere (time through, note, family). Same input, same plan.
    """
    sites = with_voices(piece, study, sites_of(piece, study, tempo), beside)
    source = signs_by or manner.source
    on_page = _page(piece, study, sites, source) if signs == "read" else {}
    allowed = allowed_of(sites, study, manner, instrument, level)
    allowed = replace(allowed, codes=allowed.codes.copy())  # gains EXACT in this plan alone
    strips = sites.keep("strips", lambda: strips_of(piece, study, sites))
    desk = Desk(
        piece, study, manner, level, richness, curve, sites, scores_of(sites, manner),
        allowed,
        workshop_of(piece, study, sites, manner, instrument, level, tempo, source), strips,
        bonus_of(sites, study, manner, strips, curve), (), on_page, _locked(sites, locks),
        _struck(sites, manner, barred),
    )  # fmt: skip
    header = Plan(piece.title, study.solo, manner.id, source, instrument.id, level, richness, tuple(curve), ())
    if richness <= 0 or not strips:
        return plan_of(desk, header, None)
    if count is not None:
        desk.budget = np.full(len(OCCASIONS), float(count))
    return plan_of(desk, header, _settle(desk))


def _page(piece: Piece, study: Study, sites: Sites, source: str) -> dict[int, tuple[Grace, str, str]]:
    """Graces on the page by row: grace, whose word, remark."""

    def read() -> dict[int, tuple[Grace, str, str]]:
        found = page_graces(piece, study, source=source)
        return {sites.index[there.note]: (there.grace, there.source, there.remark) for there in found}

    return sites.keep(("page", source), read)


def _locked(sites: Sites, locks: Plan | None) -> dict[tuple[int, int], Choice]:
    if locks is None:
        return {}
    return {
        (choice.time_through, sites.index[choice.note]): choice
        for choice in locks.choices
        if choice.lock and choice.note in sites.index
    }


def _struck(sites: Sites, manner: Manner, barred: Sequence[tuple[int, str, str]]) -> set[tuple[int, int, int]]:
    """Every kind of a barred family, by its column."""
    return {
        (time_through, sites.index[note], column)
        for time_through, note, family in barred
        for column, name in enumerate(manner.kinds)
        if kinds()[name].family == family
    }


def _settle(desk: Desk) -> Found:
    """Solve, make the chosen graces, strike out those that fail, and solve again until all stand."""
    shake = desk.manner.kinds.index("shake")
    for _ in range(ROUNDS):
        desk.wanted = wanted_shakes(desk.sites, desk.study, desk.allowed, shake)
        score, columns, near = _tables(desk)
        price = _prices(desk, score, near)
        solved = solve(score, near, price, penalties(desk.manner.spacing))
        rows, failed = _make(desk, solved, columns)
        if not failed and not _strike_clashes(desk, rows):
            break
    return Found(rows, solved, price, columns)


def _tables(desk: Desk) -> tuple[Floats, Ints, Floats]:
    """Scores of families (strips, notes, families), the best kind's column in each, and nearness in time."""
    sites, manner = desk.sites, desk.manner
    families = np.array([FAMILIES.index(kinds()[name].family) for name in manner.kinds])
    allowed = np.where(desk.allowed.codes == 0, desk.scores.kinds, FORBIDDEN)
    count = len(sites.tones)
    by_family = np.full((count, len(FAMILIES)), FORBIDDEN)
    best_column = np.full((count, len(FAMILIES)), -1, dtype=np.int64)
    lift, again = heard_again(sites, manner), np.zeros((count, len(FAMILIES)))
    by_family[:, 0] = 0
    for family in range(1, len(FAMILIES)):
        members = np.flatnonzero(families == family)
        if len(members):
            pick = allowed[:, members].argmax(axis=1)
            by_family[:, family] = allowed[np.arange(count), members[pick]]
            best_column[:, family] = members[pick]
            again[:, family] = lift[np.arange(count), members[pick]]
    again = _risen(by_family, again)
    longest = max(strip.last - strip.first + 1 for strip in desk.strips)
    shape = len(desk.strips), longest
    score = np.full((*shape, len(FAMILIES)), FORBIDDEN)
    score[:, :, 0] = 0
    columns = np.full((*shape, len(FAMILIES)), -1, dtype=np.int64)
    near = np.ones(shape)
    closeness = np.clip(1 - desk.sites.gap / NEAR, 0.15, 1.0)
    for number, strip in enumerate(desk.strips):
        rows, length = slice(strip.first, strip.last + 1), strip.last - strip.first + 1
        score[number, :length] = by_family[rows]
        score[number, :length, 1:] += desk.bonus[number][:, None]
        if strip.occasion in AGAIN:
            score[number, :length, 1:] = again[rows, 1:] + desk.bonus[number][:, None]
        columns[number, :length] = best_column[rows]
        near[number, :length] = closeness[rows]
    _demands(desk, score, columns, allowed, families)
    return score, columns, near


def _risen(by_family: Floats, lift: Floats) -> Floats:
    """Scores on a repeat: what is lifted there may take the place of another family, but not a place of its own, so
    that a repeat is varied rather than crowded."""
    risen = by_family.copy()
    for family in np.flatnonzero(lift.any(axis=0)):
        others = np.delete(by_family, family, axis=1)[:, 1:].max(axis=1)
        risen[:, family] = np.maximum(risen[:, family], np.minimum(risen[:, family] + lift[:, family], others + EDGE))
    return risen


def _demands(desk: Desk, score: Floats, columns: Ints, allowed: Floats, families: Ints) -> None:
    """The page, the locks and the cadences; and what failed beside its neighbours."""
    shake = FAMILIES.index("shake")
    cadential = {item.site for item in desk.wanted if item.site >= 0}
    losers = tuple(_loses_to_neighbour(desk, allowed, families, cadential))
    leaning = {item.place for item in desk.wanted if item.leans}
    chosen = {*(site for _, site in desk.locked), *(site for _, site, _ in desk.struck)}
    asked = {*losers, *cadential, *leaning, *desk.page, *chosen}
    starts = _holding(desk.strips, sorted(asked))

    def demand(number: int, note: int, family: int) -> None:
        score[number, note, np.arange(len(FAMILIES)) != family] = FORBIDDEN
        score[number, note, family] = max(score[number, note, family], 0.0)

    for site in losers:
        for number, strip in starts.get(site, ()):
            score[number, site - strip.first, shake] = FORBIDDEN
    for item in desk.wanted if desk.budget is None else ():
        for number, strip in starts.get(item.site, ()):
            if score[number, item.site - strip.first, shake] > FORBIDDEN / 2:
                demand(number, item.site - strip.first, shake)
    for site in leaning:
        for number, strip in starts.get(site, ()):
            score[number, site - strip.first, FAMILIES.index("leaning")] += INSTEAD
    for site, (grace, _, _) in desk.page.items():
        for number, strip in starts.get(site, ()):
            demand(number, site - strip.first, family_of(grace))
    for (time_through, site), choice in desk.locked.items():
        for number, strip in starts.get(site, ()):
            if strip.time_through == time_through:
                demand(number, site - strip.first, family_of(choice.grace) if choice.grace else 0)
    for time_through, site, column in desk.struck:
        for number, strip in starts.get(site, ()):
            if strip.time_through == time_through and columns[number, site - strip.first, families[column]] == column:
                score[number, site - strip.first, families[column]] = FORBIDDEN


def _holding(strips: Sequence[Strip], sites: Sequence[int]) -> dict[int, list[tuple[int, Strip]]]:
    """For each of the sites, in order, the strips that hold it."""
    found: dict[int, list[tuple[int, Strip]]] = {}
    for number, strip in enumerate(strips):
        for site in sites[bisect_left(sites, strip.first) : bisect_right(sites, strip.last)]:
            found.setdefault(site, []).append((number, strip))
    return found


def _loses_to_neighbour(desk: Desk, allowed: Floats, families: Ints, cadential: set[int]) -> Iterator[int]:
    """Strips are solved apart: of the notes on both sides of a cut only the one that wants it more may be shaken."""
    shakes = allowed[:, np.flatnonzero(families == FAMILIES.index("shake"))].max(axis=1)
    for site in {strip.first for strip in desk.strips if strip.first}:
        before = site - 1
        taken, given = (place in desk.page and family_of(desk.page[place][0]) == FAMILIES.index("shake")
                        for place in (before, site))  # fmt: skip
        if given and not taken:
            yield before
        elif taken or before in cadential or (site not in cadential and shakes[before] >= shakes[site]):
            yield site
        else:
            yield before


def family_of(grace: Grace | None) -> int:
    """Place of a grace's family in FAMILIES; 0 for none."""
    if grace is None:
        return 0
    if "shake" in grace.id:
        return FAMILIES.index("shake")
    if grace.id == "division":
        return FAMILIES.index("division")
    return FAMILIES.index("leaning" if grace.id.startswith("appoggiatura") else "small")


def _prices(desk: Desk, score: Floats, near: Floats) -> Floats:
    """(strips,) prices: for each occasion the lowest on the grid at which its graces keep within the budget."""
    budget = desk.budget
    if budget is None:
        budget = budgets(desk.piece, desk.study, desk.manner, desk.richness, desk.curve)
    occasion = np.array([strip.occasion for strip in desk.strips])
    cost = costs(near, penalties(desk.manner.spacing))
    grid = PRICES if desk.budget is None else FINE
    shares = [desk.manner.growth[name] for name in OCCASIONS]
    floors = [lowest_price(desk.richness * share) if desk.budget is None else -6.0 for share in shares]
    low = np.searchsorted(grid, floors)
    high = np.full(len(OCCASIONS), len(grid) - 1)
    while (low < high).any():
        middle = (low + high) // 2
        counts = count_at(score, grid[middle][occasion], cost)
        within = np.bincount(occasion, weights=counts, minlength=len(OCCASIONS)) <= budget
        high = np.where(within, middle, high)
        low = np.where(within, low, np.minimum(middle + 1, high))
    # one price list: what is heard again never costs more than what is heard first
    settled = low.copy()
    settled[2] = min(settled[2], settled[0])
    settled[3] = min(settled[3], settled[2])
    prices: Floats = grid[settled][occasion]
    return prices


def lowest_price(richness: float) -> float:
    """What a grace must at least be worth, however large the budget: up to the middle of the dial nothing is set that
    the manner has no reason for, beyond it the budget decides.

    >>> [round(lowest_price(richness), 2) for richness in (0, 5, 10)]
    [1.55, -0.2, -4.45]
    """
    return 1.55 - 0.35 * richness - 0.02 * max(0.0, richness - 5) ** 3


def _make(desk: Desk, solved: Solved, columns: Ints) -> tuple[list[Row], bool]:
    """Make the chosen graces exact. What fails on its note is struck out for good."""
    rows, failed, heard = [], False, Heard(desk.workshop, desk.study)
    cadential = {item.site for item in desk.wanted}
    for number, strip in enumerate(desk.strips):
        names, graces = list[str](), list[Grace | None]()
        share = desk.manner.growth[OCCASIONS[strip.occasion]]
        for note in range(strip.last - strip.first + 1):
            site, family = strip.first + note, int(solved.families[number, note])
            lock = desk.locked.get((strip.time_through, site))
            column = int(columns[number, note, family])
            if lock is not None or site in desk.page or family == 0 or column < 0:
                names.append("")
                graces.append(None)
                continue
            name = desk.manner.kinds[column]
            step = step_of(desk.richness, share)
            grace = heard.grace(site, name, step, site in cadential, strip.time_through)
            if grace is None:
                desk.allowed.codes[site, column] = EXACT
                failed = True
            names.append(name)
            graces.append(grace)
        rows.append(Row(strip, tuple(names), tuple(graces)))
    return rows, failed


def _strike_clashes(desk: Desk, rows: Sequence[Row]) -> bool:
    """Neighbouring graces, each good alone, that do not go together: the weaker of ours is struck out."""
    found = False
    cadential = {item.site for item in desk.wanted}
    played = [(row, note) for row in rows for note in range(len(row.graces)) if _grace_on(desk, row, note) is not None]
    for pair in pairwise(played):
        sites = [row.strip.first + note for row, note in pair]
        if sites[1] != sites[0] + 1:
            continue
        ours = [place for place in (0, 1) if pair[place][0].graces[pair[place][1]] is not None]
        if not ours:
            continue
        one, two = (_grace_on(desk, row, note) for row, note in pair)
        if one is None or two is None:
            continue
        if not (shaken(one) and shaken(two)) and not desk.workshop.clash(sites[0], one, two):
            continue
        worse = next((place for place in reversed(ours) if sites[place] not in cadential), ours[-1])
        row, note = pair[worse]
        desk.struck.add((row.strip.time_through, sites[worse], desk.manner.kinds.index(row.kinds[note])))
        found = True
    return found


def shaken(grace: Grace) -> bool:
    """Is it a shake, or a passage that goes to and fro like one?"""
    notes = [pitch for pitch, _ in grace.notes]
    to_and_fro = (notes[at : at + 2] == notes[at + 2 : at + 4] for at in range(len(notes) - 3))
    return "shake" in grace.id or any(to_and_fro)


def _grace_on(desk: Desk, row: Row, note: int) -> Grace | None:
    """Our grace on a note of a row, or the player's, or the page's."""
    site = row.strip.first + note
    lock = desk.locked.get((row.strip.time_through, site))
    if lock is not None:
        return lock.grace
    return desk.page[site][0] if site in desk.page else row.graces[note]
