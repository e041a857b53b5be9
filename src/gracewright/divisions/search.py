"""The search: a written note is cut into stretches on the beats, a note of the chord is chosen for each, and figures
join them; dynamic programming over places keeps the best few ways to every note.

Conventions: places and alterations as in :mod:`gracewright.divisions.mould`; offsets are ticks as in
:mod:`gracewright.divisions.task`. The same input gives the same passages.

Public: divisions_for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from math import exp
from typing import Final, NamedTuple, Protocol

from gracewright.divisions.filling import Ends, Filling, Stretch, closing, fillings, stretch_of
from gracewright.divisions.model import Division, Ground
from gracewright.divisions.mould import midi_of
from gracewright.divisions.tables import Style, load_style
from gracewright.divisions.task import Task, task_of
from gracewright.divisions.words import reason_for, source_of
from gracewright.graces.model import Context, Grace
from gracewright.pitch import Pitch

KEPT: Final = 3
"""Ways kept to each note at each beat; at the end more, so that there is a choice."""
KEPT_LAST: Final = 24
SUITING: Final = 5
"""Figures tried for each pair of notes, of those that suit the bass."""
SUITING_ALONE: Final = 14
"""The same where one figure is the whole passage, so that there is a choice."""
REPEATED: Final = 0.6
"""What it costs to have the kinds of figures of a passage offered before, or heard lately."""
SAME: Final = 0.9
"""What it costs besides to have its very figures."""
FADING: Final = 0.93
"""How much less it costs for every passage heard since."""
SHARED: Final = 1.2
"""What it is worth to have the figures of the passage that this one is to match."""
SEPARATOR: Final = " · "
LONGEST: Final = 14
"""Stretches in one passage at most; longer hosts are cut coarser."""


class Named(Protocol):
    """A manner by its id."""

    @property
    def id(self) -> str: ...


class Step(NamedTuple):
    """A stretch of a passage: its length in ticks, the figure in it, how many places that is moved."""

    length: int
    filling: Filling
    shift: int

    @property
    def places(self) -> tuple[int, ...]:
        return tuple(place + self.shift for place in self.filling.places)


class _Way(NamedTuple):
    """A passage up to here."""

    cost: float
    steps: tuple[Step, ...]


_Reached = dict[tuple[int, int], list[_Way]]
"""Ways by the note they have reached (place, alteration), cheapest first."""


def divisions_for(
    context: Context,
    *,
    manner: str | Named,
    richness: float = 5.0,
    most: int = 5,
    ground: Sequence[Ground] = (),
    compass: tuple[Pitch, Pitch] | None = None,
    beat: Fraction | None = None,
    lately: Sequence[str] = (),
    like: str = "",
) -> tuple[Division, ...]:
    """Passages that may stand in place of a written note, best first, at most ``most``; none where it is too short.

    ``manner`` is a style (``italian``, ``english``, ``french``, ``german``), a finer name of one (``italian-slow``), or
    anything with such an ``id``. ``richness`` 0..10: more and quicker notes as it grows. ``ground`` tells bass and
    chord under the note where they change, and at its end; without it the context's own are taken to hold. ``compass``
    bounds the added notes, ``beat`` is the felt beat in quarters where it is not the quarter. ``lately`` names the
    formulas of passages heard before, the last heard last: the like of them step back, the fresher the more. ``like``
    is the formula of a passage to match, as in the next leg of a sequence: it steps forward.

    Every passage begins with the written pitch; notes on the beats belong to the chord; foreign notes are entered and
    left by step; it goes on by step, by a leap within the chord, or from the written note itself; where the bass moves
    it makes no fifths or octaves with it. Raises BadInput for an unknown manner.

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
    offer = _offer(task_of(context, ground, compass, beat), style, float(richness))
    return tuple(offer.division(number) for number in _ranked(offer, lately, like, most))


@dataclass(frozen=True, eq=False)
class _Offer:
    """All passages found for a task, cheapest first, no two alike; made into divisions where they are asked for."""

    task: Task
    ways: tuple[_Way, ...]
    kinds: tuple[tuple[str, ...], ...]
    made: dict[int, Division]

    def formula(self, number: int) -> str:
        return SEPARATOR.join([step.filling.figure.name for step in self.ways[number].steps])

    def division(self, number: int) -> Division:
        if number not in self.made:
            way, task = self.ways[number], self.task
            figures = [step.filling.figure for step in way.steps]
            rows = [(step.places, step.filling.alters, step.filling.figure.group) for step in way.steps]
            beats = max(1.0, task.length / task.ticks * task.quarter)
            self.made[number] = Division(
                Grace("division", notes=_notes(way, task.length)),
                1 / (1 + exp(way.cost / beats)),
                self.formula(number),
                reason_for(rows, task.pitch, task.following),
                source_of(figures),
            )
        return self.made[number]


@lru_cache(maxsize=16_384)
def _offer(task: Task, style: Style, richness: float) -> _Offer:
    ways, seen = list[_Way](), set[tuple[tuple[Pitch, Fraction], ...]]()
    for way in sorted(_ways(task, style, style.density(richness)), key=_order):
        notes = _notes(way, task.length)
        if len(notes) > 1 and notes not in seen:
            seen.add(notes)
            ways.append(way)
    kinds = tuple(tuple([step.filling.figure.group for step in way.steps]) for way in ways)
    return _Offer(task, tuple(ways), kinds, {})


def _ranked(offer: _Offer, lately: Sequence[str], like: str, most: int) -> list[int]:
    """Best first; what is like a passage heard lately steps back, and so does what is like one ranked before it."""
    alike: dict[tuple[str, ...], float] = {}
    very: dict[str, float] = {}
    for age, formula in enumerate(reversed(lately)):
        if formula != like:
            alike.setdefault(_kinds(formula), FADING**age)
            very[formula] = very.get(formula, 0.0) + FADING**age
    costs = [way.cost + REPEATED * alike.get(kinds, 0.0) for way, kinds in zip(offer.ways, offer.kinds, strict=True)]
    if very or like:
        for number in range(len(costs)):
            formula = offer.formula(number)
            costs[number] += SAME * very.get(formula, 0.0) - (SHARED if formula == like else 0.0)
    ranked: list[int] = []
    left = set(range(len(costs)))
    while left and len(ranked) < most:
        best = min(left, key=lambda number: (costs[number], number))
        ranked.append(best)
        left.remove(best)
        for number in left:
            if offer.kinds[number] == offer.kinds[best]:
                costs[number] += REPEATED
    return ranked


def _kinds(formula: str) -> tuple[str, ...]:
    return tuple(name.split()[0] for name in formula.split(SEPARATOR))


def _order(way: _Way) -> tuple[float, tuple[int, ...]]:
    return way.cost, tuple(step.filling.figure.index for step in way.steps)


def _notes(way: _Way, whole: int) -> tuple[tuple[Pitch, Fraction], ...]:
    """Pitches with shares of the host; a note held over a stretch's end is one note."""
    notes: list[tuple[Pitch, Fraction]] = []
    for step in way.steps:
        figure = step.filling.figure
        for place, alter, weight in zip(step.places, step.filling.alters, figure.weights, strict=True):
            pitch, share = _pitch(place, alter), _share(step.length * weight, figure.total * whole)
            if notes and notes[-1][0] == pitch:
                notes[-1] = pitch, notes[-1][1] + share
            else:
                notes.append((pitch, share))
    return tuple(notes)


_pitch = lru_cache(maxsize=2048)(Pitch.at)
_share = lru_cache(maxsize=8192)(Fraction)


def _cuts(task: Task) -> list[int]:
    """Offsets where a stretch may begin or end: the beats, changes of chord, both ends."""
    grid = task.beat
    while task.length / grid > LONGEST:
        grid *= 2
    offsets = {0, task.length, *task.changes}
    at = -task.phase
    while at < task.length:
        if at > 0:
            offsets.add(at)
        at += grid
    return sorted(offsets)


def _ways(task: Task, style: Style, aim: float) -> list[_Way]:
    """The ways from the written note to its end."""
    cuts = _cuts(task)
    here = (task.pitch.diatonic, task.pitch.alter)
    reached: list[_Reached] = [{} for _ in cuts]
    reached[0][here] = [_Way(0.0, ())]
    ends: list[_Way] = []
    final = len(cuts) - 1
    for i in range(final):
        for j in (i + 1, i + 2):
            if not reached[i] or j > final or (j == i + 2 and not _joins(task, cuts, i)):
                continue
            _Span(task, style, cuts[i], cuts[j], aim, j == i + 2).grow(reached[i], ends if j == final else reached[j])
    return ends


class _Span:
    """One stretch between two cuts, ready to lengthen the ways that have reached its beginning."""

    def __init__(self, task: Task, style: Style, begin: int, end: int, aim: float, joined: bool) -> None:
        self.task, self.style, self.length = task, style, end - begin
        self.first, self.last = begin == 0, end == task.length
        self.host = (task.pitch.diatonic, task.pitch.alter)
        units = _units(Fraction(self.length, task.ticks), style.triplets < 5 and task.beat % task.ticks == 0)
        seconds = self.length / task.ticks * task.quarter
        self.stretch: Stretch = stretch_of(seconds, task.least, units, aim, style, joined)
        self.mould = task.chord_at(begin)
        if not self.last:
            mould = task.chord_at(end)
            self.targets = [(place, mould.plain[place % 7]) for place in mould.ladder(task.low, task.high)]
        elif task.following is not None:
            self.targets = [(task.following.diatonic, task.following.alter)]
        else:
            self.targets = []
        self.moves = task.moves(begin, end)
        self.near = task.basses[-1][1] if self.last and not task.known_after else None

    def grow(self, reached: _Reached, into: _Reached | list[_Way]) -> None:
        """Add every way lengthened by every figure, keeping the best."""
        home, foreign = self.task.pitch.diatonic, self.first and self.task.foreign
        for start, ways in reached.items():
            shift = start[0] - start[0] % 7 - 28
            low = (start[0] - shift, start[1])
            if not self.targets and isinstance(into, list):
                self._add(ways, closing(low, self.mould, self.stretch, foreign), shift, start, 0.0, into)
            for end in self.targets:
                free = self.last and start == self.host and end[0] != home
                ends = Ends(low, (end[0] - shift, end[1]), foreign, free)
                choice = fillings(ends, self.mould, self.stretch)
                if isinstance(into, list):
                    self._add(ways, choice, shift, end, 0.0, into)
                else:
                    far = self.style.spread * max(0, abs(end[0] - home) - 2)
                    self._add(ways, choice, shift, end, far, into.setdefault(end, []))

    def _add(
        self, ways: list[_Way], choice: tuple[Filling, ...], shift: int, end: tuple[int, int], far: float,
        into: list[_Way],
    ) -> None:  # fmt: skip
        kept = KEPT_LAST if self.last else KEPT
        suiting = SUITING_ALONE if self.first and self.last else SUITING
        taken = 0
        for filling in choice:
            if taken == suiting:
                return
            own = filling.cost + far
            if self.last and self.targets and filling.places[-1] + shift == end[0]:
                continue  # it would strike the next note twice
            if not self._in_compass(filling, shift) or (self.moves and self._parallel(filling, shift, end)):
                continue
            taken += 1
            if self.near is not None and self._near_bass(filling, shift):
                own += 0.4
            for way in ways:
                cost = way.cost + own + self._sameness(way, filling)
                if len(into) >= kept and cost >= into[-1].cost:
                    continue
                at = len(into)
                while at and into[at - 1].cost > cost:
                    at -= 1
                into.insert(at, _Way(cost, (*way.steps, Step(self.length, filling, shift))))
                del into[kept:]

    def _sameness(self, way: _Way, filling: Filling) -> float:
        """The cost of a figure, or only its rhythm, twice running."""
        if not way.steps:
            return 0.0
        before, figure = way.steps[-1].filling.figure, filling.figure
        if before is figure:
            return 0.3 + max(0.0, self.style.even)
        return self.style.even if before.weights == figure.weights else 0.0

    def _in_compass(self, filling: Filling, shift: int) -> bool:
        added = filling.places if not self.first else filling.places[1:]
        return all(self.task.low <= place + shift <= self.task.high for place in added)

    def _parallel(self, filling: Filling, shift: int, end: tuple[int, int]) -> bool:
        """Does the figure make fifths or octaves with the bass where that moves, the passage's end included?"""
        figure, shifted = filling.figure, [place + shift for place in filling.places]
        for offset, now, then in self.moves:
            if offset == self.length:
                if self.last and (shifted[-1], filling.alters[-1]) == self.host:
                    continue  # as the plain line goes
                pair = midi_of(shifted[-1], filling.alters[-1]), midi_of(*end)
            else:
                share, rest = divmod(offset * figure.total, self.length)
                if rest or share not in figure.starts:
                    continue
                at = figure.starts.index(share)
                pair = midi_of(shifted[at - 1], filling.alters[at - 1]), midi_of(shifted[at], filling.alters[at])
            before, after = abs(pair[0] - now) % 12, abs(pair[1] - then) % 12
            if pair[0] != pair[1] and before == after and before in (0, 7):
                return True
        return False

    def _near_bass(self, filling: Filling, shift: int) -> bool:
        """Would the last added note stand a fifth or octave above a bass whose next note is unknown?"""
        last = midi_of(filling.places[-1] + shift, filling.alters[-1])
        return self.near is not None and filling.places[-1] != filling.places[0] and (last - self.near) % 12 in (0, 7)


def _joins(task: Task, cuts: Sequence[int], i: int) -> bool:
    """May two neighbouring stretches be taken as one: both whole beats over one chord."""
    return (
        cuts[i + 1] not in task.changes
        and cuts[i + 1] - cuts[i] == cuts[i + 2] - cuts[i + 1]
        and (cuts[i] + task.phase) % task.beat == 0
    )


@lru_cache(maxsize=256)
def _units(length: Fraction, triplets: bool) -> tuple[tuple[int, bool], ...]:
    """Into how many equal shares a stretch may be cut so that it can be written (down to demisemiquavers), and whether
    they are triplets in a beat of two."""
    found = []
    for count in range(1, 33):
        share = length / count
        bottom = share.denominator
        while bottom % 2 == 0:
            bottom //= 2
        inside = length.denominator % 3 == 0
        written = bottom == 1 or (bottom == 3 and (triplets or inside))
        if share.numerator == 1 and share >= Fraction(1, 12) and written:
            found.append((count, bottom == 3 and not inside))
    return tuple(found)
