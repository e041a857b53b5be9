"""One stretch of a passage: every figure that leads from one note of the chord to another, judged.

Conventions: costs are plain numbers, lower is better. A stretch lies over one chord. Hard rules: a note foreign to the
chord is entered and left by step; no note is struck twice running; no augmented second; leaps stay within an octave.
Fillings are kept for the octave of middle C and moved where they are used. What a figure becomes between two notes is
found once for a chord; what it is worth, once for a length and a style.

Public: Stretch, Filling, Ends, closing, fillings, stretch_of.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, NamedTuple

from gracewright.divisions.mould import Mould, midi_of, spelled
from gracewright.divisions.tables import Figure, Style, figures

NEAR: Final = 5
"""Staff places within which a broken chord may go on to any note."""
TRITONE: Final = 0.4
"""What a tritone outlined by step costs."""
SEPARATE: Final = 16
"""How many figures are kept for each pair of notes; the search takes the first few that suit the bass."""


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """What the figures of one stretch have in common: its seconds and its style; the figures short and quick enough for
    it, by index, with the part of their cost that does not depend on pitch; whether a beat falls at its half."""

    seconds: float
    style: Style
    costs: Mapping[int, float]
    beat_at_half: bool


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


class _Set(NamedTuple):
    """A figure set to notes, before any taste: what its cost will be made of."""

    figure: Figure
    places: tuple[int, ...]
    alters: tuple[int, ...]
    leaping: int  # staff places of leaps beyond thirds
    strong: bool  # a foreign note at the half
    foreign: int  # the longest share of a foreign note
    comes_home: bool
    leaps_on: bool
    returns: int  # how often the note before last comes again
    onward: int  # how many of the last notes run by step into the next
    tritones: int  # runs of four notes by step that outline a tritone


@lru_cache(maxsize=4096)
def stretch_of(
    seconds: float, least: float, units: tuple[tuple[int, bool], ...], aim: float, style: Style, beat_at_half: bool
) -> Stretch:
    """The figures that fit so many seconds with no note shorter than ``least``; ``units`` says into how many equal
    shares the stretch may be cut, and whether they are triplets; ``aim`` how many notes a second are wished for."""
    shares = dict(units)
    costs: dict[int, float] = {}
    for figure in figures():
        count = len(figure.steps)
        if count > 1 and (figure.total not in shares or seconds * figure.least < least * figure.total):
            continue
        density = style.strength * seconds * (count / seconds - aim) ** 2 / 4
        triplets = style.triplets if count > 1 and shares[figure.total] else 0.0
        costs[figure.index] = density + triplets - style.worth[figure.group]
    return Stretch(seconds, style, costs, beat_at_half)


@lru_cache(maxsize=400_000)
def fillings(ends: Ends, mould: Mould, stretch: Stretch) -> tuple[Filling, ...]:
    """The best figures between two notes, cheapest first; ``ends.start`` lies in the octave of middle C."""
    style, costs, found = stretch.style, stretch.costs, list[tuple[float, int, _Set]]()
    for one in _sets(ends, mould):
        cost = costs.get(one.figure.index)
        if cost is None or (one.strong and stretch.beat_at_half):
            continue
        cost += style.leaping * one.leaping
        if one.foreign:
            unit = stretch.seconds / one.figure.total
            cost += (0.25 if one.strong else 0.0) + max(0.0, one.foreign * unit - 0.3) * 0.8
        if one.leaps_on:
            cost += 0.35
        if one.comes_home:
            cost -= style.home
        cost += style.returning * one.returns - style.onward * one.onward + TRITONE * one.tritones
        found.append((cost, one.figure.index, one))
    found.sort(key=_first_two)
    return tuple(Filling(one.figure, one.places, one.alters, cost) for cost, _, one in found[:SEPARATE])


def _first_two(row: tuple[float, int, _Set]) -> tuple[float, int]:
    return row[:2]


def closing(start: tuple[int, int], mould: Mould, stretch: Stretch, foreign: bool) -> tuple[Filling, ...]:
    """The last note of a passage that leads nowhere: held, and of the chord."""
    if not mould.chord[start[0] % 7] or foreign:
        return ()
    figure = _by_interval()[0][0]
    return (Filling(figure, start[:1], start[1:], stretch.costs[figure.index]),)


@lru_cache(maxsize=1)
def _by_interval() -> Mapping[int, tuple[Figure, ...]]:
    """Figures of the scale by where they lead; those that only hold come first."""
    table: dict[int, list[Figure]] = {}
    for figure in sorted(figures(), key=lambda figure: len(figure.steps) > 1):
        if not figure.chord:
            table.setdefault(figure.to, []).append(figure)
    return {to: tuple(found) for to, found in table.items()}


@lru_cache(maxsize=1)
def _others() -> tuple[tuple[Figure, ...], tuple[Figure, ...]]:
    """Figures that end on the note they began with, from where the line may go on as it was written; figures that
    break the chord."""
    coming = (f for f in figures() if not f.chord and f.steps[-1] == 0 and (len(f.steps) > 1 or f.to == 0))
    return tuple(coming), tuple(figure for figure in figures() if figure.chord)


@lru_cache(maxsize=100_000)
def _sets(ends: Ends, mould: Mould) -> tuple[_Set, ...]:
    """Every figure between two notes that keeps the rules."""
    found = (_set(figure, places, ends, mould) for figure, places in _candidates(ends, mould))
    return tuple(one for one in found if one is not None)


def _candidates(ends: Ends, mould: Mould) -> Iterator[tuple[Figure, tuple[int, ...]]]:
    start, end = ends.start[0], ends.end[0]
    coming, breaking = _others()
    for figure in _by_interval().get(end - start, ()):
        yield figure, tuple([start + step for step in figure.steps])
    if ends.free:
        for figure in coming:
            if figure.to != end - start:
                yield figure, tuple([start + step for step in figure.steps])
    if mould.chord[start % 7]:
        ladder = mould.ladder(start - 14, start + 14)
        at = ladder.index(start)
        for figure in breaking:
            goes = abs(ladder[at + figure.steps[-1]] - end) < NEAR if figure.open else ladder[at + figure.to] == end
            if goes:
                yield figure, tuple([ladder[at + step] for step in figure.steps])


def _set(figure: Figure, places: tuple[int, ...], ends: Ends, mould: Mould) -> _Set | None:
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
    rows = zip(places[1:], figure.weights[1:], figure.starts[1:], strict=True)
    foreign = [(weight, begin) for place, weight, begin in rows if not mould.chord[place % 7]]
    leaps = [abs(one - two) for one, two in zip(places, (*places[1:], end[0]), strict=True)]
    several = len(places) > 1
    return _Set(
        figure, places, alters, sum([leap - 2 for leap in leaps if leap > 2]),
        any(2 * begin == figure.total for _, begin in foreign), max((weight for weight, _ in foreign), default=0),
        several and places[-1] == places[0] != end[0], several and leaps[-1] > 1, *_shape((*places, end[0])),
        _tritones([*zip(places, alters, strict=True), end]),
    )  # fmt: skip


def _shape(row: tuple[int, ...]) -> tuple[int, int]:
    """Returns to the note before last, and the length (to four) of the run by step into the end."""
    returns = sum([one == three for one, three in zip(row, row[2:], strict=False)])
    onward = 0
    step = row[-1] - row[-2]
    while abs(step) == 1 and onward < 4 and onward + 1 < len(row) and row[-1 - onward] - row[-2 - onward] == step:
        onward += 1
    return returns, max(0, onward - 1)


def _tritones(row: list[tuple[int, int]]) -> int:
    """Runs by step, turning back at both ends, of four notes from a tritone to its other end (simpson1659)."""
    midis, found, begin = [midi_of(*note) for note in row], 0, 0
    for i in range(1, len(row)):
        step = row[i][0] - row[i - 1][0]
        goes_on = i + 1 < len(row) and row[i + 1][0] - row[i][0] == step
        if not goes_on or abs(step) != 1:
            if abs(step) == 1 and i - begin == 3 and abs(midis[i] - midis[begin]) == 6:
                found += 1
            begin = i
    return found


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
