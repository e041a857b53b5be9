"""One ``<note>`` element into plain values; everything about it that a player would look at.

Public: RawNote, read_note, SIGN_ELEMENTS, OURS, dotted, whole.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from functools import lru_cache
from typing import Final

from lxml import etree

from gracewright.pitch import STEPS, Pitch
from gracewright.score.model import Sign

TYPES: Final = {
    "1024th": Fraction(1, 256), "512th": Fraction(1, 128), "256th": Fraction(1, 64), "128th": Fraction(1, 32),
    "64th": Fraction(1, 16), "32nd": Fraction(1, 8), "16th": Fraction(1, 4), "eighth": Fraction(1, 2),
    "quarter": Fraction(1), "half": Fraction(2), "whole": Fraction(4), "breve": Fraction(8), "long": Fraction(16),
    "maxima": Fraction(32),
}  # fmt: skip
"""MusicXML note types in quarters."""

SIGN_ELEMENTS: Final = frozenset(
    {
        "trill-mark", "turn", "delayed-turn", "inverted-turn", "delayed-inverted-turn", "vertical-turn",
        "inverted-vertical-turn", "shake", "mordent", "inverted-mordent", "schleifer", "haydn", "other-ornament",
    }
)  # fmt: skip
"""Children of ``<ornaments>`` that are signs; wavy lines, tremolos and accidental marks are read apart."""


OURS: Final = "gw-"
"""Ids of what this program added begin so."""


@dataclass(slots=True)
class RawNote:
    """What one element says; times in the document's own divisions."""

    duration: Fraction | int = 0
    pitch: Pitch | None = None
    unpitched: bool = False
    grace: etree._Element | None = None
    chord: bool = False
    cue: bool = False
    whole_bar: bool = False
    voice: str = "1"
    staff: int = 1
    type: str = ""
    dots: int = 0
    accidental: str = ""
    tie_start: bool = False
    tie_stop: bool = False
    tuplet: tuple[int, int] | None = None
    beam: str = ""
    lyrics: tuple[str, ...] = ()
    signs: tuple[Sign, ...] = ()
    articulations: tuple[str, ...] = ()
    slur_starts: tuple[str, ...] = ()
    slur_stops: tuple[str, ...] = ()
    wavy: tuple[str, ...] = ()
    fingering: tuple[str, ...] = ()
    fermata: bool = False
    breath: bool = False
    tremolo: int = 0
    arpeggio: bool = False
    own_id: str = ""
    marked: bool = False  # anything beyond the plain note

    @property
    def value(self) -> Fraction:
        """The printed length in quarters, dots counted, tuplet not."""
        return dotted(self.type, self.dots)


@lru_cache(maxsize=8192)
def dotted(kind: str, dots: int) -> Fraction:
    """Quarters of a printed value with its dots; an unknown one counts as a quarter."""
    plain = TYPES.get(kind, Fraction(1))
    return plain * (2 - Fraction(1, 2**dots))


@lru_cache(maxsize=8192)
def whole(text: str | None) -> int | Fraction:
    """A duration as written: nearly always an integer, rarely a decimal."""
    stripped = (text or "0").strip() or "0"
    try:
        return int(stripped)
    except ValueError:
        return Fraction(stripped)


@lru_cache(maxsize=8192)
def spelled(step: str, alter: str, octave: str) -> Pitch:
    """The pitch as written. Quarter tones are rounded to the nearest semitone away from nothing."""
    alter = alter.strip()
    return Pitch(int(octave), STEPS.index(step.strip()), round(float(alter)) if alter else 0)


def read_note(element: etree._Element) -> RawNote:
    """Read a ``<note>``. Raises ValueError on nonsense such as an unknown step."""
    raw = RawNote()
    step = octave = ""
    for child in element:
        tag = child.tag
        if tag == "pitch":
            alter = ""
            for part in child:
                name = part.tag
                if name == "step":
                    step = part.text or ""
                elif name == "octave":
                    octave = part.text or ""
                elif name == "alter":
                    alter = part.text or ""
            raw.pitch = spelled(step, alter, octave)
        elif tag == "duration":
            raw.duration = whole(child.text)
        elif tag == "voice":
            raw.voice = (child.text or "1").strip()
        elif tag == "type":
            raw.type = (child.text or "").strip()
        elif tag == "stem":
            continue
        elif tag == "staff":
            raw.staff = int(child.text or 1)
        elif tag == "beam":
            if child.get("number", "1") == "1":
                raw.beam, raw.marked = (child.text or "").strip(), True
        elif tag == "dot":
            raw.dots += 1
        elif tag == "chord":
            raw.chord = True
        elif tag == "rest":
            raw.whole_bar = child.get("measure") == "yes"
        elif tag == "notations":
            raw.marked = True
            _read_notations(child, raw)
        elif tag == "tie":
            raw.tie_start |= child.get("type") == "start"
            raw.tie_stop |= child.get("type") == "stop"
        elif tag == "grace":
            raw.grace, raw.own_id = child, element.get("id", "")
        elif tag == "accidental":
            raw.accidental, raw.marked = (child.text or "").strip(), True
        elif tag == "time-modification":
            actual, normal = child.findtext("actual-notes"), child.findtext("normal-notes")
            raw.tuplet, raw.marked = (int(actual or 1), int(normal or 1)), True
        elif tag == "lyric":
            raw.marked = True
            goes_on = "-" if child.findtext("syllabic") in ("begin", "middle") else ""
            raw.lyrics += ("".join(text.text or "" for text in child.iter("text")) + goes_on,)
        elif tag == "cue":
            raw.cue = True
        elif tag == "unpitched":
            raw.unpitched = True
    return raw


def _read_notations(notations: etree._Element, raw: RawNote) -> None:
    for child in notations:
        tag = child.tag
        if tag == "ornaments":
            _read_ornaments(child, raw)
        elif tag == "articulations":
            for mark in child:
                if mark.tag in ("breath-mark", "caesura"):
                    raw.breath = True
                elif isinstance(mark.tag, str):
                    raw.articulations += (mark.tag,)
        elif tag == "technical":
            _read_technical(child, raw)
        elif tag == "slur":
            number = child.get("number", "1")
            if child.get("type") == "start":
                raw.slur_starts += (number,)
            elif child.get("type") == "stop":
                raw.slur_stops += (number,)
        elif tag == "tied":
            raw.tie_start |= child.get("type") == "start"
            raw.tie_stop |= child.get("type") == "stop"
        elif tag == "fermata":
            raw.fermata = True
        elif tag == "arpeggiate":
            raw.arpeggio = True
        elif tag == "accidental-mark":
            _add_accidental(child, raw)


def _read_ornaments(ornaments: etree._Element, raw: RawNote) -> None:
    ours = _is_ours(ornaments)
    for child in ornaments:
        tag = child.tag
        if tag in SIGN_ELEMENTS:
            place = child.get("placement", "")
            own = (item for item in child.attrib.items() if item[0] not in ("placement", "smufl", "id"))
            attributes = tuple(sorted((str(key), str(value)) for key, value in own))
            raw.signs += (
                Sign(str(tag), (child.text or "").strip(), child.get("smufl", ""),
                     "above" if place == "above" else "below" if place == "below" else "", attributes, ours=ours),
            )  # fmt: skip
        elif tag == "accidental-mark":
            _add_accidental(child, raw)
        elif tag == "wavy-line":
            raw.wavy += (child.get("type", ""),)
        elif tag == "tremolo":
            raw.tremolo = int((child.text or "0").strip() or 0)


def _is_ours(group: etree._Element) -> bool:
    """Added by this program: the group of signs, or the notations around it, bears an id of ours."""
    above = group.getparent()
    return (group.get("id") or "").startswith(OURS) or (
        above is not None and (above.get("id") or "").startswith(OURS)
    )


def _add_accidental(mark: etree._Element, raw: RawNote) -> None:
    """An accidental mark belongs to the sign before it."""
    if not raw.signs:
        return
    text, last = (mark.text or "").strip(), raw.signs[-1]
    above, below = last.accidental_above, last.accidental_below
    if mark.get("placement") == "below":
        below = text
    else:
        above = text
    changed = Sign(last.element, last.text, last.smufl, last.placement, last.attributes, above, below, last.ours)
    raw.signs = (*raw.signs[:-1], changed)


def _read_technical(technical: etree._Element, raw: RawNote) -> None:
    ours = _is_ours(technical)
    for mark in technical:
        if mark.tag == "fingering":
            raw.fingering += ((mark.text or "").strip(),)
        elif mark.tag == "stopped":  # a plus sign over the note
            place = mark.get("placement", "")
            raw.signs += (Sign("stopped", "+", "", "below" if place == "below" else "above", ours=ours),)
        elif mark.tag == "other-technical":
            raw.signs += (Sign("other-technical", (mark.text or "").strip(), mark.get("smufl", ""), ours=ours),)
