"""Pages of a part so laid out that the player turns in a rest.

Conventions: widths and heights in tenths of a millimetre; rests in seconds at the end of each bar.

Public: PagePlan, plan_pages, rests_after.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from gracewright.score import Piece, tones
from gracewright.sheet.systems import break_evenly
from gracewright.study import Study

ENOUGH: Final = 1.0
"""Seconds of rest in which a page can be turned; our choice."""


@dataclass(frozen=True, slots=True)
class PagePlan:
    """Bars that begin the systems of one page, and the rest at its end in seconds (0 on the last page)."""

    starts: tuple[int, ...]
    rest: float


def rests_after(piece: Piece, study: Study) -> tuple[float, ...]:
    """For each bar, how long the solo line rests about its end, in seconds."""
    line = tones(piece, study.solo)
    quarter = 60 / float(study.tempo)
    found = []
    for bar in piece.bars:
        last = max((tone.end for tone in line if tone.onset < bar.end), default=piece.bars[0].onset)
        following = min((tone.onset for tone in line if tone.onset >= bar.end), default=bar.end)
        found.append(max(0.0, float(following - min(last, bar.end)) * quarter) if last <= bar.end else 0.0)
    return tuple(found)


def plan_pages(widths: Sequence[int], rests: Sequence[float], line: int, first: int, further: int,
               opening: int = 150) -> tuple[PagePlan, ...]:
    """Pages of at most ``first`` systems (``further`` after the first page), turned in rests where that can be done.

    >>> [plan.starts for plan in plan_pages([400] * 6, [0, 0, 0, 2.0, 0, 0], 1000, 2, 3)]
    [(0, 2), (4,)]
    """
    count = len(widths)
    best: dict[tuple[int, bool], tuple[float, int]] = {}

    def systems(start: int, room: int) -> list[tuple[int, int]]:
        """Every bar at which a page from ``start`` may end (exclusive), with the systems it then takes."""
        ends, used, full = [], 1, 0
        for bar in range(start, count):
            if full and full + widths[bar] > line:
                used, full = used + 1, opening
            if used > room:
                break
            full += widths[bar] + (opening if bar == start and start else 0)
            ends.append((bar + 1, used))
        return ends

    def solve(start: int, opens: bool) -> float:
        if start == count:
            return 0.0
        key = (start, opens)
        if key not in best:
            room = first if opens else further
            ends = systems(start, room)
            good = [(end, used) for end, used in ends if worth(end, used, room)]
            best[key] = min((page_cost(end, used, room) + solve(end, False), end) for end, used in good)
        return best[key][0]

    def worth(end: int, used: int, room: int) -> bool:
        return end == count or used * 2 >= room

    def page_cost(end: int, used: int, room: int) -> float:
        if end == count:
            return 0.3
        return 0.3 + (1 - used / room) ** 2 + (0.0 if rests[end - 1] >= ENOUGH else 0.6 - 0.4 * rests[end - 1])

    for start in range(count - 1, 0, -1):  # from the back, so that the recursion stays shallow
        solve(start, False)
    solve(0, True)
    pages, start, opens = [], 0, True
    while start < count:
        end = best[start, opens][1]
        shown = [widths[start] + (opening if start else 0), *widths[start + 1 : end]]
        starts = tuple(start + at for at in break_evenly(shown, line, opening))
        pages.append(PagePlan(starts, rests[end - 1] if end < count else 0.0))
        start, opens = end, False
    return tuple(pages)
