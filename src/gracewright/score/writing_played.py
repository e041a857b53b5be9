"""Write a played line out in notes: the score in the order as played, every length exact.

Conventions: ``Sounded.onset`` counts quarters from the start of the order as played; pitches come in as they sound and
go out as they are written. Bars keep the lengths they have on the page. All other parts are copied bar by bar; what the
page notes carry besides (words, fermatas, breaths, articulations) goes over to the notes they are played as.

Public: Sounded, write_played, write_parallel.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from lxml import etree

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score.carrying import carried_from
from gracewright.score.document import part_element
from gracewright.score.lines import part_of, tones
from gracewright.score.model import Piece
from gracewright.score.notation import put
from gracewright.score.ours import written
from gracewright.score.rebuilding import LINE, PartWriter, PlayedBar, Slice
from gracewright.score.unfolding import Order, bars_of, unfold
from gracewright.score.writing_signs import keep_staff


@dataclass(frozen=True, slots=True)
class Sounded:
    """One note of a written-out line, in order as played. ``slurred``: joined to the note before it."""

    onset: Fraction
    length: Fraction
    pitch: Pitch
    slurred: bool = False
    host: str = ""


def write_played(piece: Piece, line: str, sounded: Sequence[Sounded], order: Order) -> bytes:
    """The score unfolded, its line replaced by the notes as played. Raises BadInput without a document."""
    tree, elements = _opened(piece)
    part_id, staff = part_of(line)
    whole = _mark_line(piece, line, elements)
    carried = carried_from(tones(piece, line), elements)
    unfold(tree, order)
    part = part_element(tree.getroot(), piece.place_of(part_id))
    PartWriter(piece, line, part, staff, carried, whole=whole).write(played_bars(piece, sounded, order))
    return written(tree)


def write_parallel(piece: Piece, line: str, sounded: Sequence[Sounded], order: Order) -> bytes:
    """The score unfolded, its line plain, and below it a part "NAME (played)" with the notes as played."""
    tree, elements = _opened(piece)
    carried = carried_from(tones(piece, line), elements)
    part_id, staff = part_of(line)
    root = tree.getroot()
    part = part_element(root, piece.place_of(part_id))
    listed_id = part.get("id")
    twin = copy.deepcopy(part)
    own_id = f"{part_id}-played"
    twin.set("id", own_id)
    for element in twin.iter():
        if element is not twin:
            element.attrib.pop("id", "")
    for note in twin.iter("note"):
        for instrument in note.findall("instrument"):
            note.remove(instrument)
    if staff:
        keep_staff(twin, staff)
    put(root, root.index(part) + 1, twin)
    for listed in root.findall("part-list/score-part"):
        if listed.get("id") == listed_id:
            entry = etree.Element("score-part", id=own_id)
            etree.SubElement(entry, "part-name").text = f"{piece.part(part_id).name or part_id} (played)"
            parent = listed.getparent()
            assert parent is not None, "score-part stands in the part-list"
            put(parent, parent.index(listed) + 1, entry)
    unfold(tree, order)
    PartWriter(piece, line, twin, 0, carried, whole=True).write(played_bars(piece, sounded, order))
    return written(tree)


def _opened(piece: Piece) -> tuple[etree._ElementTree, dict[str, etree._Element]]:
    if piece.document is None:
        raise BadInput("there is no document to write notes into", file=piece.source)
    return piece.document.opened(partwise=True)


def _mark_line(piece: Piece, line: str, elements: dict[str, etree._Element]) -> bool:
    """Mark the notes of the line in the tree; True where the staff holds nothing else that sounds."""
    part_id, staff = part_of(line)
    chosen = {note_id for tone in tones(piece, line) for note_id in tone.ids}
    for note_id in list(chosen):
        marks = piece.by_id[note_id].marks
        chosen.update(small.id for small in (*marks.before, *marks.after))
    here = [note for note in piece.by_part[part_id] if not staff or note.staff == staff]
    if all(note.id in chosen for note in here if note.pitch is not None):
        return True
    for note_id in chosen:
        elements[note_id].set(LINE, "yes")
    return False


def played_bars(piece: Piece, sounded: Sequence[Sounded], order: Order) -> list[PlayedBar]:
    """What sounds in each bar as played, cut at the bar lines; overlaps give way to the later note."""
    notes = sorted((note for note in sounded if note.length > 0), key=lambda note: note.onset)
    ends = [
        min(note.onset + note.length, notes[index + 1].onset) if index + 1 < len(notes) else note.onset + note.length
        for index, note in enumerate(notes)
    ]
    bars: list[PlayedBar] = []
    at, first = Fraction(0), 0
    for page in bars_of(order):
        length = piece.bars[page].length
        close = at + length
        slices: list[Slice] = []
        while first < len(notes) and ends[first] <= at:
            first += 1
        index = first
        while index < len(notes) and notes[index].onset < close:
            note, end = notes[index], ends[index]
            left, right = max(note.onset, at), min(end, close)
            if right > left:
                slices.append(
                    Slice(left - at, right - left, note.pitch, index, note.onset < at, end > close,
                          note.slurred, note.host)
                )  # fmt: skip
            index += 1
        bars.append(PlayedBar(page, length, tuple(slices)))
        at = close
    return bars
