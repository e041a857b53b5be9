"""Short texts of our own on engraved music: measured in the fonts they are set in, then drawn as SVG.

Conventions: lengths are tenths of a millimetre; a text stands on its base line, y grows downwards. Accidentals and
figures come from the music font, letters from the text font. What is measured is what is drawn.

Public: Ink, words, key_ink, numeral_ink, figures_ink, beside.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from fontTools.ttLib import TTFont

from gracewright.pitch import Key
from gracewright.score import FigureItem
from gracewright.sheet.figures import figure_text
from gracewright.sheet.fonts import FONT, font_folder
from gracewright.sheet.layer import attributes, text

TEXT: Final = "Liberation"
ACCIDENTALS: Final = {"b": "\ue260", "#": "\ue262"}
QUALITIES: Final = {"o": "°", "%": "ø", "+": "+", "M": "M"}
_NUMERAL: Final = re.compile(r"([b#]?)(Ger|It|Fr|[IViv]+|\?)([o%+M]?)(\d*)(?:/([b#]?)([IViv]+))?")


@dataclass(frozen=True, slots=True)
class Run:
    """Letters in one font, ``dx`` and ``dy`` from where the text begins."""

    letters: str
    dx: float
    dy: float
    size: float
    family: str = TEXT
    style: str = ""
    weight: str = ""


@dataclass(frozen=True, slots=True)
class Ink:
    """A text: its runs, its width, and how far it reaches above and below its base line."""

    runs: tuple[Run, ...]
    width: float
    above: float
    below: float

    def svg(self, x: float, y: float, colour: str = "#000") -> str:
        """The text with its beginning at x and its base line at y."""
        return "".join(
            f'<text{attributes(_look(run, x, y, colour))}>{text(run.letters)}</text>' for run in self.runs
        )  # fmt: skip


def _look(run: Run, x: float, y: float, colour: str) -> dict[str, object]:
    return {"x": f"{x + run.dx:.1f}", "y": f"{y + run.dy:.1f}", "font-family": run.family, "font-size": f"{run.size:g}",
            "font-style": run.style, "font-weight": run.weight, "fill": colour}  # fmt: skip


@cache
def _font(family: str, style: str, weight: str) -> tuple[dict[int, str], Any, float]:
    name = ("Bold" if weight else "") + ("Italic" if style else "") or "Regular"
    font = TTFont(font_folder() / f"{family}-{name}.ttf")
    return font.getBestCmap(), font["hmtx"], float(font["head"].unitsPerEm)


def width_of(letters: str, size: float, family: str = TEXT, style: str = "", weight: str = "") -> float:
    """Advance width of letters."""
    glyphs, advances, em = _font(family, style, weight)
    units: int = sum(advances[glyphs.get(ord(letter), ".notdef")][0] for letter in letters)
    return units * size / em


def words(letters: str, size: float = 25, *, style: str = "", weight: str = "") -> Ink:
    """Plain words; spaces at the ends are kept."""
    letters = letters.replace(" ", "\u00a0")
    run = Run(letters, 0, 0, size, TEXT, style, weight)
    return Ink((run,), width_of(letters, size, TEXT, style, weight), 0.75 * size, 0.25 * size)


def beside(*inks: Ink, gap: float = 0) -> Ink:
    """Texts one after the other on one base line."""
    runs: list[Run] = []
    at = 0.0
    for ink in inks:
        runs += [Run(r.letters, r.dx + at, r.dy, r.size, r.family, r.style, r.weight) for r in ink.runs]
        at += ink.width + gap
    return Ink(tuple(runs), at - gap, max(i.above for i in inks), max(i.below for i in inks))


def _accidental(sign: str, size: float) -> Ink:
    """A flat or sharp in front of a letter or after it."""
    run = Run(ACCIDENTALS[sign], 0, -0.3 * size, 0.9 * size, FONT)
    return Ink((run,), width_of(run.letters, run.size, FONT) + 0.06 * size, 0.8 * size, 0.1 * size)


def _with_accidental(sign: str, ink: Ink, size: float) -> Ink:
    return beside(_accidental(sign, size), ink) if sign else ink


def key_ink(key: Key, size: float = 25, *, weight: str = "bold", style: str = "", after: str = "") -> Ink:
    """A key as musicians write it: ``B♭ major``.

    >>> round(key_ink(Key.parse("Bb major")).width) > round(key_ink(Key.parse("B major")).width)
    True
    """
    tonic, _, mode = str(key).partition(" ")
    parts = [words(tonic[0], size, weight=weight, style=style)]
    parts += [_accidental(sign, size) for sign in tonic[1:]]
    return beside(*parts, words(f" {mode}{after}", size, weight=weight, style=style))


def numeral_ink(numeral: str, size: float = 30, *, unsure: bool = False) -> Ink:
    """A Roman numeral with its figures stacked: ``V`` with 6 over 5, ``/ii`` behind. ``unsure`` adds a query.

    >>> [run.letters for run in numeral_ink("viio65/V").runs]
    ['vii', '°', '6', '5', '/V']
    """
    found = _NUMERAL.fullmatch(numeral)
    if found is None:
        parts = [words(numeral, size)]
    else:
        sign, degree, quality, figures, applied_sign, applied = found.groups()
        parts = [_with_accidental(sign, words(degree, size), size)]
        if quality:
            parts.append(_raised(QUALITIES[quality], size))
        if figures:
            parts.append(_stacked(figures, size))
        if applied:
            below = words(f"/{applied}", size)
            if applied_sign:
                below = beside(words("/", size), _with_accidental(applied_sign, words(applied, size), size))
            parts.append(below)
    if unsure:
        parts.append(_raised("?", size))
    return beside(*parts, gap=1)


def _raised(letters: str, size: float) -> Ink:
    small = 0.7 * size
    return Ink((Run(letters, 0, -0.25 * size, small),), width_of(letters, small), 0.8 * size, 0)


def _stacked(figures: str, size: float) -> Ink:
    small = 0.62 * size
    if len(figures) == 1:
        return Ink((Run(figures, 0, -0.3 * size, small),), width_of(figures, small), 0.8 * size, 0)
    runs = tuple(Run(digit, 0, (-0.42 + 0.56 * n) * size, small) for n, digit in enumerate(figures[:2]))
    return Ink(runs, max(width_of(digit, small) for digit in figures), 0.9 * size, 0.2 * size)


def figures_ink(items: Sequence[FigureItem], size: float = 62) -> Ink:
    """A column of figures, top first, hanging from the base line."""
    rows = [shown for item in items if (shown := figure_text(item))]
    step = 0.32 * size
    widths = [width_of(row, size, FONT) for row in rows]
    wide = max(widths, default=0.0)
    runs = [Run(row, wide - own, (n + 0.9) * step, size, FONT) for n, (row, own) in enumerate(zip(rows, widths,
                                                                                             strict=True))]  # fmt: skip
    return Ink(tuple(runs), wide, 0, (len(rows) + 0.1) * step)

