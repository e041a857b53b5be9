"""Temperaments: how high each note stands, by its spelling.

Conventions: cents are hundredths of an equal semitone; a deviation is from equal temperament with A held at 0, so that
the pitch of the tuning note never moves. *Fifths* count along the line of fifths (C 0, G 1, A 3, Eb -3).

Public: Temperament, load_temperament, temperaments, A_415.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache
from importlib import resources
from math import log2
from typing import Any, Final

from gracewright.errors import BadInput, TableError
from gracewright.pitch import Pitch, fifths_of

A_415: Final = 415.0
"""The pitch of a' in Hz where nothing else is asked for: common practice today for late Baroque music."""
PURE_FIFTH: Final = 1200 * log2(3 / 2)
SYNTONIC: Final = 1200 * log2(81 / 80)
PYTHAGOREAN: Final = 12 * PURE_FIFTH - 7 * 1200
A_FIFTHS: Final = 3
FLAT_END, SHARP_END = -3, 8  # Eb and G#, where a circular temperament closes


@dataclass(frozen=True)
class Temperament:
    """A temperament. ``fifth`` is the size of every fifth in a regular one, 0.0 in a circular one, whose twelve
    deviations are in ``circle`` by fifths from Eb (-3) to G# (8)."""

    id: str
    name: str
    source: str
    fifth: float = 0.0
    circle: Mapping[int, float] = field(default_factory=dict)

    @property
    def spelled(self) -> bool:
        """Do g sharp and a flat differ here?"""
        return bool(self.fifth) and self.fifth != 700.0

    def cents_from_equal(self, pitch: Pitch) -> float:
        """Deviation in cents from the same key of equal temperament, A at 0.

        >>> meantone = load_temperament("meantone_1_4")
        >>> [round(meantone.cents_from_equal(Pitch.parse(name)), 2) for name in ("G#4", "Ab4")]
        [-17.11, 23.95]
        """
        if self.fifth:
            return (pitch.fifths - A_FIFTHS) * (self.fifth - 700.0)
        return self.circle[(pitch.fifths - FLAT_END) % 12 + FLAT_END]

    def midi_cents(self, pitch: Pitch, a: float = A_415) -> float:
        """Cents above the same key of equal temperament at a' = 440 Hz, which is what MIDI takes a key to mean.

        >>> round(load_temperament("vallotti").midi_cents(Pitch.parse("C5"), 415.0), 2)  # 5.87 above equal at 415
        -95.41
        """
        return self.cents_from_equal(pitch) + 1200 * log2(a / 440)

    def cents_from_c(self, name: str) -> float:
        """Cents above C of a pitch class, in [0, 1200).

        >>> round(load_temperament("vallotti").cents_from_c("E"), 2)
        392.18
        """
        pitch, c = Pitch.parse(f"{name}4"), Pitch.parse("C4")
        return (100 * (pitch.midi - c.midi) + self.cents_from_equal(pitch) - self.cents_from_equal(c)) % 1200

    def frequency(self, pitch: Pitch, a: float = A_415) -> float:
        """Hz of a pitch when A4 is ``a`` Hz.

        >>> load_temperament("equal").frequency(Pitch.parse("A5"), 440.0)
        880.0
        """
        return float(a * 2 ** ((100 * (pitch.midi - 69) + self.cents_from_equal(pitch)) / 1200))


@cache
def temperaments() -> tuple[str, ...]:
    """Names of the temperaments, in the order of their table."""
    return tuple(_table())


@cache
def load_temperament(name: str) -> Temperament:
    """A temperament by name. Raises BadInput for a name nobody knows."""
    entry = _table().get(name)
    if entry is None:
        raise BadInput(f"no temperament is called {name!r}", remedy=f"choose one of {', '.join(temperaments())}")
    words, source = entry["name"], entry["source"]
    if "division" in entry:
        return Temperament(name, words, source, fifth=1200 * entry["steps"] / entry["division"])
    if "narrow" not in entry:
        return Temperament(name, words, source, fifth=PURE_FIFTH - _narrowing(entry))
    return Temperament(name, words, source, circle=_circle(name, entry["narrow"]))


def _circle(name: str, groups: list[dict[str, Any]]) -> dict[int, float]:
    narrow = {fifths_of(fifth.split("-")[0]): _narrowing(group) for group in groups for fifth in group["fifths"]}
    outside = sorted(set(narrow) - set(range(FLAT_END, SHARP_END)))
    if outside:
        raise TableError("temperaments.toml", name, "fifths from Eb-Bb to C#-G#", outside)
    height = {FLAT_END: 0.0}
    for at in range(FLAT_END, SHARP_END):
        height[at + 1] = height[at] + PURE_FIFTH - narrow.get(at, 0.0) - 700.0
    return {at: cents - height[A_FIFTHS] for at, cents in height.items()}


def _narrowing(entry: Mapping[str, Any]) -> float:
    pythagorean, syntonic = Fraction(entry.get("pythagorean", "0")), Fraction(entry.get("syntonic", "0"))
    return float(pythagorean) * PYTHAGOREAN + float(syntonic) * SYNTONIC


@cache
def _table() -> dict[str, dict[str, Any]]:
    return tomllib.loads((resources.files("gracewright.sound") / "temperaments.toml").read_text(encoding="utf-8"))
