"""The order as played: repeat signs, endings, da capo and dal segno, and passages written out again.

Conventions: a closing sign without an opening one goes back to the last opening sign, double bar after a closing
sign, or the start; an ending that another one follows goes back even without its dots. The order is bounded: each bar
sounds at most ``MOST`` times, and once more after a da capo or dal segno.

Public: played_order, find_repeats.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from gracewright.score import Bar
from gracewright.study.material import Material
from gracewright.study.model import Repeat, Segment
from gracewright.study.returns import find_returns

MOST: Final = 8
JUMPS: Final = {"dacapo": "da capo", "dalsegno": "dal segno"}


def played_order(bars: Sequence[Bar]) -> tuple[Segment, ...]:
    """Bars in the order as played, as runs with the time through of each.

    >>> from gracewright.score import Meter
    >>> from fractions import Fraction as F
    >>> bar = lambda i, **more: Bar(i, str(i + 1), F(3 * i), F(3), Meter(3, 4), 0, **more)
    >>> [(s.first_bar, s.last_bar, s.time_through) for s in played_order([bar(0), bar(1, repeat_end=2), bar(2)])]
    [(0, 1, 1), (0, 1, 2), (2, 2, 1)]
    """
    heard = [0] * len(bars)
    order: list[int] = []
    returned = ""  # after a da capo or dal segno, repeats are not taken again
    start, index, times = 0, 0, 1
    after = _after_endings(bars)
    while index < len(bars) and len(order) < MOST * len(bars):
        bar = bars[index]
        if bar.repeat_start and not returned and index != start:
            start, times = index, 1
        if bar.endings and times not in bar.endings and not returned:
            index = after[index]
            continue
        if bar.endings and returned and 1 in bar.endings and _has_later_ending(bars, index, after):
            index = after[index]
            continue
        order.append(index)
        heard[index] += 1
        if returned and "fine" in bar.jumps:
            break
        more = _has_later_ending(bars, index, after)
        if (bar.repeat_end or (more and bars[index + 1].endings != bar.endings)) and not returned:
            rounds = max(bar.repeat_end, max(bar.endings, default=0) + 1 if more else 0)
            if times < min(rounds, MOST) and heard[start] < MOST:
                times += 1
                index = start
                continue
            if not more:
                start, times = index + 1, 1
        elif bar.endings and index + 1 < len(bars) and not bars[index + 1].endings:
            start, times = index + 1, 1
        if not returned and ("dacapo" in bar.jumps or "dalsegno" in bar.jumps):
            returned = "dacapo" if "dacapo" in bar.jumps else "dalsegno"
            index = next((b.index for b in bars if "segno" in b.jumps), 0) if returned == "dalsegno" else 0
            continue
        if returned and "tocoda" in bar.jumps:
            coda = next((b.index for b in bars if "coda" in b.jumps and b.index > index), None)
            if coda is not None:
                index = coda
                continue
        index += 1
    return _runs(order)


def _after_endings(bars: Sequence[Bar]) -> list[int]:
    """For each bar the first one after the ending it stands under: where numbers change or dots close it."""
    after = list(range(1, len(bars) + 1))
    for index in range(len(bars) - 2, -1, -1):
        if not bars[index].repeat_end and bars[index].endings == bars[index + 1].endings:
            after[index] = after[index + 1]
    return after


def _has_later_ending(bars: Sequence[Bar], index: int, after: Sequence[int]) -> bool:
    here, later = bars[index].endings, after[index]
    return bool(here) and later < len(bars) and bool(bars[later].endings) and bars[later].endings != here


def _runs(order: Sequence[int]) -> tuple[Segment, ...]:
    heard: dict[int, int] = {}
    runs: list[list[int]] = []
    for index in order:
        heard[index] = heard.get(index, 0) + 1
        if runs and runs[-1][1] + 1 == index and runs[-1][2] == heard[index]:
            runs[-1][1] = index
        else:
            runs.append([index, index, heard[index]])
    return tuple(Segment(first, last, through) for first, last, through in runs)


def find_repeats(material: Material, order: Sequence[Segment]) -> tuple[Repeat, ...]:
    """Passages heard again: by sign or jump, and written out."""
    bars = material.piece.bars
    found = []
    kind = "sign"
    for segment in order:
        if segment.time_through > 1:
            here = bars[segment.first_bar].onset, bars[segment.last_bar].end
            found.append(Repeat(kind, here, here))
        kind = next((JUMPS[jump] for jump in bars[segment.last_bar].jumps if jump in JUMPS), kind)
    return tuple(found) + find_returns(material)
