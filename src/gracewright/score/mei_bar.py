"""One bar of a ``Piece`` as an MEI measure.

Conventions: pitches go out as written. A length that the printed value does not give (or a gap) is spelled anew with
ties. Beams that cross the edge of a tuplet are left to the program that draws.

Public: BarWriter, Hand, add, clef_of, staves_of.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.pitch import STEPS, Pitch
from gracewright.score.mei_layer import ACCIDENTALS, ARTICULATIONS, KINDS
from gracewright.score.model import Bar, Clef, Figure, FigureItem, Meter, Note, Part, Piece, Sign, SmallNote, Words
from gracewright.score.notation import type_of
from gracewright.score.values import Span, print_bar

XML_ID: Final = "{http://www.w3.org/XML/1998/namespace}id"
OURS: Final = {"type": "gw-ours"}
DURATIONS: Final = {kind: dur for dur, kind in KINDS.items()}
GESTURAL: Final = {-3: "tf", -2: "ff", -1: "f", 0: "n", 1: "s", 2: "ss", 3: "ts"}
PRINTED: Final = {name: code for code, (name, _) in reversed(ACCIDENTALS.items())} | {"flat-flat": "ff"}
ARTIC: Final = {name: code for code, name in reversed(ARTICULATIONS.items())}
FIGURE_SIGNS: Final = {"sharp": "♯", "flat": "♭", "natural": "♮", "double-sharp": "x", "sharp-sharp": "x",
                       "flat-flat": "bb", "plus": "+", "slash": "\u0338", "backslash": "\u20e5", "vertical": "|",
                       "cross": "+"}  # fmt: skip
SIGNS: Final[dict[str, tuple[str, dict[str, str]]]] = {
    "trill-mark": ("trill", {}), "mordent": ("mordent", {"form": "lower"}),
    "inverted-mordent": ("mordent", {"form": "upper"}), "turn": ("turn", {"form": "upper"}),
    "inverted-turn": ("turn", {"form": "lower"}), "delayed-turn": ("turn", {"form": "upper", "delayed": "true"}),
    "delayed-inverted-turn": ("turn", {"form": "lower", "delayed": "true"}),
}  # fmt: skip
"""Sign → MEI element and attributes; all others are ``<ornam>``."""


def add(parent: etree._Element, tag: str, **attributes: str) -> etree._Element:
    """A new last child."""
    child = etree.SubElement(parent, tag)
    for key, value in attributes.items():
        child.set(key, value)
    return child


def staves_of(piece: Piece) -> Iterator[tuple[int, Part, int]]:
    """(number in MEI, part, staff of the part) for every stave."""
    number = 0
    for part in piece.parts:
        for staff in range(1, part.staves + 1):
            number += 1
            yield number, part, staff


def clef_of(clef: Clef) -> dict[str, str]:
    """MEI attributes of a clef."""
    if clef.sign not in ("G", "F", "C"):
        return {"shape": "perc", "line": "3"} if clef.sign == "percussion" else {"shape": "G", "line": "2"}
    found = {"shape": clef.sign, "line": str(clef.line)}
    if clef.octave:
        found["dis"] = {1: "8", 2: "15"}.get(abs(clef.octave), "22")
        found["dis.place"] = "above" if clef.octave > 0 else "below"
    return found


@dataclass(slots=True)
class Hand:
    """What goes from bar to bar of one movement: ids, open slurs, notes by bar."""

    piece: Piece
    prefix: str
    ids: dict[str, str] = field(default_factory=dict)
    taken: set[str] = field(default_factory=set)
    open_slurs: dict[tuple[str, str], etree._Element] = field(default_factory=dict)
    notes: dict[tuple[int, str, int], list[Note]] = field(default_factory=dict)
    figures: dict[int, list[Figure]] = field(default_factory=dict)
    words: dict[int, list[Words]] = field(default_factory=dict)
    written_as: Mapping[str, str] = field(default_factory=dict)  # note → XML id of the note on the page it comes from

    def __post_init__(self) -> None:
        for note in self.piece.notes:
            self.notes.setdefault((note.bar, note.part, note.staff), []).append(note)
        for figure in self.piece.figures:
            self.figures.setdefault(figure.bar, []).append(figure)
        for words in self.piece.words:
            self.words.setdefault(words.bar, []).append(words)

    def id_of(self, name: str) -> str:
        """The XML id of a note: its own, made fit for XML."""
        if name not in self.ids:
            base = re.sub(r"[^A-Za-z0-9_.-]", "_", self.prefix + name)
            base = base if re.match(r"[A-Za-z_]", base) else f"n{base}"
            own, count = base, 1
            while own in self.taken:
                count += 1
                own = f"{base}_{count}"
            self.taken.add(own)
            self.ids[name] = own
        return self.ids[name]

    def close_slurs(self) -> None:
        """Slurs that never end are taken out."""
        for slur in self.open_slurs.values():
            parent = slur.getparent()
            if parent is not None:
                parent.remove(slur)
        self.open_slurs.clear()


@dataclass(slots=True)
class _Atom:
    """One printed note, chord, rest or space of a layer."""

    onset: Fraction
    length: Fraction
    dur: str
    dots: int
    ratio: tuple[int, int] | None
    elements: list[etree._Element]
    beam: str = ""

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


class BarWriter:
    """Writes one bar. Times inside are quarters from its start."""

    def __init__(self, hand: Hand, bar: Bar) -> None:
        self.hand, self.bar = hand, bar
        self.controls: list[etree._Element] = []
        self.shift = (0, 0)
        self.staff = 1

    def write(self, section: etree._Element) -> None:
        bar = self.bar
        measure = add(section, "measure", n=bar.number or str(bar.index + 1))
        if bar.length != bar.meter.length:
            measure.set("metcon", "false")
        if bar.repeat_start:
            measure.set("left", "rptstart")
        if bar.repeat_end:
            measure.set("right", "rptend")
        elif bar.final_bar or bar.double_bar:
            measure.set("right", "end" if bar.final_bar else "dbl")
        last: dict[str, int] = {}
        for number, part, staff in staves_of(self.hand.piece):
            last[part.id] = number
            self.shift, self.staff = (-part.transpose[0], -part.transpose[1]), number
            self._stave(add(measure, "staff", n=str(number)), part, staff)
        for jump in bar.jumps:
            if jump in ("segno", "coda"):
                self._control("repeatMark", func=jump, staff="1", tstamp="1", place="above")
        for figure in self.hand.figures.get(bar.index, ()):
            self._figure(figure, last[figure.part])
        for words in self.hand.words.get(bar.index, ()):
            self._words(words, last[words.part] - self.hand.piece.part(words.part).staves + 1)
        measure.extend(self.controls)

    def _stave(self, stave: etree._Element, part: Part, staff: int) -> None:
        voices: dict[str, list[Note]] = {}
        for note in self.hand.notes.get((self.bar.index, part.id, staff), ()):
            voices.setdefault(note.voice, []).append(note)
        clefs = [clef for clef in _new_clefs(part, staff) if self.bar.onset <= clef.onset < self.bar.end]
        layers = [layer for notes in voices.values() for layer in _layers(notes)] or [[]]
        for number, groups in enumerate(layers, 1):
            layer = add(stave, "layer", n=str(number))
            if self._rests_alone(groups):
                for clef in clefs:
                    add(layer, "clef", **clef_of(clef))
                rest = add(layer, "mRest" if groups else "mSpace")
                if groups:
                    rest.set(XML_ID, self.hand.id_of(groups[0][0].id))
            else:
                _nest(layer, self._atoms(groups), clefs, self.bar.onset)
            clefs = []

    def _rests_alone(self, groups: Sequence[Sequence[Note]]) -> bool:
        whole = self.bar.length == self.bar.meter.length
        if not groups:
            return whole
        return whole and len(groups) == 1 and groups[0][0].pitch is None and groups[0][0].length == self.bar.length

    def _atoms(self, groups: Sequence[Sequence[Note]]) -> list[_Atom]:
        atoms: list[_Atom] = []
        at = Fraction(0)
        for group in groups:
            onset = group[0].onset - self.bar.onset
            if onset > at:
                atoms += self._silence(at, onset)
            atoms += self._group(group, onset)
            at = onset + group[0].length
        if at < self.bar.length:
            atoms += self._silence(at, self.bar.length)
        return atoms

    def _silence(self, left: Fraction, right: Fraction) -> list[_Atom]:
        return [
            _Atom(piece.onset, piece.length, DURATIONS[piece.kind], piece.dots, piece.ratio, [etree.Element("space")])
            for piece in print_bar([Span(left, right - left, -1)], _measured(self.bar))
            if piece.kind
        ]

    def _group(self, group: Sequence[Note], onset: Fraction) -> list[_Atom]:
        head = group[0]
        kind, ratio = type_of(head.value), head.marks.tuplet
        actual, normal = ratio or (1, 1)
        if kind is not None and kind[0] in DURATIONS and head.value * Fraction(normal, actual) == head.length:
            pieces = [(onset, head.length, kind[0], kind[1], ratio, False, False)]
        else:
            pieces = [
                (p.onset, p.length, p.kind, p.dots, p.ratio, p.tied_in, p.tied_out)
                for p in print_bar([Span(onset, head.length, 0)], _measured(self.bar)) if p.kind
            ]  # fmt: skip
        atoms = []
        for index, (start, length, name, dots, own_ratio, tied_in, tied_out) in enumerate(pieces):
            elements = [self._main(group, index, tied_in=tied_in, tied_out=tied_out)]
            if index == 0:
                elements[:0] = [self._small(small, head) for small in head.marks.before]
            if index == len(pieces) - 1:
                elements += [self._small(small, head) for small in head.marks.after]
            beam = head.marks.beam if len(pieces) == 1 else ""
            atoms.append(_Atom(start, length, DURATIONS[name], dots, own_ratio, elements, beam))
        self._controls(group)
        return atoms

    def _main(self, group: Sequence[Note], index: int, *, tied_in: bool, tied_out: bool) -> etree._Element:
        """The rest, note or chord itself; duration is set later."""
        head = group[0]
        if head.pitch is None:
            element = etree.Element("rest")
            element.set(XML_ID, self.hand.id_of(head.id if index == 0 else f"{head.id}.tied{index}"))
            element.set("main", "")
            return element
        box = etree.Element("chord") if len(group) > 1 else None
        for note in group:
            element = etree.Element("note") if box is None else add(box, "note")
            element.set(XML_ID, self.hand.id_of(note.id if index == 0 else f"{note.id}.tied{index}"))
            assert note.pitch is not None, "chords hold no rests"
            self._pitch(element, note.pitch, note.marks.accidental if index == 0 else "")
            into, out = note.tie_in or tied_in, note.tie_out or tied_out
            if into or out:
                element.set("tie", "m" if into and out else "t" if into else "i")
            if note.id in self.hand.written_as:
                element.set("corresp", f"#{self.hand.written_as[note.id]}")
            if note.cue:
                element.set("cue", "true")
            if index == 0:
                self._about(element, note)
        found = element if box is None else box
        found.set("main", "")
        return found

    def _about(self, element: etree._Element, note: Note) -> None:
        artic = [ARTIC[name] for name in note.marks.articulations if name in ARTIC]
        if artic:
            add(element, "artic", artic=" ".join(artic))
        for sign in note.marks.signs:
            if sign.element == "stopped":
                add(element, "artic", artic="stop", **(OURS if sign.ours else {}))
        if note.marks.fermata:
            element.set("fermata", "above")
        for number, text in enumerate(note.marks.lyrics, 1):
            joined = {"con": "d", "wordpos": "i"} if text.endswith("-") else {}
            add(add(element, "verse", n=str(number)), "syl", **joined).text = text.removesuffix("-")

    def _pitch(self, element: etree._Element, pitch: Pitch, printed: str) -> None:
        written = pitch.transposed(*self.shift)
        element.set("pname", STEPS[written.step].lower())
        element.set("oct", str(written.octave))
        code = PRINTED.get(printed, "")
        if code:
            add(element, "accid", accid=code)
        if written.alter in GESTURAL and (not code or ACCIDENTALS[code][1] != written.alter):
            element.set("accid.ges", GESTURAL[written.alter])

    def _small(self, small: SmallNote, host: Note) -> etree._Element:
        kind, dots = type_of(small.value) or ("eighth", 0)
        element = etree.Element("note", grace="unacc" if small.slash else "unknown", dur=DURATIONS.get(kind, "8"))
        element.set(XML_ID, self.hand.id_of(small.id))
        if dots:
            element.set("dots", str(dots))
        if small.slash:
            element.set("stem.mod", "1slash")
        self._pitch(element, small.pitch, small.accidental)
        if small.ours:
            element.set("type", "gw-ours")
        for sign in small.signs:
            self._sign(sign, small.id)
        if small.slurred and small in host.marks.before:
            self._control("slur", startid=f"#{self.hand.id_of(small.id)}", endid=f"#{self.hand.id_of(host.id)}",
                          **(OURS if small.ours else {}))  # fmt: skip
        return element

    def _control(self, tag: str, **attributes: str) -> etree._Element:
        element = etree.Element(tag)
        for key, value in attributes.items():
            element.set(key, value)
        self.controls.append(element)
        return element

    def _controls(self, group: Sequence[Note]) -> None:
        for note in group:
            for sign in note.marks.signs:
                self._sign(sign, note.id)
            for number in note.marks.slur_stops:
                slur = self.hand.open_slurs.pop((note.part, number), None)
                if slur is not None:
                    slur.set("endid", f"#{self.hand.id_of(note.id)}")
            for number in note.marks.slur_starts:
                slur = self._control("slur", startid=f"#{self.hand.id_of(note.id)}")
                self.hand.open_slurs[note.part, number] = slur

    def _sign(self, sign: Sign, host: str) -> None:
        if sign.element == "stopped":
            return
        tag, attributes = SIGNS.get(sign.element, ("ornam", {}))
        element = self._control(tag, staff=str(self.staff), startid=f"#{self.hand.id_of(host)}", **attributes)
        if sign.placement:
            element.set("place", sign.placement)
        if sign.ours:
            element.set("type", "gw-ours")
        if tag == "mordent" and sign.attribute("long") == "yes":
            element.set("long", "true")
        if tag == "ornam":
            element.set("label", sign.element)
            if sign.element == "words":
                element.text = sign.text or "+"
            elif sign.smufl:
                element.set("glyph.auth", "smufl")
                element.set("glyph.name", sign.smufl)
        for side, accidental in (("accidupper", sign.accidental_above), ("accidlower", sign.accidental_below)):
            if accidental in PRINTED:
                element.set(side, PRINTED[accidental])

    def _stamp(self, onset: Fraction) -> str:
        return f"{float(1 + (onset - self.bar.onset) * Fraction(self.bar.meter.unit, 4)):.8g}"

    def _figure(self, figure: Figure, staff: int) -> None:
        harm = self._control("harm", staff=str(staff), tstamp=self._stamp(figure.onset), place="below")
        column = add(harm, "fb")
        for item in figure.items:
            own = add(column, "f")
            own.text = _figure_text(item)
            if item.extend:
                own.set("extender", "true")

    def _words(self, words: Words, staff: int) -> None:
        tag = {"words": "dir", "dynamics": "dynam", "metronome": "tempo"}.get(words.kind, "")
        if tag and (words.text or words.tempo):
            element = self._control(tag, staff=str(staff), tstamp=self._stamp(words.onset))
            element.text = words.text
            if words.placement:
                element.set("place", words.placement)
            if tag == "tempo" and words.tempo:
                element.set("midi.bpm", f"{float(words.tempo):g}")


def _new_clefs(part: Part, staff: int) -> list[Clef]:
    """Clefs of a staff after its first, those left out that only say again what is in force."""
    own = [clef for clef in part.clefs if clef.staff == staff]
    return [
        clef for before, clef in itertools.pairwise(own)
        if (before.sign, before.line, before.octave) != (clef.sign, clef.line, clef.octave)
    ]  # fmt: skip


def _figure_text(item: FigureItem) -> str:
    number = "" if item.number is None else str(item.number)
    return FIGURE_SIGNS.get(item.prefix, "") + number + FIGURE_SIGNS.get(item.suffix, "")


def _measured(bar: Bar) -> Meter:
    return bar.meter if bar.meter.measured else Meter(4, 4)


def _layers(notes: Sequence[Note]) -> list[list[list[Note]]]:
    """Notes of one voice as layers of chords; what overlaps goes into a layer of its own."""
    layers: list[list[list[Note]]] = []
    for note in sorted(notes, key=lambda note: note.onset):
        for layer in layers:
            last = layer[-1]
            if note.onset == last[0].onset and note.length == last[0].length and note.chord and note.pitch is not None:
                last.append(note)
                break
            if note.onset >= last[0].end:
                layer.append([note])
                break
        else:
            layers.append([[note]])
    return layers


def _nest(layer: etree._Element, atoms: Sequence[_Atom], clefs: Sequence[Clef], start: Fraction) -> None:
    """Put atoms into a layer, tuplets and beams around them."""
    tuplets = _tuplets(atoms)
    beams = [span for span in _beams(atoms) if not any(_cross(span, other) for other in tuplets)]
    spans = sorted([(a, -b, 0) for a, b in tuplets] + [(a, -b, 1) for a, b in beams])
    stack: list[tuple[int, etree._Element]] = []
    waiting = list(clefs)
    for index, atom in enumerate(atoms):
        outside = stack[-1][1] if stack else layer
        before = len(outside)
        while spans and spans[0][0] == index:
            _, end, kind = spans.pop(0)
            box = add(stack[-1][1] if stack else layer, "beam" if kind else "tuplet")
            if not kind and atom.ratio:
                box.set("num", str(atom.ratio[0]))
                box.set("numbase", str(atom.ratio[1]))
            stack.append((-end, box))
        inside = stack[-1][1] if stack else layer
        while waiting and waiting[0].onset - start <= atom.onset:
            outside.insert(before, etree.Element("clef", clef_of(waiting.pop(0))))
            before += 1
        led = False
        for element in atom.elements:
            if element.get("grace") and not led:  # small notes before a beam stand outside it
                outside.insert(before, element)
                before += 1
                continue
            led = True
            if element.tag == "space" or element.attrib.pop("main", "none") != "none":
                element.set("dur", atom.dur)
                if atom.dots:
                    element.set("dots", str(atom.dots))
            inside.append(element)
        while stack and stack[-1][0] == index:
            stack.pop()


def _tuplets(atoms: Sequence[_Atom]) -> list[tuple[int, int]]:
    """First and last index of each tuplet: one ratio, up to where the beat is met again."""
    spans: list[tuple[int, int]] = []
    first = -1
    for index, atom in enumerate(atoms):
        if atom.ratio is None:
            continue
        if first < 0:
            first = index
        below = (atom.end - atoms[first].onset).denominator
        following = atoms[index + 1].ratio if index + 1 < len(atoms) else None
        if following != atom.ratio or below & (below - 1) == 0:
            spans.append((first, index))
            first = -1
    return spans


def _beams(atoms: Sequence[_Atom]) -> list[tuple[int, int]]:
    spans, first = [], -1
    for index, atom in enumerate(atoms):
        if atom.beam == "begin":
            first = index
        elif atom.beam == "end" and first >= 0:
            spans.append((first, index))
            first = -1
        elif atom.beam != "continue" and not (atom.elements[0].tag == "rest" and first >= 0):
            first = -1
    return spans


def _cross(one: tuple[int, int], other: tuple[int, int]) -> bool:
    return one[0] < other[0] <= one[1] < other[1] or other[0] < one[0] <= other[1] < one[1]
