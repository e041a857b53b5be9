"""The door for MIDI: what was played, and what of it can be put on a page.

Conventions: a piece that came through this door keeps its file in ``Piece.heard``, so that whoever recognises ornaments
in the notes as played can have the page again with those notes held and signed (:func:`read_held`).

Public: read_midi, read_held.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.score.guarded import convert
from gracewright.score.midi_file import KEY, METER, Held, MidiFile, midi_file
from gracewright.score.model import Note, Piece
from gracewright.score.musicxml import read_tree
from gracewright.score.safe import parse_xml
from gracewright.score.spelling import respell

FRANK: Final = (
    "A MIDI file holds no signs, slurs, repeats, figures or spelling: note names follow the key, values were rounded, "
    "and ornaments that were played stand written out."
)
FRANK_SIGNED: Final = (
    "A MIDI file holds no signs, slurs, repeats, figures or spelling: note names follow the key, values were rounded, "
    "and {}, played out in the file, became signs."
)
PICKUP: Final = (
    "The first bar, {}, is shorter than the {} after it and was taken for a pickup: MIDI cannot tell one from a bar "
    "that is short in its own right."
)
NEAR: Final = Fraction(1, 2)
"""Quarters that rounding may have moved a held note by. Ours."""
STATED: Final = {METER: "time signature", KEY: "key signature"}
NAMES: Final = {"trill-mark": "shake", "mordent": "mordent", "turn": "turn"}


def read_midi(data: bytes, name: str) -> Piece:
    """Read a Standard MIDI File. Raises BadInput."""
    if data[:4] == b"RIFF" and b"MThd" in data[:64]:
        data = data[data.index(b"MThd") :]
    if data[:4] != b"MThd" or len(data) < 14:
        raise BadInput("this is not a MIDI file", file=name, remedy="export it again")
    return _read(midi_file(data, name), (), name)


def read_held(piece: Piece, figures: Sequence[Held]) -> Piece:
    """The piece read again with the notes of each figure as one held note under a sign. Raises BadInput where the
    piece did not come from MIDI."""
    if piece.heard is None:
        raise BadInput("the score was not played", file=piece.source)
    return _read(piece.heard, figures, piece.source)


def _read(file: MidiFile, figures: Sequence[Held], name: str) -> Piece:
    if not file.notes:
        raise BadInput("there are no pitched notes", file=name, remedy="give a file with a melody")
    converted = convert("midi", file.data(figures), name)
    tree = parse_xml(converted.data, name)
    _without_drums(tree.getroot())
    piece = read_tree(respell(read_tree(tree, name)), name)
    if figures:
        piece, placed = _signed(piece, file, figures)
        if len(placed) < len(figures):
            return _read(file, placed, name)
    said = [f"{text[:1].upper()}{text[1:].rstrip('.')}." for text in converted.said]
    kinds = Counter(NAMES.get(figure.sign.element, "ornament") for figure in figures)
    words = " and ".join(f"{count} {kind}{'s' if count > 1 else ''}" for kind, count in kinds.items())
    said.append(FRANK_SIGNED.format(words) if figures else FRANK)
    said += _pickup(piece)
    missing = [words for kind, words in STATED.items() if kind not in file.states]
    if missing:
        said.append(f"The file states no {' and no '.join(missing)}: what is shown is a guess.")
    lost = _places(file, figures) - len({(note.part, note.staff, note.onset) for note in piece.notes if _begins(note)})
    if lost > 0:
        said.append(f"{lost} notes were struck so close after others that they fell together with them in rounding.")
    return replace(piece, remarks=(*piece.remarks, *said), heard=file)


def _pickup(piece: Piece) -> list[str]:
    """A sentence where the first bar was taken for a pickup."""
    first = piece.bars[0]
    if not first.pickup:
        return []
    share = first.length / 4
    unit = math.lcm(share.denominator, first.meter.unit)
    return [PICKUP.format(f"{share * unit}/{unit}", f"{first.meter.beats}/{first.meter.unit}")]


def _begins(note: Note) -> bool:
    return note.pitch is not None and not note.tie_in


def _places(file: MidiFile, figures: Sequence[Held]) -> int:
    """At how many places notes were struck in the tracks, those inside a figure left out."""
    inside = {(figure.track, number) for figure in figures for number in range(figure.first + 1, figure.last + 1)}
    return len({(note.track, note.onset) for note in file.notes if (note.track, note.number) not in inside})


def _signed(piece: Piece, file: MidiFile, figures: Sequence[Held]) -> tuple[Piece, list[Held]]:
    """Put each figure's sign over the note that was rounded from it, whichever staff or voice that stands in; and the
    figures whose note was found."""
    assert piece.document is not None, "a piece that was read keeps its document"
    tree, elements = piece.document.opened()
    struck = {(note.track, note.number): note for note in file.notes}
    free = {note.id: note for note in piece.notes if _begins(note)}
    placed = []
    for figure in figures:
        first, last = struck[figure.track, figure.first], struck[figure.track, figure.last]
        length = last.onset + last.length - first.onset
        near = [(abs(note.onset - first.onset), abs(note.length - length), note.id) for note in free.values()
                if note.pitch is not None and note.pitch.midi == figure.key]  # fmt: skip
        if near and min(near)[0] <= NEAR:
            _mark(elements[free.pop(min(near)[2]).id], figure.sign.element)
            placed.append(figure)
    return read_tree(tree, piece.source), placed


def _mark(note: etree._Element, sign: str) -> None:
    marks = note.find("notations")
    if marks is None:
        marks = etree.Element("notations")
        note.insert(_place_of_notations(note), marks)
    etree.SubElement(etree.SubElement(marks, "ornaments"), sign)


def _place_of_notations(note: etree._Element) -> int:
    """Before the lyrics and all that follows them, where the schema wants notations."""
    behind = ("lyric", "play", "listen")
    return next((place for place, child in enumerate(note) if child.tag in behind), len(note))


def _without_drums(root: etree._Element) -> None:
    """Take parts away that hold nothing but unpitched notes."""
    for part in root.findall("part"):
        notes = list(part.iter("note"))
        if notes and all(note.find("unpitched") is not None or note.find("rest") is not None for note in notes) and any(
            note.find("unpitched") is not None for note in notes
        ):
            root.remove(part)
            for entry in root.findall("part-list/score-part"):
                if entry.get("id") == part.get("id"):
                    entry.getparent().remove(entry)  # type: ignore[union-attr]
