"""The whole of a MusicXML document: bars get their onsets, notes their exact times.

Public: finish, listed.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import lru_cache

from lxml import etree

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score.document import Document
from gracewright.score.gathering import Event, Reading
from gracewright.score.model import NO_MARKS, Bar, Figure, Marks, Meter, Note, Piece, Words
from gracewright.score.ticks import Times

Exact = Callable[[int], Fraction]


def finish(reading: Reading, root: etree._Element, document: bytes) -> Piece:
    """Bars get their onsets, notes their exact times. ``root`` holds what stands before the parts."""
    divisions = reading.divisions
    if not any(event.raw.pitch for events in reading.events for event in events):
        raise BadInput("there are no pitched notes", file=reading.name, remedy="give a score with a melody")
    _drop_rests_past_the_bar(reading)
    bars, starts = _bars(reading)
    _put_signs(reading)
    _remark_on_bars(reading, bars)
    if b"<tie" in document:
        _mend_ties(reading, starts)
        _remark_on_ties(reading)
    times = Times(divisions)
    exact = times.__getitem__
    figures = _figures(reading, starts, exact)
    notes: list[tuple[tuple[int, int, int, str], Note]] = []
    for index, (part, events) in enumerate(zip(reading.parts, reading.events, strict=True)):
        for event in events:
            raw, start = event.raw, starts[event.bar] + event.at
            length = times[event.ticks]
            marks = NO_MARKS if not (raw.marked or raw.signs or event.before or event.after) else _marks(event)
            note = Note(
                event.id, part.id, raw.staff, raw.voice, event.bar, times[start], length, raw.pitch,
                raw.value if raw.type else length, raw.dots, raw.tie_stop, raw.tie_start, raw.chord, raw.cue,
                raw.whole_bar, marks,
            )  # fmt: skip
            notes.append(((start, index, raw.staff, raw.voice), note))
        events.clear()  # memory: the notes take their place
    notes.sort(key=lambda pair: pair[0])
    groups = _groups(root)
    parts = tuple(
        replace(part, clefs=tuple(replace(clef, onset=exact(starts[bar] + at)) for bar, at, clef in clefs),
                group=groups.get(part.id, ""))
        for part, clefs in zip(reading.parts, reading.clefs, strict=True)
    )
    return Piece(
        title=_title(root), composer=_creator(root), parts=parts, bars=bars, notes=tuple(note for _, note in notes),
        figures=figures, words=_words(reading, starts, exact),
        date=(root.findtext("identification/miscellaneous/miscellaneous-field[@name='date']") or "").strip(),
        source=reading.name, remarks=tuple(reading.remarks), document=Document(document, reading.places),
    )  # fmt: skip


def _marks(event: Event) -> Marks:
    raw = event.raw
    if not (event.before or event.after or raw.signs or raw.articulations or raw.slur_starts or raw.slur_stops
            or raw.lyrics or raw.fingering or raw.wavy or raw.tremolo or raw.arpeggio or raw.breath):  # fmt: skip
        return _simple(raw.fermata, raw.tuplet, raw.accidental, raw.beam)
    return Marks(
        raw.signs, raw.articulations, event.before, event.after, raw.slur_starts, raw.slur_stops, raw.fermata,
        raw.breath, raw.lyrics, raw.fingering, raw.tuplet, raw.accidental, raw.beam, raw.wavy, raw.tremolo,
        raw.arpeggio,
    )  # fmt: skip


@lru_cache(maxsize=8192)
def _simple(fermata: bool, tuplet: tuple[int, int] | None, accidental: str, beam: str) -> Marks:
    """The few marks that most notes have, shared."""
    return Marks(fermata=fermata, tuplet=tuplet, accidental=accidental, beam=beam)


def _drop_rests_past_the_bar(reading: Reading) -> None:
    """Where one part fills its bar and another goes on beyond it with nothing but rests, those rests are a slip (a rest
    written twice): the bar is as long as the time signature says, and what lies past its end is dropped."""
    meter, limits = Meter(4, 4), dict[int, int]()
    for index, raw in enumerate(reading.bars):
        meter = raw.meter or meter
        full = int(meter.length * reading.divisions)
        if raw.uneven and meter.measured and raw.ticks > full:
            limits[index] = full
    if not limits:
        return
    sounding, filled = dict[int, int](), set[int]()
    for events in reading.events:
        ends: dict[int, int] = {}
        for event in events:
            if event.bar in limits:
                end = event.at + event.ticks
                ends[event.bar] = max(ends.get(event.bar, 0), end)
                if event.raw.pitch is not None:
                    sounding[event.bar] = max(sounding.get(event.bar, 0), end)
        filled |= {bar for bar, end in ends.items() if end == limits[bar]}
    cut = {bar: full for bar, full in limits.items() if bar in filled and sounding.get(bar, 0) <= full}
    for bar, full in cut.items():
        reading.bars[bar].ticks = full
    for events in reading.events:
        events[:] = [event for event in events if event.at < cut.get(event.bar, event.at + 1)]
        for event in events:
            if event.bar in cut:
                event.ticks = min(event.ticks, cut[event.bar] - event.at)
    if cut:
        numbers = [reading.bars[bar].number for bar in sorted(cut)]
        reading.remarks.append(f"{listed(numbers)}: rests past the end of the bar are left out.")
        for bar in cut:
            reading.bars[bar].uneven = ""


def _bars(reading: Reading) -> tuple[tuple[Bar, ...], list[int]]:
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


def listed(numbers: Sequence[str]) -> str:
    """Bar numbers in words: the first few, and how many more.

    >>> listed(["1", "3", "3"]), listed([str(number) for number in range(1, 9)])
    ('Bars 1, 3', 'Bars 1, 2, 3, 4, 5 and 3 more')
    """
    numbers = list(dict.fromkeys(numbers))
    first = ", ".join(numbers[:5])
    word = "Bar" if len(numbers) == 1 else "Bars"
    return f"{word} {first}" + (f" and {len(numbers) - 5} more" if len(numbers) > 5 else "")


def _remark_on_bars(reading: Reading, bars: Sequence[Bar]) -> None:
    """Bars that do not add up are read as long as their longest part, and said so."""
    pairs = list(zip(reading.bars, bars, strict=True))
    uneven = [bar.number for raw, bar in pairs if raw.uneven]
    if uneven:
        reading.remarks.append(f"{listed(uneven)}: the parts are not equally long; the longest counts.")
    overfull = [bar.number for raw, bar in pairs if bar.meter.measured and bar.length > bar.meter.length]
    if overfull and len(overfull) * 4 < len(bars):
        reading.remarks.append(f"{listed(overfull)}: more than the time signature allows; read as it stands.")


def _mend_ties(reading: Reading, starts: Sequence[int]) -> None:
    """Some programs write where a tie begins and not where it ends: the note of the same pitch that follows at once is
    meant, unless a repeat or an ending lies between."""
    for events in reading.events:
        waiting: dict[Pitch, Event] = {}
        for event in events:
            raw = event.raw
            if raw.pitch is None or not (waiting or raw.tie_start):
                continue
            before = waiting.pop(raw.pitch, None)
            if before is not None and not raw.tie_stop:
                touching = starts[before.bar] + before.at + before.ticks == starts[event.bar] + event.at
                left, right = reading.bars[before.bar], reading.bars[event.bar]
                new_bar = before.bar != event.bar
                raw.tie_stop = touching and not (new_bar and (left.repeat_end or right.ending_start))
            if raw.tie_start:
                waiting[raw.pitch] = event


def _remark_on_ties(reading: Reading) -> None:
    """A tie that meets no note of its pitch is left out of account."""
    loose = []
    for events in reading.events:
        waiting: dict[Pitch, int] = {}
        for event in events:
            pitch = event.raw.pitch
            if pitch is None or not (event.raw.tie_start or event.raw.tie_stop):
                continue
            if event.raw.tie_stop and waiting.pop(pitch, None) is None and not reading.bars[event.bar].ending_start:
                loose.append(event.bar)
            if event.raw.tie_start:
                waiting[pitch] = event.bar
        loose += waiting.values()
    if loose:
        numbers = [reading.bars[bar].number for bar in sorted(loose)]
        reading.remarks.append(f"{listed(numbers)}: a tie leads nowhere and is read as two notes.")


def _put_signs(reading: Reading) -> None:
    """A lone cross or t set as a direction belongs to the note at its place."""
    for part, bar, at, staff, sign in reading.signs:
        here = [e for e in reading.events[part] if e.bar == bar and e.raw.pitch is not None]
        exact = [e for e in here if e.at == at and e.raw.staff == staff] or [e for e in here if e.at == at]
        if not exact:
            exact = [e for e in here if e.at <= at < e.at + e.ticks]
        if exact:
            exact[0].raw.signs += (sign,)
        else:
            reading.remarks.append(f"Bar {reading.bars[bar].number}: a sign “{sign.text}” stands over no note.")


def _figures(reading: Reading, starts: list[int], exact: Exact) -> tuple[Figure, ...]:
    """Columns without a length share the note they stand under evenly."""
    groups: dict[tuple[str, int, int], list[int]] = defaultdict(list)
    for index, (part_id, bar, at, ticks, _, _) in enumerate(reading.figures):
        if not ticks:
            groups[part_id, bar, at].append(index)
    hosts = _hosts(reading, {part_id for part_id, _, _ in groups})
    moved: dict[int, tuple[int, int]] = {}
    for key, members in groups.items():
        host = hosts.get(key, reading.divisions)
        for count, index in enumerate(members):
            share = host // len(members)
            moved[index] = (count * share, share)
    found = []
    for index, (part_id, bar, at, ticks, items, parentheses) in enumerate(reading.figures):
        shift, length = moved.get(index, (0, ticks))
        place = starts[bar] + at + shift
        found.append((place, Figure(part_id, bar, exact(place), exact(length), items, parentheses)))
    found.sort(key=lambda pair: pair[0])
    return tuple([figure for _, figure in found])


def _hosts(reading: Reading, figured: set[str]) -> dict[tuple[str, int, int], int]:
    """Ticks of the longest note at each place of the parts that have figures."""
    hosts: dict[tuple[str, int, int], int] = {}
    for part, events in zip(reading.parts, reading.events, strict=True):
        if part.id in figured:
            for event in events:
                key = (part.id, event.bar, event.at)
                hosts[key] = max(hosts.get(key, 0), event.ticks)
    return hosts


def _words(reading: Reading, starts: list[int], exact: Exact) -> tuple[Words, ...]:
    found = [
        Words(part, bar, exact(starts[bar] + at), kind, text, side, tempo)
        for part, bar, at, kind, text, side, tempo in reading.words
    ]
    return tuple(sorted(found, key=lambda words: words.onset))


def _groups(root: etree._Element) -> dict[str, str]:
    """Part id → name of the innermost named group it stands in."""
    found: dict[str, str] = {}
    open_groups: dict[str, str] = {}
    for entry in root.iterfind("part-list/*"):
        if entry.tag == "part-group" and entry.get("type") == "start":
            open_groups[entry.get("number", "1")] = (entry.findtext("group-name") or "").strip()
        elif entry.tag == "part-group":
            open_groups.pop(entry.get("number", "1"), None)
        elif entry.tag == "score-part":
            found[entry.get("id", "")] = next((name for name in reversed(list(open_groups.values())) if name), "")
    return found


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
