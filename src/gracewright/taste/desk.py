"""What lies on the planner's desk while it makes one plan.

Public: Desk, Row, Found.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from gracewright.graces import Grace
from gracewright.score import Piece
from gracewright.study.model import Study
from gracewright.taste.allowed import Allowed
from gracewright.taste.chain import Solved
from gracewright.taste.growth import Curve, Strip
from gracewright.taste.manner import Manner
from gracewright.taste.model import Choice
from gracewright.taste.realising import Workshop
from gracewright.taste.required import Wanted
from gracewright.taste.scores import Scores
from gracewright.taste.sites import Floats, Ints, Sites


@dataclass(eq=False)
class Desk:
    """The dials, the tables, and what the page, the player and the cadences demand.

    ``page`` maps a row to the grace that stands there, whose word explains it, and a remark; ``locked`` is by time
    through and row; ``struck`` are (time through, row, kind) that failed beside their neighbours.
    """

    piece: Piece
    study: Study
    manner: Manner
    level: str
    richness: float
    curve: Curve
    sites: Sites
    scores: Scores
    allowed: Allowed
    workshop: Workshop
    strips: tuple[Strip, ...]
    bonus: list[Floats]
    wanted: tuple[Wanted, ...]
    page: Mapping[int, tuple[Grace, str, str]]
    locked: Mapping[tuple[int, int], Choice]
    struck: set[tuple[int, int, int]]
    budget: Floats | None = None  # graces on each occasion, where the manner's density is not to decide


@dataclass(frozen=True, slots=True)
class Row:
    """What was found for one strip: on each note the kind chosen ("" none of ours) and its grace."""

    strip: Strip
    kinds: tuple[str, ...]
    graces: tuple[Grace | None, ...]


@dataclass(frozen=True, eq=False)
class Found:
    """The rows, the solution they were made from, its prices by strip, and the best kind of each family on each note
    (strips, notes, families)."""

    rows: Sequence[Row]
    solved: Solved
    prices: Floats
    columns: Ints
