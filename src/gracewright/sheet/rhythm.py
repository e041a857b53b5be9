"""Exact times as printed note values: dots, ties and tuplets.

Conventions: everything in quarters from the start of the bar. A *span* is an (onset, end) pair; spans of a bar lie
end to end or leave gaps. A *slot* is one printed value; a span that no single value can show becomes several slots,
to be tied. Values finer than a 256th (1/64 of a quarter) are rounded to a grid, and the slot says so.

Public: Slot, Tuplet, slots_of, printed, binary, DURATIONS.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from itertools import pairwise
from math import lcm
from typing import Final

Span = tuple[Fraction, Fraction]

DURATIONS: Final = {
    Fraction(16): "long", Fraction(8): "breve", Fraction(4): "1", Fraction(2): "2", Fraction(1): "4",
    Fraction(1, 2): "8", Fraction(1, 4): "16", Fraction(1, 8): "32", Fraction(1, 16): "64", Fraction(1, 32): "128",
    Fraction(1, 64): "256", Fraction(1, 128): "512",
}  # fmt: skip
"""Length in quarters → name of the value in MEI."""

FINEST: Final = Fraction(1, 32)
"""The shortest unit that a tuplet is built from."""

SHORTEST: Final = Fraction(1, 8)
"""Tuplets shorter than this are not looked for."""

LARGEST: Final = 13
"""The largest odd number that a tuplet is named by."""


@dataclass(frozen=True, slots=True)
class Tuplet:
    """``num`` in the time of ``base``; told apart by where it begins."""

    num: int
    base: int
    onset: Fraction
    end: Fraction


@dataclass(frozen=True, slots=True)
class Slot:
    """One printed value. ``span`` is the index of the span it shows, ``first`` and ``last`` its place in that span."""

    span: int
    onset: Fraction
    length: Fraction
    value: Fraction
    dots: int
    tuplet: Tuplet | None = None
    first: bool = True
    last: bool = True


def printed(length: Fraction) -> tuple[Fraction, int] | None:
    """Value and dots of a length that one note can show, or None.

    >>> printed(Fraction(3, 4)), printed(Fraction(5, 4)), printed(Fraction(1, 3))
    ((Fraction(1, 2), 1), None, None)
    """
    for dots, factor in enumerate((Fraction(1), Fraction(3, 2), Fraction(7, 4))):
        value = length / factor
        if value in DURATIONS:
            return value, dots
    return None


def binary(value: Fraction) -> bool:
    """Whether halving a quarter leads to it, so that no tuplet is needed."""
    return value.denominator & (value.denominator - 1) == 0


def slots_of(spans: Sequence[Span], beat: Fraction) -> tuple[Slot, ...]:
    """Printed values of spans in order, ``beat`` the felt beat of the bar.

    >>> third = Fraction(1, 3)
    >>> [(s.value, s.tuplet.num) for s in slots_of([(third * i, third * (i + 1)) for i in range(3)], Fraction(1))]
    [(Fraction(1, 2), 3), (Fraction(1, 2), 3), (Fraction(1, 2), 3)]
    >>> [(s.value, s.dots) for s in slots_of([(Fraction(1, 2), Fraction(2))], Fraction(1))]
    [(Fraction(1, 2), 0), (Fraction(1, 1), 0)]
    """
    return _slots(tuple(spans), beat)  # bars of one rhythm are many


@lru_cache(maxsize=4096)
def _slots(spans: tuple[Span, ...], beat: Fraction) -> tuple[Slot, ...]:
    groups, rounded = _tuplets(spans)
    groups += [run for run in _even_runs(rounded, beat) if not any(_overlap(run, group) for group in groups)]
    slots: list[Slot] = []
    for index, (onset, end) in enumerate(rounded):
        pieces: list[Slot] = []
        at = onset
        while at < end:
            group = next((g for g in groups if g.onset <= at < g.end), None)
            stop = min(end, group.end) if group else min([end, *(g.onset for g in groups if g.onset > at)])
            pieces += _in_tuplet(index, at, stop, group) if group else _plain(index, at, stop, beat)
            at = stop
        slots += [
            replace(piece, first=number == 0, last=number == len(pieces) - 1) for number, piece in enumerate(pieces)
        ]
    return tuple(slots)


def _tuplets(spans: Sequence[Span]) -> tuple[list[Tuplet], list[Span]]:
    """The tuplets that the spans call for, and the spans with unprintable times moved to the nearest grid."""
    points = sorted({point for span in spans for point in span})
    anchors = [point for point in points if binary(point) and point.denominator <= 64]
    if points and (not anchors or anchors[-1] < points[-1]):
        anchors.append(Fraction(-(-points[-1] // 1)))
    if points and anchors[0] > points[0]:
        anchors.insert(0, Fraction(points[0] // 1))
    moved: dict[Fraction, Fraction] = {}
    groups = []
    for whole_start, whole_end in pairwise(anchors):
        within = [point for point in points if whole_start < point < whole_end]
        for start, end, inside in _windows(whole_start, whole_end, within):
            units = _units(inside, start, end)
            for point in inside:
                moved[point] = start + round((point - start) / (end - start) * units) * (end - start) / units
            odd = _odd(units)
            if odd > 1:
                value = _at_least((end - start) / odd)
                base = (end - start) / value
                if base.denominator == 1:
                    groups.append(Tuplet(odd, int(base), start, end))
    return groups, [(moved.get(a, a), moved.get(b, b)) for a, b in spans]


def _overlap(one: Tuplet, other: Tuplet) -> bool:
    return one.onset < other.end and other.onset < one.end


def _even_runs(spans: Sequence[Span], beat: Fraction) -> list[Tuplet]:
    """Runs of equal dotted notes that lie across the beat, told as so many in the time of so many.

    Four even notes over a dotted quarter are four eighths in the time of three, not dotted sixteenths with a tie.
    """
    runs: list[list[Span]] = []
    for span in spans:
        joined = runs and runs[-1][-1][1] == span[0] and span[1] - span[0] == runs[-1][-1][1] - runs[-1][-1][0]
        if joined:
            runs[-1].append(span)
        else:
            runs.append([span])
    found = []
    for run in runs:
        length, whole = run[0][1] - run[0][0], run[-1][1] - run[0][0]
        shown = printed(length)
        crosses = any(end > (start // beat + 1) * beat for start, end in run)
        if len(run) < 3 or not crosses or shown is None or shown[1] != 1 or not binary(length):
            continue
        base = whole / _at_least(length)
        if base.denominator == 1:
            found.append(Tuplet(len(run), int(base), run[0][0], run[-1][1]))
    return found


def _odd(number: int) -> int:
    while number % 2 == 0:
        number //= 2
    return number


Window = tuple[Fraction, Fraction, Sequence[Fraction]]


def _windows(start: Fraction, end: Fraction, inside: Sequence[Fraction]) -> list[Window]:
    """The shortest stretches that hold the points which no binary grid holds."""
    if not inside:
        return []
    low, high = _cell(inside, start, end)
    exact = _exact(inside, low, high)
    if exact <= 7 or high - low <= SHORTEST:
        return [(low, high, inside)]
    step = Fraction(1, 4) if high - low > Fraction(1, 2) else SHORTEST
    cuts = []
    for number in range(1, int((high - low) / step)):
        cut = low + number * step
        left, right = [point for point in inside if point < cut], [point for point in inside if point > cut]
        if left and right:
            halves = [(points, *_cell(points, a, b)) for points, a, b in ((left, low, cut), (right, cut, high))]
            cuts.append((max(_odd(_exact(*half)) for half in halves), cut, left, right))
    if cuts and min(cuts)[0] < _odd(exact):
        _, cut, left, right = min(cuts)
        return _windows(low, cut, left) + _windows(cut, high, right)
    return [(low, high, inside)]


def _cell(inside: Sequence[Fraction], start: Fraction, end: Fraction) -> Span:
    """The stretch that needs the coarsest grid: all of it, or the part of a beat that holds the points."""
    cells = [(start, end)]
    size = Fraction(4)
    while size >= SHORTEST:
        low = inside[0] // size * size
        if start <= low and low + size <= end and inside[-1] < low + size:
            cells.append((low, low + size))
        size /= 2
    return min(cells, key=lambda cell: _exact(inside, *cell))


def _exact(inside: Sequence[Fraction], start: Fraction, end: Fraction) -> int:
    """Into how many equal units a stretch must be divided to meet every point."""
    return lcm(*(((point - start) / (end - start)).denominator for point in inside))


def _units(inside: Sequence[Fraction], start: Fraction, end: Fraction) -> int:
    """Into how many equal units the stretch is divided: exactly if that can be printed, else as near as can be."""
    length = end - start
    shares = [(point - start) / length for point in inside]
    exact = _exact(inside, start, end)
    if _odd(exact) <= LARGEST and length / exact >= FINEST / 2:
        return exact
    best, least = 0, Fraction(10**9)
    for units in (1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 16, 20, 24, 28, 32, 48, 64):
        places = [round(share * units) for share in shares]
        if len({0, *places, units}) < len(places) + 2 or (best and length / units < FINEST / 2):
            continue
        error = max(abs(share - Fraction(place, units)) for share, place in zip(shares, places, strict=True))
        error += Fraction(units, 2000)
        if error < least:
            best, least = units, error
    return best or exact


def _at_least(length: Fraction) -> Fraction:
    """The shortest undotted value that is not shorter than a length."""
    return min(value for value in DURATIONS if value >= length)


def _in_tuplet(index: int, start: Fraction, end: Fraction, group: Tuplet) -> list[Slot]:
    factor = Fraction(group.num, group.base)
    return [
        Slot(index, start + at / factor, length / factor, value, dots, group)
        for at, length, value, dots in _values(Fraction(0), (end - start) * factor)
    ]


def _values(at: Fraction, length: Fraction) -> list[tuple[Fraction, Fraction, Fraction, int]]:
    """Onset, length, value, dots of as few notes as make up a length."""
    whole = printed(length)
    if whole is not None:
        return [(at, length, *whole)]
    fit = max((value for value in DURATIONS if value <= length), default=None)
    if fit is None or fit <= FINEST / 2:  # too fine to be told apart on paper
        return [(at, length, fit or Fraction(1, 128), 0)]
    return [(at, fit, fit, 0), *_values(at + fit, length - fit)]


def _plain(index: int, start: Fraction, end: Fraction, beat: Fraction) -> list[Slot]:
    length = end - start
    whole = printed(length)
    next_beat = (start // beat + 1) * beat
    if whole is not None and _readable(start, end, beat, whole[1]):
        return [Slot(index, start, length, *whole)]
    if end > next_beat:
        return _plain(index, start, next_beat, beat) + _plain(index, next_beat, end, beat)
    return [Slot(index, at, piece, value, dots) for at, piece, value, dots in _values(start, length)]


def _readable(start: Fraction, end: Fraction, beat: Fraction, dots: int) -> bool:
    """Whether one value shows where the beats lie."""
    length = end - start
    if end <= (start // beat + 1) * beat:
        return True
    if start % beat == 0:
        return beat.numerator != 3 or length % beat == 0
    return dots == 0 and start % (beat / 2) == 0 and length == beat
