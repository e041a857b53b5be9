"""The events of one MEI layer: notes, chords, rests, small notes, beams, tuplets, editorial mark-up looked through.

Conventions: elements are named without their namespace. The alteration of a note is the gestural one where given, else
what the page says: its own accidental, one earlier in the bar, a tie, the signature.

Public: LayerReader, local, spelled_alterations, ACCIDENTALS, chosen.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.pitch import STEPS, Pitch
from gracewright.score.draft import Draft, Event, Head, clean
from gracewright.score.musicxml_note import TYPES

XML_ID: Final = "{http://www.w3.org/XML/1998/namespace}id"
KINDS: Final = {"long": "long", "breve": "breve", "1": "whole", "2": "half", "4": "quarter", "8": "eighth",
                **{str(2**power): f"{2**power}{'nd' if power == 5 else 'th'}" for power in range(4, 11)},
                "maxima": "maxima"}  # fmt: skip
"""MEI durations → MusicXML note types."""
ACCIDENTALS: Final = {
    "s": ("sharp", 1), "f": ("flat", -1), "ss": ("sharp-sharp", 2), "x": ("double-sharp", 2),
    "ff": ("flat-flat", -2), "n": ("natural", 0), "nf": ("natural-flat", -1), "ns": ("natural-sharp", 1),
    "xs": ("triple-sharp", 3), "sx": ("triple-sharp", 3), "ts": ("triple-sharp", 3), "tf": ("triple-flat", -3),
}  # fmt: skip
"""Written MEI accidentals → MusicXML name and alteration."""
GESTURAL: Final = {"s": 1, "f": -1, "ss": 2, "ff": -2, "n": 0, "ts": 3, "tf": -3}
ARTICULATIONS: Final = {
    "acc": "accent", "stacc": "staccato", "ten": "tenuto", "stacciss": "staccatissimo", "marc": "strong-accent",
    "spicc": "spiccato", "stroke": "staccatissimo", "ten-stacc": "detached-legato",
}  # fmt: skip
TECHNICAL: Final = {"stop": "stopped", "open": "open-string", "upbow": "up-bow", "dnbow": "down-bow",
                    "harm": "harmonic", "snap": "snap-pizzicato"}  # fmt: skip
SEEN_THROUGH: Final = frozenset({"supplied", "add", "unclear", "corr", "reg", "orig", "restore", "damage", "expan",
                                 "abbr", "subst", "lem", "seg", "layer", "ligature"})  # fmt: skip
SKIPPED: Final = frozenset({"del", "gap", "annot", "barLine", "clefGrp", "custos", "pad", "accid", "artic", "dot",
                            "verse", "lyrics", "stem", "sb", "pb", "cb", "lb", "syl", "handShift"})  # fmt: skip


def local(element: etree._Element) -> str:
    """The tag without namespace; empty for comments and instructions."""
    return element.tag.rpartition("}")[2] if isinstance(element.tag, str) else ""


def chosen(element: etree._Element) -> Iterator[etree._Element]:
    """Children as an edited page shows them: the reading chosen of each apparatus, mark-up looked through."""
    for child in element:
        tag = local(child)
        if tag == "app":
            readings = [one for one in child if local(one) == "lem"] or [one for one in child if local(one) == "rdg"]
            if readings:
                yield from chosen(readings[0])
        elif tag == "choice":
            by_tag = {local(one): one for one in child}
            pick = next((by_tag[name] for name in ("corr", "reg", "expan", "orig", "sic", "abbr") if name in by_tag),
                        None)  # fmt: skip
            if pick is not None:
                yield from chosen(pick)
        elif tag in SEEN_THROUGH and tag != "layer":
            yield from chosen(child)
        elif tag:
            yield child


@dataclass(slots=True)
class LayerReader:
    """Reads a layer into events and keeps where each id went."""

    draft: Draft
    bar_length: Fraction
    default_dur: str = "4"
    at: Fraction = Fraction(0)
    events: list[Event] = field(default_factory=list)
    by_id: dict[str, Event] = field(default_factory=dict)
    clefs: list[tuple[Fraction, etree._Element]] = field(default_factory=list)
    scale: Fraction = Fraction(1)
    ratio: tuple[int, int] | None = None
    raw: dict[int, tuple[str, str]] = field(default_factory=dict)  # id(head) → written, gestural accidental
    spans: dict[str, tuple[int, int]] = field(default_factory=dict)  # ids that a tuplet span covers → ratio
    tie_starts: frozenset[str] = frozenset()
    tie_stops: frozenset[str] = frozenset()

    def read(self, layer: etree._Element) -> None:
        for child in chosen(layer):
            self._one(child)

    def _one(self, element: etree._Element, grace: str = "") -> None:
        tag = local(element)
        if tag in ("note", "chord"):
            self._notes(element, grace)
        elif tag in ("rest", "space"):
            self._silence(element, tag)
        elif tag in ("mRest", "mSpace"):
            self._whole(element, tag)
        elif tag == "beam":
            self._beam(element, grace)
        elif tag == "tuplet":
            self._tuplet(element)
        elif tag == "graceGrp":
            for child in chosen(element):
                self._one(child, element.get("grace") or grace or "unknown")
        elif tag in ("bTrem", "fTrem"):
            self._tremolo(element, tag)
        elif tag == "clef":
            self.clefs.append((self.at, element))
        elif tag == "multiRest":
            self._whole(element, "mRest")
        elif tag and tag not in SKIPPED:
            self.draft.remark(f"MEI element <{tag}> inside a voice is not read.")

    def _dur(self, element: etree._Element) -> tuple[str, int]:
        dots = element.get("dots")
        count = int(dots) if dots and dots.isdigit() else sum(1 for child in chosen(element) if local(child) == "dot")
        dur = element.get("dur") or element.get("dur.ges")
        if dur is None:
            note = next((one for one in element.iter() if local(one) == "note" and one.get("dur")), None)
            dur = note.get("dur") if note is not None else self.default_dur
            if note is not None and not count:
                count = int(note.get("dots") or 0)
        kind = KINDS.get(dur or "4")
        if kind is None:
            raise ValueError(f"the duration {dur!r} is not of common notation")
        return kind, min(count, 4)

    def _timed(self, element: etree._Element, what: str, grace: str) -> Event:
        kind, dots = self._dur(element)
        own = self.spans.get(element.get(XML_ID, ""))
        ratio = (own[0] * (self.ratio or (1, 1))[0], own[1] * (self.ratio or (1, 1))[1]) if own else self.ratio
        length = Fraction(0)
        if not grace:
            value = TYPES[kind] * (2 - Fraction(1, 2**dots))
            length = value * self.scale * (Fraction(own[1], own[0]) if own else 1)
        event = Event("note", self.at, length, kind, dots, ratio)
        event.what = "space" if what == "space" else "rest" if what == "rest" else "note"
        event.cue = element.get("cue") == "true"
        own_id = element.get(XML_ID, "")
        event.id = own_id
        if own_id:
            self.by_id[own_id] = event
        self.events.append(event)
        self.at += length
        return event

    def _silence(self, element: etree._Element, tag: str) -> None:
        self._timed(element, tag, "")

    def _whole(self, element: etree._Element, tag: str) -> None:
        event = Event("rest" if tag == "mRest" else "space", self.at, self.bar_length - self.at, whole_bar=True)
        event.id = element.get(XML_ID, "")
        self.by_id[event.id] = event
        if event.length > 0:
            self.events.append(event)
            self.at = self.bar_length

    def _notes(self, element: etree._Element, grace: str) -> None:
        grace = element.get("grace") or grace
        heads = [element] if local(element) == "note" else [one for one in chosen(element) if local(one) == "note"]
        heads = [head for head in heads if head.get("pname") and head.get("oct")]
        if not grace and local(element) == "chord":
            grace = next((head.get("grace", "") for head in heads if head.get("grace")), "")
        event = self._timed(element, "note" if heads else "space", grace)
        if not heads:
            self.draft.remark("Notes without a pitch are left aside.")
            return
        if grace:
            slashed = grace == "unacc" or "slash" in (element.get("stem.mod") or "")
            event.grace = "slash" if slashed else "plain"
        for head in heads:
            self._head(event, head)
        self._marks(event, element)
        for head in heads:
            if head is not element:
                self._marks(event, head)

    def _head(self, event: Event, element: etree._Element) -> None:
        octave = int(element.get("oct.ges") or element.get("oct") or 4)
        step = STEPS.index(element.get("pname", "c").upper())
        head = Head(element.get(XML_ID, ""), Pitch(octave, step))
        accid = next((one for one in chosen(element) if local(one) == "accid"), None)
        written, gestural = element.get("accid", ""), element.get("accid.ges", "")
        if accid is not None:
            written, gestural = written or accid.get("accid", ""), gestural or accid.get("accid.ges", "")
        head.accidental = ACCIDENTALS[written][0] if written in ACCIDENTALS else ""
        tie = element.get("tie", "")
        head.tie_start, head.tie_stop = tie[:1] in ("i", "m"), tie[:1] in ("m", "t")
        head.tie_start |= bool(head.id) and head.id in self.tie_starts
        head.tie_stop |= bool(head.id) and head.id in self.tie_stops
        self.raw[id(head)] = (written, gestural)
        event.heads.append(head)
        if head.id:
            self.by_id[head.id] = event

    def _marks(self, event: Event, element: etree._Element) -> None:
        names = (element.get("artic") or "").split()
        for child in chosen(element):
            if local(child) == "artic":
                names += (child.get("artic") or "").split()
            elif local(child) == "verse":
                self._verse(event, child)
            elif local(child) == "syl":
                self._syllable(event, child, "1")
        for name in names:
            if name in ARTICULATIONS:
                event.articulations.append(etree.Element(ARTICULATIONS[name]))
            elif name in TECHNICAL:
                event.technical.append(etree.Element(TECHNICAL[name]))
            else:
                self.draft.remark(f"The articulation “{name}” is not read.")
        if element.get("syl"):
            lyric = etree.Element("lyric", number="1")
            etree.SubElement(lyric, "text").text = clean(element.get("syl", ""))
            event.lyrics.append(lyric)
        if element.get("fermata"):
            event.notations.append(etree.Element("fermata"))

    def _verse(self, event: Event, verse: etree._Element) -> None:
        for syllable in chosen(verse):
            if local(syllable) == "syl":
                self._syllable(event, syllable, verse.get("n", "1"))

    def _syllable(self, event: Event, syllable: etree._Element, number: str) -> None:
        text = clean("".join(str(piece) for piece in syllable.itertext()))
        if not text:
            return
        lyric = etree.Element("lyric", number=number)
        place = {"i": "begin", "m": "middle", "t": "end", "s": "single"}.get(syllable.get("wordpos", "s"), "single")
        etree.SubElement(lyric, "syllabic").text = place
        etree.SubElement(lyric, "text").text = text
        event.lyrics.append(lyric)

    def _beam(self, element: etree._Element, grace: str) -> None:
        first = len(self.events)
        for child in chosen(element):
            self._one(child, grace)
        notes = [event for event in self.events[first:] if event.what == "note" and not event.grace]
        if len(notes) > 1 and not any(event.beam for event in notes):
            for event in notes:
                event.beam = "continue"
            notes[0].beam, notes[-1].beam = "begin", "end"

    def _tuplet(self, element: etree._Element) -> None:
        num = int(element.get("num") or 3)
        base = int(element.get("numbase") or 2 ** (num.bit_length() - 1))
        if num <= 0 or base <= 0:
            raise ValueError("a tuplet of nothing")
        outer_scale, outer_ratio, first = self.scale, self.ratio, len(self.events)
        self.scale *= Fraction(base, num)
        self.ratio = (num * (outer_ratio or (1, 1))[0], base * (outer_ratio or (1, 1))[1])
        for child in chosen(element):
            self._one(child)
        self.scale, self.ratio = outer_scale, outer_ratio
        inside = [event for event in self.events[first:] if event.what != "space" and not event.grace]
        if inside:
            number = "1" if outer_ratio is None else "2"
            inside[0].notations.append(etree.Element("tuplet", type="start", number=number))
            inside[-1].notations.append(etree.Element("tuplet", type="stop", number=number))

    def _tremolo(self, element: etree._Element, tag: str) -> None:
        first, scale = len(self.events), self.scale
        if tag == "fTrem":
            self.scale = scale / 2
            outer, self.ratio = self.ratio, ((self.ratio or (1, 1))[0] * 2, (self.ratio or (1, 1))[1])
        for child in chosen(element):
            self._one(child)
        self.scale = scale
        notes = [event for event in self.events[first:] if event.what == "note"]
        if tag == "fTrem":
            self.ratio = outer
            for event, kind in zip(notes[:2], ("start", "stop"), strict=False):
                event.ornaments.append(etree.Element("tremolo", type=kind))
                event.ornaments[-1].text = "3"
        else:
            for event in notes:
                event.ornaments.append(etree.Element("tremolo", type="single"))
                event.ornaments[-1].text = "3"


def spelled_alterations(
    layers: Sequence[LayerReader], signature: Sequence[int], tied: dict[tuple[int, int], int]
) -> None:
    """Give every head of a bar of one staff its alteration.

    ``tied`` holds the alterations of notes tied over from the bar before, by octave and step; it is renewed.
    """
    state: dict[tuple[int, int], int] = {}
    carried, tied_on = dict(tied), dict[tuple[int, int], int]()
    pairs = [(event, reader) for reader in layers for event in reader.events if event.heads]
    pairs.sort(key=lambda pair: pair[0].onset)
    for event, reader in pairs:
        for head in event.heads:
            place = (head.pitch.octave, head.pitch.step)
            written, gestural = reader.raw.get(id(head), ("", ""))
            if gestural in GESTURAL:
                alter = GESTURAL[gestural]
            elif written in ACCIDENTALS:
                alter = ACCIDENTALS[written][1]
            elif head.tie_stop and place in carried:
                alter = carried[place]
            else:
                alter = state.get(place, signature[place[1]])
            if written in ACCIDENTALS:
                state[place] = ACCIDENTALS[written][1]
            head.pitch = Pitch(*place, alter)
            carried[place] = alter
            if head.tie_start:
                tied_on[place] = alter
    tied.clear()
    tied.update(tied_on)
