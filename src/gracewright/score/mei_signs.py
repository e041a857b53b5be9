"""MEI control events (trills, slurs, figures, words …) onto the events they belong to.

Conventions: an event is named by ``@startid`` or stands at a staff and ``@tstamp`` (1 is the first beat, in units of
the time signature's lower number).

Public: SignReader, is_editors_mark.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.score.draft import Draft, DraftBar, Event, clean
from gracewright.score.mei_layer import ACCIDENTALS, chosen, local

PREFIXES: Final = {"#": "sharp", "♯": "sharp", "b": "flat", "♭": "flat", "n": "natural", "♮": "natural",
                   "x": "double-sharp", "##": "double-sharp", "bb": "flat-flat", "s": "sharp", "f": "flat"}  # fmt: skip
SUFFIXES: Final = PREFIXES | {"+": "plus", "\\": "backslash", "/": "slash", "|": "vertical", "-": "flat",
                              "\u0338": "slash", "\u20e5": "backslash"}  # fmt: skip
FIGURE: Final = re.compile(r"(##|bb|[#♯b♭n♮x+-])?\s*(\d{1,2})?\s*(##|bb|[#♯b♭n♮x+/\\|\u0338\u20e5-])?(_*)")
LABELLED: Final = frozenset({"shake", "schleifer", "vertical-turn", "inverted-vertical-turn"})
"""Signs without an MEI element of their own, told by the label of their ``<ornam>``."""
GLYPHS: Final = {
    0xEA50: "0", 0xEA51: "1", 0xEA52: "2", 0xEA53: "2+", 0xEA54: "3", 0xEA55: "4", 0xEA56: "4+", 0xEA57: "5",
    0xEA58: "5+", 0xEA59: "5+", 0xEA5A: "5b", 0xEA5B: "6", 0xEA5C: "6\\", 0xEA5D: "7", 0xEA5E: "7\\", 0xEA5F: "7b",
    0xEA60: "8", 0xEA61: "9", 0xEA62: "9\\", 0xEA63: "bb", 0xEA64: "b", 0xEA65: "n", 0xEA66: "#", 0xEA67: "x",
    0xEA6C: "+", 0xEA6F: "6\\", 0xE260: "b", 0xE261: "n", 0xE262: "#", 0xE263: "x", 0xE264: "bb",
}  # fmt: skip
"""Glyphs of the music font in figures → what they show (SMuFL, figured bass and accidentals)."""
_ONE: Final = r"(?:[#♯b♭n♮x+]*\d[#♯b♭n♮x+]*|[#♯b♭n♮])"
MOVING: Final = re.compile(rf"{_ONE}(?:-{_ONE})+")
"""Figures that follow one another under one note."""
SILENT: Final = frozenset({"sb", "pb", "cb", "lb", "annot", "tupletSpan", "beamSpan", "tie", "lv", "mNum", "ossia",
                           "staff", "pgHead", "pgFoot", "hairpin", "pedal", "octave", "reh", "line", "curve", "bend",
                           "gliss", "phrase", "bracketSpan", "fing", "fingGrp", "mRpt", "anchoredText"})  # fmt: skip


@dataclass(slots=True)
class SignReader:
    """Puts the control events of one bar in place.

    ``events`` are the layers of each staff of the bar, ``by_id`` all events of the piece so far known.
    """

    draft: Draft
    unit: int
    bars: Mapping[str, DraftBar]
    by_id: Mapping[str, Event]
    bar_of: Mapping[str, tuple[str, Fraction]] = field(default_factory=dict)  # id → staff, onset
    slur: int = 0

    def read(self, measure: etree._Element) -> None:
        handlers: dict[str, Callable[[etree._Element], None]] = {
            "trill": self._trill, "mordent": self._mordent, "turn": self._turn, "ornam": self._ornam,
            "fermata": self._fermata, "slur": self._slur, "harm": self._harm, "dir": self._words,
            "tempo": self._tempo, "dynam": self._dynam, "breath": self._breath, "caesura": self._breath,
            "arpeg": self._arpeggio, "repeatMark": self._words,
        }  # fmt: skip
        for element in chosen(measure):
            handler = handlers.get(local(element))
            if handler is not None:
                handler(element)
            elif local(element) not in SILENT:
                self.draft.remark(f"MEI element <{local(element)}> is not read.")

    def _target(self, element: etree._Element, *, end: bool = False) -> Event | None:
        """The event that a control event belongs to."""
        named = (element.get("endid" if end else "startid") or "").lstrip("#")
        if named:
            return self.by_id.get(named)
        if end:
            return None
        at, staff = self._time(element), self._staff(element)
        layers = self.bars[staff].layers if staff in self.bars else []
        layer = element.get("layer")
        if layer and layer.isdigit() and 0 < int(layer) <= len(layers):
            layers = [layers[int(layer) - 1], *layers]
        here = [event for events in layers for event in events if event.what == "note" and not event.grace]
        exact = [event for event in here if event.onset == at]
        covering = [event for event in here if event.onset <= at < event.onset + event.length]
        return next(iter(exact or covering), None)

    def _staff(self, element: etree._Element) -> str:
        named = (element.get("staff") or "").split()
        return named[0] if named else next(iter(self.bars), "")

    def _time(self, element: etree._Element) -> Fraction:
        """Quarters from the start of the bar."""
        try:
            at = (Fraction(element.get("tstamp") or "1") - 1) * Fraction(4, self.unit)
        except ValueError:
            at = Fraction(0)
        return max(Fraction(0), at.limit_denominator(960))

    def _ornament(self, element: etree._Element, name: str, **attributes: str) -> None:
        event = self._target(element)
        if event is None or event.what != "note":
            self.draft.remark(f"A sign <{local(element)}> stands over no note and is left out.")
            return
        glyph = element.get("glyph.num")
        sign = etree.Element(name)
        if glyph and local(element) == "ornam":
            sign.text = glyph
        for key, value in attributes.items():
            sign.set(key, value)
        if element.get("place") in ("above", "below"):
            sign.set("placement", element.get("place", ""))
        event.ornaments.append(sign)
        for side, attribute in (("above", "accidupper"), ("below", "accidlower")):
            accidental = ACCIDENTALS.get(element.get(attribute) or "")
            if accidental is not None:
                mark = etree.Element("accidental-mark", placement=side)
                mark.text = accidental[0]
                event.ornaments.append(mark)

    def _trill(self, element: etree._Element) -> None:
        self._ornament(element, "trill-mark")
        event, last = self._target(element), self._target(element, end=True)
        if element.get("extender") == "true" and event is not None:
            event.ornaments.append(etree.Element("wavy-line", type="start", number="1"))
            (last or event).ornaments.append(etree.Element("wavy-line", type="stop", number="1"))

    def _mordent(self, element: etree._Element) -> None:
        name = "inverted-mordent" if element.get("form") == "upper" else "mordent"
        attributes = {"long": "yes"} if element.get("long") == "true" else {}
        self._ornament(element, name, **attributes)

    def _turn(self, element: etree._Element) -> None:
        inverted = "inverted-" if element.get("form") == "lower" else ""
        self._ornament(element, f"{'delayed-' if element.get('delayed') == 'true' else ''}{inverted}turn")

    def _ornam(self, element: etree._Element) -> None:
        text = clean("".join(str(piece) for piece in element.itertext()))
        event = self._target(element)
        if text and event is not None:
            self._say(element, text)
        elif event is not None:
            label, glyph = element.get("label", ""), element.get("glyph.name", "")
            attributes = {"smufl": glyph} if glyph else {}
            self._ornament(element, label if label in LABELLED else "other-ornament", **attributes)

    def _fermata(self, element: etree._Element) -> None:
        event = self._target(element)
        if event is not None:
            kind = "inverted" if element.get("form") == "inv" else "upright"
            event.notations.append(etree.Element("fermata", type=kind))

    def _slur(self, element: etree._Element) -> None:
        first, last = self._target(element), self._target(element, end=True)
        if first is None or last is None or first is last:
            if not element.get("endid"):
                self.draft.remark("Slurs without the id of their last note are left out.")
            return
        self.slur = self.slur % 6 + 1
        first.notations.append(etree.Element("slur", type="start", number=str(self.slur)))
        last.notations.append(etree.Element("slur", type="stop", number=str(self.slur)))

    def _breath(self, element: etree._Element) -> None:
        event = self._target(element)
        if event is not None:
            event.articulations.append(etree.Element("breath-mark" if local(element) == "breath" else "caesura"))

    def _arpeggio(self, element: etree._Element) -> None:
        names = [element.get("startid") or "", *(element.get("plist") or "").split()]
        for name in names:
            event = self.by_id.get(name.lstrip("#"))
            if event is not None:
                event.notations.append(etree.Element("arpeggiate"))
                return

    def _place(self, element: etree._Element) -> tuple[str, Fraction]:
        named = (element.get("startid") or "").lstrip("#")
        if named in self.bar_of:
            staff, onset = self.bar_of[named]
            if staff in self.bars:
                return staff, onset
        return self._staff(element), self._time(element)

    def _harm(self, element: etree._Element) -> None:
        staff, at = self._place(element)
        if staff not in self.bars:
            return
        columns = [child for child in chosen(element) if local(child) == "fb"]
        if not columns:
            text = clean("".join(str(piece) for piece in element.itertext()))
            if text:
                self._say(element, text)
            return
        for column in columns:
            texts = [
                (_shown(item), item.get("extender") == "true") for item in chosen(column) if local(item) == "f"
            ]
            steps = max((text.count("-") for text, _ in texts if MOVING.fullmatch(text)), default=0) + 1
            host = next((event for layer in self.bars[staff].layers for event in layer
                         if event.what == "note" and event.onset <= at < event.onset + event.length), None)  # fmt: skip
            length = host.onset + host.length - at if host is not None else Fraction(1)
            for step in range(steps):
                self._column(staff, at + length * step / steps, _at_step(texts, step))

    def _column(self, staff: str, at: Fraction, texts: list[tuple[str, bool]]) -> None:
        figured = etree.Element("figured-bass")
        for text, extended in texts:
            _figure(figured, text, extended, self.draft)
        there = next((old for time, old in self.bars[staff].figures if time == at), None)
        if there is not None:
            there.extend(list(figured))
        elif len(figured):
            self.bars[staff].figures.append((at, figured))

    def _say(self, element: etree._Element, text: str, kind: str = "words") -> None:
        staff, at = self._place(element)
        if staff not in self.bars or not text:
            return
        direction = etree.Element("direction")
        if element.get("place") in ("above", "below"):
            direction.set("placement", element.get("place", ""))
        etree.SubElement(etree.SubElement(direction, "direction-type"), kind).text = text
        if element.get("midi.bpm"):
            etree.SubElement(direction, "sound", tempo=element.get("midi.bpm", ""))
        self.bars[staff].at.append((at, direction))

    def _words(self, element: etree._Element) -> None:
        if is_editors_mark(element):
            return
        jump = element.get("func", "")
        if local(element) == "repeatMark" and jump in ("segno", "coda"):
            staff, at = self._place(element)
            if staff in self.bars:
                direction = etree.Element("direction")
                etree.SubElement(etree.SubElement(direction, "direction-type"), jump)
                self.bars[staff].at.append((at, direction))
            return
        self._say(element, clean("".join(str(piece) for piece in element.itertext())) or _jump(element))

    def _tempo(self, element: etree._Element) -> None:
        text = clean("".join(str(piece) for piece in element.itertext()))
        self._say(element, text or ("♩" if element.get("midi.bpm") else ""))

    def _dynam(self, element: etree._Element) -> None:
        text = clean("".join(str(piece) for piece in element.itertext()))
        if text in ("p", "pp", "ppp", "f", "ff", "fff", "mp", "mf", "sf", "sfz", "fp", "fz"):
            staff, at = self._place(element)
            if staff in self.bars:
                direction = etree.Element("direction")
                dynamics = etree.SubElement(etree.SubElement(direction, "direction-type"), "dynamics")
                etree.SubElement(dynamics, text)
                self.bars[staff].at.append((at, direction))
        else:
            self._say(element, text)


def is_editors_mark(element: etree._Element) -> bool:
    """A direction that says "here is a problem" or "so in the source" and nothing that a player reads."""
    return local(element) == "dir" and (element.get("type") or "").split()[:1] in (["problem"], ["sic"])


def _jump(element: etree._Element) -> str:
    """What MEI 5 repeat marks say."""
    return {"daCapo": "D.C.", "dalSegno": "D.S.", "fine": "Fine"}.get(element.get("func") or "", "")


def _shown(item: etree._Element) -> str:
    return "".join(str(piece) for piece in item.itertext()).strip().translate(GLYPHS)


def _at_step(texts: list[tuple[str, bool]], step: int) -> list[tuple[str, bool]]:
    """Of figures that move under one note (``7-6``) those of one step; the others stand in the first.

    >>> _at_step([("7-6", False), ("3", False)], 1)
    [('6', False)]
    """
    found = []
    for text, extended in texts:
        parts = text.split("-") if MOVING.fullmatch(text) else [text]
        if step < len(parts):
            found.append((parts[step], extended))
    return found


def _figure(column: etree._Element, text: str, extended: bool, draft: Draft) -> None:
    match = FIGURE.fullmatch(text)
    extended = extended or bool(match and match[4])
    if match is None or not (text or extended):
        if text:
            draft.remark(f"The figure “{text[:20]}” is not read.")
        return
    figure = etree.SubElement(column, "figure")
    before, number, behind, _ = match.groups()
    if not number and behind and not before:
        before, behind = behind, ""
    for tag, value in (("prefix", PREFIXES.get(before or "", before and "plus")), ("figure-number", number),
                       ("suffix", SUFFIXES.get(behind or ""))):  # fmt: skip
        if value:
            etree.SubElement(figure, tag).text = value
    if extended:
        etree.SubElement(figure, "extend", type="continue" if not number else "start")
