"""Rebuild one part of an unfolded document with a new line of notes in it.

Conventions: the notes of the old line bear the attribute ``gw-line``, or the whole staff goes (``whole``). All that is
not a note (directions, clefs, figures, bar lines) keeps its time; notes of other voices follow in voices of their own.

Public: LINE, Slice, PlayedBar, PartWriter.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.pitch import Pitch
from gracewright.score.carrying import Carried, Runs
from gracewright.score.lines import part_of
from gracewright.score.model import Meter, Piece
from gracewright.score.musicxml_note import whole as number
from gracewright.score.notation import accidental_name, add_pitch, signature_of
from gracewright.score.values import Printed, Span, print_bar

LINE: Final = "gw-line"
MANY: Final = 16_383
"""The most divisions that programs built on MIDI files take; beyond, bars state their own."""


@dataclass(frozen=True, slots=True)
class Slice:
    """A note within one bar as played: ``note`` counts the notes of the line."""

    onset: Fraction
    length: Fraction
    pitch: Pitch
    note: int
    tied_in: bool
    tied_out: bool
    slurred: bool
    host: str


@dataclass(frozen=True, slots=True)
class PlayedBar:
    """A bar as played: its place on the page, its length, and what sounds in it."""

    page: int
    length: Fraction
    slices: tuple[Slice, ...]


@dataclass(slots=True)
class _Stream:
    """Kept notes of one voice: (time, elements, length) in order."""

    items: list[tuple[Fraction, list[etree._Element], Fraction]] = field(default_factory=list)


@dataclass(slots=True)
class _Old:
    """What an unfolded bar held, taken apart."""

    items: list[tuple[Fraction, etree._Element]]  # of the line: what is not a note
    streams: dict[tuple[str, str], _Stream]
    closing: list[etree._Element]
    voice: str
    timed: list[tuple[etree._Element, Fraction]] = field(default_factory=list)  # <duration>, <offset> of what is kept


class PartWriter:
    """Writes the bars of one part. ``staff`` 0 means that the part has one staff."""

    def __init__(
        self, piece: Piece, line: str, part: etree._Element, staff: int, carried: Mapping[str, Carried], *, whole: bool
    ) -> None:
        self.carried, self.runs = carried, Runs((), carried)
        self.piece, self.line, self.part, self.staff, self.whole = piece, line, part, staff, whole
        diatonic, chromatic = piece.part(part_of(line)[0]).transpose
        self.shift = (-diatonic, -chromatic)
        self.divisions: int | Fraction = 1  # of the old document, as the bars go by
        self.stated = 0
        self.slur_open = False

    def write(self, bars: Sequence[PlayedBar]) -> None:
        printed = [self._printed(bar) for bar in bars]
        olds = [self._take_apart(measure) for measure in self.part.findall("measure")]
        needs = [_need(pieces, old) for pieces, old in zip(printed, olds, strict=True)]
        common = math.lcm(*needs) if needs else 1
        slurs = _slurs(bars)
        hosts = {cut.note: cut.host for bar in bars for cut in bar.slices}
        self.runs = Runs(hosts.items(), self.carried)
        for measure, bar, pieces, old, need in zip(
            self.part.findall("measure"), bars, printed, olds, needs, strict=True
        ):
            self._fill(measure, bar, pieces, old, common if common <= MANY else need, slurs)

    def _printed(self, bar: PlayedBar) -> list[Printed]:
        page = self.piece.bars[bar.page]
        spans, at = [], Fraction(0)
        for index, cut in enumerate(bar.slices):
            if cut.onset > at:
                spans.append(Span(at, cut.onset - at, -1))
            spans.append(Span(cut.onset, cut.length, index))
            at = cut.onset + cut.length
        if at < bar.length:
            spans.append(Span(at, bar.length - at, -1))
        start = page.meter.length - page.length if page.pickup and page.meter.measured else Fraction(0)
        meter = page.meter if page.meter.measured else Meter(4, 4)
        return print_bar(spans, meter, max(start, Fraction(0)))

    def _take_apart(self, measure: etree._Element) -> _Old:
        old = _Old([], {}, [], "")
        at = last = Fraction(0)
        waiting: list[tuple[Fraction, etree._Element]] = []
        for child in list(measure):
            measure.remove(child)
            if child.tag == "note":
                ticks = Fraction(number(child.findtext("duration"))) / self.divisions
                chord, grace = child.find("chord") is not None, child.find("grace") is not None
                if self._of_line(child):
                    old.voice = old.voice or child.findtext("voice") or ""
                    old.items += waiting
                else:
                    self._keep(old, child, last if chord else at, ticks, [element for _, element in waiting])
                waiting = []
                if not chord and not grace:
                    last, at = at, at + ticks
            elif child.tag in ("backup", "forward"):
                moved = Fraction(number(child.findtext("duration"))) / self.divisions
                at = max(Fraction(0), at - moved) if child.tag == "backup" else at + moved
            else:
                if child.tag == "attributes":
                    self._attributes(child)
                    if len(child) == 0:
                        continue
                for tag in ("duration", "offset"):
                    old.timed += [(own, Fraction(number(own.text)) / self.divisions) for own in child.iterfind(tag)]
                if child.tag == "barline" and child.get("location", "right") == "right":
                    old.closing.append(child)
                else:
                    waiting.append((at, child))
        old.items += waiting
        old.items.sort(key=lambda item: item[0])
        return old

    def _attributes(self, element: etree._Element) -> None:
        for divisions in element.findall("divisions"):
            self.divisions = number(divisions.text)
            element.remove(divisions)

    def _of_line(self, note: etree._Element) -> bool:
        if self.whole:
            return not self.staff or int(note.findtext("staff") or 1) == self.staff
        if note.get(LINE):
            return True
        staff = int(note.findtext("staff") or 1)
        return note.find("rest") is not None and (not self.staff or staff == self.staff)

    def _keep(
        self, old: _Old, note: etree._Element, at: Fraction, ticks: Fraction, before: list[etree._Element]
    ) -> None:
        key = (note.findtext("voice") or "1", note.findtext("staff") or "1")
        stream = old.streams.setdefault(key, _Stream())
        chord = note.find("chord")
        if chord is not None:
            if stream.items and stream.items[-1][0] == at and stream.items[-1][2] > 0:
                stream.items[-1][1].extend([*before, note])
                return
            note.remove(chord)  # its first note was of the line
        stream.items.append((at, [*before, note], ticks if note.find("grace") is None else Fraction(0)))

    def _fill(
        self, measure: etree._Element, bar: PlayedBar, pieces: Sequence[Printed], old: _Old, divisions: int,
        slurs: dict[int, list[str]],
    ) -> None:  # fmt: skip
        used = {voice for voice, _ in old.streams}
        voice = old.voice or "1"
        if voice in used:
            voice = str(max((int(name) for name in used if name.isdigit()), default=0) + 1)
        cursor = _Cursor(measure, divisions)
        for element, length in old.timed:
            element.text = str(length * divisions)
        if divisions != self.stated:
            first = old.items[0][1] if old.items and old.items[0][1].tag == "attributes" else None
            if first is None or old.items[0][0] != 0:
                first = etree.Element("attributes")
                old.items.insert(0, (Fraction(0), first))
            element = etree.Element("divisions")
            element.text = str(divisions)
            first.insert(0, element)
            self.stated = divisions
        items = list(old.items)
        state = signature_of(self.piece, bar.page, self.shift)
        for piece in pieces:
            while items and items[0][0] < piece.onset + piece.length:
                at, element = items[0]
                if at > piece.onset and not _offset(element, (at - piece.onset) * divisions):
                    break
                measure.append(items.pop(0)[1])
            self._note(measure, bar, piece, voice, divisions, state, slurs)
            cursor.at = piece.onset + piece.length
            while items and items[0][0] < cursor.at:
                end = cursor.at
                cursor.go(items[0][0])
                measure.append(items.pop(0)[1])
                cursor.go(end)
        for at, element in items:
            cursor.go(at)
            measure.append(element)
        for stream in old.streams.values():
            for at, elements, ticks in stream.items:
                cursor.go(at)
                for element in elements:
                    if element.tag == "note" and element.find("duration") is not None:
                        _set(element, "duration", ticks * divisions)
                measure.extend(elements)
                cursor.at += ticks
        if old.streams:
            cursor.go(max(cursor.at, bar.length))
        measure.extend(old.closing)

    def _note(
        self, measure: etree._Element, bar: PlayedBar, piece: Printed, voice: str, divisions: int,
        state: dict[int, int], slurs: dict[int, list[str]],
    ) -> None:  # fmt: skip
        note = etree.SubElement(measure, "note")
        cut = bar.slices[piece.what] if piece.what >= 0 else None
        tied_in = cut is not None and (piece.tied_in or (cut.tied_in and piece.onset == cut.onset))
        tied_out = cut is not None and (
            piece.tied_out or (cut.tied_out and piece.onset + piece.length == cut.onset + cut.length)
        )
        pitch = None if cut is None else cut.pitch.transposed(*self.shift)
        if pitch is None:
            rest = etree.SubElement(note, "rest")
            if piece.length == bar.length:
                rest.set("measure", "yes")
        else:
            add_pitch(note, pitch)
        _set(note, "duration", piece.length * divisions)
        for joined, kind in ((tied_in, "stop"), (tied_out, "start")):
            if joined:
                etree.SubElement(note, "tie", type=kind)
        etree.SubElement(note, "voice").text = voice
        if piece.kind:
            etree.SubElement(note, "type").text = piece.kind
        for _ in range(piece.dots):
            etree.SubElement(note, "dot")
        if pitch is not None and state.get(pitch.diatonic) != pitch.alter:
            if not tied_in:
                etree.SubElement(note, "accidental").text = accidental_name(pitch.alter)
            state[pitch.diatonic] = pitch.alter
        if piece.ratio is not None:
            ratio = etree.SubElement(note, "time-modification")
            etree.SubElement(ratio, "actual-notes").text = str(piece.ratio[0])
            etree.SubElement(ratio, "normal-notes").text = str(piece.ratio[1])
        if self.staff:
            etree.SubElement(note, "staff").text = str(self.staff)
        for level, word in enumerate(piece.beams, 1):
            etree.SubElement(note, "beam", number=str(level)).text = word
        marks = etree.Element("notations")
        for joined, kind in ((tied_in, "stop"), (tied_out, "start")):
            if joined:
                etree.SubElement(marks, "tied", type=kind)
        if cut is not None:
            for kind in slurs.get(cut.note, []):
                if (kind == "start" and not tied_in) or (kind == "stop" and not tied_out):
                    etree.SubElement(marks, "slur", type=kind, number="5")
        for kind in piece.bracket:
            etree.SubElement(marks, "tuplet", type=kind, number="1")
        if cut is not None:
            marks.extend(self.runs.notations(cut.note, cut.pitch, begins=not tied_in, ends=not tied_out))
        if len(marks):
            note.append(marks)
        if cut is not None and not tied_in:
            note.extend(self.runs.lyrics(cut.note))


class _Cursor:
    """Where the next note would stand; moves by ``<backup>`` and ``<forward>``."""

    def __init__(self, measure: etree._Element, divisions: int) -> None:
        self.measure, self.divisions, self.at = measure, divisions, Fraction(0)

    def go(self, place: Fraction) -> None:
        if place != self.at:
            element = etree.SubElement(self.measure, "backup" if place < self.at else "forward")
            _set(element, "duration", abs(place - self.at) * self.divisions)
            self.at = place


def _set(element: etree._Element, tag: str, value: Fraction) -> None:
    child = element.find(tag)
    if child is None:
        child = etree.SubElement(element, tag)
    child.text = str(value)


def _offset(direction: etree._Element, by: Fraction) -> bool:
    """Give a direction inside a note its offset; False where that cannot be."""
    if direction.tag != "direction" or direction.find("offset") is not None:
        return False
    place = len(direction.findall("direction-type"))
    offset = etree.Element("offset")
    offset.text = str(by)
    direction.insert(place, offset)
    return True


def _need(pieces: Sequence[Printed], old: _Old) -> int:
    """Divisions that the lengths of a bar need."""
    values = [value for piece in pieces for value in (piece.onset, piece.length)]
    values += [value for stream in old.streams.values() for at, _, ticks in stream.items for value in (at, ticks)]
    values += [at for at, _ in old.items] + [length for _, length in old.timed]
    return math.lcm(*(value.denominator for value in values)) if values else 1


def _slurs(bars: Sequence[PlayedBar]) -> dict[int, list[str]]:
    """Slur starts and stops by note: a run of notes each joined to the one before lies under one slur."""
    joined: dict[int, bool] = {}
    ends: dict[int, Fraction] = {}
    at = Fraction(0)
    touching: dict[int, bool] = {}
    for bar in bars:
        for cut in bar.slices:
            if cut.note not in joined:
                joined[cut.note] = cut.slurred
                touching[cut.note] = ends.get(cut.note - 1) == at + cut.onset
            ends[cut.note] = at + cut.onset + cut.length
        at += bar.length
    found: dict[int, list[str]] = {}
    for note in joined:
        starts = joined.get(note + 1, False) and touching.get(note + 1, False)
        stops = joined[note] and touching[note]
        if starts and not stops:
            found[note] = ["start"]
        elif stops and not starts:
            found[note] = ["stop"]
    return found
