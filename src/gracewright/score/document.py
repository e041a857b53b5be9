"""The user's document, kept whole.

A piece read from MusicXML keeps its tree here; every note id leads to the place of its element, so that signs can be
added without touching anything else.

Public: Document.
"""

from __future__ import annotations

import copy
from collections.abc import Mapping
from dataclasses import dataclass

from lxml import etree


@dataclass(frozen=True)
class Document:
    """``places`` maps a note id (small notes too) to the count of its ``<note>`` in document order."""

    tree: etree._ElementTree
    places: Mapping[str, int]
    divisions: int  # common ticks to the quarter

    def opened(self) -> tuple[etree._ElementTree, dict[str, etree._Element]]:
        """A copy of the tree that may be changed, and the element of each note id in it."""
        tree = copy.deepcopy(self.tree)
        notes = list(tree.getroot().iter("note"))
        return tree, {note: notes[place] for note, place in self.places.items()}
