"""One part of a MusicXML document, bar by bar.

Conventions: the running attributes (divisions, key, transposition …) live in the reader; what it finds goes into the
common ``Reading``.

Public: PartReader, next_id, staff_places, Finer, JUMP_WORDS.
"""

from __future__ import annotations

import re
from fractions import Fraction
from functools import lru_cache
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score.gathering import Event, RawBar, Reading
from gracewright.score.model import Clef, FigureItem, Meter, Part, Placement, Sign, SmallNote
from gracewright.score.musicxml_note import OURS, TYPES, RawNote, dotted, read_note, whole

MAX_BARS: Final = 10_000
MAX_NOTES: Final = 400_000
MOST_QUARTERS: Final = 2_000
"""A bar longer than this is a mistake; the longest unmeasured preludes stay far below."""
MOST_IN_TUPLET: Final = 64
BEFORE: Final = OURS + "b"
AFTER: Final = OURS + "a"
SIGN_WORDS: Final = re.compile(r"[+x×~∼]|t\.?|tr\.?|\(\s*(?:\+|t|tr)\s*\)")
JUMP_WORDS: Final = (
    (re.compile(r"\b(d\.?\s*c\.?|da\s*capo)\b", re.I), "dacapo"),
    (re.compile(r"\b(d\.?\s*s\.?|dal\s*segno)\b", re.I), "dalsegno"),
    (re.compile(r"^\s*fine\s*$", re.I), "fine"),
)


class Finer(Exception):
    """The reading wants ticks so many times finer."""

    def __init__(self, times: int) -> None:
        self.times = times
        super().__init__(times)


def next_id(reading: Reading, wanted: str | None) -> str:
    """The id of the next part: the one wanted, unless it is taken or would be read as a line (PART/STAFF)."""
    taken = {part.id for part in reading.parts}
    if wanted and "/" not in wanted and wanted not in taken:
        return wanted
    return next(name for count in range(len(taken) + 1, 99) if (name := f"P{count}") not in taken)


def _short(fault: Exception) -> str:
    return str(fault).split("\n")[0][:80].rstrip(".")


class PartReader:
    """Reads one part bar by bar; keeps the running attributes."""

    def __init__(self, reading: Reading, index: int, part_id: str) -> None:
        self.reading, self.index, self.part_id = reading, index, part_id
        self.factor: int = reading.divisions  # ticks of one of the document's divisions
        self.staves = 1
        self.transpose: tuple[int, int] | None = None
        self.clefs: list[tuple[int, int, Clef]] = []
        self.events: list[Event] = []
        self.late: RawBar | None = None  # key and time that change in the middle of a bar hold from the next
        self.waiting: dict[str, list[tuple[RawNote, int]]] = {}  # small notes that no note has followed yet
        self.unpitched = 0
        self.bars = 0
        self.sized = 0
        self.lags: list[tuple[int, int]] = []  # in this bar: from which told place on exact places lie so far behind it
        self.rounded = False
        self.known: dict[tuple[str, int, tuple[int, int] | None, int | Fraction], int] = {}

    def length(self, raw: RawNote) -> int:
        """Ticks of a note: as told, or as printed where what is told is that rounded to the document's divisions (a
        third of a quarter told as 341/1024). Raises Finer where the ticks are too coarse for it."""
        key = (raw.type, raw.dots, raw.tuplet, raw.duration)
        found = self.known.get(key)
        if found is None:
            found = self.known[key] = self._length_of(raw)
        return found

    def _length_of(self, raw: RawNote) -> int:
        told = self.ticks(raw.duration)
        if raw.type not in TYPES or not raw.duration:
            return told
        actual, normal = raw.tuplet or (1, 1)
        printed = raw.value * normal / max(actual, 1)
        in_divisions = printed * self.reading.divisions / self.factor
        if in_divisions.denominator == 1 or abs(in_divisions - raw.duration) >= 1 or actual > MOST_IN_TUPLET:
            return told
        exact = printed * self.reading.divisions
        if exact.denominator > 1:
            raise Finer(exact.denominator)
        self.rounded = True
        return exact.numerator

    def ticks(self, duration: int | Fraction) -> int:
        value = duration * self.factor
        return value if value.__class__ is int else round(value)

    def next_bar(self, element: etree._Element) -> None:
        """Read the part's next bar. Raises BadInput."""
        self.bars += 1
        if self.bars > MAX_BARS:
            raise BadInput(f"part {self.part_id} has more than {MAX_BARS} bars", file=self.reading.name,
                           remedy="give a single movement")  # fmt: skip
        try:
            self.bar(self.bars - 1, element)
        except (ValueError, ArithmeticError, LookupError, TypeError) as fault:
            raise BadInput(f"the bar cannot be made sense of ({_short(fault)})", file=self.reading.name,
                           bar=element.get("number", str(self.bars)), part=self.part_id,
                           remedy="export the score again from the program it came from") from None  # fmt: skip
        if self.reading.count > MAX_NOTES:
            raise BadInput(f"the score has more than {MAX_NOTES} notes", file=self.reading.name,
                           remedy="give a single movement")  # fmt: skip

    def bar(self, index: int, element: etree._Element) -> None:
        reading = self.reading
        if index == len(reading.bars):
            reading.bars.append(RawBar(element.get("number", str(index + 1)), element.get("implicit") == "yes"))
        bar = reading.bars[index]
        if self.late is not None:
            _take_over(bar, self.late)
            self.late = None
        self.sized = 0
        self.lags.clear()
        at = last = furthest = figure_at = lag = 0
        waiting, latest = self.waiting, dict[str, Event]()
        for child in element:
            tag = child.tag
            if tag == "note":
                place = reading.count
                reading.count += 1
                try:
                    raw = read_note(child)
                except (ValueError, IndexError) as fault:
                    raise BadInput(f"a note cannot be read ({_short(fault)})", file=reading.name, bar=bar.number,
                                   part=self.part_id, element="note") from None  # fmt: skip
                figure_at = 0
                if raw.grace is not None:
                    if raw.pitch is not None:
                        waiting.setdefault(raw.voice, []).append((raw, place))
                    continue
                ticks = self.length(raw)
                if ticks < 0:
                    raise BadInput("a note has a negative length", file=reading.name, bar=bar.number, part=self.part_id)
                start = last if raw.chord else at
                event = self._event(raw, place, index, start, ticks, child)
                if waiting and raw.voice in waiting:
                    self._attach(event, waiting.pop(raw.voice), latest.get(raw.voice))
                if not raw.chord:
                    latest[raw.voice] = event
                    last, at = at, at + ticks
                    if at > furthest:
                        furthest = at
                    if self.rounded and (told := self.ticks(raw.duration)) != ticks:
                        lag += ticks - told
                        self.lags.append((at - lag, lag))
            elif tag == "backup":
                at = max(0, at - lag - self.ticks(whole(child.findtext("duration"))))
                lag = self._lag(at) if self.lags else 0
                at, figure_at = at + lag, 0
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
        for voice in list(waiting):
            if voice in latest:
                host = latest[voice]
                host.after += self._group(waiting.pop(voice), len(host.raw.slur_starts))
        self._length(bar, furthest)

    def _lag(self, told: int) -> int:
        """How far the exact place lies behind a place as told."""
        return next((lag for place, lag in reversed(self.lags) if place <= told), 0)

    def _length(self, bar: RawBar, ticks: int) -> None:
        if ticks > MOST_QUARTERS * self.reading.divisions:
            raise BadInput(f"the bar is longer than {MOST_QUARTERS} quarter notes", file=self.reading.name,
                           bar=bar.number, part=self.part_id, remedy="divide it into bars")  # fmt: skip
        if bar.ticks and ticks and ticks != bar.ticks:
            bar.uneven = bar.uneven or self.part_id
        bar.ticks = max(bar.ticks, ticks)

    def close(self, listed: etree._Element | None) -> None:
        """The part is read to its end; ``listed`` is what the list of parts says of it."""
        reading, part_id = self.reading, self.part_id
        for small in self.waiting.values():  # no note of their voice follows: they belong to the part's last note
            if self.events:
                self.events[-1].after += self._group(small)
        name = (listed.findtext("part-name") or "").strip() if listed is not None else ""
        instrument = (listed.findtext("score-instrument/instrument-name") or "").strip() if listed is not None else ""
        if self.unpitched:
            reading.remarks.append(
                f"Part {name or part_id} has {self.unpitched} unpitched notes, which are left aside."
            )
        reading.parts.append(Part(part_id, name or part_id, self.staves, self.transpose or (0, 0), (), "", instrument))
        reading.clefs.append(self.clefs)
        reading.events.append(self.events)

    def _event(self, raw: RawNote, place: int, bar: int, at: int, ticks: int, child: etree._Element) -> Event:
        if raw.unpitched:
            self.unpitched += 1
            raw.pitch = None
        elif raw.pitch is not None and self.transpose:
            raw.pitch = raw.pitch.transposed(*self.transpose)
        self.sized += 1
        places = self.reading.places
        note_id = child.get("id")
        if not note_id or note_id in places:
            note_id = f"{self.part_id}.b{bar + 1}.n{self.sized}"
        places[note_id] = place
        event = Event(raw, place, bar, at, ticks, note_id)
        self.events.append(event)
        return event

    def _attach(self, event: Event, small: list[tuple[RawNote, int]], previous: Event | None) -> None:
        """Small notes stand before the note that follows, unless they close the shake on the note before.

        Ours say on which side they stand by their ids.
        """
        afterwards = [pair for pair in small if pair[0].own_id.startswith(AFTER)]
        before = [pair for pair in small if not pair[0].own_id.startswith(AFTER)]
        theirs = [pair for pair in before if not pair[0].own_id.startswith(BEFORE)]
        closing = (
            previous is not None
            and len(theirs) == 2
            and any(sign.element == "trill-mark" for sign in previous.raw.signs)
            and not theirs[0][0].slur_starts
            and bool(previous.raw.slur_starts or theirs[-1][0].slur_stops)
        )
        if closing:
            afterwards += theirs
            before = [pair for pair in before if pair not in theirs]
        if previous is None:
            before, afterwards = [*afterwards, *before], []
        else:
            previous.after += self._group(afterwards, len(previous.raw.slur_starts))
        event.before += self._group(before)

    def _group(self, small: list[tuple[RawNote, int]], open_slurs: int = 0) -> tuple[SmallNote, ...]:
        """Small notes in order; a slur that begins at one, or is open already, covers the rest of the group."""
        found: tuple[SmallNote, ...] = ()
        for raw, place in small:
            open_slurs += len(raw.slur_starts)
            found += (self._small(raw, place, slurred=open_slurs > 0),)
            open_slurs = max(0, open_slurs - len(raw.slur_stops))
        return found

    def _small(self, raw: RawNote, place: int, *, slurred: bool) -> SmallNote:
        assert raw.pitch is not None, "small notes without pitch are not gathered"
        assert raw.grace is not None
        places = self.reading.places
        note_id = raw.own_id if raw.own_id and raw.own_id not in places else f"{self.part_id}.g{place}"
        places[note_id] = place
        return SmallNote(
            note_id,
            raw.pitch.transposed(*self.transpose) if self.transpose else raw.pitch,
            raw.value if raw.type else Fraction(1, 2),
            slash=raw.grace.get("slash") == "yes",
            slurred=slurred,
            steal_previous=_percent(raw.grace.get("steal-time-previous")),
            steal_following=_percent(raw.grace.get("steal-time-following")),
            make_time=_percent(raw.grace.get("make-time")),
            accidental=raw.accidental,
            signs=raw.signs,
            chord=raw.chord,
            ours=raw.own_id.startswith(OURS),
        )

    def _attributes(self, element: etree._Element, bar: RawBar, index: int, at: int) -> None:
        keys = []
        for child in element:
            tag = child.tag
            if tag == "divisions":
                self._divisions(child.text)
            elif tag == "key" and child.get("number", "1") == "1":
                keys.append(child)
            elif tag == "time":
                self._from(bar, at).meter = _read_meter(child, self.reading.name, bar.number)
            elif tag == "staves":
                self.staves = min(8, int(child.text or 1))
            elif tag == "clef":
                self._clef(child, index, at)
            elif tag == "transpose":
                octave = int(child.findtext("octave-change") or 0)
                chromatic = int(float(child.findtext("chromatic") or 0))
                diatonic = child.findtext("diatonic")
                places = staff_places(chromatic, int(diatonic) if diatonic else None)
                moved = (places + 7 * octave, chromatic + 12 * octave)
                if self.transpose is not None and self.events and moved != self.transpose:
                    self.reading.remarks.append(
                        f"Bar {bar.number}, part {self.part_id}: the transposition changes here; small notes written "
                        "into this part follow the last one.")
                self.transpose = moved if moved != (0, 0) or self.transpose else None
        for key in keys:  # after the transposition, which may stand behind it
            there = self._from(bar, at)
            if there.fifths is None:
                there.fifths, there.mode = self._key(key)

    def _divisions(self, text: str | None) -> None:
        try:
            factor = Fraction(self.reading.divisions) / Fraction((text or "").strip())
        except (ValueError, ZeroDivisionError):
            factor = Fraction(0)
        if factor <= 0:
            raise BadInput(f"divisions of {text!r} cannot be counted", file=self.reading.name, element="divisions")
        if factor.denominator > 1:
            raise Finer(factor.denominator)
        self.factor = factor.numerator

    def _from(self, bar: RawBar, at: int) -> RawBar:
        """The bar from which an attribute holds: this one, or the next where it stands in the middle."""
        if at == 0:
            return bar
        if self.late is None:
            self.late = RawBar("")
        return self.late

    def _key(self, element: etree._Element) -> tuple[int, str]:
        fifths = element.findtext("fifths")
        if fifths is None:  # a signature given note by note
            return sum(round(float(alter.text or 0)) for alter in element.iterfind("key-alter")), ""
        moved = Pitch(4, 0).transposed(*self.transpose).fifths if self.transpose else 0
        return int(fifths) + moved, (element.findtext("mode") or "").strip()

    def _clef(self, element: etree._Element, bar: int, at: int) -> None:
        sign = (element.findtext("sign") or "G").strip()
        line = {"G": 2, "F": 4, "C": 3}.get(sign, 3)
        line = int(element.findtext("line") or line)
        octave = int(element.findtext("clef-octave-change") or 0)
        self.clefs.append((bar, at, Clef(Fraction(0), int(element.get("number", "1")), sign, line, octave)))

    def _direction(self, element: etree._Element, bar: RawBar, index: int, at: int) -> None:
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

    def _sound(self, element: etree._Element, bar: RawBar, index: int, at: int) -> None:
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
        items = tuple([_figure(figure) for figure in element.iterfind("figure")])
        ticks = self.ticks(whole(element.findtext("duration")))
        if any(item != FigureItem(None) for item in items):  # an empty column only leads to the next
            self.reading.figures.append(
                (self.part_id, bar, at, ticks, items, element.get("parentheses") == "yes")
            )
        return ticks


def _figure(element: etree._Element) -> FigureItem:
    number = prefix = suffix = ""
    continued = False
    for child in element:
        if child.tag == "figure-number":
            number = (child.text or "").strip()
        elif child.tag == "prefix":
            prefix = (child.text or "").strip()
        elif child.tag == "suffix":
            suffix = (child.text or "").strip()
        elif child.tag == "extend":
            continued = child.get("type") != "start"
    return _item(number, prefix, suffix, continued)


@lru_cache(maxsize=4096)
def _item(number: str, prefix: str, suffix: str, continued: bool) -> FigureItem:
    return FigureItem(int(number) if number.isdecimal() and len(number) < 4 else None, prefix, suffix, continued)


def staff_places(chromatic: int, told: int | None) -> int:
    """How many staff places a transposition moves: as told, unless that is left out or cannot go with the semitones.

    >>> staff_places(-2, -1), staff_places(-12, 0), staff_places(3, None)
    (-1, -7, 2)
    """
    near = round(chromatic * 7 / 12)
    return near if told is None or abs(told - near) > 1 else told


def _take_over(bar: RawBar, late: RawBar) -> None:
    bar.meter = bar.meter or late.meter
    if bar.fifths is None:
        bar.fifths, bar.mode = late.fifths, late.mode


def _percent(text: str | None) -> Fraction | None:
    try:
        return Fraction(text) if text else None
    except ValueError:
        return None


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


def _read_barline(element: etree._Element, bar: RawBar) -> None:
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
