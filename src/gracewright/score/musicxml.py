"""MusicXML into a ``Piece``; the document is kept whole.

Conventions: inside, times are integer ticks, ``divisions`` to the quarter, a common multiple of all that the document
uses; they become Fractions once, at the end. A bar is as long as its longest part. A large document is read
while it is being parsed: its whole tree would take more room than the piece.

Public: read_musicxml, read_tree.
"""

from __future__ import annotations

import gc
import math
import re
from dataclasses import replace
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.score.document import Document, to_partwise
from gracewright.score.gathering import Reading
from gracewright.score.model import Piece
from gracewright.score.musicxml_note import OURS
from gracewright.score.musicxml_part import Finer, PartReader, next_id
from gracewright.score.musicxml_whole import finish
from gracewright.score.safe import bars_of, checked, parsed, unpack_mxl

MAX_PARTS: Final = 32
MOST_DIVISIONS: Final = 10**12
_DIVISIONS: Final = re.compile(rb"<divisions>\s*(\d{1,6})\s*</divisions>")


def read_musicxml(data: bytes, name: str) -> Piece:
    """Read MusicXML or a compressed archive of it. Raises BadInput or UnsafeInput with one sentence."""
    return _read(checked(unpack_mxl(data, name) if data[:2] == b"PK" else data, name), name)


def read_tree(tree: etree._ElementTree, name: str) -> Piece:
    """Read a document made by another door. Raises BadInput with one sentence."""
    return _read(etree.tostring(tree, encoding="utf-8"), name)


def _read(document: bytes, name: str) -> Piece:
    collecting = gc.isenabled()
    gc.disable()  # reading makes no cycles; the collector would only walk the growing piece again and again
    divisions = math.lcm(*(int(value) or 1 for value in set(_DIVISIONS.findall(document))))  # a guess that mostly holds
    try:
        while True:
            try:
                return _partwise(document, name, _within(divisions, name))
            except Finer as wish:
                divisions *= wish.times
            except _Timewise:
                return _timewise(document, name)
    finally:
        if collecting:
            gc.enable()


class _Timewise(Exception):
    """The document is ordered by bars, not by parts."""


def _partwise(document: bytes, name: str, divisions: int) -> Piece:
    reading, reader, root = Reading(name, divisions), None, None
    for event, element in bars_of(document, name):
        if root is None:
            root = _checked_root(element, name)
        if element.getparent() is root and event == "start":
            ours = (element.get("id") or "").startswith(OURS)
            if ours and not reading.left_aside:
                reading.remarks.append("The stave for the repeat that this program added earlier was left aside.")
            reading.left_aside |= ours
            reader = None if ours else PartReader(reading, len(reading.parts), next_id(reading, element.get("id")))
        elif element.tag == "measure" and event == "end":
            if reader is None:
                reading.count += sum(1 for _ in element.iter("note"))
            else:
                reader.next_bar(element)
        elif element.getparent() is root and reader is not None:
            reader.close(_listed(root, element.get("id")))
            reader = None
    parts = len(reading.parts)
    if root is None:
        root = _checked_root(parsed(document, name).getroot(), name)
    if not 0 < parts <= MAX_PARTS:
        raise BadInput(f"the score has {parts} parts", file=name, remedy="give one with 1 to 32 parts")
    return finish(reading, root, document)


def _checked_root(element: etree._Element, name: str) -> etree._Element:
    root = element.getroottree().getroot()
    if root.tag == "score-timewise":
        raise _Timewise
    if root.tag != "score-partwise":
        raise BadInput(f"the document is <{str(root.tag)[:60]}>, not a score", file=name,
                       remedy="export it as MusicXML")  # fmt: skip
    return root


def _listed(root: etree._Element, part_id: str | None) -> etree._Element | None:
    """What the list of parts says of a part."""
    return next((entry for entry in root.iterfind("part-list/score-part") if entry.get("id") == part_id), None)


def _timewise(document: bytes, name: str) -> Piece:
    """Read a twin put partwise; the document itself stays timewise."""
    twin = parsed(document, name)
    place = {note: index for index, note in enumerate(twin.getroot().iter("note"))}
    to_partwise(twin.getroot())
    piece = read_tree(twin, name)
    assert piece.document is not None, "a piece that was read keeps its document"
    order = [place[note] for note in twin.getroot().iter("note")]
    places = {note_id: order[count] for note_id, count in piece.document.places.items()}
    return replace(piece, document=Document(document, places))


def _within(divisions: int, name: str) -> int:
    if divisions > MOST_DIVISIONS:
        raise BadInput("the divisions of the parts do not fit together", file=name, element="divisions")
    return divisions
