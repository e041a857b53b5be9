"""The dance or movement type, guessed from title, words, meter, upbeat and rhythm; and a tempo where none is printed.

Public: guess_dance, Dance.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import pairwise
from math import exp
from typing import Any, Final

from gracewright.score import Piece, Tone

SPREAD: Final = 0.15
"""How far apart two fits must be for the better to be three times as likely."""

NO_DANCE: Final = 0.45
"""The fit of being no dance at all."""

ENOUGH: Final = 1500
"""Notes of the melody that are looked at."""

NAMED: Final = 0.38
"""Least confidence for a dance to be named."""

LEANT: Final = 0.25
"""Share of bars with a held second beat at which it is surely leant on."""

LEAPING: Final = 0.38
"""Share of leaps at which a melody leaps much."""


@dataclass(frozen=True, slots=True)
class Dance:
    """``name`` may be empty; ``tempo`` in quarter notes a minute; ``printed`` where the page gives the tempo."""

    name: str
    confidence: float
    slow: bool
    tempo: Fraction
    printed: bool


@cache
def _tables() -> dict[str, Any]:
    path = files("gracewright").joinpath("data", "study", "dances.toml")
    return tomllib.loads(path.read_text(encoding="utf-8"))


def guess_dance(piece: Piece, melody: tuple[Tone, ...], tempo: Fraction | None = None) -> Dance:
    """Name, confidence, slow or not, and tempo. ``tempo`` given by the user wins over the page."""
    said = " ".join([piece.title, *(w.text for w in piece.words if w.kind == "words" and w.bar <= 1)]).lower()
    row, confidence = _by_name(said)
    word = next((w for w in _tables()["word"] if any(_holds(said, part) for part in w["words"])), None)
    if row is None and word is None:  # a movement named by its pace is no dance
        row, confidence = _by_look(piece, melody[:ENOUGH])
    beat = _usual_beat(piece, row, melody)
    slow = bool(word["slow"]) if word else bool(row is not None and row["slow"] and confidence > 0.5)
    if word and row is None:
        beat *= Fraction(word["factor"]).limit_denominator(100)
    printed = next((w.tempo for w in piece.words if w.tempo is not None and w.bar <= 1), None)
    speed = tempo or printed or Fraction(round(beat))  # a guess is a whole number, as players say it
    if word is None and (tempo or printed):
        slow = (speed / _felt(piece) < 56 and slow) or speed / _felt(piece) < 48
    return Dance(row["name"] if row else "", confidence, slow, Fraction(speed), printed is not None)


def _holds(text: str, part: str) -> bool:
    """Whether a word of the text begins with the part."""
    return any(word.strip("().,:;!\"'").startswith(part) for word in text.split())


def _by_name(said: str) -> tuple[dict[str, Any] | None, float]:
    flat = said.replace("_", " ")
    for row in _tables()["dance"]:
        if any(_holds(flat, word) for word in row["words"]):
            return row, 0.95
    return None, 0.0


@dataclass(frozen=True, slots=True)
class _Look:
    """What of a movement tells its dance: signature, upbeat in 48ths of a bar, quickest common value, repeat
    signs, share of bars whose second beat is held, share of leaps."""

    signature: str
    upbeat: float
    quick: float
    repeated: bool
    second: float
    leaps: float


def _look(piece: Piece, melody: tuple[Tone, ...]) -> _Look:
    bar = piece.bars[min(1, len(piece.bars) - 1)]
    meter = bar.meter
    upbeat = float(48 * piece.bars[0].length / meter.length) if piece.bars[0].length < meter.length else 0.0
    values = Counter(tone.length for tone in melody)
    total = sum(values.values()) or 1
    quick = min((v for v, n in values.items() if n >= 0.15 * total), default=Fraction(1))
    beat = meter.length / 3
    held = {t.bar for t in melody if t.onset - piece.bars[t.bar].onset == beat and t.length >= beat * Fraction(3, 2)}
    leaps = sum(abs(a.pitch.diatonic - b.pitch.diatonic) > 1 for a, b in pairwise(melody))
    return _Look(
        f"{meter.beats}/{meter.unit}", upbeat, float(quick), any(b.repeat_end for b in piece.bars),
        len(held) / (melody[-1].bar + 1) if melody and meter.beats == 3 else 0.0, leaps / total,
    )  # fmt: skip


def _by_look(piece: Piece, melody: tuple[Tone, ...]) -> tuple[dict[str, Any] | None, float]:
    """The dance that fits best and how sure it is among all that fit, none included; no name below ``NAMED``."""
    if _sung(melody):
        return None, 0.0
    look = _look(piece, melody)
    points = [(_points(row, look), row) for row in _tables()["dance"] if look.signature in row["meters"]]
    if not points:
        return None, 0.0
    best, row = max(points, key=lambda pair: pair[0])
    weights = [exp(score / SPREAD) for score, _ in points]
    sure = exp(best / SPREAD) / (sum(weights) + exp(NO_DANCE / SPREAD))
    return (row, round(sure, 2)) if sure >= NAMED else (None, 0.0)


def _sung(melody: tuple[Tone, ...]) -> bool:
    """Whether there are words under the notes, or pauses over the ends of lines as in a chorale."""
    words = sum(bool(tone.marks.lyrics) for tone in melody)
    pauses = sum(tone.marks.fermata for tone in melody)
    return 3 * words > len(melody) or (pauses >= 3 and 50 * pauses > len(melody))


def _points(row: Mapping[str, Any], look: _Look) -> float:
    """How well a dance fits a look."""
    points: float = 0.1 * (row["meters"][0] == look.signature) + 0.2 * float(row["common"])
    points += 0.2 if look.upbeat in row["upbeat"] else -0.2
    points += 0.1 if look.quick in row["quick"] else -0.05
    points += 0.1 if look.repeated else -0.15
    if "second" in row and look.signature[0] == "3":
        leant = min(1.0, look.second / LEANT)
        points += 0.15 * (leant if row["second"] else 1 - leant)
    if "leaps" in row:
        points += 0.1 * ((look.leaps >= LEAPING) == row["leaps"])
    return points


def _felt(piece: Piece) -> Fraction:
    return piece.bars[min(1, len(piece.bars) - 1)].meter.beat


def _usual_beat(piece: Piece, row: dict[str, Any] | None, melody: tuple[Tone, ...]) -> Fraction:
    """Quarter notes a minute: the dance's usual beat, or one at which the shortest common value stays playable."""
    beat = _felt(piece)
    if row is not None:
        return Fraction(row["beat"]) * beat
    values = Counter(tone.length for tone in melody)
    total = sum(values.values()) or 1
    quick = min((v for v, n in values.items() if n >= 0.1 * total), default=Fraction(1, 2))
    return max(Fraction(48), min(Fraction(132), 300 * quick))
