"""The dance or movement type, guessed from title, words, meter, upbeat and rhythm; and a tempo where none is printed.

Public: guess_dance, Dance.
"""

from __future__ import annotations

import tomllib
from collections import Counter
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from typing import Any

from gracewright.score import Piece, Tone


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
        row, confidence = _by_look(piece, melody)
    beat = _usual_beat(piece, row, melody)
    slow = bool(word["slow"]) if word else bool(row is not None and row["slow"] and confidence > 0.5)
    if word and row is None:
        beat *= Fraction(word["factor"]).limit_denominator(100)
    printed = next((w.tempo for w in piece.words if w.tempo is not None and w.bar <= 1), None)
    speed = tempo or printed or beat
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


def _by_look(piece: Piece, melody: tuple[Tone, ...]) -> tuple[dict[str, Any] | None, float]:
    """Best match of meter, upbeat and quickest usual value; no better than a guess."""
    bar = piece.bars[min(1, len(piece.bars) - 1)]
    signature = f"{bar.meter.beats}/{bar.meter.unit}"
    upbeat = float(piece.bars[0].length * bar.meter.unit / 4) if piece.bars[0].length < bar.meter.length else 0.0
    values = Counter(tone.length for tone in melody)
    total = sum(values.values()) or 1
    quick = min((v for v, n in values.items() if n >= 0.15 * total), default=Fraction(1))
    best, score = None, 0.0
    for row in _tables()["dance"]:
        if signature not in row["meters"]:
            continue
        points = 0.15 + 0.1 * (row["meters"][0] == signature)
        points += 0.15 if upbeat in row["upbeat"] else 0.0
        points += 0.1 if float(quick) == row["quick"] else 0.0
        points += 0.1 if any(b.repeat_end for b in piece.bars) else 0.0
        if points > score:
            best, score = row, points
    return (best, round(score, 2)) if score >= 0.4 else (None, 0.0)


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
