"""Small parts of MusicXML notation that several writers need: note types, accidentals, order of children.

Conventions: a value is a length in quarters; a *written* pitch is the one that stands on the staff.

Public: type_of, accidental_name, add_pitch, put, slot_of, spare_slur, signature_of, in_force.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.pitch import STEPS, Pitch
from gracewright.score.lines import alter_in, bar_state
from gracewright.score.model import Piece
from gracewright.score.musicxml_note import TYPES

ACCIDENTALS: Final = {-3: "triple-flat", -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp",
                      3: "triple-sharp"}  # fmt: skip
VALUES: Final = {
    value * factor: (name, dots)
    for name, value in TYPES.items()
    for dots, factor in enumerate((Fraction(1), Fraction(3, 2), Fraction(7, 4)))
}
"""Length in quarters → type and dots."""

NOTE_ORDER: Final = (
    "grace", "cue", "chord", "pitch", "unpitched", "rest", "duration", "tie", "instrument", "footnote", "level",
    "voice", "type", "dot", "accidental", "time-modification", "stem", "notehead", "notehead-text", "staff", "beam",
    "notations", "lyric", "play", "listen",
)  # fmt: skip
"""Order of the children of ``<note>`` (MusicXML 4.0 schema)."""


def type_of(value: Fraction) -> tuple[str, int] | None:
    """Note type and dots of a length, or None where one note cannot show it.

    >>> type_of(Fraction(3, 4)), type_of(Fraction(5, 4))
    (('eighth', 1), None)
    """
    return VALUES.get(value)


def accidental_name(alter: int) -> str:
    """MusicXML's name of an accidental; empty where there is none."""
    return ACCIDENTALS.get(alter, "")


def add_pitch(note: etree._Element, pitch: Pitch) -> None:
    """Append ``<pitch>``."""
    element = etree.SubElement(note, "pitch")
    etree.SubElement(element, "step").text = STEPS[pitch.step]
    if pitch.alter:
        etree.SubElement(element, "alter").text = str(pitch.alter)
    etree.SubElement(element, "octave").text = str(pitch.octave)


def put(parent: etree._Element, index: int, child: etree._Element) -> None:
    """Insert a child with the white space of its neighbours, so that removing it leaves no trace."""
    child.tail = parent[index - 1].tail if index > 0 else parent.text
    parent.insert(index, child)


def slot_of(note: etree._Element, tag: str) -> int:
    """Where a child of that tag belongs in a ``<note>``: after all that come before it or are of its kind."""
    rank = NOTE_ORDER.index(tag)
    place = 0
    for index, child in enumerate(note):
        if child.tag in NOTE_ORDER and NOTE_ORDER.index(child.tag) <= rank:
            place = index + 1
    return place


def spare_slur(measure: etree._Element) -> str:
    """A slur number that no slur in the bar or its neighbours uses."""
    used = set()
    for bar in (measure.getprevious(), measure, measure.getnext()):
        if bar is not None:
            used |= {slur.get("number", "1") for slur in bar.iter("slur")}
    return next((str(number) for number in (*range(2, 7), 1, *range(7, 17)) if str(number) not in used), "16")


def signature_of(piece: Piece, bar: int, shift: tuple[int, int]) -> dict[int, int]:
    """Written staff place → alteration of the written signature of a bar, for every place of the usual range."""
    moved = Pitch(4, 0).transposed(*shift).fifths if shift != (0, 0) else 0
    fifths = piece.bars[bar].fifths + moved
    return {place: alter_in(fifths, place % 7) for place in range(80)}


def in_force(piece: Piece, line: str, note_id: str, shift: tuple[int, int]) -> dict[int, int]:
    """Written staff place → alteration in force before a note."""
    known = signature_of(piece, piece.by_id[note_id].bar, shift)
    for place, alter in bar_state(piece, line, note_id).items():
        sounding = Pitch.at(place, alter)
        written = sounding.transposed(*shift)
        known[written.diatonic] = written.alter
    return known
