"""Frames in the order in which they are heard where endings part: after a first ending the repeat begins again, and a
second ending follows the bar before the first.

Harmony looks a few beats ahead and behind, so at an ending it must not look across the page. Between two endings the
bars really heard there are put in once more; what is read on them is dropped again.

Conventions: bars by their index. Internal to the study.

Public: Heard, heard.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from gracewright.score import Bar, Piece
from gracewright.study.frames import Frames, Ints

AROUND: Final = 4  # bars put in on either side of an ending


@dataclass(frozen=True)
class Heard:
    """Frames as heard, the frame of the page each comes from, and each page frame's place among them."""

    frames: Frames
    source: Ints
    place: Ints


def heard(piece: Piece, frames: Frames) -> Heard:
    """The frames themselves where no ending parts the ways."""
    bars = piece.bars
    extra = {bar.index: between for bar in bars if (between := _between(bars, bar.index))}
    if not extra:
        return Heard(frames, np.arange(len(frames)), np.arange(len(frames)))
    order: list[Ints] = []
    place = np.zeros(len(frames), dtype=np.int64)
    count = 0
    edges = np.searchsorted(frames.bar, np.arange(len(bars) + 1))
    for index in range(len(bars)):
        for bar in extra.get(index, ()):
            order.append(np.arange(edges[bar], edges[bar + 1]))
            count += len(order[-1])
        own = np.arange(edges[index], edges[index + 1])
        place[own] = count + np.arange(len(own))
        order.append(own)
        count += len(own)
    source = np.concatenate(order)
    return Heard(_gathered(frames, source), source, place)


def _between(bars: tuple[Bar, ...], index: int) -> list[int]:
    """Bars heard between the ending before a bar and the ending that begins with it; none where none begins there."""
    here = bars[index]
    before = bars[index - 1] if index else None
    if before is None or not here.endings or not before.endings or here.endings == before.endings:
        return []
    first = index - 1
    while first and bars[first - 1].endings:
        first -= 1
    begin = next((bar.index for bar in reversed(bars[:first]) if bar.repeat_start), 0)
    if begin >= first:
        return []
    return [*range(begin, min(begin + AROUND, first)), *range(max(begin, first - AROUND), first)]


def _gathered(frames: Frames, order: Ints) -> Frames:
    """The frames in another order, times and numbers running on."""
    length = frames.length[order]
    end = np.cumsum(length)
    return Frames(
        frames.quarter, end - length, end, frames.level[order], frames.bar[order], _running(frames.beat[order]),
        _running(frames.group[order]), frames.now[order], frames.begin[order], frames.low[order], frames.top[order],
    )  # fmt: skip


def _running(numbers: Ints) -> Ints:
    return np.cumsum(np.diff(numbers, prepend=numbers[0]) != 0)
