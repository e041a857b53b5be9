"""The search: a written note is cut into stretches on the beats, a note of the chord is chosen for each, and figures
join them; dynamic programming over places keeps the best few ways to every note.

Conventions: places and alterations as in :mod:`gracewright.divisions.mould`; offsets are exact quarters from the
host's onset. The same input gives the same passages.

Public: divisions_for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import exp
from typing import Final, Protocol

from gracewright.divisions.filling import Filling, Stretch, closing, fillings
from gracewright.divisions.model import Division, Ground
from gracewright.divisions.mould import Mould, mould_of
from gracewright.divisions.tables import Style, load_style
from gracewright.divisions.words import reason_for, source_of
from gracewright.graces.model import Context, Grace
from gracewright.pitch import Pitch

KEPT: Final = 3
"""Ways kept to each note at each beat; at the end more, so that there is a choice."""
KEPT_LAST: Final = 24
REACH: Final = 8
"""Staff places that a passage may stray from the written note."""
LONGEST: Final = 14
"""Stretches in one passage at most; longer hosts are cut coarser."""


class Named(Protocol):
    """A manner by its id."""

    @property
    def id(self) -> str: ...


@dataclass(frozen=True, slots=True)
class _Way:
    """A passage up to here: its cost and its stretches (length, filling)."""

    cost: float
    steps: tuple[tuple[Fraction, Filling], ...]


@dataclass(frozen=True, slots=True)
class _Task:
    """All that the search asks, made comparable so that equal questions are answered once."""

    pitch: Pitch
    length: Fraction
    phase: Fraction
    beat: Fraction
    following: Pitch | None
    quarter: float
    least: float
    moulds: tuple[Mould, ...]  # one for each piece of ground
    basses: tuple[int | None, ...]
    changes: tuple[Fraction, ...]  # offsets where the ground changes, first 0
    after: int | None  # the bass under the following note, where known
    known_after: bool
    low: int
    high: int
    foreign: bool


def divisions_for(
    context: Context,
    *,
    manner: str | Named,
    richness: float = 5.0,
    most: int = 5,
    ground: Sequence[Ground] = (),
    compass: tuple[Pitch, Pitch] | None = None,
    beat: Fraction | None = None,
) -> tuple[Division, ...]:
    """Passages that may stand in place of a written note, best first, at most ``most``; none where it is too short.

    ``manner`` is a style (``italian``, ``english``, ``french``, ``german``), a finer name of one (``italian-slow``), or
    anything with such an ``id``. ``richness`` 0..10: more and quicker notes as it grows. ``ground`` tells bass and
    chord under the note where they change, and at its end; without it the context's own are taken to hold. ``compass``
    bounds the added notes, ``beat`` is the felt beat in quarters where it is not the quarter.

    Every passage begins with the written pitch; notes on the beats belong to the chord; foreign notes are entered and
    left by step; it goes on by step, by a leap within the chord, or from the written note itself. Raises BadInput for
    an unknown manner.

    >>> from gracewright.pitch import Key
    >>> host = Context(Pitch.parse("E5"), Fraction(0), Fraction(2), Key.parse("C major"), 0,
    ...                following=Pitch.parse("C5"), harmony=("C", "E", "G"), bass=Pitch.parse("C3"), least=0.08)
    >>> best = divisions_for(host, manner="italian", richness=5)[0]
    >>> best.notes[0][0], sum(share for _, share in best.notes)
    (Pitch('E5'), Fraction(1, 1))
    """
    style = load_style(manner if isinstance(manner, str) else manner.id)
    if context.length <= 0 or most < 1:
        return ()
    task = _task(context, tuple(ground), compass, beat)
    return _found(task, style, float(richness))[:most]


def _task(
    context: Context, ground: tuple[Ground, ...], compass: tuple[Pitch, Pitch] | None, beat: Fraction | None
) -> _Task:
    length, pitch = context.length, context.pitch
    inside = [one for one in ground if one.offset < length] or [Ground(Fraction(0), context.bass, context.harmony)]
    after = next((one for one in ground if one.offset == length), None)
    host = (pitch.step, pitch.alter)
    moulds = tuple(
        mould_of(context.key, one.harmony, context.bar_state, host, _letter(one.bass))
        for one in inside
    )
    felt = beat or (Fraction(3, 2) if context.ternary and length == Fraction(3, 2) else Fraction(1))
    low, high = pitch.diatonic - REACH, pitch.diatonic + REACH
    if compass is not None:
        low, high = max(low, compass[0].diatonic), min(high, compass[1].diatonic)
    return _Task(
        pitch, length, context.onset % felt if beat is not None or felt == 1 else Fraction(0), felt,
        None if context.rest_after else context.following, float(context.quarter), context.least, moulds,
        tuple(one.bass.midi if one.bass else None for one in inside),
        tuple(max(Fraction(0), one.offset) for one in inside),
        after.bass.midi if after is not None and after.bass else None, after is not None, low, high,
        not moulds[0].chord[pitch.step],
    )  # fmt: skip


def _letter(pitch: Pitch | None) -> tuple[int, int] | None:
    return (pitch.step, pitch.alter) if pitch is not None else None


@lru_cache(maxsize=16_384)
def _found(task: _Task, style: Style, richness: float) -> tuple[Division, ...]:
    """All passages kept for a task, best first."""
    table = _table(task, style, style.density(richness))
    finals = sorted(table, key=_order)
    divisions: list[Division] = []
    seen: set[tuple[tuple[Pitch, Fraction], ...]] = set()
    for way in finals:
        notes = _notes(way, task.length)
        if len(notes) < 2 or notes in seen:
            continue
        seen.add(notes)
        figures = [filling.figure for _, filling in way.steps]
        beats = max(1.0, float(task.length) * task.quarter)
        divisions.append(
            Division(
                Grace("division", notes=notes),
                1 / (1 + exp(way.cost / beats)),
                " · ".join(figure.name for figure in figures),
                reason_for(way.steps, notes, task.pitch, task.following),
                source_of(figures),
            )
        )
    return tuple(divisions)


def _order(way: _Way) -> tuple[float, tuple[int, ...]]:
    return way.cost, tuple(filling.figure.index for _, filling in way.steps)


def _notes(way: _Way, whole: Fraction) -> tuple[tuple[Pitch, Fraction], ...]:
    """Pitches with shares of the host; a note held over a stretch's end is one note."""
    notes: list[tuple[Pitch, Fraction]] = []
    for length, filling in way.steps:
        unit = length / filling.figure.total / whole
        for place, alter, weight in zip(filling.places, filling.alters, filling.figure.weights, strict=True):
            pitch = Pitch.at(place, alter)
            if notes and notes[-1][0] == pitch:
                notes[-1] = pitch, notes[-1][1] + weight * unit
            else:
                notes.append((pitch, weight * unit))
    return tuple(notes)


def _cuts(task: _Task) -> list[Fraction]:
    """Offsets where a stretch may begin or end: the beats (halved where the host is short), changes of ground, ends."""
    grid = task.beat
    while task.length / grid > LONGEST:
        grid *= 2
    if task.length <= task.beat and task.length.denominator & (task.length.denominator - 1) == 0:
        grid = min(grid, task.length)
    offsets = {Fraction(0), task.length, *task.changes}
    at = -task.phase
    while at < task.length:
        if at > 0:
            offsets.add(at)
        at += grid
    return sorted(offsets)


def _table(task: _Task, style: Style, aim: float) -> list[_Way]:
    """The ways from the written note to its end."""
    cuts = _cuts(task)
    here = (task.pitch.diatonic, task.pitch.alter)
    reached: list[dict[tuple[int, int], list[_Way]]] = [{} for _ in cuts]
    reached[0][here] = [_Way(0.0, ())]
    ends: list[_Way] = []
    for i in range(len(cuts) - 1):
        if not reached[i]:
            continue
        for j in (i + 1, i + 2):
            if j >= len(cuts) or (j == i + 2 and not _joins(task, cuts, i)):
                continue
            stretch = _stretch(task, style, cuts[i], cuts[j], aim)
            ground = _ground_at(task, cuts[i])
            last = j == len(cuts) - 1
            targets = _targets(task, cuts[j]) if not last else _goals(task)
            for start, ways in reached[i].items():
                for end in targets or [start]:
                    foreign = i == 0 and task.foreign
                    free = last and start[0] == here[0] != end[0]
                    if last and not targets:
                        choice = closing(start, task.moulds[ground], stretch, style, foreign)
                    else:
                        choice = fillings(start, end, task.moulds[ground], stretch, style, foreign, free)
                    _grow(ways, choice, cuts[j] - cuts[i], end, here[0], style, ends if last else
                          reached[j].setdefault(end, []), KEPT_LAST if last else KEPT, last)  # fmt: skip
    return ends


def _joins(task: _Task, cuts: Sequence[Fraction], i: int) -> bool:
    """May two neighbouring stretches be taken as one: both whole beats over one ground."""
    return (
        cuts[i + 1] not in task.changes
        and cuts[i + 1] - cuts[i] == cuts[i + 2] - cuts[i + 1]
        and (cuts[i] + task.phase) % task.beat == 0
    )


def _ground_at(task: _Task, offset: Fraction) -> int:
    return max(k for k, change in enumerate(task.changes) if change <= offset)


def _stretch(task: _Task, style: Style, begin: Fraction, end: Fraction, aim: float) -> Stretch:
    now = task.basses[_ground_at(task, begin)]
    moving: tuple[int, int] | None = None
    near: int | None = None
    if end == task.length:
        if task.known_after:
            moving = (now, task.after) if now is not None and task.after is not None else None
        else:
            near = now
    else:
        then = task.basses[_ground_at(task, end)]
        moving = (now, then) if now is not None and then is not None and now != then else None
    units = _units(end - begin, style.triplets and task.beat.denominator == 1)
    return _shared(float(end - begin) * task.quarter, task.least, units, aim, moving, near)


@lru_cache(maxsize=8192)
def _shared(
    seconds: float, least: float, units: tuple[int, ...], aim: float, moving: tuple[int, int] | None, near: int | None
) -> Stretch:
    return Stretch(seconds, least, units, aim, moving, near)


@lru_cache(maxsize=256)
def _units(length: Fraction, triplets: bool) -> tuple[int, ...]:
    """Into how many equal shares a stretch may be cut so that it can be written: down to demisemiquavers."""
    found = []
    for count in range(1, 33):
        share = length / count
        bottom = share.denominator
        while bottom % 2 == 0:
            bottom //= 2
        written = bottom == 1 or (bottom == 3 and (triplets or length.denominator % 3 == 0))
        if share.numerator == 1 and share >= Fraction(1, 12) and written:
            found.append(count)
    return tuple(found)


def _targets(task: _Task, offset: Fraction) -> list[tuple[int, int]]:
    """Notes of the chord that may be chosen at a beat."""
    mould = task.moulds[_ground_at(task, offset)]
    return [(place, mould.plain[place % 7]) for place in mould.ladder(task.low, task.high)]


def _goals(task: _Task) -> list[tuple[int, int]]:
    """Where the passage leads: the next written note; empty where the line stops."""
    return [(task.following.diatonic, task.following.alter)] if task.following is not None else []


def _grow(
    ways: list[_Way], choice: tuple[Filling, ...], length: Fraction, end: tuple[int, int], home: int, style: Style,
    into: list[_Way], kept: int, last: bool,
) -> None:  # fmt: skip
    """Add every way lengthened by every choice, keeping the best."""
    far = 0.0 if last else style.spread * max(0, abs(end[0] - home) - 2)
    for filling in choice:
        for way in ways:
            cost = way.cost + filling.cost + far
            if way.steps:
                before = way.steps[-1][1].figure
                if before.index == filling.figure.index:
                    cost += 0.3 + max(0.0, style.even)
                elif before.weights == filling.figure.weights:
                    cost += style.even
            if len(into) >= kept and cost >= into[-1].cost:
                continue
            grown = _Way(cost, (*way.steps, (length, filling)))
            at = len(into)
            while at and into[at - 1].cost > cost:
                at -= 1
            into.insert(at, grown)
            del into[kept:]
