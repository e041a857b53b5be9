"""Decorations of ABC that the converter drops, carried through it as text and put where they belong afterwards.

Public: marked, unmarked, known, CARRIED, MARK.
"""

from __future__ import annotations

import re
from typing import Final

from lxml import etree

CARRIED: Final = frozenset({
    "trill", "lowermordent", "uppermordent", "mordent", "pralltriller", "turn", "invertedturn", "roll", "fermata",
    "invertedfermata", "breath", "downbow", "upbow", "accent", ">", "emphasis", "marcato", "wedge", "staccato",
    "tenuto", "ppp", "pp", "p", "mp", "mf", "f", "ff", "fff", "0", "1", "2", "3", "4", "5", "crescendo(", "crescendo)",
    "diminuendo(", "diminuendo)", "<(", "<)", ">(", ">)",
})  # fmt: skip
"""Decorations that the converter keeps (measured, version 0.6)."""
WORDS: Final = {
    "D.C.": "D.C.", "D.C.alfine": "D.C. al Fine", "D.C.alcoda": "D.C. al Coda", "D.S.": "D.S.",
    "D.S.alfine": "D.S. al Fine", "D.S.alcoda": "D.S. al Coda", "dacapo": "D.C.", "dacoda": "To Coda", "fine": "Fine",
    "+": "+", "plus": "+",
}  # fmt: skip
"""Decorations that are words on the page; a lone cross is read as a sign."""
SIGNS: Final = {"slide": "schleifer", "turnx": "turn", "invertedturnx": "inverted-turn"}
DIRECTIONS: Final = ("segno", "coda")
MARK: Final = "gw-mark-"
_END: Final = "end-"
_DECORATION: Final = re.compile(r"!([^!\s]+)!(\s*[|:\]])?")


def marked(text: str) -> str:
    """The ABC text with dropped decorations as annotations.

    >>> marked("!slide!c !trill!d !+!e")
    '"^gw-mark-slide"c !trill!d "^+"e'
    """
    return "\n".join(line if re.match(r"[A-Za-z]:|%", line) else _DECORATION.sub(_annotation, line)
                     for line in text.split("\n"))  # fmt: skip


def _annotation(found: re.Match[str]) -> str:
    name, bar_line = found[1], found[2] or ""
    if name in ("+", "plus"):
        return f'"^+"{bar_line}'
    if name in WORDS:
        return f'"^{MARK}{_END if bar_line else ""}{name}"{bar_line}'
    carried = name in SIGNS or name in DIRECTIONS or name == "arpeggio"
    return f'"^{MARK}{name}"{bar_line}' if carried else found[0]


def known(name: str) -> bool:
    """Whether a decoration reaches the page."""
    return name in CARRIED or name in WORDS or name in SIGNS or name in DIRECTIONS or name == "arpeggio"


def unmarked(root: etree._Element) -> None:
    """Put what was carried as text where it belongs in the MusicXML document, in place."""
    for direction in list(root.iter("direction")):
        words = direction.find("direction-type/words")
        if words is None or not (words.text or "").startswith(MARK):
            continue
        name = (words.text or "").removeprefix(MARK)
        if name.removeprefix(_END) in WORDS:
            words.text = WORDS[name.removeprefix(_END)]
            if name.startswith(_END):
                _to_the_bar_before(direction)
        elif name in DIRECTIONS:
            _parent(words).replace(words, etree.Element(name))
        else:
            note = next((after for after in direction.itersiblings("note") if after.find("pitch") is not None), None)
            if note is not None:
                _add(note, etree.Element(SIGNS.get(name, "arpeggiate"), {"slash": "yes"} if name.endswith("x") else {}))
            _parent(direction).remove(direction)


def _parent(element: etree._Element) -> etree._Element:
    parent = element.getparent()
    assert parent is not None, "only the root has no parent"
    return parent


def _to_the_bar_before(direction: etree._Element) -> None:
    """Words set at a bar line come out before the first note behind it; they belong to the bar that it closes."""
    bar = _parent(direction)
    before = bar.getprevious()
    notes_before = [other for other in direction.itersiblings(preceding=True) if other.tag == "note"]
    if before is None or before.tag != "measure" or notes_before:
        return
    closing = before.find("barline[@location='right']")
    before.insert(len(before) if closing is None else before.index(closing), direction)


def _add(note: etree._Element, mark: etree._Element) -> None:
    marks = note.find("notations")
    if marks is None:
        marks = etree.Element("notations")
        behind = [place for place, child in enumerate(note) if child.tag in ("lyric", "play", "listen")]
        note.insert(behind[0] if behind else len(note), marks)
    if mark.tag == "arpeggiate":
        marks.append(mark)
        return
    ornaments = marks.find("ornaments")
    (etree.SubElement(marks, "ornaments") if ornaments is None else ornaments).append(mark)
