"""Passages that come again written out: note for note, varied, as an echo, as a refrain, as a petite reprise.

The upper line is cut into cells of a beat or less. Where cells say the same at a distance, the stretch is followed
both ways as long as more agrees than not. Conventions: two bars or more make a return; literal means that nine cells
in ten are equal to the note. Common practice, no source: an echo follows at once, a petite reprise is the close of
the piece said once more, a refrain is the opening strain after an episode.

Public: find_returns.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.score import Meter
from gracewright.study.frames import Ints
from gracewright.study.material import Material
from gracewright.study.model import Repeat

Content = tuple[tuple[int, int, int], ...]  # offset in the cell, staff place and semitones in one, length

SILENT: Final = -1
LEAST_BARS: Final = Fraction(7, 4)
LEAST_NOTES: Final = 5
LEAST_PITCHES: Final = 3
LITERAL: Final = 0.9
VARIED: Final = 0.55
"""Least mean agreement of a varied return."""

CLEAR: Final = 0.85
"""The same of one that is short, far off and no return of the opening, which is heard only where much is alike."""

DROP: Final = 2.0
"""How much disagreement ends a stretch."""

KEPT: Final = 3
"""Of the places where a figure was heard, so many of the first and of the last are looked at."""

NEAR: Final = 12
"""Cells within which a second figure must be heard before a stretch is followed."""


@dataclass(frozen=True, slots=True)
class _Cells:
    """The upper line in cells: ``content`` numbers what begins there, ``main`` is the pitch that counts there."""

    start: list[int]
    end: list[int]
    bar: list[int]
    content: list[int]
    begins: list[int]  # notes that begin in the cell
    main: list[int]
    pitches: list[frozenset[int]]
    bass: list[int]


@dataclass(frozen=True, slots=True)
class _Return:
    """Cells ``first`` to ``stop`` say what stood ``back`` cells earlier."""

    first: int
    stop: int
    back: int
    rest: int  # silent cells after it that belong to it
    score: float
    literal: float

    @property
    def length(self) -> int:
        return self.stop - self.first


def find_returns(material: Material) -> tuple[Repeat, ...]:
    """Returns in order; of several that overlap the one that explains most."""
    cells = _cells(material)
    found = _stretches(cells, lambda one: _counts(one, cells, material))
    kept: list[_Return] = []
    for one in sorted(found, key=lambda r: (-round(r.score, 3), -r.back, r.first)):
        if all(min(one.stop, other.stop) - max(one.first, other.first) <= 0.25 * one.length for other in kept):
            kept.append(one)
    return tuple(_named(one, cells, material) for one in sorted(kept, key=lambda r: r.first))


def _unit(meter: Meter) -> Fraction:
    """Length of a cell: the beat, a quarter at most where beats are plain."""
    return min(meter.beat, Fraction(1)) if meter.beat.numerator != 3 else meter.beat / 3


def _cells(material: Material) -> _Cells:
    line = material.line
    starts: list[int] = []
    bars: list[int] = []
    for bar, begin, end in zip(material.piece.bars, line.bar_start[:-1].tolist(), line.bar_start[1:].tolist(),
                               strict=True):  # fmt: skip
        unit = max(1, line.ticks(_unit(bar.meter)))
        first = begin + (end - begin) % unit
        inside = ([begin] if first > begin else []) + list(range(first, end, unit))
        starts += inside
        bars += [bar.index] * len(inside)
    ends = [*starts[1:], int(line.bar_start[-1])]
    begins, main = _heard(material, starts)
    numbers: dict[tuple[int, Content], int] = {}
    content = [
        numbers.setdefault((SILENT if inside else main[at], tuple(inside)), len(numbers))
        for at, inside in enumerate(begins)
    ]
    pitches = [frozenset([pitch for _, pitch, _ in inside] or [main[at]]) for at, inside in enumerate(begins)]
    return _Cells(
        starts, ends, bars, content, [len(inside) for inside in begins], main, pitches,
        _bass(material, np.array(starts)),
    )  # fmt: skip


def _heard(material: Material, starts: list[int]) -> tuple[list[list[tuple[int, int, int]]], list[int]]:
    """Notes that begin in each cell, and the pitch that counts there: what sounds at its start, else its first note."""
    begins: list[list[tuple[int, int, int]]] = [[] for _ in starts]
    main = [SILENT] * len(starts)
    places = np.searchsorted(np.array(starts), material.melody_onsets, side="right") - 1
    spans = zip(material.melody_onsets.tolist(), material.melody_ends.tolist(), strict=True)
    for tone, at, (onset, end) in zip(material.melody, places.tolist(), spans, strict=True):
        pitch = tone.pitch.diatonic * 128 + tone.pitch.midi
        begins[at].append((onset - starts[at], pitch, end - onset))
        if len(begins[at]) == 1 and (main[at] == SILENT or onset == starts[at]):
            main[at] = pitch
        held = at + 1
        while held < len(starts) and starts[held] < end:
            main[held] = pitch
            held += 1
    return begins, main


def _bass(material: Material, starts: Ints) -> list[int]:
    """Pitch class of the bass at each cell, -1 where it rests."""
    if not material.ground:
        return [SILENT] * len(starts)
    at = np.searchsorted(material.ground_onsets, starts, side="right") - 1
    ends = material.ground_onsets + material.ticks_of(tone.length for tone in material.ground)
    classes = np.array([tone.pitch.midi % 12 for tone in material.ground])
    sounding = (at >= 0) & (ends[at] > starts)
    return [int(value) for value in np.where(sounding, classes[at], SILENT)]


def _agreement(cells: _Cells, one: int, other: int) -> float:
    """From 1 (equal to the note) to -1 (nothing in common)."""
    here, there = cells.main[one], cells.main[other]
    if here == SILENT or there == SILENT:
        return 0.0 if here == there else -0.6
    if cells.content[one] == cells.content[other]:
        return 1.0 if cells.begins[one] else 0.4
    ground = cells.bass[one] == cells.bass[other] != SILENT
    if here == there:
        return 0.7 if ground else 0.45
    if cells.pitches[one] & cells.pitches[other]:
        return 0.3 if ground else -0.2
    return -0.5 if ground else -1.0


def _seeds(cells: _Cells) -> Iterator[tuple[int, list[int]]]:
    """Cells with the distances at which lately two figures or more were heard before: two cells running that are equal
    to the note, or three with the same main pitches."""
    literal: dict[tuple[int, ...], list[int]] = {}
    outline: dict[tuple[int, ...], list[int]] = {}
    lately: dict[int, int] = {}
    for at in range(len(cells.start) - 1):
        backs: list[int] = []
        if cells.begins[at] and cells.main[at] != cells.main[at + 1] != SILENT:
            _look_up(literal, (cells.content[at], cells.content[at + 1]), at, backs)
        three = tuple(cells.main[at : at + 3])
        if len(three) == 3 and SILENT not in three and len(set(three)) > 1:
            _look_up(outline, three, at, backs)
        likely = [back for back in dict.fromkeys(backs) if at - lately.get(back, -NEAR) < NEAR]
        lately.update((back, at) for back in backs)
        if likely:
            yield at, likely


def _look_up(table: dict[tuple[int, ...], list[int]], key: tuple[int, ...], at: int, backs: list[int]) -> None:
    """Note how far back a figure was heard, and that it is heard here."""
    earlier = table.setdefault(key, [])
    places = earlier if len(earlier) <= 2 * KEPT else [*earlier[:KEPT], *earlier[-KEPT:]]
    backs += [at - place for place in places]
    earlier.append(at)


def _stretches(cells: _Cells, counts: Callable[[_Return], bool]) -> list[_Return]:
    """Returns that count. Where one is found, no other is looked for inside it."""
    reached: dict[int, int] = {}
    found: list[_Return] = []
    taken = 0
    for at, backs in _seeds(cells):
        if at < taken:
            continue
        fresh = [back for back in backs if at >= reached.get(back, 0)]
        here = [one for back in fresh if (one := _followed_out(cells, at, back, reached)) and counts(one)]
        best = max(here, key=lambda one: (round(one.score, 3), one.back), default=None)
        if best is not None:
            found.append(best)
            taken = best.first + 3 * best.length // 4
    return found


def _followed_out(cells: _Cells, at: int, back: int, reached: dict[int, int]) -> _Return | None:
    """A seed followed both ways as far as more agrees than not."""
    low = reached.get(back, 0)
    stop = _followed(cells, at, min(len(cells.start), at + 2 * back), back)
    first = _followed_down(cells, at, max(low, back), back)
    reached[back] = stop
    first = _best_window(cells, first, stop, back)
    whole = min(stop, first + back)
    first, stop = _trimmed(cells, first, whole, back)
    if stop <= first:
        return None
    equal = sum(cells.content[n] == cells.content[n - back] for n in range(first, stop))
    score = sum(_agreement(cells, n, n - back) for n in range(first, stop))
    return _Return(first, stop, back, whole - stop, score, equal / (stop - first))


def _best_window(cells: _Cells, first: int, stop: int, back: int) -> int:
    """Of a stretch longer than its distance, in which a figure comes more than twice, where the likest return begins;
    at a barline where several are alike."""
    if stop - first <= back:
        return first
    sums = np.cumsum([0.0, *(_agreement(cells, at, at - back) for at in range(first, stop))])
    windows = sums[back:] - sums[:-back]
    likest = np.flatnonzero(windows > windows.max() - 1e-6).tolist()
    return first + next((at for at in likest if _begins_bar(cells, first + at)), likest[0])


def _followed(cells: _Cells, at: int, end: int, back: int) -> int:
    """Where the stretch that runs on from a cell stops."""
    best = total = 0.0
    stop = step = at
    while step < end and total > best - DROP:
        total += _agreement(cells, step, step - back)
        step += 1
        if total >= best:
            best, stop = total, step
    return stop


def _followed_down(cells: _Cells, at: int, low: int, back: int) -> int:
    """Where it begins; the first note of a bar may differ."""
    best = total = 0.0
    first = step = at
    while step > low and total > best - DROP:
        step -= 1
        total += _agreement(cells, step, step - back)
        if total > best:
            best, first = total, step
    before = first - 1
    if before >= low and _begins_bar(cells, before) and _agreement(cells, before, before - back) > -1:
        return before
    return first


def _begins_bar(cells: _Cells, at: int) -> bool:
    return at == 0 or cells.bar[at - 1] != cells.bar[at]


def _trimmed(cells: _Cells, first: int, stop: int, back: int) -> tuple[int, int]:
    """Without silence at the ends, in either statement."""
    while stop > first and cells.main[stop - 1] == SILENT:
        stop -= 1
    while stop > first and (not cells.begins[first] or not cells.begins[first - back]):
        first += 1
    return first, stop


def _counts(one: _Return, cells: _Cells, material: Material) -> bool:
    """Long enough, full enough and like enough."""
    inside = range(one.first, one.stop)
    sounding = sum(cells.main[at] != SILENT for at in inside)
    notes = sum(cells.begins[at] for at in inside)
    pitches = frozenset[int]().union(*(cells.pitches[at] for at in inside))
    bar = material.line.ticks(material.piece.bars[cells.bar[one.first]].meter.length)
    long = cells.end[one.stop - 1 + one.rest] - cells.start[one.first]
    if long < LEAST_BARS * bar or notes < LEAST_NOTES or len(pitches - {SILENT}) < LEAST_PITCHES:
        return False
    gap = cells.start[one.first] - cells.end[one.stop - one.back - 1]
    opening = cells.start[one.first - one.back] <= material.melody_onsets[0] + bar
    remote = long < 3 * bar and gap > bar and not opening
    return one.literal >= LITERAL or one.score / max(1, sounding) >= (CLEAR if remote else VARIED)


def _named(one: _Return, cells: _Cells, material: Material) -> Repeat:
    line = material.line
    first = line.time(cells.start[one.first - one.back]), line.time(cells.end[one.stop - one.back - 1])
    again = line.time(cells.start[one.first]), line.time(cells.end[one.stop - 1])
    return Repeat(_kind(one, cells, material, first, again), first, again)


def _kind(one: _Return, cells: _Cells, material: Material, first: tuple[Fraction, Fraction],
          again: tuple[Fraction, Fraction]) -> str:  # fmt: skip
    bar = material.piece.bars[cells.bar[one.first]].meter.length
    last = material.melody[-1].end
    gap, long = again[0] - first[1], again[1] - again[0]
    if one.literal < LITERAL:
        return "varied"
    if again[1] >= last - bar / 2 and gap <= bar and len(material.piece.bars) > 8:
        return "petite reprise"
    silent = not any(cells.begins[one.stop - one.back : one.first])
    if (gap <= bar or silent) and long <= 4 * bar + bar / 2:
        return "echo"
    opening = material.melody[0].onset + bar
    return "refrain" if first[0] <= opening and gap >= long / 2 and long >= 3 * bar else "written"

