"""A score as MEI of our own making: any staves of a piece, as written and as played, aligned bar by bar.

Conventions: staves are drawn in the order given; bars are named by index; ids lead back to the notes
(:func:`gracewright.sheet.layer.tone_of`), bars are ``bar-INDEX``. Signs, slurs and marks of ours carry
``type="ours"`` and so the class ``ours`` in the drawing.

Public: Staff, mei_of, slurs_of, ties_of.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import groupby
from typing import Final, Literal

from gracewright.graces import Notated, Version
from gracewright.pitch import Pitch
from gracewright.score import Bar, Clef, FigureItem, Note, Part, Piece, part_of
from gracewright.sheet.figures import figure_text
from gracewright.sheet.layer import attributes, drawn_id, text
from gracewright.sheet.played import Struck, played_bars
from gracewright.sheet.staves import Drawn, Place, clef_attributes, played_bar, played_id, written_bar

NO_CLEF: Final = Clef(Fraction(0), 1, "G", 2)
HEAD: Final = (
    '<?xml version="1.0" encoding="UTF-8"?><mei xmlns="http://www.music-encoding.org/ns/mei" meiversion="5.1"><meiHead>'
    "<fileDesc><titleStmt><title/></titleStmt><pubStmt/></fileDesc></meiHead><music><body><mdiv><score>"
)
TAIL: Final = "</score></mdiv></body></music></mei>"


@dataclass(frozen=True, slots=True)
class Staff:
    """One staff of a system. ``row`` tells a played staff its time through (1 first, -1 last of each bar).

    ``numbers`` (tone id → text) are set above the notes; ``added`` (tone id → what to write) are our signs, ``again``
    those of the repeat, set below. An ``empty`` staff has lines and nothing else.
    """

    kind: Literal["written", "played", "empty"]
    line: str
    label: str = ""
    short: str = ""
    scale: int = 100
    row: int = 1
    numbers: Mapping[str, str] = field(default_factory=dict)
    added: Mapping[str, Notated] = field(default_factory=dict)
    again: Mapping[str, Notated] = field(default_factory=dict)
    figures: bool = False
    words: bool = False
    lyrics: bool = False
    breaths: Collection[str] = ()
    fingerings: Mapping[str, str] = field(default_factory=dict)
    version: Version | None = None  # whose played line this is, where staves differ in it
    struck: Mapping[int, tuple[Struck, ...]] | None = None  # bar index → played notes, given outright
    ossias: Mapping[int, tuple[Struck, ...]] = field(default_factory=dict)  # bar index → a cue-size other way to play


def mei_of(piece: Piece, staves: Sequence[Staff], *, version: Version | None = None, first: int = 0,
           last: int | None = None, breaks: Collection[int] = (), bar_numbers: bool = True) -> str:
    """MEI of bars ``first`` to ``last``; each bar index in ``breaks`` begins a new page (a system of its own)."""
    until = len(piece.bars) - 1 if last is None else last
    score = _Score(piece, tuple(staves), version, first)
    bars = [score.bar(index, breaks, until) for index in range(first, until + 1)]
    body = []
    shown = zip(piece.bars[first : until + 1], bars, strict=True)
    for ending, group in groupby(shown, key=lambda pair: pair[0].endings):
        inner = "".join(xml for _, xml in group)
        name = ", ".join(map(str, ending))
        closed = "none" if ending and ending[0] > 1 else "angledown"
        body.append(f'<ending n="{name}" label="{name}." lendsym="{closed}">{inner}</ending>' if ending else inner)
    numbers = "" if bar_numbers else ' mnum.visible="false"'
    return f"{HEAD}{score.definition(numbers)}<section>{''.join(body)}</section>{TAIL}"


class _Score:
    """Everything about the staves that bars need, looked up once."""

    def __init__(self, piece: Piece, staves: tuple[Staff, ...], version: Version | None, first: int) -> None:
        self.piece, self.staves, self.first = piece, staves, first
        self.parts: list[Part] = [piece.part(part_of(staff.line)[0]) for staff in staves]
        self.notes = [_notes_by_bar(piece, staff.line) if staff.kind == "written" else {} for staff in staves]
        self.struck = [_struck(piece, staff, version) for staff in staves]
        self.slurs = [slurs_of(piece, staff.line) if staff.kind == "written" else {} for staff in staves]
        self.ties = [ties_of(piece, staff.line) if staff.kind == "written" else {} for staff in staves]

    def shift(self, index: int) -> tuple[int, int]:
        """From sounding to written pitch; octave clefs already say what they need."""
        diatonic, chromatic = self.parts[index].transpose
        return (-diatonic, -chromatic)

    def fifths(self, index: int, bar: Bar) -> int:
        moved = Pitch(4, 0).transposed(*self.shift(index)).fifths if self.shift(index) != (0, 0) else 0
        return bar.fifths + moved

    def tag(self, index: int) -> str:
        """Empty for the first played staff, so that its ids are short."""
        played = [number for number, staff in enumerate(self.staves) if staff.kind == "played"]
        return "" if index not in played or index == played[0] else f"x{index + 1}"

    def clefs(self, index: int) -> list[Clef]:
        _, number = part_of(self.staves[index].line)
        return [clef for clef in self.parts[index].clefs if clef.staff == (number or 1)]

    def definition(self, more: str) -> str:
        bar = self.piece.bars[self.first]
        rows = []
        for index, staff in enumerate(self.staves):
            clef = next((c for c in reversed(self.clefs(index)) if c.onset <= bar.onset), NO_CLEF)
            scale = f"{staff.scale}%" if staff.scale != 100 else None
            look = {"n": index + 1, "lines": 5, "keysig": _keysig(self.fifths(index, bar)), "scale": scale}
            look |= clef_attributes(clef, "clef.")
            names = f"<label>{text(staff.label)}</label>" if staff.label else ""
            names += f"<labelAbbr>{text(staff.short)}</labelAbbr>" if staff.short else ""
            rows.append(f"<staffDef{attributes(look)}>{names}</staffDef>")
        group = f'<staffGrp bar.thru="true">{"".join(rows)}</staffGrp>'
        return f"<scoreDef{_meter(bar)}{more}>{group}</scoreDef>"

    def bar(self, index: int, breaks: Collection[int], until: int) -> str:
        bar = self.piece.bars[index]
        start = "<pb/>" if index in breaks and index != self.first else ""
        if index > self.first:
            start += self._change(self.piece.bars[index - 1], bar)
        drawn = [self._staff(number, bar) for number in range(len(self.staves))]
        content = "".join(self._with_ossia(number, one, bar) for number, one in enumerate(drawn))
        events = "".join(event for one in drawn for event in one.events)
        look = {"xml:id": f"bar-{index}", "n": bar.number, "left": "rptstart" if bar.repeat_start else None,
                "right": _right(bar, index == len(self.piece.bars) - 1),
                "metcon": "false" if bar.length != bar.meter.length else None}  # fmt: skip
        return f"{start}<measure{attributes(look)}>{content}{events}{self._jumps(bar)}</measure>"

    def _change(self, before: Bar, bar: Bar) -> str:
        """A score definition where key or meter changes."""
        meter = _meter(bar) if before.meter != bar.meter else ""
        if before.fifths == bar.fifths:
            return f"<scoreDef{meter}/>" if meter else ""
        signatures = {self.fifths(number, bar) for number in range(len(self.staves))}
        if len(signatures) == 1:
            return f'<scoreDef{meter} keysig="{_keysig(signatures.pop())}"/>'
        signed = [(n + 1, _keysig(self.fifths(n, bar))) for n in range(len(self.staves))]
        rows = "".join(f'<staffDef n="{n}" keysig="{signature}"/>' for n, signature in signed)
        return f"<scoreDef{meter}><staffGrp>{rows}</staffGrp></scoreDef>"

    def _staff(self, number: int, bar: Bar) -> Drawn:
        staff = self.staves[number]
        place = Place(number + 1, self.shift(number), self.fifths(number, bar), staff.lyrics, self.tag(number))
        if staff.kind == "empty":
            return Drawn(("<mSpace/>",))
        from_here = bar.onset if bar.index > self.first else bar.onset + Fraction(1, 1024)
        clefs = [clef for clef in self.clefs(number) if from_here <= clef.onset < bar.end]
        if staff.kind == "played":
            struck = self.struck[number].get(bar.index)
            if struck is None:
                return Drawn(("<mSpace/>",))
            drawn = played_bar(struck, bar, place)
            hosts = {note.host: note for note in struck if not note.tied_in and note.number == 0}
            ids = {host: played_id(note, place.tag) for host, note in hosts.items()}
        else:
            notes = self.notes[number].get(bar.index, [])
            drawn = written_bar(notes, bar, place, staff.added, clefs, staff.again)
            ids = {note.id: drawn_id(note.id) for note in notes}
        return Drawn(drawn.layers, (*drawn.events, *self._more(number, bar, ids)))

    def _with_ossia(self, number: int, drawn: Drawn, bar: Bar) -> str:
        """The staff, below a cue-size one where the bar has another way to be played."""
        layers = "".join(_layer(n, layer) for n, layer in enumerate(drawn.layers, 1))
        staff = f'<staff n="{number + 1}">{layers}</staff>'
        other = self.staves[number].ossias.get(bar.index)
        if other is None:
            return staff
        place = Place(number + 1, self.shift(number), self.fifths(number, bar), tag=f"o{number + 1}")
        inner = "".join(_layer(n, layer) for n, layer in enumerate(played_bar(other, bar, place).layers, 1))
        return f'<ossia><oStaff n="{number + 1}">{inner}</oStaff>{staff}</ossia>'

    def _more(self, number: int, bar: Bar, ids: Mapping[str, str]) -> list[str]:
        """Slurs, numbers, fingerings, breaths, words and figures of one staff in a bar."""
        staff, n = self.staves[number], number + 1
        events = [f'<{kind} staff="{n}" startid="#{drawn_id(a)}" endid="#{drawn_id(b)}"/>'
                  for kind, pairs in (("slur", self.slurs[number]), ("tie", self.ties[number]))
                  for a, b in pairs.items() if a in ids]  # fmt: skip
        for tone, label in staff.numbers.items():
            if tone in ids:
                rend = f'<rend fontweight="bold" fontstyle="normal" rend="box" fontsize="70%">{text(label)}</rend>'
                drawn = drawn_id(tone, f"n{n}")
                events.append(f'<dir xml:id="{drawn}" type="number" {_above(n, ids[tone])}>{rend}</dir>')
        events += [f'<breath xml:id="{drawn_id(tone, "breath")}" staff="{n}" '
                   f'tstamp="{_tstamp(bar, breath_place(self.piece.by_id[tone], bar))}"/>'
                   for tone in staff.breaths if tone in ids]  # fmt: skip
        for tone, label in staff.fingerings.items():
            if tone in ids:
                rend = f'<rend fontstyle="normal" fontsize="70%">{text(label)}</rend>'
                events.append(f'<dir type="fingering" staff="{n}" place="below" startid="#{ids[tone]}">{rend}</dir>')
        part, _ = part_of(staff.line)
        if staff.figures:
            events += [_figures(figure.items, bar, figure.onset, n, index)
                       for index, figure in enumerate(self.piece.figures)
                       if figure.bar == bar.index and figure.part == part]  # fmt: skip
        if staff.words:
            events += self._words(part, bar, n)
        return [event for event in events if event]

    def _words(self, part: str, bar: Bar, n: int) -> list[str]:
        events = []
        for words in self.piece.words:
            if words.bar != bar.index or words.part != part or not words.text.strip():
                continue
            at = f'staff="{n}" tstamp="{_tstamp(bar, words.onset)}"'
            if words.kind == "dynamics":
                events.append(f'<dynam {at} place="below">{text(words.text)}</dynam>')
            elif words.kind in ("words", "metronome", "tempo"):
                name = "tempo" if words.tempo is not None else "dir"
                if words.kind == "words":
                    events.append(f'<{name} {at} place="above">{text(words.text)}</{name}>')
        return events

    def _jumps(self, bar: Bar) -> str:
        names = {"dacapo": "D.C.", "dalsegno": "D.S.", "fine": "Fine"}
        out = ""
        for jump in bar.jumps:
            if jump in names:
                end = f"{1 + float(bar.length * bar.meter.unit / 4):.4f}"
                out += f'<dir staff="1" tstamp="{end}" place="above">{names[jump]}</dir>'
            elif jump in ("segno", "coda"):
                out += f'<repeatMark staff="1" func="{jump}" tstamp="1" place="above"/>'
        return out


def _struck(piece: Piece, staff: Staff, version: Version | None) -> Mapping[int, tuple[Struck, ...]]:
    """What a staff plays in each bar."""
    if staff.struck is not None:
        return staff.struck
    heard = staff.version or version
    return played_bars(piece, heard, staff.row) if staff.kind == "played" and heard is not None else {}


def _notes_by_bar(piece: Piece, line: str) -> dict[int, list[Note]]:
    part, staff = part_of(line)
    bars: dict[int, list[Note]] = {}
    for note in piece.by_part[part]:
        if not staff or note.staff == staff:
            bars.setdefault(note.bar, []).append(note)
    return bars


def slurs_of(piece: Piece, line: str) -> dict[str, str]:
    """Note id where a slur begins → note id where it ends."""
    part, staff = part_of(line)
    pending: dict[str, str] = {}
    slurs: dict[str, str] = {}
    for note in piece.by_part[part]:
        if staff and note.staff != staff:
            continue
        for number in note.marks.slur_stops:
            if number in pending:
                slurs[pending.pop(number)] = note.id
        for number in note.marks.slur_starts:
            pending[number] = note.id
    return slurs


def ties_of(piece: Piece, line: str) -> dict[str, str]:
    """Note id → id of the note it is tied to, whatever the voice."""
    part, staff = part_of(line)
    waiting: dict[tuple[Pitch, Fraction], str] = {}
    ties: dict[str, str] = {}
    for note in piece.by_part[part]:
        if note.pitch is None or (staff and note.staff != staff):
            continue
        if note.tie_in and (note.pitch, note.onset) in waiting:
            ties[waiting.pop((note.pitch, note.onset))] = note.id
        if note.tie_out:
            waiting[note.pitch, note.end] = note.id
    return ties


def _keysig(fifths: int) -> str:
    return "0" if fifths == 0 else f"{abs(fifths)}{'s' if fifths > 0 else 'f'}"


def _meter(bar: Bar) -> str:
    meter = bar.meter
    if not meter.measured:
        return ' meter.visible="false"' + attributes({"meter.count": meter.beats, "meter.unit": meter.unit})
    symbol = meter.symbol if meter.symbol in ("common", "cut") else None
    form = "num" if meter.symbol.isdigit() or meter.symbol == "single-number" else None
    return attributes({"meter.count": meter.beats, "meter.unit": meter.unit, "meter.sym": symbol, "meter.form": form})


def _right(bar: Bar, last: bool) -> str | None:
    if bar.repeat_end:
        return "rptend"
    if bar.final_bar or last:
        return "end"
    return "dbl" if bar.double_bar else None


def breath_place(note: Note, bar: Bar) -> Fraction:
    """Where a breath mark stands: near the end of the note, in its bar."""
    end = min(note.end, bar.end)
    return end - min(Fraction(1, 4), (end - note.onset) / 4)


def _tstamp(bar: Bar, onset: Fraction) -> str:
    return f"{float(1 + (onset - bar.onset) * bar.meter.unit / 4):.4f}"


def _figures(items: Sequence[FigureItem], bar: Bar, onset: Fraction, staff: int, index: int) -> str:
    rows = "".join(f"<f>{shown}</f>" for item in items if (shown := figure_text(item)))
    if not rows:
        return ""
    where = f'staff="{staff}" place="below" tstamp="{_tstamp(bar, onset)}"'
    return f'<harm xml:id="figure-{index}" {where}><fb>{rows}</fb></harm>'


def _layer(number: int, content: str) -> str:
    return f'<layer n="{number}">{content}</layer>'


def _above(staff: int, start: str) -> str:
    return f'staff="{staff}" place="above" startid="#{start}"'
