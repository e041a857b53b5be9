"""What we add to a user's document is marked as ours and can be taken out again.

Conventions: every element of ours has an ``id`` that begins with ``gw-``; nothing else of the document is touched, so
that :func:`strip_ours` gives the first document back, equal in canonical form (C14N).

Public: strip_ours, canonical, Ids, written, is_ours.
"""

from __future__ import annotations

from collections.abc import Iterator

from lxml import etree

from gracewright.score.musicxml_note import OURS
from gracewright.score.safe import parse_xml, unpack_mxl


def is_ours(element: etree._Element) -> bool:
    """Whether we wrote an element: its id says so."""
    return (element.get("id") or "").startswith(OURS)


class Ids:
    """Hands out ids that the document does not have yet.

    >>> ids = Ids(etree.fromstring('<score><note id="gw-b3-1"/></score>'))
    >>> ids.next("b3"), ids.next("b3")
    ('gw-b3-2', 'gw-b3-3')
    """

    def __init__(self, root: etree._Element) -> None:
        self._taken = {element.get("id") for element in root.iter() if element.get("id")}
        self._last: dict[str, int] = {}

    def next(self, stem: str) -> str:
        """``gw-STEM-1``, ``gw-STEM-2`` …; a stem holds letters, digits, ``.``, ``-`` and ``_`` only."""
        count = self._last.get(stem, 0) + 1
        while f"{OURS}{stem}-{count}" in self._taken:
            count += 1
        self._last[stem] = count
        self._taken.add(f"{OURS}{stem}-{count}")
        return f"{OURS}{stem}-{count}"


def written(tree: etree._ElementTree) -> bytes:
    """The document as bytes, UTF-8 with declaration; doctype, comments and instructions as they were."""
    return etree.tostring(tree, encoding="UTF-8", xml_declaration=True) + b"\n"


def _parsed(data: bytes, name: str = "") -> etree._ElementTree:
    return parse_xml(unpack_mxl(data, name) if data[:2] == b"PK" else data, name)


def _outermost(element: etree._Element) -> Iterator[etree._Element]:
    for child in element:
        if is_ours(child):
            yield child
        else:
            yield from _outermost(child)


def strip_ours(data: bytes, name: str = "") -> bytes:
    """A document without anything of ours; ``name`` is the file's. Raises BadInput where it is not XML.

    >>> strip_ours(b'<note><pitch/><notations id="gw-n1-1"><ornaments/></notations></note>').split(b"?>")[1].strip()
    b'<note><pitch/></note>'
    """
    tree = _parsed(data, name)
    for element in list(_outermost(tree.getroot())):
        parent = element.getparent()
        if parent is not None:
            parent.remove(element)
    return written(tree)


def canonical(data: bytes) -> bytes:
    """Canonical form (C14N 1.0, comments kept), so that two documents can be compared byte by byte.

    >>> canonical(b"<a  y='2' x='1'/>") == canonical(b'<a x="1" y="2"></a>')
    True
    """
    return etree.tostring(_parsed(data), method="c14n")
