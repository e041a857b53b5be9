"""``Plan``: which note gets which grace or division, on which time through, and why.

Conventions: a choice names its note by tone id (:class:`gracewright.score.model.Tone`), and by bar, beat and pitch
so that it can be found again in a re-exported score. ``time_through`` 1 is the first time these bars sound.

Public: Plan, Choice, Alternative, Bare.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from gracewright.graces.model import Grace
from gracewright.pitch import Pitch

Origin = Literal["page", "ours", "player"]
Lock = Literal["", "keep", "never"]


@dataclass(frozen=True, slots=True)
class Alternative:
    """Another grace for a place, what it scores against the one chosen, and what it would do."""

    grace: Grace | None  # None: leave it bare
    score: float
    effect: str  # what it would do to the line


@dataclass(frozen=True, slots=True)
class Choice:
    """One grace on one note, one time through. ``lock`` never means: no grace here (``grace`` is then None)."""

    time_through: int
    part: str
    note: str
    bar: str  # printed number
    beat: Fraction
    onset: Fraction
    pitch: Pitch
    grace: Grace | None
    origin: Origin
    strength: float  # how strongly the place wants it, in [0, 1]
    reasons: tuple[str, ...] = ()
    source: str = ""  # shelf id, or "common practice"
    alternatives: tuple[Alternative, ...] = ()
    lock: Lock = ""


@dataclass(frozen=True, slots=True)
class Bare:
    """A strong place left without a grace, and why."""

    time_through: int
    note: str
    bar: str
    beat: Fraction
    why: str


@dataclass(frozen=True)
class Plan:
    """Every choice for one piece, and the wishes it was made from."""

    title: str
    solo: str
    manner: str
    signs_by: str
    instrument: str
    level: str
    richness: float  # 0..10
    curve: tuple[tuple[Fraction, float], ...]  # page onset → factor on the richness
    choices: tuple[Choice, ...]  # in page order, then time through
    bare: tuple[Bare, ...] = ()
    remarks: tuple[str, ...] = ()
