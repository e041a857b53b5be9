"""Write signs and small notes into the user's own document.

Conventions: pitches come in as they sound and go out as they are written (transposing parts). Signs stand in an
``<ornaments>`` or ``<technical>`` group of our own, small notes are ``<note>`` elements of our own, a lone cross or
letter is a ``<direction>`` of our own; all bear ids beginning with ``gw-`` (small notes before their note ``gw-b…``,
after it ``gw-a…``). Signs for the repeat only go into an added part "NAME (repeat)".

Public: Addition, write_signs, keep_staff.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score.document import part_element
from gracewright.score.lines import part_of
from gracewright.score.model import Piece, Sign, SmallNote
from gracewright.score.notation import (
    accidental_name,
    add_pitch,
    in_force,
    put,
    slot_of,
    spare_slur,
    type_of,
)
from gracewright.score.ours import Ids, written

TECHNICAL: Final = frozenset({"stopped", "other-technical"})


@dataclass(frozen=True, slots=True)
class Addition:
    """What we add to one written note: signs over it, small notes before and after it."""

    note: str
    signs: tuple[Sign, ...] = ()
    before: tuple[SmallNote, ...] = ()
    after: tuple[SmallNote, ...] = ()


def write_signs(
    piece: Piece, line: str, additions: Sequence[Addition], *, repeat_additions: Sequence[Addition] = ()
) -> bytes:
    """The user's document with our signs; ``strip_ours`` takes them out again.

    Raises BadInput where the piece has no document or an addition names a note that is not there.
    """
    if piece.document is None:
        raise BadInput("there is no document to write signs into", file=piece.source)
    tree, elements = piece.document.opened(partwise=bool(repeat_additions))
    ids = Ids(tree.getroot())
    hand = _Hand(piece, line, ids)
    repeat = _repeat_part(tree, piece, line, elements, ids) if repeat_additions else {}
    for addition in additions:
        hand.add(addition, elements)
    for addition in repeat_additions:
        hand.add(addition, repeat)
    return written(tree)


class _Hand:
    """Adds to one document; keeps what the notes of the line need."""

    def __init__(self, piece: Piece, line: str, ids: Ids) -> None:
        self.piece, self.line, self.ids = piece, line, ids
        diatonic, chromatic = piece.part(part_of(line)[0]).transpose
        self.shift = (-diatonic, -chromatic)

    def add(self, addition: Addition, elements: dict[str, etree._Element]) -> None:
        host = elements.get(addition.note)
        if host is None or addition.note not in self.piece.by_id:
            raise BadInput(f"there is no note {addition.note!r} to add to", file=self.piece.source, part=self.line)
        first, last = _chord(host)
        bar = self.piece.by_id[addition.note].bar + 1
        if addition.before:
            self._small_notes(addition.before, host, first, bar, addition.note, after=False)
        if addition.after:
            self._small_notes(addition.after, host, last, bar, addition.note, after=True)
        for sign in addition.signs:
            if sign.element == "words":
                _words(sign, host, first, self.ids.next(f"s{bar}"))
        over = [sign for sign in addition.signs if sign.element != "words"]
        for group, members in (
            ("ornaments", [sign for sign in over if sign.element not in TECHNICAL]),
            ("technical", [sign for sign in over if sign.element in TECHNICAL]),
        ):
            if members:
                notations = _notations(host, self.ids, bar)
                box = etree.Element(group, id=self.ids.next(f"s{bar}"))
                for sign in members:
                    _sign(box, sign)
                put(notations, len(notations), box)

    def _small_notes(
        self, notes: Sequence[SmallNote], host: etree._Element, neighbour: etree._Element, bar: int, note_id: str,
        *, after: bool,
    ) -> None:  # fmt: skip
        measure = host.getparent()
        assert measure is not None, "a note stands in a bar"
        number = spare_slur(measure)
        slurred = any(small.slurred for small in notes)
        known = in_force(self.piece, self.line, note_id, self.shift)
        written_notes = []
        for index, small in enumerate(notes):
            stem = ("a" if after else "b") + str(bar)
            element = self._small_note(small, host, known, self.ids.next(stem), beam=_beam(notes, index))
            if slurred and not after and index == min(i for i, n in enumerate(notes) if n.slurred):
                _slur(element, "start", number)
            if slurred and after and index == len(notes) - 1:
                _slur(element, "stop", number)
            written_notes.append(element)
        place = measure.index(neighbour) + (1 if after else 0)
        for element in reversed(written_notes):
            put(measure, place, element)
        if slurred:
            slur = etree.Element("slur", id=self.ids.next(f"s{bar}"), type="start" if after else "stop", number=number)
            notations = _notations(host, self.ids, bar)
            put(notations, len(notations), slur)

    def _small_note(
        self, small: SmallNote, host: etree._Element, known: dict[int, int], own_id: str, *, beam: str
    ) -> etree._Element:
        note = etree.Element("note", id=own_id)
        grace = etree.SubElement(note, "grace")
        for name, share in (
            ("steal-time-previous", small.steal_previous), ("steal-time-following", small.steal_following),
        ):  # fmt: skip
            if share is not None:
                grace.set(name, f"{float(share):g}")
        if small.slash:
            grace.set("slash", "yes")
        if small.chord:
            etree.SubElement(note, "chord")
        pitch = small.pitch.transposed(*self.shift)
        add_pitch(note, pitch)
        if host.find("voice") is not None:
            etree.SubElement(note, "voice").text = host.findtext("voice")
        kind, dots = type_of(small.value) or ("eighth", 0)
        etree.SubElement(note, "type").text = kind
        for _ in range(dots):
            etree.SubElement(note, "dot")
        accidental = small.accidental or _needed(pitch, known)
        if accidental:
            etree.SubElement(note, "accidental").text = accidental
        if host.find("staff") is not None:
            etree.SubElement(note, "staff").text = host.findtext("staff")
        if beam:
            etree.SubElement(note, "beam", number="1").text = beam
        if small.signs:
            box = etree.SubElement(etree.SubElement(note, "notations"), "ornaments")
            for sign in small.signs:
                _sign(box, sign)
        return note


def _needed(pitch: Pitch, known: dict[int, int]) -> str:
    """The accidental a written pitch needs where it stands; printing it changes what is in force."""
    if known.get(pitch.diatonic) == pitch.alter:
        return ""
    known[pitch.diatonic] = pitch.alter
    return accidental_name(pitch.alter)


def _beam(notes: Sequence[SmallNote], index: int) -> str:
    """Small notes of a group with flags are joined by a beam."""
    if len(notes) < 2 or any(note.value >= 1 or note.chord for note in notes):
        return ""
    return "begin" if index == 0 else "end" if index == len(notes) - 1 else "continue"


def _chord(host: etree._Element) -> tuple[etree._Element, etree._Element]:
    """First and last note of the chord that a note stands in."""
    first = last = host
    while first.find("chord") is not None:
        before = first.getprevious()
        while before is not None and before.tag != "note":
            before = before.getprevious()
        if before is None:
            break
        first = before
    following = last.getnext()
    while following is not None and following.tag == "note" and following.find("chord") is not None:
        last, following = following, following.getnext()
    return first, last


def _notations(host: etree._Element, ids: Ids, bar: int) -> etree._Element:
    """The note's own ``<notations>``, or one of ours where it has none."""
    found = host.find("notations")
    if found is None:
        found = etree.Element("notations", id=ids.next(f"s{bar}"))
        put(host, slot_of(host, "notations"), found)
    return found


def _slur(note: etree._Element, kind: str, number: str) -> None:
    notations = note.find("notations")
    if notations is None:
        notations = etree.SubElement(note, "notations")
    notations.insert(0, etree.Element("slur", type=kind, number=number))


def _sign(box: etree._Element, sign: Sign) -> None:
    element = etree.SubElement(box, sign.element)
    if sign.element in ("other-ornament", "other-technical") and sign.text:
        element.text = sign.text
    for name, value in sign.attributes:
        element.set(name, value)
    if sign.smufl and sign.element in ("other-ornament", "other-technical"):
        element.set("smufl", sign.smufl)
    if sign.placement:
        element.set("placement", sign.placement)
    if box.tag != "ornaments":
        return
    for side, accidental in (("above", sign.accidental_above), ("below", sign.accidental_below)):
        if accidental:
            etree.SubElement(box, "accidental-mark", placement=side).text = accidental


def _words(sign: Sign, host: etree._Element, first: etree._Element, own_id: str) -> None:
    """A lone cross or letter over the note, as a direction before it and its small notes."""
    measure = first.getparent()
    assert measure is not None, "a note stands in a bar"
    direction = etree.Element("direction", placement=sign.placement or "above", id=own_id)
    etree.SubElement(etree.SubElement(direction, "direction-type"), "words").text = sign.text or "+"
    for tag in ("voice", "staff"):
        if host.find(tag) is not None:
            etree.SubElement(direction, tag).text = host.findtext(tag)
    put(measure, measure.index(first), direction)


def _repeat_part(
    tree: etree._ElementTree, piece: Piece, line: str, elements: dict[str, etree._Element], ids: Ids
) -> dict[str, etree._Element]:
    """Add a copy of the line's part below it; the notes of the copy by the ids of the first."""
    part_id, staff = part_of(line)
    root = tree.getroot()
    part = part_element(root, piece.place_of(part_id))
    old_notes = list(part.iter("note"))
    twin = copy.deepcopy(part)
    pairs = dict(zip(old_notes, twin.iter("note"), strict=True))
    own_id = ids.next("part")
    for element in twin.iter():
        if element.get("id") and element.tag != "instrument":
            element.set("id", ids.next("copy"))
    for note in twin.iter("note"):
        for instrument in note.findall("instrument"):
            note.remove(instrument)
    twin.set("id", own_id)
    if staff:
        keep_staff(twin, staff)
    put(root, root.index(part) + 1, twin)
    entries = root.iterfind("part-list/score-part")
    listed = next((entry for entry in entries if entry.get("id") == part.get("id")), None)
    if listed is not None:
        entry = etree.Element("score-part", id=own_id)
        etree.SubElement(entry, "part-name").text = f"{piece.part(part_id).name or part_id} (repeat)"
        parent = listed.getparent()
        assert parent is not None, "score-part stands in the part-list"
        put(parent, parent.index(listed) + 1, entry)
    return {name: pairs[element] for name, element in elements.items() if element in pairs}


def keep_staff(part: etree._Element, staff: int) -> None:
    """Leave only one staff of a part: its notes, clefs and directions; the others' time becomes ``<forward>``."""
    for measure in part.iterfind("measure"):
        for child in list(measure):
            own = int(child.findtext("staff") or 1)
            if child.tag == "note" and own != staff:
                if child.find("grace") is None and child.find("chord") is None:
                    forward = etree.Element("forward")
                    etree.SubElement(forward, "duration").text = child.findtext("duration")
                    put(measure, measure.index(child), forward)
                measure.remove(child)
            elif child.tag in ("direction", "figured-bass", "harmony") and own != staff:
                measure.remove(child)
            elif child.tag == "attributes":
                _one_staff(child, staff)
                continue
            for mark in child.findall("staff"):
                child.remove(mark)


def _one_staff(attributes: etree._Element, staff: int) -> None:
    for child in list(attributes):
        if child.tag == "staves" or (child.tag in ("clef", "key", "time", "staff-details", "transpose")
                                     and child.get("number", str(staff)) != str(staff)):  # fmt: skip
            attributes.remove(child)
        elif child.get("number") and child.tag != "measure-style":
            del child.attrib["number"]
