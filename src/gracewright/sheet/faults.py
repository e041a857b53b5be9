"""Find what is wrong with a drawn page: texts that overlap, things cut off, glyphs that are missing.

Conventions: boxes are tenths of a millimetre, as :class:`gracewright.sheet.systems.Box`. Only things that must never
touch are compared: words and numbers with each other, and signs with words.

Public: Fault, faults_of, missing_glyphs, glyphs_asked.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import combinations
from typing import Final
from xml.sax.saxutils import unescape

from fontTools.ttLib import TTFont

from gracewright.sheet.fonts import FONT, font_folder
from gracewright.sheet.systems import Box, System

SLACK: Final = 1.5
"""Boxes may touch by this much (tenths of a millimetre): they are larger than their ink."""

SIGNS: Final = frozenset({"mordent", "trill", "turn", "ornam"})
_USE: Final = re.compile(r'<use [^>]*href="#([0-9A-Z]{4,5})-')
_DEFINED: Final = re.compile(r'<g id="([0-9A-Z]{4,5})-|<symbol id="([0-9A-Z]{4,5})-')
_SPAN: Final = re.compile(r'<tspan([^>]*)>([^<]+)</tspan>')
_ASKED: Final = re.compile(r'glyph\.num="U\+([0-9A-F]{4})"')


@dataclass(frozen=True, slots=True)
class Fault:
    """``kind`` overlap, cut or missing; ``what`` in words."""

    kind: str
    what: str


def faults_of(system: System) -> tuple[Fault, ...]:
    """All faults of a system that was engraved with boxes."""
    return (*_overlaps(system.boxes), *_cut(system), *missing_glyphs(system.svg))


def _overlaps(boxes: Mapping[str, Box]) -> Iterator[Fault]:
    texts = {name: box for name, box in boxes.items() if box.kind in ("text", "syl") and box.right > box.left}
    signs = {name: box for name, box in boxes.items() if box.kind in SIGNS and box.right > box.left}
    heads = {name: box for name, box in boxes.items() if box.kind == "notehead" and box.right > box.left}
    for (a, one), (b, other) in combinations(texts.items(), 2):
        if _meet(one, other):
            yield Fault("overlap", f"words {a} and {b}")
    for a, one in texts.items():
        yield from (Fault("overlap", f"words {a} and sign {b}") for b, other in signs.items() if _meet(one, other))
        yield from (Fault("overlap", f"words {a} and head {b}") for b, other in heads.items() if _meet(one, other))
    for (a, one), (b, other) in combinations(signs.items(), 2):
        if _meet(one, other):
            yield Fault("overlap", f"signs {a} and {b}")


def _meet(one: Box, other: Box) -> bool:
    across = min(one.right, other.right) - max(one.left, other.left)
    down = min(one.bottom, other.bottom) - max(one.top, other.top)
    return across > SLACK and down > SLACK


def _cut(system: System) -> Iterator[Fault]:
    for name, box in system.boxes.items():
        if box.kind in ("text", "note", "rest", "syl", *SIGNS) and (
            box.left < -1 or box.top < -1 or box.right > system.width + 1 or box.bottom > system.height + 1
        ):
            yield Fault("cut", f"{box.kind} {name} leaves the page")


def missing_glyphs(svg: str, asked: Collection[str] = ()) -> tuple[Fault, ...]:
    """Glyphs used but not defined, letters that no font has, and code points asked for that were not drawn."""
    defined = {a or b for a, b in _DEFINED.findall(svg)}
    used = set(_USE.findall(svg))
    faults = [Fault("missing", f"glyph {code} has no outline") for code in sorted(used - defined)]
    for look, words in _SPAN.findall(svg):
        family = FONT if f'font-family="{FONT}"' in look else "Liberation"
        for letter in unescape(words):
            if not letter.isspace() and ord(letter) not in _letters(family):
                faults.append(Fault("missing", f"{family} has no letter U+{ord(letter):04X}"))
    faults += [Fault("missing", f"glyph {code} was asked for and not drawn") for code in sorted(set(asked) - used)]
    return tuple(faults)


def glyphs_asked(mei: str) -> frozenset[str]:
    """Code points that an MEI text asks for by number."""
    return frozenset(_ASKED.findall(mei))


@cache
def _letters(family: str) -> frozenset[int]:
    font = TTFont(font_folder() / f"{family}-Regular.ttf")
    return frozenset(font.getBestCmap())
