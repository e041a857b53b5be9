"""A score on its way from another format into MusicXML.

Conventions: times are quarters from the start of the bar, exact. The draft is mutable while a door fills it;
:func:`to_musicxml` turns it into a partwise document, which is then read like any other.

Public: Head, Event, DraftBar, DraftPart, Draft, to_musicxml, Frame, clean.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final, Literal

from lxml import etree

from gracewright.pitch import Pitch
from gracewright.score.notation import add_pitch

_ID: Final = re.compile(r"[A-Za-z_][\w.-]*")
XML_TEXT: Final = re.compile(r"[^\t\n\r -\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


@dataclass(slots=True)
class Head:
    """A note head of an event; ``pitch`` as written."""

    id: str
    pitch: Pitch
    accidental: str = ""
    tie_start: bool = False
    tie_stop: bool = False


@dataclass(slots=True)
class Event:
    """A note, chord, rest or gap of one layer. ``kind`` is the MusicXML note type."""

    what: Literal["note", "rest", "space"]
    onset: Fraction
    length: Fraction
    kind: str = ""
    dots: int = 0
    ratio: tuple[int, int] | None = None
    heads: list[Head] = field(default_factory=list)
    id: str = ""
    grace: Literal["", "slash", "plain"] = ""
    after: bool = False  # a small note that belongs to the note before it
    cue: bool = False
    whole_bar: bool = False
    ornaments: list[etree._Element] = field(default_factory=list)
    technical: list[etree._Element] = field(default_factory=list)
    articulations: list[etree._Element] = field(default_factory=list)
    notations: list[etree._Element] = field(default_factory=list)
    lyrics: list[etree._Element] = field(default_factory=list)
    beam: str = ""


@dataclass(slots=True)
class DraftBar:
    """One bar of one part: its layers, and what stands at a time (attributes, directions, figures)."""

    layers: list[list[Event]] = field(default_factory=list)
    at: list[tuple[Fraction, etree._Element]] = field(default_factory=list)
    figures: list[tuple[Fraction, etree._Element]] = field(default_factory=list)


@dataclass(slots=True)
class Frame:
    """What all parts of a bar share."""

    number: str
    implicit: bool = False
    left: list[etree._Element] = field(default_factory=list)
    right: list[etree._Element] = field(default_factory=list)
    style: str = ""
    length: Fraction = Fraction(0)


@dataclass(slots=True)
class DraftPart:
    """One part: its bars stand in the order of the frames."""

    id: str
    name: str
    bars: list[DraftBar] = field(default_factory=list)


@dataclass(slots=True)
class Draft:
    """A whole score being put together."""

    title: str = ""
    composer: str = ""
    date: str = ""
    frames: list[Frame] = field(default_factory=list)
    parts: list[DraftPart] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)

    def remark(self, sentence: str) -> None:
        if sentence not in self.remarks:
            self.remarks.append(sentence)


def clean(text: str) -> str:
    """Text without the characters that XML cannot hold, white space folded."""
    return " ".join(XML_TEXT.sub("", text).split())


def to_musicxml(draft: Draft) -> etree._ElementTree:
    """The draft as a partwise MusicXML 4.0 document."""
    root = etree.Element("score-partwise", version="4.0")
    if draft.title:
        etree.SubElement(etree.SubElement(root, "work"), "work-title").text = clean(draft.title)
    if draft.composer or draft.date:
        identification = etree.SubElement(root, "identification")
        if draft.composer:
            etree.SubElement(identification, "creator", type="composer").text = clean(draft.composer)
        if draft.date:
            box = etree.SubElement(identification, "miscellaneous")
            etree.SubElement(box, "miscellaneous-field", name="date").text = clean(draft.date)
    listed = etree.SubElement(root, "part-list")
    for part in draft.parts:
        etree.SubElement(etree.SubElement(listed, "score-part", id=part.id), "part-name").text = clean(part.name)
    divisions = _divisions(draft)
    taken: set[str] = {part.id for part in draft.parts}
    for part in draft.parts:
        element = etree.SubElement(root, "part", id=part.id)
        for index, (frame, bar) in enumerate(zip(draft.frames, part.bars, strict=True)):
            _Bar(element, frame, bar, divisions, taken, first=index == 0).write()
    return etree.ElementTree(root)


def _divisions(draft: Draft) -> int:
    values = {Fraction(1)}
    for part in draft.parts:
        for frame, bar in zip(draft.frames, part.bars, strict=True):
            values.add(frame.length)
            values |= {value for layer in bar.layers for event in layer for value in (event.onset, event.length)}
            values |= {at for at, _ in (*bar.at, *bar.figures)}
    return math.lcm(*(value.denominator for value in values))


class _Bar:
    """Writes one bar of one part."""

    def __init__(
        self, part: etree._Element, frame: Frame, bar: DraftBar, divisions: int, taken: set[str], *, first: bool
    ) -> None:
        self.measure = etree.SubElement(part, "measure", number=frame.number)
        self.frame, self.bar, self.divisions, self.taken, self.first = frame, bar, divisions, taken, first
        self.cursor = Fraction(0)

    def write(self) -> None:
        if self.frame.implicit:
            self.measure.set("implicit", "yes")
        if self.frame.left:
            etree.SubElement(self.measure, "barline", location="left").extend(
                [_copy(element) for element in self.frame.left]
            )
        waiting = sorted(self.bar.at, key=lambda pair: pair[0])
        if self.first:
            attributes = next((e for at, e in waiting if at == 0 and e.tag == "attributes"), None)
            if attributes is None:
                attributes = etree.Element("attributes")
                waiting.insert(0, (Fraction(0), attributes))
            attributes.insert(0, _text("divisions", str(self.divisions)))
        figures = sorted(self.bar.figures, key=lambda pair: pair[0])
        layers = self.bar.layers or [[]]
        for voice, layer in enumerate(layers, 1):
            self._go(Fraction(0))
            for event in layer:
                while voice == 1 and waiting and waiting[0][0] <= event.onset:
                    at, element = waiting.pop(0)
                    if at < event.onset:
                        self._go(at)
                    self.measure.append(element)
                self._go(event.onset)
                if event.what == "space":
                    continue
                if voice == 1 and not event.grace:
                    figures = self._figures(event, figures)
                self._event(event, str(voice))
        for at, element in waiting:
            self._go(at)
            self.measure.append(element)
        for at, element in figures:
            self._go(at)
            self.measure.append(element)
        self._go(self.frame.length)
        if self.frame.right or self.frame.style:
            barline = etree.SubElement(self.measure, "barline", location="right")
            if self.frame.style:
                etree.SubElement(barline, "bar-style").text = self.frame.style
            barline.extend([_copy(element) for element in self.frame.right])

    def _go(self, place: Fraction) -> None:
        if place != self.cursor:
            element = etree.SubElement(self.measure, "backup" if place < self.cursor else "forward")
            etree.SubElement(element, "duration").text = str(abs(place - self.cursor) * self.divisions)
            self.cursor = place

    def _figures(
        self, event: Event, figures: list[tuple[Fraction, etree._Element]]
    ) -> list[tuple[Fraction, etree._Element]]:
        """Columns under one note stand before it, each with the length up to the next."""
        here = [pair for pair in figures if event.onset <= pair[0] < event.onset + event.length]
        if not here:
            return figures
        if here and here[0][0] > event.onset:
            lead = etree.Element("figured-bass")
            etree.SubElement(lead, "figure")
            here.insert(0, (event.onset, lead))
        ends = [at for at, _ in here[1:]] + [event.onset + event.length]
        for (at, element), end in zip(here, ends, strict=True):
            if len(here) > 1:
                element.append(_text("duration", str((end - at) * self.divisions)))
            self.measure.append(element)
        return [pair for pair in figures if pair[1] not in {element for _, element in here}]

    def _own(self, wanted: str) -> dict[str, str]:
        if not _ID.fullmatch(wanted) or wanted in self.taken:
            return {}
        self.taken.add(wanted)
        return {"id": wanted}

    def _event(self, event: Event, voice: str) -> None:
        if event.what == "rest":
            note = etree.SubElement(self.measure, "note", self._own(event.id))
            rest = etree.SubElement(note, "rest")
            if event.whole_bar:
                rest.set("measure", "yes")
            self._rest_of(note, event, None, voice, first=True)
        for index, head in enumerate(event.heads):
            note = etree.SubElement(self.measure, "note", self._own(head.id))
            if event.grace:
                grace = etree.SubElement(note, "grace")
                if event.grace == "slash":
                    grace.set("slash", "yes")
            if event.cue and not event.grace:
                etree.SubElement(note, "cue")
            if index:
                etree.SubElement(note, "chord")
            add_pitch(note, head.pitch)
            self._rest_of(note, event, head, voice, first=index == 0)
        if not event.grace:
            self.cursor = event.onset + event.length

    def _rest_of(self, note: etree._Element, event: Event, head: Head | None, voice: str, *, first: bool) -> None:
        """Everything after the pitch, in the order of the schema."""
        if not event.grace:
            note.append(_text("duration", str(event.length * self.divisions)))
        ties = [kind for kind, on in (("stop", head and head.tie_stop), ("start", head and head.tie_start)) if on]
        if not (event.cue and not event.grace):
            for kind in ties:
                etree.SubElement(note, "tie", type=kind)
        note.append(_text("voice", voice))
        if event.kind and not event.whole_bar:
            note.append(_text("type", event.kind))
            for _ in range(event.dots):
                etree.SubElement(note, "dot")
        if head is not None and head.accidental:
            note.append(_text("accidental", head.accidental))
        if event.ratio is not None and not event.grace:
            ratio = etree.SubElement(note, "time-modification")
            ratio.append(_text("actual-notes", str(event.ratio[0])))
            ratio.append(_text("normal-notes", str(event.ratio[1])))
        if first and event.beam:
            beam = _text("beam", event.beam)
            beam.set("number", "1")
            note.append(beam)
        marks = etree.Element("notations")
        for kind in ties:
            etree.SubElement(marks, "tied", type=kind)
        if first:
            marks.extend(event.notations)
            for tag, members in (("ornaments", event.ornaments), ("technical", event.technical),
                                 ("articulations", event.articulations)):  # fmt: skip
                if members:
                    etree.SubElement(marks, tag).extend(members)
        if len(marks):
            note.append(marks)
        if first:
            note.extend(event.lyrics)


def _text(tag: str, text: str) -> etree._Element:
    element = etree.Element(tag)
    element.text = text
    return element


def _copy(element: etree._Element) -> etree._Element:
    return etree.fromstring(etree.tostring(element))
