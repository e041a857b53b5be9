"""``Division``: a passage in place of one long note; ``Ground``: what sounds under it.

Conventions: shares are exact fractions of the written note and sum to 1; offsets are exact quarters from the
written note's onset.

Public: Division, Ground.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from gracewright.graces.model import Grace
from gracewright.pitch import Pitch


@dataclass(frozen=True, slots=True)
class Division:
    """A passage for one written note.

    ``score`` lies in (0, 1), higher is better, and may be compared between notes; ``formula`` names the figures in
    order; ``reason`` is a sentence for the player; ``source`` a shelf id or "common practice".
    """

    grace: Grace  # id "division", notes = ((Pitch, share of the host), …)
    score: float
    formula: str
    reason: str
    source: str

    @property
    def notes(self) -> tuple[tuple[Pitch, Fraction], ...]:
        return self.grace.notes


@dataclass(frozen=True, slots=True)
class Ground:
    """Bass and chord from ``offset`` on, until the next one. One may lie at the host's very end, for the next note.

    ``bass`` is None where the bass rests; ``harmony`` holds pitch-class names, empty where unknown; ``inner`` are the
    steps and leaps that other voices make at this moment (from, to).
    """

    offset: Fraction
    bass: Pitch | None
    harmony: tuple[str, ...] = ()
    inner: tuple[tuple[Pitch, Pitch], ...] = ()
