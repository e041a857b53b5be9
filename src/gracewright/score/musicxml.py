"""MusicXML (partwise) into a ``Piece``; the document is kept whole.

Conventions: inside, times are integer ticks, ``divisions`` to the quarter, the least common multiple of all that the
document uses; they become Fractions once, at the end. A bar is as long as its longest part.

Public: read_musicxml.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score.document import Document
from gracewright.score.model import (
    NO_MARKS,
    Bar,
    Clef,
    Figure,
    FigureItem,
    Marks,
    Meter,
    Note,
    Part,
    Piece,
    Placement,
    Sign,
    SmallNote,
    Words,
)
from gracewright.score.musicxml_note import RawNote, dotted, read_note, whole
from gracewright.score.safe import parse_xml, unpack_mxl

Exact = Callable[[int], Fraction]
MAX_PARTS: Final = 32
MAX_BARS: Final = 10_000
MAX_NOTES: Final = 400_000
SIGN_WORDS: Final = re.compile(r"[+x×~∼]|t\.?|tr\.?|\(\s*(?:\+|t|tr)\s*\)")
JUMP_WORDS: Final = (
    (re.compile(r"\b(d\.?\s*c\.?|da\s*capo)\b", re.I), "dacapo"),
    (re.compile(r"\b(d\.?\s*s\.?|dal\s*segno)\b", re.I), "dalsegno"),
    (re.compile(r"^\s*fine\s*$", re.I), "fine"),
)


@dataclass(slots=True)
class _Bar:
    """What the parts say of a bar, gathered."""

    number: str
    implicit: bool = False
    ticks: int = 0
    meter: Meter | None = None
    fifths: int | None = None
    mode: str = ""
    repeat_start: bool = False
    repeat_end: int = 0
    ending_start: tuple[int, ...] = ()
    ending_stop: bool = False
    jumps: list[str] = field(default_factory=list)
    double: bool = False
    final: bool = False
    system_break: bool = False


@dataclass(slots=True)
class _Event:
    """A note with its place: bar and ticks from the start of the bar."""

    raw: RawNote
    element: int
    bar: int
    at: int
    ticks: int
    id: str
    before: list[SmallNote] = field(default_factory=list)
    after: list[SmallNote] = field(default_factory=list)


@dataclass(slots=True)
class _Reading:
    """The state of one reading."""

    name: str
    divisions: int
    bars: list[_Bar] = field(default_factory=list)
    parts: list[Part] = field(default_factory=list)
    events: list[list[_Event]] = field(default_factory=list)
    figures: list[tuple[str, int, int, int, tuple[FigureItem, ...], bool]] = field(default_factory=list)
    words: list[tuple[str, int, int, str, str, Placement, Fraction | None]] = field(default_factory=list)
    signs: list[tuple[int, int, int, int, Sign]] = field(default_factory=list)  # part, bar, at, staff, sign
    places: dict[str, int] = field(default_factory=dict)
    remarks: list[str] = field(default_factory=list)
    count: int = 0


def read_musicxml(data: bytes, name: str) -> Piece:
    """Read MusicXML or a compressed archive of it. Raises BadInput or UnsafeInput with one sentence."""
    tree = parse_xml(unpack_mxl(data, name) if data[:2] == b"PK" else data, name)
    root = tree.getroot()
    if root.tag != "score-partwise":
        what = "is timewise" if root.tag == "score-timewise" else f"is <{root.tag}>, not a score"
        raise BadInput(f"the document {what}", file=name, remedy="export it as partwise MusicXML")
    elements = root.findall("part")
    if not elements or len(elements) > MAX_PARTS:
        raise BadInput(f"the score has {len(elements)} parts", file=name, remedy="give one with 1 to 32 parts")
    reading = _Reading(name, _common_divisions(root, name))
    listed = {part.get("id"): part for part in root.iterfind("part-list/score-part")}
    for index, element in enumerate(elements):
        _read_part(reading, index, element, listed.get(element.get("id")))
    return _finish(reading, tree)


def _common_divisions(root: etree._Element, name: str) -> int:
    common = 1
    for element in root.iter("divisions"):
        try:
            value = Fraction((element.text or "").strip())
        except (ValueError, ZeroDivisionError):
            value = Fraction(0)
        if value <= 0:
            raise BadInput(f"divisions of {element.text!r} cannot be counted", file=name, element="divisions")
        common = math.lcm(common, value.numerator)
    if common > 10**7:
        raise BadInput("the divisions of the parts do not fit together", file=name, element="divisions")
    return common


class _PartReader:
    """Reads one part bar by bar; keeps the running attributes."""

    def __init__(self, reading: _Reading, index: int, part_id: str) -> None:
        self.reading, self.index, self.part_id = reading, index, part_id
        self.divisions: int | Fraction = 1
        self.staves = 1
        self.transpose = (0, 0)
        self.clefs: list[tuple[int, int, Clef]] = []
        self.events: list[_Event] = []
        self.unpitched = 0
        self.sized = 0

    def ticks(self, duration: int | Fraction) -> int:
        value = Fraction(duration) * self.reading.divisions / self.divisions
        return int(value) if value.denominator == 1 else round(value)

    def bar(self, index: int, element: etree._Element) -> None:
        reading = self.reading
        if index == len(reading.bars):
            reading.bars.append(_Bar(element.get("number", str(index + 1)), element.get("implicit") == "yes"))
        bar = reading.bars[index]
        at = last = furthest = figure_at = 0
        waiting: dict[str, list[tuple[RawNote, int]]] = defaultdict(list)
        latest: dict[str, _Event] = {}
        for child in element:
            tag = child.tag
            if tag == "note":
                place = reading.count
                reading.count += 1
                try:
                    raw = read_note(child)
                except (ValueError, IndexError) as fault:
                    raise BadInput(f"a note cannot be read ({fault})", file=reading.name, bar=bar.number,
                                   part=self.part_id, element="note") from None  # fmt: skip
                figure_at = 0
                if raw.grace is not None:
                    if raw.pitch is not None:
                        waiting[raw.voice].append((raw, place))
                    continue
                ticks = self.ticks(raw.duration)
                if ticks < 0:
                    raise BadInput("a note has a negative length", file=reading.name, bar=bar.number, part=self.part_id)
                start = last if raw.chord else at
                event = self._event(raw, place, index, start, ticks, child)
                if waiting:
                    self._attach(event, waiting.pop(raw.voice, []), latest.get(raw.voice))
                latest[raw.voice] = event
                if not raw.chord:
                    last, at = at, at + ticks
                    furthest = max(furthest, at)
            elif tag == "backup":
                at, figure_at = max(0, at - self.ticks(whole(child.findtext("duration")))), 0
            elif tag == "forward":
                at, figure_at = at + self.ticks(whole(child.findtext("duration"))), 0
                furthest = max(furthest, at)
            elif tag == "attributes":
                self._attributes(child, bar, index, at)
            elif tag == "direction":
                self._direction(child, bar, index, at)
            elif tag == "sound":
                self._sound(child, bar, index, at)
            elif tag == "barline":
                _read_barline(child, bar)
            elif tag == "figured-bass":
                figure_at += self._figures(child, index, at + figure_at)
            elif tag == "print":
                bar.system_break |= "yes" in (child.get("new-system"), child.get("new-page"))
        for voice, small in waiting.items():
            host = latest.get(voice)
            if host is not None:
                host.after.extend(self._small(raw, place) for raw, place in small)
        bar.ticks = max(bar.ticks, furthest)

    def _event(self, raw: RawNote, place: int, bar: int, at: int, ticks: int, child: etree._Element) -> _Event:
        if raw.unpitched:
            self.unpitched += 1
            raw.pitch = None
        own = child.get("id")
        self.sized += 1
        note_id = own or f"{self.part_id}.b{bar + 1}.n{self.sized}"
        self.reading.places[note_id] = place
        event = _Event(raw, place, bar, at, ticks, note_id)
        self.events.append(event)
        return event

    def _attach(self, event: _Event, small: list[tuple[RawNote, int]], previous: _Event | None) -> None:
        """Small notes stand before the note that follows, unless they close the shake on the note before."""
        if not small:
            return
        closing = (
            previous is not None
            and len(small) == 2
            and any(sign.element == "trill-mark" for sign in previous.raw.signs)
            and not small[0][0].slur_starts
            and bool(previous.raw.slur_starts or small[-1][0].slur_stops)
        )
        notes = [self._small(raw, place) for raw, place in small]
        if closing and previous is not None:
            previous.after.extend(notes)
        else:
            event.before.extend(notes)

    def _small(self, raw: RawNote, place: int) -> SmallNote:
        assert raw.pitch is not None, "small notes without pitch are not gathered"
        assert raw.grace is not None
        self.sized += 1
        note_id = f"{self.part_id}.g{place}"
        self.reading.places[note_id] = place
        return SmallNote(
            note_id,
            self._sounding(raw.pitch),
            raw.value if raw.type else Fraction(1, 2),
            slash=raw.grace.get("slash") == "yes",
            slurred=bool(raw.slur_starts),
            steal_previous=_percent(raw.grace.get("steal-time-previous")),
            steal_following=_percent(raw.grace.get("steal-time-following")),
            make_time=_percent(raw.grace.get("make-time")),
            accidental=raw.accidental,
            signs=tuple(raw.signs),
            chord=raw.chord,
        )

    def _sounding(self, pitch: Pitch) -> Pitch:
        return pitch.transposed(*self.transpose) if self.transpose != (0, 0) else pitch

    def _attributes(self, element: etree._Element, bar: _Bar, index: int, at: int) -> None:
        for child in element:
            tag = child.tag
            if tag == "divisions":
                self.divisions = whole(child.text)
            elif tag == "key" and bar.fifths is None and child.get("number", "1") == "1":
                bar.fifths, bar.mode = self._key(child)
            elif tag == "time":
                bar.meter = _read_meter(child, self.reading.name, bar.number) or bar.meter
            elif tag == "staves":
                self.staves = min(8, int(child.text or 1))
            elif tag == "clef":
                self._clef(child, index, at)
            elif tag == "transpose":
                octave = int(child.findtext("octave-change") or 0)
                chromatic = int(float(child.findtext("chromatic") or 0))
                diatonic = child.findtext("diatonic")
                places = int(diatonic) if diatonic else round(chromatic * 7 / 12)
                self.transpose = (places + 7 * octave, chromatic + 12 * octave)

    def _key(self, element: etree._Element) -> tuple[int, str]:
        fifths = element.findtext("fifths")
        if fifths is None:  # a signature given note by note
            return sum(round(float(alter.text or 0)) for alter in element.iterfind("key-alter")), ""
        moved = Pitch(4, 0).transposed(*self.transpose).fifths if self.transpose != (0, 0) else 0
        return int(fifths) + moved, (element.findtext("mode") or "").strip()

    def _clef(self, element: etree._Element, bar: int, at: int) -> None:
        sign = (element.findtext("sign") or "G").strip()
        line = {"G": 2, "F": 4, "C": 3}.get(sign, 3)
        line = int(element.findtext("line") or line)
        octave = int(element.findtext("clef-octave-change") or 0)
        self.clefs.append((bar, at, Clef(Fraction(0), int(element.get("number", "1")), sign, line, octave)))

    def _direction(self, element: etree._Element, bar: _Bar, index: int, at: int) -> None:
        offset = element.findtext("offset")
        place = max(0, at + (self.ticks(whole(offset)) if offset else 0))
        placement = element.get("placement", "")
        side: Placement = "above" if placement == "above" else "below" if placement == "below" else ""
        staff = int(element.findtext("staff") or 1)
        tempo = None
        for kind in element.iterfind("direction-type/*"):
            text = "".join(str(piece) for piece in kind.itertext()).strip()
            if kind.tag == "words":
                if SIGN_WORDS.fullmatch(text):
                    ours = element.get("id", "").startswith("gw-")
                    sign = Sign("words", text, "", side, ours=ours)
                    self.reading.signs.append((self.index, index, place, staff, sign))
                else:
                    bar.jumps.extend(jump for pattern, jump in JUMP_WORDS if pattern.search(text))
                    self._say(index, place, "words", text, side, None)
            elif kind.tag == "dynamics":
                self._say(index, place, "dynamics", " ".join(str(mark.tag) for mark in kind), side, None)
            elif kind.tag in ("segno", "coda"):
                bar.jumps.append(str(kind.tag))
            elif kind.tag == "metronome":
                tempo = _metronome(kind)
        sound = element.find("sound")
        if sound is not None:
            self._sound(sound, bar, index, place)
        elif tempo is not None:
            self._say(index, place, "metronome", "", side, tempo)

    def _sound(self, element: etree._Element, bar: _Bar, index: int, at: int) -> None:
        for jump in ("dacapo", "dalsegno", "fine", "tocoda", "segno", "coda"):
            if element.get(jump) and jump not in bar.jumps:
                bar.jumps.append(jump)
        if element.get("tempo"):
            try:
                tempo = Fraction(element.get("tempo", "0")).limit_denominator(1000)
            except ValueError:
                return
            if 5 <= tempo <= 600:
                self._say(index, at, "sound", "", "", tempo)

    def _say(self, bar: int, at: int, kind: str, text: str, side: Placement, tempo: Fraction | None) -> None:
        self.reading.words.append((self.part_id, bar, at, kind, text, side, tempo))

    def _figures(self, element: etree._Element, bar: int, at: int) -> int:
        """Read a column of figures; return how far a further column under the same note stands from it."""
        items = tuple(
            FigureItem(
                int(number) if (number := (figure.findtext("figure-number") or "").strip()).isdigit() else None,
                (figure.findtext("prefix") or "").strip(),
                (figure.findtext("suffix") or "").strip(),
                (extend := figure.find("extend")) is not None and extend.get("type") != "start",
            )
            for figure in element.iterfind("figure")
        )
        ticks = self.ticks(whole(element.findtext("duration")))
        self.reading.figures.append((self.part_id, bar, at, ticks, items, element.get("parentheses") == "yes"))
        return ticks


def _percent(text: str | None) -> Fraction | None:
    return Fraction(text) if text else None


def _metronome(element: etree._Element) -> Fraction | None:
    rate, unit = (element.findtext("per-minute") or "").strip(), (element.findtext("beat-unit") or "").strip()
    found = re.search(r"\d+(?:\.\d+)?", rate)
    if not found or not unit:
        return None
    return Fraction(found[0]) * dotted(unit, len(element.findall("beat-unit-dot")))


def _read_meter(element: etree._Element, name: str, bar: str) -> Meter | None:
    if element.find("senza-misura") is not None:
        return Meter(4, 4, "", measured=False)
    beats, units = element.findall("beats"), element.findall("beat-type")
    try:
        pairs = [
            (sum(int(count) for count in (above.text or "").split("+")), int(below.text or 0))
            for above, below in zip(beats, units, strict=True)
        ]
    except ValueError:
        pairs = []
    if not pairs or any(count <= 0 or unit <= 0 for count, unit in pairs):
        raise BadInput("the time signature cannot be read", file=name, bar=bar, element="time")
    unit = max(unit for _, unit in pairs)
    return Meter(sum(count * unit // own for count, own in pairs), unit, element.get("symbol", ""))


def _read_barline(element: etree._Element, bar: _Bar) -> None:
    for child in element:
        if child.tag == "repeat":
            if child.get("direction") == "forward":
                bar.repeat_start = True
            else:
                bar.repeat_end = max(2, int(child.get("times") or 2))
        elif child.tag == "ending":
            if child.get("type") == "start":
                bar.ending_start = tuple(int(number) for number in re.findall(r"\d+", child.get("number", ""))) or (1,)
            else:
                bar.ending_stop = True
        elif child.tag == "bar-style":
            bar.double |= child.text == "light-light"
            bar.final |= child.text == "light-heavy" and element.find("repeat") is None
        elif child.tag in ("segno", "coda"):
            bar.jumps.append(str(child.tag))


def _read_part(reading: _Reading, index: int, element: etree._Element, listed: etree._Element | None) -> None:
    part_id = element.get("id") or f"P{index + 1}"
    bars = element.findall("measure")
    if len(bars) > MAX_BARS:
        raise BadInput(f"part {part_id} has {len(bars)} bars", file=reading.name, remedy="give a single movement")
    reader = _PartReader(reading, index, part_id)
    for number, bar in enumerate(bars):
        reader.bar(number, bar)
        if reading.count > MAX_NOTES:
            raise BadInput("the score has more than 400,000 notes", file=reading.name, remedy="give a single movement")
    name = (listed.findtext("part-name") or "").strip() if listed is not None else ""
    instrument = (listed.findtext("score-instrument/instrument-name") or "").strip() if listed is not None else ""
    if reader.unpitched:
        reading.remarks.append(f"Part {name or part_id} has {reader.unpitched} unpitched notes, which are left aside.")
    clefs = tuple(replace(clef, onset=Fraction(at, reading.divisions) + bar) for bar, at, clef in reader.clefs)
    reading.parts.append(Part(part_id, name or part_id, reader.staves, reader.transpose, clefs, "", instrument))
    reading.events.append(reader.events)


def _finish(reading: _Reading, tree: etree._ElementTree) -> Piece:
    """Bars get their onsets, notes their exact times."""
    divisions = reading.divisions
    if not any(event.raw.pitch for events in reading.events for event in events):
        raise BadInput("there are no pitched notes", file=reading.name, remedy="give a score with a melody")
    bars, starts = _bars(reading)
    _put_signs(reading)
    times: dict[int, Fraction] = {}

    def exact(ticks: int) -> Fraction:
        found = times.get(ticks)
        if found is None:
            found = times[ticks] = Fraction(ticks, divisions)
        return found

    notes: list[tuple[tuple[int, int, int, str], Note]] = []
    for index, (part, events) in enumerate(zip(reading.parts, reading.events, strict=True)):
        shift = part.transpose
        for event in events:
            raw, start = event.raw, starts[event.bar] + event.at
            pitch = raw.pitch
            if pitch is not None and shift != (0, 0):
                pitch = pitch.transposed(*shift)
            length = exact(event.ticks)
            marks = NO_MARKS if not (raw.marked or raw.signs or event.before or event.after) else _marks(event)
            note = Note(
                event.id, part.id, raw.staff, raw.voice, event.bar, exact(start), length, pitch,
                raw.value if raw.type else length, raw.dots, raw.tie_stop, raw.tie_start, raw.chord, raw.cue,
                raw.whole_bar, marks,
            )  # fmt: skip
            notes.append(((start, index, raw.staff, raw.voice), note))
    notes.sort(key=lambda pair: pair[0])
    root = tree.getroot()
    parts = tuple(
        replace(part, clefs=tuple(replace(c, onset=bars[int(c.onset)].onset + c.onset % 1) for c in part.clefs))
        for part in reading.parts
    )
    return Piece(
        title=_title(root), composer=_creator(root), parts=parts, bars=bars, notes=tuple(note for _, note in notes),
        figures=_figures(reading, starts, exact), words=_words(reading, starts, exact),
        date=(root.findtext("identification/miscellaneous/miscellaneous-field[@name='date']") or "").strip(),
        source=reading.name, remarks=tuple(reading.remarks), document=Document(tree, reading.places, divisions),
    )  # fmt: skip


def _marks(event: _Event) -> Marks:
    raw = event.raw
    return Marks(
        tuple(raw.signs), tuple(raw.articulations), tuple(event.before), tuple(event.after), tuple(raw.slur_starts),
        tuple(raw.slur_stops), raw.fermata, raw.breath, tuple(raw.lyrics), tuple(raw.fingering), raw.tuplet,
        raw.accidental, raw.beam, tuple(raw.wavy), raw.tremolo, raw.arpeggio,
    )  # fmt: skip


def _bars(reading: _Reading) -> tuple[tuple[Bar, ...], list[int]]:
    meter, fifths, mode = Meter(4, 4), 0, ""
    first = next((bar.meter for bar in reading.bars if bar.meter), None)
    meter = first or meter
    at, starts, bars = 0, [], []
    ending: tuple[int, ...] = ()
    for index, raw in enumerate(reading.bars):
        meter = raw.meter or meter
        if raw.fifths is not None:
            fifths, mode = raw.fifths, raw.mode
        ticks = raw.ticks or int(meter.length * reading.divisions)
        ending = raw.ending_start or ending
        length = Fraction(ticks, reading.divisions)
        pickup = length < meter.length and (index == 0 or raw.implicit) and meter.measured
        bars.append(
            Bar(index, raw.number, Fraction(at, reading.divisions), length, meter, fifths, mode, pickup,
                raw.repeat_start, raw.repeat_end, ending, tuple(dict.fromkeys(raw.jumps)), raw.double, raw.final,
                raw.system_break)
        )  # fmt: skip
        if raw.ending_stop:
            ending = ()
        starts.append(at)
        at += ticks
    return tuple(bars), starts


def _put_signs(reading: _Reading) -> None:
    """A lone cross or t set as a direction belongs to the note at its place."""
    for part, bar, at, staff, sign in reading.signs:
        here = [e for e in reading.events[part] if e.bar == bar and e.raw.pitch is not None]
        exact = [e for e in here if e.at == at and e.raw.staff == staff] or [e for e in here if e.at == at]
        if not exact:
            exact = [e for e in here if e.at <= at < e.at + e.ticks]
        if exact:
            exact[0].raw.signs.append(sign)
        else:
            reading.remarks.append(f"Bar {reading.bars[bar].number}: a sign “{sign.text}” stands over no note.")


def _figures(reading: _Reading, starts: list[int], exact: Exact) -> tuple[Figure, ...]:
    """Columns without a length share the note they stand under evenly."""
    hosts: dict[tuple[str, int, int], int] = {}
    for part, events in zip(reading.parts, reading.events, strict=True):
        for event in events:
            key = (part.id, event.bar, event.at)
            hosts[key] = max(hosts.get(key, 0), event.ticks)
    groups: dict[tuple[str, int, int], list[int]] = defaultdict(list)
    for index, (part_id, bar, at, ticks, _, _) in enumerate(reading.figures):
        if not ticks:
            groups[part_id, bar, at].append(index)
    moved: dict[int, tuple[int, int]] = {}
    for key, members in groups.items():
        host = hosts.get(key, reading.divisions)
        for count, index in enumerate(members):
            share = host // len(members)
            moved[index] = (count * share, share)
    found = []
    for index, (part_id, bar, at, ticks, items, parentheses) in enumerate(reading.figures):
        shift, length = moved.get(index, (0, ticks))
        found.append(Figure(part_id, bar, exact(starts[bar] + at + shift), exact(length), items, parentheses))
    return tuple(sorted(found, key=lambda figure: figure.onset))


def _words(reading: _Reading, starts: list[int], exact: Exact) -> tuple[Words, ...]:
    found = [
        Words(part, bar, exact(starts[bar] + at), kind, text, side, tempo)
        for part, bar, at, kind, text, side, tempo in reading.words
    ]
    return tuple(sorted(found, key=lambda words: words.onset))


def _title(root: etree._Element) -> str:
    work, movement = root.findtext("work/work-title") or "", root.findtext("movement-title") or ""
    titles = [text.strip() for text in (work, movement) if text.strip()]
    if not titles:
        for credit in root.iterfind("credit"):
            if credit.findtext("credit-type") == "title":
                return (credit.findtext("credit-words") or "").strip()
    return ": ".join(dict.fromkeys(titles))


def _creator(root: etree._Element) -> str:
    for creator in root.iterfind("identification/creator"):
        if creator.get("type", "composer") == "composer":
            return (creator.text or "").strip()
    return ""
