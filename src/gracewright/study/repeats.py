"""The order as played: repeat signs, endings, da capo and dal segno, and passages written out again.

Conventions: a closing sign without an opening one goes back to the last opening sign, double bar after a closing
sign, or the start. The order is bounded: each bar sounds at most ``MOST`` times.

Public: played_order, find_repeats.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from gracewright.score import Bar, Piece, Tone
from gracewright.study.model import Repeat, Segment

MOST: Final = 8


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
    while index < len(bars) and len(order) < MOST * len(bars):
        bar = bars[index]
        if bar.repeat_start and not returned and index != start:
            start, times = index, 1
        if bar.endings and times not in bar.endings and not returned:
            index = _after_ending(bars, index)
            continue
        if bar.endings and returned and 1 in bar.endings and _has_later_ending(bars, index):
            index = _after_ending(bars, index)
            continue
        order.append(index)
        heard[index] += 1
        if returned and "fine" in bar.jumps:
            break
        if bar.repeat_end and not returned:
            rounds = max(bar.repeat_end, max(bar.endings, default=0) if _has_later_ending(bars, index) else 0)
            if times < rounds and heard[index] < MOST:
                times += 1
                index = start
                continue
            if not bar.endings or not _has_later_ending(bars, index):
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


def _after_ending(bars: Sequence[Bar], index: int) -> int:
    here = bars[index].endings
    while index < len(bars) and bars[index].endings == here:
        closing = bars[index].repeat_end
        index += 1
        if closing:
            break
    return index


def _has_later_ending(bars: Sequence[Bar], index: int) -> bool:
    here = bars[index].endings
    later = _after_ending(bars, index)
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


def find_repeats(piece: Piece, solo: Sequence[Tone], order: Sequence[Segment]) -> tuple[Repeat, ...]:
    """Passages heard again: by sign, and written out (four bars or more alike in the solo, or two at the end)."""
    found = []
    for segment in order:
        if segment.time_through > 1:
            here = piece.bars[segment.first_bar].onset, piece.bars[segment.last_bar].end
            after_jump = any("dacapo" in bar.jumps or "dalsegno" in bar.jumps for bar in piece.bars)
            found.append(Repeat("da capo" if after_jump and segment.first_bar == 0 else "sign", here, here))
    return tuple(found) + _written_out(piece, solo)


def _fingerprints(piece: Piece, solo: Sequence[Tone]) -> list[int]:
    """A number for the content of each bar, equal where bars are equal; 0 for an empty bar."""
    content: list[list[tuple[Fraction, int, Fraction]]] = [[] for _ in piece.bars]
    for tone in solo:
        content[tone.bar].append((tone.onset - piece.bars[tone.bar].onset, tone.pitch.midi, tone.length))
    numbers: dict[tuple[tuple[Fraction, int, Fraction], ...], int] = {(): 0}
    return [numbers.setdefault(tuple(bar), len(numbers)) for bar in content]


def _written_out(piece: Piece, solo: Sequence[Tone], least: int = 3) -> tuple[Repeat, ...]:
    """Longest runs of bars that return note for note; at the very end two bars are enough (petite reprise)."""
    prints = _fingerprints(piece, solo)
    places: dict[int, list[int]] = {}
    found: list[Repeat] = []
    index = 0
    while index < len(prints):
        best = (0, 0)
        if prints[index]:
            for earlier in places.get(prints[index], [])[-16:]:
                run = 0
                while (
                    index + run < len(prints) and earlier + run < index and prints[earlier + run] == prints[index + run]
                ):
                    run += 1
                best = max(best, (run, earlier))
        run, earlier = best
        at_end = index + run == len(prints)
        for passed in range(index, index + max(1, run)):
            if passed < len(prints) and prints[passed]:
                places.setdefault(prints[passed], []).append(passed)
        if run >= least or (at_end and run >= 2):
            bars = piece.bars
            kind = "petite reprise" if at_end and earlier + run == index and run >= 2 else "written"
            if run <= 4 and earlier + run == index and not at_end:
                kind = "echo"
            first = bars[earlier].onset, bars[earlier + run - 1].end
            found.append(Repeat(kind, first, (bars[index].onset, bars[index + run - 1].end)))
        index += max(1, run)
    return tuple(found)
