"""A shape laid out in time over a host.

The number of strokes comes from the host's length in seconds and from what fingers and instrument manage, never from
a fixed note value; a printed example is taken as it stands where the host has the same value and the example can be
played at this tempo. Times are exact, and where possible values that can be written down (quarters divided by
1, 2, 3, 4, 6, 8 …). Lengths always sum to the host.

Public: Laid, Limits, lay, shortest_shake.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache
from typing import Final, NamedTuple

from gracewright.graces.shape import HOLD, QUICK, Mark, Shape
from gracewright.instruments import BURST

SLOWEST_PRINTED: Final = 0.3
"""Seconds: a quick note of a printed example slower than this is no longer quick, and the strokes are counted anew."""
SLOWEST_QUICK: Final = 0.2
"""Seconds: the longest that a lone quick note (mordent, turn, slide) is given. Our choice, by ear."""
SLOWEST_AFTER: Final = 0.4
"""Seconds: the longest that a note at the end of its host is given. Our choice, by ear."""
QUICK_AIM: Final = 0.09
"""Seconds: what a lone quick note aims at where no source prints a value. Our choice, by ear."""
TURNED: Final = (Mark(-1), Mark(0))
"""The turned ending of a shake."""
TURN: Final = Shape((Mark(1), Mark(0), Mark(-1), Mark(0, HOLD)))
DIVISORS: Final = (1, 2, 3, 4, 6, 8, 12, 16, 24, 32, 48, 64)


class Limits(NamedTuple):
    """``quarter`` seconds a quarter lasts, ``rate`` full strokes a second, ``least`` seconds of the shortest note."""

    quarter: Fraction
    rate: float
    least: float


class Laid(NamedTuple):
    """Steps with onset and length in quarters from the host's onset; a remark where the shape had to give way."""

    notes: tuple[tuple[int | None, Fraction, Fraction], ...]
    remark: str = ""


def shortest_shake(rate: float, least: float) -> float:
    """Seconds that a shake of two strokes takes, the shortest there is; infinite where none is possible.

    >>> round(shortest_shake(4.5, 0.07), 2)
    0.29
    """
    return 4 * max(least, BURST * 0.5 / rate) if rate > 0 else float("inf")


@lru_cache(maxsize=8192)
def lay(shape: Shape, length: Fraction, limits: Limits) -> Laid:
    """Lay a shape over a host of ``length`` quarters.

    >>> from gracewright.graces.shape import Shape
    >>> lay(Shape(stroke=(1, 0)), Fraction(1), Limits(Fraction(1, 2), 5.0, 0.06)).notes[:2]
    ((1, Fraction(0, 1), Fraction(1, 4)), (0, Fraction(1, 4), Fraction(1, 4)))
    """
    if shape.stroke and limits.rate <= 0:
        return _unshaken(shape, length)
    floor = max(limits.least, 0.5 / limits.rate) if shape.stroke else limits.least
    if shape.printed and _printed_fits(shape, length, limits, floor):
        return _in_a_row([(mark.step, mark.share * length) for mark in shape.printed])
    if shape.stroke:
        return _strokes(shape, length, limits, floor)
    return _figure(shape, length, limits)


def _unshaken(shape: Shape, length: Fraction) -> Laid:
    """On a note that the instrument cannot shake: the other note leans, the written one follows; or the plain note."""
    assert shape.stroke is not None
    first = shape.stroke[0]
    if first == 0:
        return _in_a_row([(0, length)], "no shake is possible here on this instrument: left plain")
    row: list[tuple[int | None, Fraction]] = [(first, length / 2), (0, length / 2)]
    return _in_a_row(row, "no shake is possible here on this instrument: leaned on instead")


def _printed_fits(shape: Shape, length: Fraction, limits: Limits, floor: float) -> bool:
    if not shape.stroke and not any(mark.share == QUICK for mark in shape.head):
        return shape.value == length  # shares only: an appoggiatura, a silence
    seconds = float(shape.quick * length * limits.quarter)
    return shape.value == length and floor * 0.95 <= seconds <= SLOWEST_PRINTED


def _in_a_row(notes: Sequence[tuple[int | None, Fraction]], remark: str = "") -> Laid:
    row, at = [], Fraction(0)
    for step, length in notes:
        row.append((step, at, length))
        at += length
    return Laid(tuple(row), remark)


def _unit(length: Fraction, quarter: Fraction, floor: float) -> tuple[Fraction, int]:
    """The quickest playable unit that divides the host, one that can be written if there is one, and how many."""
    best = 0
    for divisor in DIVISORS:
        if float(quarter) / divisor < floor * 0.999:
            break
        if (length * divisor).denominator == 1:
            best = divisor
    if best and float(quarter) / best <= 1.7 * floor:
        return Fraction(1, best), int(length * best)
    count = max(1, int(float(length * quarter) / floor + 1e-9))
    return length / count, count


def _strokes(shape: Shape, length: Fraction, limits: Limits, floor: float) -> Laid:
    assert shape.stroke is not None
    fewest = 3 if shape.stroke[0] == 0 else 4
    fixed = len(shape.head) + len(shape.tail)
    unit, units = _unit(length, limits.quarter, floor)
    wanted, held = fixed + fewest, 0
    if units < wanted:
        shortest = max(limits.least * 0.999, BURST * floor)
        if float(length * limits.quarter) / wanted < shortest:
            return _too_short(shape, length, limits)
        unit, units = _squeezed(length, limits.quarter, wanted, shortest)
        held = units - wanted
    head = [_units(mark, units) for mark in shape.head]
    tail = [_units(mark, units) for mark in shape.tail]
    lean, rest = max(1, round(shape.lean * units)), max(1, round(shape.rest * units))
    if held:  # few strokes in little time: what is over goes to the first note where a lean or a closing wants it
        lean, rest = (1 + held, 1) if shape.lean or shape.tail else (1, 1 + held)
    spare = units - len(head) - len(tail) - fewest
    widths = _narrowed([*head, lean, rest, *tail], spare)
    head, (lean, rest), tail = widths[: len(head)], widths[len(head) : len(head) + 2], widths[len(head) + 2 :]
    inner = units - sum(head) - sum(tail) - lean - rest
    if (inner + 2) % 2 != fewest % 2 and shape.stroke[0] != shape.stroke[1]:
        inner, rest = inner - 1, rest + 1
    steps = [shape.stroke[i % 2] for i in range(inner + 2)]
    lengths = [lean, *([1] * inner), rest]
    if shape.quicken:
        steps, lengths = _quickened(steps, lengths)
    every = [mark.step for mark in shape.head] + steps + [mark.step for mark in shape.tail]
    return _in_a_row([(s, unit * w) for s, w in zip(every, [*head, *lengths, *tail], strict=True)])


def _squeezed(length: Fraction, quarter: Fraction, wanted: int, shortest: float) -> tuple[Fraction, int]:
    """A unit for the fewest notes of a shake, one that can be written if fingers allow it, and how many units."""
    for divisor in DIVISORS:
        count = length * divisor
        if count.denominator == 1 and count >= wanted and float(quarter) / divisor >= shortest:
            return Fraction(1, divisor), int(count)
    return length / wanted, wanted


def _units(mark: Mark, units: int) -> int:
    return max(1, round(mark.share * units)) if mark.share > 0 else 1


def _narrowed(widths: list[int], spare: int) -> list[int]:
    """Long notes cut down, the longest first, until what they have above one unit fits into ``spare`` units."""
    widths = list(widths)
    while sum(widths) - len(widths) > spare:
        widths[widths.index(max(widths))] -= 1
    return widths


def _quickened(steps: list[int], lengths: list[int]) -> tuple[list[int], list[int]]:
    """The same time with the first strokes slower: about a quarter of it at half speed, for a beginning that swings."""
    slow = len(steps) // 8 * 2  # notes at double length; each replaces two
    if slow == 0 or len(steps) - 2 * slow < 4:
        return steps, lengths
    lean, rest = lengths[0], lengths[-1]
    kept = len(steps) - slow
    if lean > 1:
        return steps[:kept], [lean, *([2] * slow), *([1] * (kept - slow - 2)), rest]
    return steps[:kept], [*([2] * slow), *([1] * (kept - slow - 1)), rest]


def _too_short(shape: Shape, length: Fraction, limits: Limits) -> Laid:
    """What is left of a shape with strokes where the host has no room for it."""
    assert shape.stroke is not None
    if shape.tail == TURNED and shape.stroke[0] == 1 and float(length * limits.quarter) >= 4 * limits.least:
        short = _figure(TURN, length, limits)
        if not short.remark:
            return short._replace(remark="short: a turn stands for it")
    if shape.tail:
        less = lay(replace(shape, tail=(), printed=()), length, limits)
        return less._replace(remark=less.remark or "too short for the ending")
    if shape.head:
        less = lay(replace(shape, head=(), printed=()), length, limits)
        return less._replace(remark=less.remark or "too short for the beginning")
    first, second = shape.stroke
    seconds = float(length * limits.quarter)
    if first != 0 and seconds >= 3 * limits.least:
        return _in_a_row([(first, length / 3), (second, length * 2 / 3)], "too short: touched once")
    if first == 0 and second != 0 and seconds >= 4 * limits.least:
        return _in_a_row([(0, length / 4), (second, length / 4), (0, length / 2)], "too short: touched once")
    return _in_a_row([(0, length)], "too short: left plain")


def _figure(shape: Shape, length: Fraction, limits: Limits) -> Laid:
    marks = shape.head
    quicks = sum(mark.share == QUICK for mark in marks)
    if not any(mark.share == HOLD for mark in marks):
        return _in_a_row([(mark.step, mark.share * length) for mark in marks])
    shares = _shares(marks, length, limits.quarter)
    room = length - sum(shares.values())
    quick = _quick(shape, length, limits) if quicks else Fraction(0)
    remark = ""
    if quicks and quick * (quicks + 1) > room:
        quick = room / (quicks + 1)
        if float(quick * limits.quarter) < limits.least * 0.75:
            if shares:
                shorter = replace(shape, head=tuple(m for m in marks if m.share != QUICK), printed=())
                return _figure(shorter, length, limits)._replace(remark="too short for the quick notes")
            return _in_a_row([(0, length)], "too short: left plain")
    rest = room - quick * quicks
    row = [
        (mark.step, shares.get(i, rest if mark.share == HOLD else quick))
        for i, mark in enumerate(marks)
    ]
    return _in_a_row(row, remark)


def _shares(marks: Sequence[Mark], length: Fraction, quarter: Fraction) -> dict[int, Fraction]:
    """Lengths of the marks with a share; those after the held note never last longer than an after-note may."""
    held = next(i for i, mark in enumerate(marks) if mark.share == HOLD)
    found = {}
    for i, mark in enumerate(marks):
        if mark.share > 0:
            share = mark.share * length
            while i > held and mark.step not in (None, 0) and float(share * quarter) > SLOWEST_AFTER:
                share /= 2
            found[i] = share
    return found


def _quick(shape: Shape, length: Fraction, limits: Limits) -> Fraction:
    """Length of a lone quick note: the printed one where it is quick enough and long enough, else one by ear."""
    if shape.quick > 0:
        quick = shape.quick * min(length, shape.value)
        while float(quick * limits.quarter) > SLOWEST_QUICK:
            quick /= 2
        if float(quick * limits.quarter) >= limits.least * 0.999:
            return quick
    divisors = [d for d in DIVISORS if float(limits.quarter) / d >= max(limits.least, QUICK_AIM) * 0.95]
    return Fraction(1, divisors[-1]) if divisors else length / 4
