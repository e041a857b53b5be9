"""MusicXML into a ``Piece``; the document is kept whole.

Conventions: inside, times are integer ticks, ``divisions`` to the quarter, the least common multiple of all that the
document uses; they become Fractions once, at the end. A bar is as long as its longest part.

Public: read_musicxml, read_tree.
"""

from __future__ import annotations

import copy
import gc
import math
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.score.document import Document, to_partwise
from gracewright.score.gathering import Reading
from gracewright.score.model import Piece
from gracewright.score.musicxml_note import OURS
from gracewright.score.musicxml_part import Finer, read_part
from gracewright.score.musicxml_whole import finish
from gracewright.score.safe import parse_xml, unpack_mxl

MAX_PARTS: Final = 32
MOST_DIVISIONS: Final = 10**12


def read_musicxml(data: bytes, name: str) -> Piece:
    """Read MusicXML or a compressed archive of it. Raises BadInput or UnsafeInput with one sentence."""
    tree = parse_xml(unpack_mxl(data, name) if data[:2] == b"PK" else data, name)
    collecting = gc.isenabled()
    gc.disable()  # reading makes no cycles; the collector would only walk the growing piece again and again
    try:
        return read_tree(tree, name)
    finally:
        if collecting:
            gc.enable()


def read_tree(tree: etree._ElementTree, name: str) -> Piece:
    """Read a parsed document, partwise or timewise. Raises BadInput with one sentence."""
    root = tree.getroot()
    if root.tag == "score-timewise":
        return _timewise(tree, name)
    if root.tag != "score-partwise":
        raise BadInput(f"the document is <{str(root.tag)[:60]}>, not a score", file=name,
                       remedy="export it as MusicXML")  # fmt: skip
    elements = [part for part in root.findall("part") if not (part.get("id") or "").startswith(OURS)]
    if not elements or len(elements) > MAX_PARTS:
        raise BadInput(f"the score has {len(elements)} parts", file=name, remedy="give one with 1 to 32 parts")
    divisions = _common_divisions(root, name)
    while True:
        try:
            return finish(_gathered(root, elements, name, divisions), tree)
        except Finer as wish:
            divisions = _within(divisions * wish.times, name)


def _gathered(root: etree._Element, elements: Sequence[etree._Element], name: str, divisions: int) -> Reading:
    """What all parts say."""
    reading = Reading(name, divisions)
    listed = {part.get("id"): part for part in root.iterfind("part-list/score-part")}
    if len(elements) < len(root.findall("part")):
        reading.remarks.append("The stave for the repeat that this program added earlier was left aside.")
    for element in root.findall("part"):
        if element in elements:
            read_part(reading, len(reading.parts), element, listed.get(element.get("id")))
        else:
            reading.count += len(list(element.iter("note")))
    return reading


def _timewise(tree: etree._ElementTree, name: str) -> Piece:
    """Read a copy put partwise; the document itself stays timewise."""
    twin = copy.deepcopy(tree)
    place = {note: index for index, note in enumerate(twin.getroot().iter("note"))}
    to_partwise(twin.getroot())
    piece = read_tree(twin, name)
    assert piece.document is not None, "read_tree keeps the document"
    order = [place[note] for note in twin.getroot().iter("note")]
    places = {note_id: order[count] for note_id, count in piece.document.places.items()}
    return replace(piece, document=Document(tree, places, piece.document.divisions))


def _common_divisions(root: etree._Element, name: str) -> int:
    common = 1
    for element in root.iter("divisions"):
        try:
            value = Fraction((element.text or "").strip())
        except (ValueError, ZeroDivisionError):
            value = Fraction(0)
        if value <= 0:
            raise BadInput(f"divisions of {element.text!r} cannot be counted", file=name, element="divisions")
        common = math.lcm(common, value.numerator)
    return _within(common, name)


def _within(divisions: int, name: str) -> int:
    if divisions > MOST_DIVISIONS:
        raise BadInput("the divisions of the parts do not fit together", file=name, element="divisions")
    return divisions
