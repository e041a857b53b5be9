"""The planner's core: the best row of graces along a line, exactly, by dynamic programming.

The line is cut into segments (phrases), all solved at once. Along a segment the state is the family of the last grace
and whether it stood one or two notes ago; a grace costs more the nearer the last one stood. ``price`` is what every
grace costs: raising it thins the plan out, and since only the price changes, no segment ever gains a grace by it.

Conventions: arrays are (segments, notes of the longest segment, families); family 0 is no grace. Missing notes at the
ends of shorter segments are bare and cost nothing. Equal scores: the lower family wins, so results are repeatable.

Public: Solved, solve, count_at, costs, penalties, FORBIDDEN.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.taste.manner import FAMILIES
from gracewright.taste.sites import Floats, Ints

FORBIDDEN: Final = -1e6
"""The score of what must not be; finite, so that two demands that exclude each other still give a plan."""
COUNT: Final = len(FAMILIES) - 1
STATES: Final = 1 + 2 * COUNT  # free; family one note ago; family two notes ago


@dataclass(frozen=True, eq=False)
class Solved:
    """``families`` (segments, notes): what was chosen. ``best`` (segments, notes, families): the total of the segment's
    best plan with that family on that note, so that differences say what a choice is worth."""

    families: Ints
    best: Floats


def penalties(spacing: Mapping[str, float]) -> Floats:
    """(states, families with a grace): what it costs to follow so closely; two shakes running are forbidden."""
    table = np.zeros((STATES, COUNT))
    for last in range(COUNT):
        for new in range(COUNT):
            same = last == new
            table[1 + last, new] = spacing["next_same"] if same else spacing["next_other"]
            table[1 + COUNT + last, new] = spacing["second_same"] if same else spacing["second_other"]
    table[1, 0] = -3 * FORBIDDEN  # dearer than two demands that cannot both be met
    return table


def _forward(score: Floats, price: Floats, cost: Floats) -> tuple[Floats, NDArray[np.int8]]:
    """Best totals by state before each note, and where each came from."""
    segments, notes, _ = score.shape
    totals = np.full((notes + 1, segments, STATES), 2 * FORBIDDEN * notes - 1.0)
    totals[0, :, 0] = 0
    came = np.zeros((notes, segments, STATES), dtype=np.int8)
    gains = score[:, :, 1:] - price[:, None, None]
    free = np.array([0, *range(1 + COUNT, STATES)])
    came[:, :, 1 + COUNT :] = np.arange(1, 1 + COUNT)
    for note in range(notes):
        old, new, bare = totals[note], totals[note + 1], score[:, note, :1]
        rested = old[:, free]
        came[note, :, 0] = free[rested.argmax(axis=1)]
        new[:, 0] = rested.max(axis=1) + bare[:, 0]
        new[:, 1 + COUNT :] = old[:, 1 : 1 + COUNT] + bare
        ways = old[:, :, None] - cost[:, note]
        came[note, :, 1 : 1 + COUNT] = ways.argmax(axis=1)
        new[:, 1 : 1 + COUNT] = ways.max(axis=1) + gains[:, note]
    return totals, came


def costs(near: Floats, table: Floats) -> Floats:
    """Penalties scaled by nearness in time (segments, notes, states, families); what is forbidden stays so."""
    cost: Floats = np.where(table >= -FORBIDDEN, table, near[:, :, None, None] * table)
    return cost


def _trace(totals: Floats, came: NDArray[np.int8]) -> Ints:
    notes, segments, _ = came.shape
    families = np.zeros((segments, notes), dtype=np.int64)
    state = totals[notes].argmax(axis=1)
    rows = np.arange(segments)
    for note in range(notes - 1, -1, -1):
        families[:, note] = np.where((state >= 1) & (state <= COUNT), state, 0)
        state = came[note, rows, state]
    return families


def count_at(score: Floats, price: Floats, cost: Floats) -> Ints:
    """Graces in each segment at a price; ``cost`` as :func:`costs` gives it."""
    totals, came = _forward(score, price, cost)
    counted: Ints = (_trace(totals, came) > 0).sum(axis=1)
    return counted


def solve(score: Floats, near: Floats, price: Floats, table: Floats) -> Solved:
    """The best plan at a price (segments,), with the worth of every other family on every note.

    >>> lone = np.array([[[0.0, 2.0, 0.0, 0.0, 0.0], [0.0, 1.9, 0.5, 0.0, 0.0]]])
    >>> space = penalties({"next_same": 1, "next_other": 0.2, "second_same": 0, "second_other": 0})
    >>> solve(lone, np.ones((1, 2)), np.zeros(1), space).families.tolist()  # never two shakes running
    [[1, 2]]
    """
    segments, notes, _ = score.shape
    cost = costs(near, table)
    totals, came = _forward(score, price, cost)
    families = _trace(totals, came)
    best = np.zeros((segments, notes, COUNT + 1))
    ahead = np.zeros((segments, STATES))
    for note in range(notes - 1, -1, -1):
        old = totals[note]
        bare, graced = score[:, note, 0], score[:, note, 1:] - price[:, None]
        with_bare = np.empty((segments, STATES))
        with_bare[:] = (bare + ahead[:, 0])[:, None]
        with_bare[:, 1 : 1 + COUNT] = bare[:, None] + ahead[:, 1 + COUNT :]
        with_grace = (graced + ahead[:, 1 : 1 + COUNT])[:, None, :] - cost[:, note]
        best[:, note, 0] = (old + with_bare).max(axis=1)
        best[:, note, 1:] = (old[:, :, None] + with_grace).max(axis=1)
        ahead = np.maximum(with_bare, with_grace.max(axis=2))
    return Solved(families, best)
