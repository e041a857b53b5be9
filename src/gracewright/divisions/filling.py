"""One stretch of a passage: every figure that leads from one note of the chord to another, judged.

Conventions: costs are plain numbers, lower is better. A stretch lies over one chord. Hard rules: a note foreign to the
chord is entered and left by step; no note is struck twice running; no augmented second; leaps stay within an octave.
Fillings are kept for the octave of middle C and moved where they are used.

Public: Stretch, Filling, Ends, closing, fillings, stretch_of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

from gracewright.divisions.mould import Mould, midi_of, spelled
from gracewright.divisions.tables import Figure, Style, figures

SEPARATE = 5
"""How many figures are kept for each pair of notes."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """What the figures of one stretch have in common: the figures short and quick enough for it, each with the part of
    its cost that does not depend on pitch; by interval, those that break the chord, those that come home."""

    seconds: float
    by_interval: Mapping[int, tuple[tuple[Figure, float], ...]]
    of_chord: tuple[tuple[Figure, float], ...]
    home_coming: tuple[tuple[Figure, float], ...]


class Filling(NamedTuple):
    """A figure set to notes: places and alterations, and what it costs."""

    figure: Figure
    places: tuple[int, ...]
    alters: tuple[int, ...]
    cost: float


class Ends(NamedTuple):
    """Where a figure begins and where it leads (place, alteration). ``foreign``: the beginning is not of the chord and
    must be left by step. ``free``: the end may be leapt to from the beginning's own pitch, as the plain line does."""

    start: tuple[int, int]
    end: tuple[int, int]
    foreign: bool
    free: bool


@lru_cache(maxsize=4096)
def stretch_of(seconds: float, least: float, units: tuple[int, ...], aim: float, style: Style) -> Stretch:
    """The figures that fit so many seconds with no note shorter than ``least``; ``units`` says into how many equal
    shares the stretch may be cut, ``aim`` how many notes a second are wished for."""
    by_interval: dict[int, list[tuple[Figure, float]]] = {}
    of_chord, home_coming = [], []
    for figure in figures():
        count = len(figure.steps)
        if count > 1 and (figure.total not in units or seconds * min(figure.weights) < least * figure.total):
            continue
        cost = style.strength * seconds * (count / seconds - aim) ** 2 / 4 - style.worth[figure.group]
        if figure.chord:
            of_chord.append((figure, cost))
            continue
        by_interval.setdefault(figure.to, []).append((figure, cost))
        if figure.steps[-1] == 0 and (count > 1 or figure.to == 0):
            home_coming.append((figure, cost))
    return Stretch(seconds, {to: tuple(rows) for to, rows in by_interval.items()}, tuple(of_chord), tuple(home_coming))


@lru_cache(maxsize=400_000)
def fillings(ends: Ends, mould: Mould, stretch: Stretch, style: Style) -> tuple[Filling, ...]:
    """The best figures between two notes, cheapest first; ``ends.start`` lies in the octave of middle C."""
    found = [
        filling
        for figure, cost, places in _candidates(ends, mould, stretch)
        if (filling := _filled(figure, cost, places, ends, mould, stretch, style)) is not None
    ]
    found.sort(key=lambda filling: (filling.cost, filling.figure.index))
    return tuple(found[:SEPARATE])


def closing(start: tuple[int, int], mould: Mould, stretch: Stretch, foreign: bool) -> tuple[Filling, ...]:
    """The last note of a passage that leads nowhere: held, and of the chord."""
    if not mould.chord[start[0] % 7] or foreign:
        return ()
    figure, cost = next(pair for pair in stretch.home_coming if len(pair[0].steps) == 1)
    return (Filling(figure, start[:1], start[1:], cost),)


def _candidates(ends: Ends, mould: Mould, stretch: Stretch) -> list[tuple[Figure, float, tuple[int, ...]]]:
    start, end = ends.start[0], ends.end[0]
    rows = list(stretch.by_interval.get(end - start, ()))
    if ends.free:
        known = {figure.index for figure, _ in rows}
        rows += [row for row in stretch.home_coming if row[0].index not in known]
    found = [(figure, cost, tuple(start + step for step in figure.steps)) for figure, cost in rows]
    if mould.chord[start % 7] and mould.chord[end % 7]:
        ladder = mould.ladder(start - 14, start + 14)
        at = ladder.index(start)
        for figure, cost in stretch.of_chord:
            if 0 <= at + figure.to < len(ladder) and ladder[at + figure.to] == end:
                found.append((figure, cost, tuple(ladder[at + step] for step in figure.steps)))
    return found


def _filled(
    figure: Figure, cost: float, places: tuple[int, ...], ends: Ends, mould: Mould, stretch: Stretch, style: Style
) -> Filling | None:
    start, end = ends.start, ends.end
    if len(places) > 1 and places[-1] == end[0]:
        return None
    as_written = ends.free and places[-1] == start[0]
    if not _prepared(mould, places, places[-1] if as_written else end[0], ends.foreign):
        return None
    alters = spelled(mould, places, start[1], None if as_written else end)
    if alters is None:
        return None
    if not as_written and abs(midi_of(*end) - midi_of(places[-1], alters[-1])) > 12:
        return None
    return Filling(figure, places, alters, cost + _cost(figure, places, end[0], mould, stretch, style))


def _prepared(mould: Mould, places: tuple[int, ...], end: int, foreign: bool) -> bool:
    """Is every note foreign to the chord entered and left by step?"""
    chord = mould.chord
    before = places[0]
    if foreign and abs((places[1] if len(places) > 1 else end) - before) > 1:
        return False
    for i in range(1, len(places)):
        place = places[i]
        if not chord[place % 7]:
            after = places[i + 1] if i + 1 < len(places) else end
            if abs(place - before) > 1 or abs(after - place) > 1:
                return False
        before = place
    return True


def _cost(figure: Figure, places: tuple[int, ...], end: int, mould: Mould, stretch: Stretch, style: Style) -> float:
    """What the notes themselves cost: foreign notes in strong places or long ones, leaps, how the next is entered."""
    cost, at = 0.0, 0
    unit, half = stretch.seconds / figure.total, figure.total / 2
    for place, weight in zip(places, figure.weights, strict=True):
        if at and not mould.chord[place % 7]:
            cost += (0.25 if at == half else 0.0) + max(0.0, weight * unit - 0.3) * 0.8
        at += weight
    before = places[0]
    for place in (*places[1:], end):
        if (leap := abs(place - before)) > 2:
            cost += style.leaping * (leap - 2)
        before = place
    if len(places) > 1:
        if abs(end - places[-1]) > 1:
            cost += 0.35
        if places[-1] == places[0] != end:
            cost -= style.home
    return cost
