"""One stretch of a passage: every figure that leads from one note of the chord to another, judged.

Conventions: costs are plain numbers, lower is better. A stretch lies over one chord and one bass note. Hard rules:
a note foreign to the chord is entered and left by step; no note is struck twice running; no augmented second; leaps
stay within an octave; no perfect fifths or octaves with the bass where it moves.

Public: Stretch, Filling, closing, fillings.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from gracewright.divisions.mould import Mould, midi_of, spelled
from gracewright.divisions.tables import Figure, Style, figures

SEPARATE = 3
"""How many figures are kept for each pair of notes."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """What the figures of one stretch have in common. ``seconds`` is its length, ``least`` the shortest note's;
    ``units`` says into how many equal shares it may be cut; ``moving`` is (bass now, bass next) as MIDI numbers where
    the bass moves at its end; ``near`` is the bass as MIDI number where its next note is unknown."""

    seconds: float
    least: float
    units: tuple[int, ...]
    aim: float
    moving: tuple[int, int] | None = None
    near: int | None = None


@dataclass(frozen=True, slots=True)
class Filling:
    """A figure set to notes: places and alterations, and what it costs."""

    figure: Figure
    places: tuple[int, ...]
    alters: tuple[int, ...]
    cost: float


@lru_cache(maxsize=1)
def _by_interval() -> dict[int, tuple[Figure, ...]]:
    table: dict[int, list[Figure]] = {}
    for figure in figures():
        if not figure.chord:
            table.setdefault(figure.to, []).append(figure)
    return {to: tuple(found) for to, found in table.items()}


@lru_cache(maxsize=1)
def _of_chord() -> tuple[Figure, ...]:
    return tuple(figure for figure in figures() if figure.chord)


@lru_cache(maxsize=1)
def _home_coming() -> tuple[Figure, ...]:
    """Figures that end on the note they began with: from there the line may go on as it was written."""
    return tuple(f for f in figures() if not f.chord and f.steps[-1] == 0 and (len(f.steps) > 1 or f.to == 0))


@lru_cache(maxsize=400_000)
def fillings(
    start: tuple[int, int], end: tuple[int, int], mould: Mould, stretch: Stretch, style: Style, foreign: bool,
    free: bool,
) -> tuple[Filling, ...]:  # fmt: skip
    """The best figures from ``start`` to ``end`` (place, alteration), cheapest first.

    ``foreign``: the start is not of the chord and must be left by step. ``free``: the end may be leapt to from the
    start's own pitch, as the plain line does.
    """
    interval = end[0] - start[0]
    found = [
        filling
        for figure in _candidates(interval, start[0], end[0], mould, free)
        if (filling := _filled(figure, start, end, mould, stretch, style, foreign, free)) is not None
    ]
    found.sort(key=lambda filling: (filling.cost, filling.figure.index))
    return tuple(found[:SEPARATE])


@lru_cache(maxsize=20_000)
def closing(start: tuple[int, int], mould: Mould, stretch: Stretch, style: Style, foreign: bool) -> tuple[Filling, ...]:
    """The last note of a passage that leads nowhere: held, and of the chord."""
    if not mould.chord[start[0] % 7] or foreign:
        return ()
    hold = next(figure for figure in _home_coming() if len(figure.steps) == 1)
    return (Filling(hold, start[:1], start[1:], _cost(hold, start[:1], start[0], mould, stretch, style, 0)),)


def _candidates(interval: int, start: int, end: int, mould: Mould, free: bool) -> list[tuple[Figure, tuple[int, ...]]]:
    found = [(figure, tuple(start + step for step in figure.steps)) for figure in _by_interval().get(interval, ())]
    if free:
        known = {figure.index for figure, _ in found}
        found += [
            (figure, tuple(start + step for step in figure.steps))
            for figure in _home_coming()
            if figure.index not in known
        ]
    if mould.chord[start % 7] and mould.chord[end % 7]:
        ladder = mould.ladder(start - 14, start + 14)
        at = ladder.index(start)
        for figure in _of_chord():
            if 0 <= at + figure.to < len(ladder) and ladder[at + figure.to] == end:
                found.append((figure, tuple(ladder[at + step] for step in figure.steps)))
    return found


def _filled(
    candidate: tuple[Figure, tuple[int, ...]], start: tuple[int, int], end: tuple[int, int], mould: Mould,
    stretch: Stretch, style: Style, foreign: bool, free: bool,
) -> Filling | None:  # fmt: skip
    figure, places = candidate
    total = figure.total
    if len(places) > 1:
        shortest = stretch.seconds * min(figure.weights) / total
        if total not in stretch.units or shortest < stretch.least or places[-1] == end[0]:
            return None
    as_written = free and places[-1] == start[0]
    alters = spelled(mould, places, start[1], None if as_written else end)
    if alters is None or not _prepared(mould, places, places[-1] if as_written else end[0], foreign):
        return None
    last = midi_of(places[-1], alters[-1])
    goal = midi_of(*end)
    if (abs(goal - last) > 12 and not as_written) or _parallel(last, goal, stretch.moving):
        return None
    return Filling(figure, places, alters, _cost(figure, places, end[0], mould, stretch, style, last))


def _prepared(mould: Mould, places: tuple[int, ...], end: int, foreign: bool) -> bool:
    """Is every note foreign to the chord entered and left by step?"""
    after = (*places[1:], end)
    for i, (place, then) in enumerate(zip(places, after, strict=True)):
        of_chord = mould.chord[place % 7] if i else not foreign
        if not of_chord and (abs(then - place) > 1 or (i and abs(place - places[i - 1]) > 1)):
            return False
    return True


def _parallel(last: int, goal: int, moving: tuple[int, int] | None) -> bool:
    if moving is None or last == goal or moving[0] == moving[1]:
        return False
    before, after = (last - moving[0]) % 12, (goal - moving[1]) % 12
    return before == after and before in (0, 7)


def _cost(
    figure: Figure, places: tuple[int, ...], end: int, mould: Mould, stretch: Stretch, style: Style, last: int
) -> float:
    count = len(places)
    cost = -style.worth[figure.group]
    cost += style.strength * stretch.seconds * (count / stretch.seconds - stretch.aim) ** 2 / 4
    unit = stretch.seconds / figure.total
    at = 0
    half = figure.total // 2
    for i, (place, weight) in enumerate(zip(places, figure.weights, strict=True)):
        if i and not mould.chord[place % 7]:
            strong = at == half and figure.total % 2 == 0
            cost += (0.25 if strong else 0.0) + max(0.0, weight * unit - 0.3) * 0.8
        at += weight
    after = (*places[1:], end)
    leaps = [abs(one - two) for one, two in zip(places, after, strict=True)]
    cost += style.leaping * sum(max(0, leap - 2) for leap in leaps)
    if count > 1:
        if leaps[-1] > 1:
            cost += 0.35
        if places[-1] == places[0] != end:
            cost -= style.home
        if stretch.near is not None and (last - stretch.near) % 12 in (0, 7) and places[-1] != places[0]:
            cost += 0.4
    return cost
