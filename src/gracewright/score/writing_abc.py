"""One line of a score as ABC, by the kept converter; what it would drop goes through it as text.

Conventions: the line's part (or its one staff) alone, with its signs, small notes, words and repeats; figures stay
behind. ABC knows no delayed turn: it becomes a turn.

Public: write_abc.
"""

from __future__ import annotations

import re
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.score.abc_marks import MARK
from gracewright.score.guarded import convert
from gracewright.score.lines import part_of
from gracewright.score.model import Piece
from gracewright.score.writing_signs import keep_staff

INSTEAD: Final = {
    "shake": "trill-mark", "delayed-turn": "turn", "delayed-inverted-turn": "inverted-turn", "vertical-turn": "turn",
    "inverted-vertical-turn": "inverted-turn", "haydn": "turn",
}  # fmt: skip
"""Signs that ABC has no name for → the nearest that it has."""
TEXTS: Final = {"schleifer": f"{MARK}slide", "stopped": "+"}
"""Signs that the converter drops → what goes through it as text."""


def write_abc(piece: Piece, line: str) -> bytes:
    """The line as an ABC tune. Raises BadInput without a document."""
    if piece.document is None:
        raise BadInput("there is no document to write as ABC", file=piece.source)
    tree, _ = piece.document.opened(partwise=True)
    root = tree.getroot()
    part_id, staff = part_of(line)
    place = piece.place_of(part_id)
    parts = [part for part in root.findall("part") if not (part.get("id") or "").startswith("gw-")]
    kept = parts[place]
    for part in root.findall("part"):
        if part is not kept:
            root.remove(part)
    for entry in root.findall("part-list/*"):
        if entry.get("id") != kept.get("id"):
            _remove(entry)
    if staff:
        keep_staff(kept, staff)
    for note in list(kept.iter("note")):
        _prepare(note)
    text = convert("to_abc", etree.tostring(tree, encoding="utf-8"), piece.source).data.decode("utf-8")
    return re.sub(rf'"\^{MARK}([a-z]+)"\s*', r"!\1!", text).encode("utf-8")


def _remove(element: etree._Element) -> None:
    parent = element.getparent()
    assert parent is not None, "only the root has no parent"
    parent.remove(element)


def _prepare(note: etree._Element) -> None:
    """Signs as the converter takes them; slurs of small notes, which braces say, go."""
    if note.find("grace") is not None:
        for slur in note.findall("notations/slur"):
            _remove(slur)
    elif (before := note.getprevious()) is not None and before.find("grace") is not None:
        for slur in note.findall("notations/slur[@type='stop']"):
            _remove(slur)
    for sign in list(note.iterfind("notations/*/*")):
        if sign.tag in TEXTS:
            _say(note, TEXTS[str(sign.tag)])
            _remove(sign)
        elif sign.tag in INSTEAD:
            sign.tag = INSTEAD[str(sign.tag)]


def _say(note: etree._Element, text: str) -> None:
    direction = etree.Element("direction", placement="above")
    etree.SubElement(etree.SubElement(direction, "direction-type"), "words").text = text
    note.addprevious(direction)
