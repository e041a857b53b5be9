"""The door for MIDI: what was played, and what of it can be put on a page.

Conventions: a piece that came through this door keeps its file in ``Piece.heard``, so that whoever recognises ornaments
in the notes as played can have the page again with those notes held and signed (:func:`read_held`).

Public: read_midi, read_held.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.score.guarded import convert
from gracewright.score.lines import tones
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
    _join_pickup(tree.getroot())
    piece = read_tree(respell(read_tree(tree, name)), name)
    if figures:
        piece = _signed(piece, file, figures)
    said = [f"{text[:1].upper()}{text[1:].rstrip('.')}." for text in converted.said]
    kinds = Counter(NAMES.get(figure.sign.element, "ornament") for figure in figures)
    words = " and ".join(f"{count} {kind}{'s' if count > 1 else ''}" for kind, count in kinds.items())
    said.append(FRANK_SIGNED.format(words) if figures else FRANK)
    missing = [words for kind, words in STATED.items() if kind not in file.states]
    if missing:
        said.append(f"The file states no {' and no '.join(missing)}: what is shown is a guess.")
    lost = _places(file, figures) - len({(note.part, note.onset) for note in piece.notes if _begins(note)})
    if lost > 0:
        said.append(f"{lost} notes were struck so close after others that they fell together with them in rounding.")
    return replace(piece, remarks=(*piece.remarks, *said), heard=file)


def _begins(note: Note) -> bool:
    return note.pitch is not None and not note.tie_in


def _places(file: MidiFile, figures: Sequence[Held]) -> int:
    """At how many places notes were struck in the tracks, those inside a figure left out."""
    inside = {(figure.track, number) for figure in figures for number in range(figure.first + 1, figure.last + 1)}
    return len({(note.track, note.onset) for note in file.notes if (note.track, note.number) not in inside})


def _signed(piece: Piece, file: MidiFile, figures: Sequence[Held]) -> Piece:
    """Put each figure's sign over the note that was rounded from it."""
    assert piece.document is not None, "a piece that was read keeps its document"
    tree, elements = piece.document.opened()
    starts = {(note.track, note.number): note.onset for note in file.notes}
    everything = [tone for part in piece.parts for tone in tones(piece, part.id)]
    for figure in figures:
        onset = starts[figure.track, figure.first]
        near = [(abs(tone.onset - onset), tone.id) for tone in everything if tone.pitch.midi == figure.key]
        if near and min(near)[0] <= 1:
            note = elements[min(near)[1]]
            marks = note.find("notations")
            if marks is None:
                marks = etree.Element("notations")
                note.insert(_place_of_notations(note), marks)
            etree.SubElement(etree.SubElement(marks, "ornaments"), figure.sign.element)
    return read_tree(tree, piece.source)


def _place_of_notations(note: etree._Element) -> int:
    """Before the lyrics and all that follows them, where the schema wants notations."""
    behind = ("lyric", "play", "listen")
    return next((place for place, child in enumerate(note) if child.tag in behind), len(note))


def _join_pickup(root: etree._Element) -> None:
    """A first bar whose time signature is shorter than the one stated in the next is a pickup of that."""
    for part in root.findall("part"):
        bars = part.findall("measure")[:2]
        times = [bar.find("attributes/time") for bar in bars]
        if len(times) < 2 or times[0] is None or times[1] is None:
            return
        lengths = [int(time.findtext("beats") or 4) / int(time.findtext("beat-type") or 4) for time in times
                   if time is not None]  # fmt: skip
        if lengths[0] >= lengths[1]:
            return
        above = times[0].getparent()
        assert above is not None, "a time signature stands in attributes"
        above.replace(times[0], times[1])
        bars[0].set("implicit", "yes")


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
