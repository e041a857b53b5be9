"""Cadences that are prepared but not closed: deceptive (another chord in the tonic's place) and evaded (broken off).

Conventions: common practice, no source. Both need a chord that prepares (on the second, fourth or raised fourth
degree, or the cadential six-four), then the dominant in root position for a beat at least, and a strong place. A
deceptive cadence brings VI, or IV6, under a melody that reaches the tonic; an evaded one a tonic sixth chord, or
the seventh in the bass, after a dominant that was shaken or came from a six-four. Neither is heard inside a sequence.

Public: find_broken.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.study.closes import Closes
from gracewright.study.material import Material
from gracewright.study.model import CadenceKind, Harmony
from gracewright.study.numerals import place_of

PREPARING: Final = (2, -1, 6, 7, -5)  # fifths from the tonic: ii, IV, raised iv, V/V, Neapolitan
SUBMEDIANT: Final = (3, -4)
STRONG_PLACE: Final = 0.5


def find_broken(
    material: Material, harmony: Sequence[Harmony], closes: Closes
) -> list[tuple[Fraction, CadenceKind]]:
    """Arrivals of deceptive and evaded cadences, in order."""
    found: list[tuple[Fraction, CadenceKind]] = []
    for at in range(2, len(harmony)):
        here = harmony[at]
        first = at
        while first > 0 and _is_dominant(harmony[first - 1], here.key.tonic_fifths):
            first -= 1
        if first in (0, at) or material.weight(here.onset) < STRONG_PLACE:
            continue
        dominant, before = harmony[first:at], harmony[first - 1]
        long = here.onset - dominant[0].onset >= material.bar_at(dominant[0].onset).meter.beat
        if not long or dominant[-1].inversion or _runs_on(material, closes, here.onset):
            continue
        kind = _kind(material, before, dominant[0], here)
        if kind:
            found.append((here.onset, kind))
    return found


def _is_dominant(chord: Harmony, tonic: int) -> bool:
    return place_of(chord.root) - tonic == 1 and chord.quality in ("major", "dominant seventh")


def _runs_on(material: Material, closes: Closes, onset: Fraction) -> bool:
    beat = int(np.searchsorted(closes.start, material.line.ticks(onset), side="right")) - 1
    return bool(closes.running[max(0, beat)])


def _kind(material: Material, before: Harmony, dominant: Harmony, here: Harmony) -> CadenceKind | None:
    tonic = here.key.tonic_fifths
    root = place_of(here.root) - tonic
    six_four = place_of(before.root) == tonic and before.inversion == 2
    if not six_four and place_of(before.root) - tonic not in PREPARING:
        return None
    at = max(0, int(np.searchsorted(material.melody_onsets, material.line.ticks(here.onset), side="right")) - 1)
    other = (root in SUBMEDIANT and here.inversion == 0) or (root == -1 and here.inversion == 1)
    if other and material.melody[at].pitch.fifths == tonic:
        return "deceptive"
    shaken = any(
        "trill" in sign.element
        for tone in material.melody[max(0, at - 3) : at] if tone.end > dominant.onset
        for sign in tone.marks.signs
    )  # fmt: skip
    broken_off = (root == 0 and here.inversion == 1) or (root == 1 and here.inversion == 3)
    return "evaded" if broken_off and (six_four or shaken) else None
