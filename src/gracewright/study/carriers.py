"""The notes of the melody that carry a cadence: the one that arrives, and the one on the dominant before it.

Conventions: common practice, no source. An anticipation of the close, or the short notes that end a shake, do not
carry the dominant; a note held over or leaning into the goal chord does not arrive: its resolution does.

Public: carriers, members.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.score import Tone
from gracewright.study.material import Material
from gracewright.study.model import Harmony
from gracewright.study.numerals import member_fifths, place_of

CLOSING: Final = (2, 5)  # fifths above the goal: second degree, leading note
SHAKEN: Final = 4  # a note with a shake weighs as much as one so many times as long
CLOSING_WEIGHT: Final = 2


def members(chord: Harmony) -> frozenset[int]:
    """The notes of a chord, in fifths."""
    return frozenset(member_fifths(place_of(chord.root), chord.quality))


def carriers(
    material: Material, onset: Fraction, dominant: Fraction, goal: Harmony
) -> tuple[Tone | None, Tone | None]:
    """The tone that arrives at ``onset`` and the one that carries the ``dominant`` before it; None where it rests."""
    melody = material.melody
    at = int(np.searchsorted(material.melody_onsets, material.line.ticks(onset), side="right")) - 1
    if at < 0:
        return None, None
    sounding = melody[at].end > onset
    if not sounding:
        return None, _carrier(material, at + 1, dominant, None, goal)
    arrival = _resolution(material, at, onset, goal)
    stop = at if melody[at].onset == onset else at + 1
    early = _carrier(material, min(stop, arrival), dominant, melody[arrival], goal)
    return melody[arrival], early


def _resolution(material: Material, at: int, onset: Fraction, goal: Harmony) -> int:
    """The tone at ``at``, or the one to which it resolves when it is foreign to the goal chord."""
    melody, heard = material.melody, members(goal)
    if melody[at].pitch.fifths in heard or at + 1 >= len(melody):
        return at
    ahead = melody[at + 1]
    near = ahead.onset - onset <= 2 * material.piece.bars[ahead.bar].meter.beat and not melody[at].rest_after
    step = abs(ahead.pitch.diatonic - melody[at].pitch.diatonic) == 1
    return at + 1 if near and step and ahead.pitch.fifths in heard else at


def _carrier(
    material: Material, stop: int, dominant: Fraction, arrival: Tone | None, goal: Harmony
) -> Tone | None:
    """The tone before ``stop`` that bears the dominant: shaken, on the second degree or leading note, long, late."""
    melody = material.melody
    first = stop
    while first > 0 and melody[first - 1].end > dominant:
        first -= 1
    inside = melody[first:stop]
    if not inside:
        return None
    early = arrival is not None and inside[-1].pitch == arrival.pitch
    if early and len(inside) > 1 and inside[-1].length < inside[-2].length:
        inside = inside[:-1]
    root = place_of(goal.root)

    def weight(tone: Tone) -> Fraction:
        length = tone.end - max(tone.onset, dominant)
        shaken = any("trill" in sign.element for sign in tone.marks.signs)
        closing = tone.pitch.fifths - root in CLOSING
        return length * (SHAKEN if shaken else 1) * (CLOSING_WEIGHT if closing else 1)

    beat = material.piece.bars[inside[-1].bar].meter.beat
    near = [tone for tone in inside if inside[-1].end - tone.end <= beat] or list(inside)
    return max(near, key=lambda tone: (weight(tone), tone.onset))
