"""The user's document, kept whole.

A piece read from MusicXML keeps its text here; every note id leads to the place of its element, so that signs can be
added without touching anything else. The tree is built when someone asks for it: it takes ten times the room.

Public: Document, part_element, to_partwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from lxml import etree

from gracewright.score.musicxml_note import OURS
from gracewright.score.safe import parsed


@dataclass(frozen=True)
class Document:
    """``data`` is checked UTF-8; ``places`` maps a note id (small notes too) to the count of its ``<note>`` in it."""

    data: bytes
    places: Mapping[str, int]

    def opened(self, *, partwise: bool = False) -> tuple[etree._ElementTree, dict[str, etree._Element]]:
        """A tree that may be changed, and the element of each note id in it.

        A timewise document stays so unless ``partwise`` is asked for.
        """
        tree = parsed(self.data, "")
        notes = list(tree.getroot().iter("note"))
        elements = {note: notes[place] for note, place in self.places.items()}
        if partwise and tree.getroot().tag == "score-timewise":
            to_partwise(tree.getroot())
        return tree, elements


def part_element(root: etree._Element, index: int) -> etree._Element:
    """The ``<part>`` of the part of that place in ``Piece.parts``; parts this program added are not counted."""
    return [part for part in root.findall("part") if not (part.get("id") or "").startswith(OURS)][index]


def to_partwise(root: etree._Element) -> None:
    """Turn a timewise document into a partwise one in place; its notes stay the same elements.

    >>> root = etree.fromstring("<score-timewise><measure number='1'><part id='A'><note/></part></measure>"
    ...     "<measure number='2'><part id='A'/></measure></score-timewise>")
    >>> to_partwise(root); etree.tostring(root)
    b'<score-partwise><part id="A"><measure number="1"><note/></measure><measure number="2"/></part></score-partwise>'
    """
    root.tag = "score-partwise"
    parts: dict[str, etree._Element] = {}
    for measure in root.findall("measure"):
        for old in measure.findall("part"):
            part_id = old.get("id", "")
            if part_id not in parts:
                parts[part_id] = etree.Element("part", id=part_id)
            bar = etree.SubElement(parts[part_id], "measure")
            bar.attrib.update(measure.attrib)
            bar.extend(list(old))
        root.remove(measure)
    root.extend(parts.values())
