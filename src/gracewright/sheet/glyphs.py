"""Which glyph stands for which sign, and our own drawings where the music font has none.

Conventions: what a sign *means* is no concern of this module. Code points are SMuFL's. ``glyphs.toml`` says for each
MusicXML element whether the engraver has an element of its own for it, or which glyph the general carrier takes.

Public: Drawing, DRAWINGS, NAMED, SIGN_TABLE, sign_xml, glyph_of, OURS.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from importlib import resources
from typing import Any, Final

from gracewright.score import Sign
from gracewright.sheet.layer import attributes, text

OURS: Final = "#8c2318"
"""The colour of what we added; told apart by brackets as well."""

MARKS: Final = {
    "sharp": "s", "flat": "f", "natural": "n", "double-sharp": "x", "sharp-sharp": "x", "flat-flat": "ff",
    "natural-sharp": "ns", "natural-flat": "nf",
}  # fmt: skip
"""MusicXML accidental mark → MEI."""


@dataclass(frozen=True, slots=True)
class Drawing:
    """A glyph drawn by us: SMuFL code point, box (left, bottom, right, top) and path in 1000 units to the em."""

    code: int
    name: str
    box: tuple[int, int, int, int]
    advance: int
    path: str


def _table() -> dict[str, Any]:
    return tomllib.loads(resources.files("gracewright.sheet").joinpath("glyphs.toml").read_text(encoding="utf-8"))


_TABLE: Final = _table()
DRAWINGS: Final = tuple(
    Drawing(int(row["code"], 16), row["name"], tuple(row["box"]), row["advance"], " ".join(row["path"].split()))
    for row in _TABLE["drawing"]
)
NAMED: Final[Mapping[str, str]] = _TABLE["named"]
SIGN_TABLE: Final[Mapping[str, Mapping[str, Any]]] = _TABLE["sign"]


def glyph_of(sign: Sign) -> str:
    """The SMuFL code point of a sign as hex digits, or "" for one that is a word.

    >>> glyph_of(Sign("mordent")), glyph_of(Sign("other-ornament", smufl="ornamentComma"))
    ('E56D', 'E581')
    """
    if sign.smufl:
        bare = sign.smufl.removeprefix("U+").upper()
        return NAMED.get(sign.smufl, bare if len(bare) == 4 and set(bare) <= set("0123456789ABCDEF") else "")
    row = SIGN_TABLE.get(sign.element)
    if row is None:
        return ""
    for rule in row.get("with", ()):
        if all(sign.attribute(name) == value for name, value in rule["attributes"].items()):
            return str(rule["glyph"])
    return str(row["glyph"])


def sign_xml(sign: Sign, drawn: str, start: str, staff: int, *, after: str = "") -> str:
    """The control event for one sign at the note ``start``; ``after`` is a tstamp for signs that stand after a note."""
    place = sign.placement or "above"
    kind = "ours" if sign.ours else "page"
    common: dict[str, object] = {"xml:id": drawn, "staff": staff, "place": place, "type": kind}
    if sign.ours:
        common["color"] = OURS
    glyph = glyph_of(sign)
    if not glyph:
        words = text(sign.text or "+")
        inner = f"({words})" if sign.ours else words
        return f'<dir{attributes(common)} startid="#{start}"><rend fontstyle="normal">{inner}</rend></dir>'
    if sign.ours:
        common["enclose"] = "paren"
    row = SIGN_TABLE.get(sign.element, {})
    element = row.get("mei", "mordent") if not sign.smufl else "mordent"
    common |= {"accidupper": MARKS.get(sign.accidental_above), "accidlower": MARKS.get(sign.accidental_below)}
    common |= {"glyph.auth": "smufl", "glyph.num": f"U+{glyph}"}
    where = f' tstamp="{after}"' if after and row.get("after") else f' startid="#{start}"'
    return f"<{element}{attributes(common)}{where}/>"
