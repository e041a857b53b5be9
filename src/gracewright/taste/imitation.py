"""Imitation between two melody parts: which note of one answers which note of the other.

Conventions: a run answers another where it has the same steps and the same lengths, from another moment, at most
``FAR`` bars away; its last note may be of another length. Each note has one answer at most, in the longest run.

Public: answers.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

from gracewright.score import Tone

FEWEST: Final = 6
"""Notes of a run that is heard as an answer (own choice)."""
FAR: Final = 4
"""Bars within which an answer is heard as one (own choice)."""


def answers(one: Sequence[Tone], two: Sequence[Tone]) -> Mapping[int, int]:
    """Index into ``two`` → the note of ``one`` that it answers, or that answers it."""
    runs = sorted(_runs(one, two), reverse=True)
    found: dict[int, int] = {}
    taken: set[int] = set()
    for length, apart, first, second in runs:
        pairs = [(first + step, second + step) for step in range(length)]
        if any(theirs in taken or mine in found for theirs, mine in pairs) or not apart:
            continue
        for theirs, mine in pairs:
            found[mine] = theirs
            taken.add(theirs)
    return found


def _runs(one: Sequence[Tone], two: Sequence[Tone]) -> list[tuple[int, int, int, int]]:
    """(length, minus the bars between, first note in one, first note in two) of every run that cannot be lengthened."""
    length_at: dict[tuple[int, int], int] = {}
    found = []
    bars = [tone.bar for tone in two]
    for i in range(len(one) - 1, -1, -1):
        low, high = bisect_left(bars, one[i].bar - FAR), bisect_right(bars, one[i].bar + FAR)
        for j in range(high - 1, low - 1, -1):
            if one[i].onset == two[j].onset:
                continue
            goes_on = _same_step(one, i, two, j)
            length_at[i, j] = 1 + length_at.get((i + 1, j + 1), 0) if goes_on else 1
    for (i, j), length in length_at.items():
        begins = i == 0 or j == 0 or length_at.get((i - 1, j - 1), 0) != length + 1
        if length >= FEWEST and begins and _speaks(one[i : i + length]):
            found.append((length, -abs(one[i].bar - two[j].bar) or -1, i, j))
    return found


def _same_step(one: Sequence[Tone], i: int, two: Sequence[Tone], j: int) -> bool:
    """Do two notes have one length, and go on alike?"""
    if one[i].length != two[j].length or i + 1 >= len(one) or j + 1 >= len(two):
        return False
    if one[i + 1].rest_before != two[j + 1].rest_before:
        return False
    step = one[i + 1].pitch.diatonic - one[i].pitch.diatonic
    return step == two[j + 1].pitch.diatonic - two[j].pitch.diatonic


def _speaks(run: Sequence[Tone]) -> bool:
    """Is a run more than a scale or a note struck again: two lengths or three different steps."""
    steps = {after.pitch.diatonic - before.pitch.diatonic for before, after in pairwise(run)}
    return len(steps) > 2 or (len(steps) > 1 and len({tone.length for tone in run[:-1]}) > 1)
