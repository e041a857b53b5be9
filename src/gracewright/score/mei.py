"""MEI (4 and 5, common notation) into a ``Piece``.

Conventions: each staff becomes a part; the document that the piece keeps is MusicXML made from the MEI file, with its
ids. Of several movements the first is read. Mensural notation, neumes and tablature are refused.

Public: read_mei.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.score.draft import Draft, DraftBar, DraftPart, Event, Frame, clean, to_musicxml
from gracewright.score.lines import alter_in
from gracewright.score.mei_layer import LayerReader, chosen, local, spelled_alterations
from gracewright.score.mei_signs import SignReader, is_editors_mark
from gracewright.score.model import Piece
from gracewright.score.musicxml import read_tree
from gracewright.score.musicxml_part import staff_places
from gracewright.score.musicxml_whole import listed
from gracewright.score.safe import parse_xml

MAX_STAVES: Final = 32
MAX_MEASURES: Final = 10_000


@dataclass(slots=True)
class _Staff:
    """What is in force on a staff."""

    number: str
    name: str = ""
    fifths: int = 0
    alters: dict[int, int] | None = None  # a signature given note by note
    mode: str = ""
    clef: tuple[str, str, int] = ("G", "2", 0)
    transpose: tuple[int, int] = (0, 0)
    dur: str = "4"
    tied: dict[tuple[int, int], int] = field(default_factory=dict)

    def signature(self) -> list[int]:
        if self.alters is not None:
            return [self.alters.get(step, 0) for step in range(7)]
        return [alter_in(self.fifths, step) for step in range(7)]


@dataclass(slots=True)
class _State:
    """The state of one reading."""

    draft: Draft
    name: str
    staves: dict[str, _Staff] = field(default_factory=dict)
    meter: tuple[str, int, str] | None = None  # beats, unit, symbol
    pending: dict[str, set[str]] = field(default_factory=dict)  # staff → attributes to state
    by_id: dict[str, Event] = field(default_factory=dict)
    bar_of: dict[str, tuple[str, Fraction]] = field(default_factory=dict)
    spans: dict[str, tuple[int, int]] = field(default_factory=dict)
    ties: tuple[frozenset[str], frozenset[str]] = (frozenset(), frozenset())
    late: list[tuple[etree._Element, SignReader]] = field(default_factory=list)
    endings: list[str] = field(default_factory=list)
    last_layers: dict[str, etree._Element] = field(default_factory=dict)

    def length(self) -> Fraction:
        if self.meter is None:
            return Fraction(4)
        beats = sum(int(number) for number in re.findall(r"\d+", self.meter[0])) or 4
        return Fraction(4 * beats, self.meter[1])


def read_mei(data: bytes, name: str) -> Piece:
    """Read MEI. Raises BadInput or UnsafeInput with one sentence."""
    root = parse_xml(data, name).getroot()
    if local(root) not in ("mei", "music", "meiCorpus"):
        raise BadInput(f"the document is <{local(root)[:40]}>, not MEI", file=name, remedy="export it again")
    draft = read_draft(root, name)
    piece = read_tree(to_musicxml(draft), name)
    return replace(piece, remarks=(*piece.remarks, *draft.remarks))


def read_draft(root: etree._Element, name: str) -> Draft:
    """The first movement of an MEI document as a draft. Raises BadInput."""
    draft = Draft()
    _heading(draft, root)
    scores = [
        element for element in root.iter()
        if local(element) == "score" and not any(local(above) == "incip" for above in element.iterancestors())
    ]  # fmt: skip
    if not scores:
        raise BadInput("the MEI file holds no score", file=name, remedy="export it with its music")
    if len(scores) > 1:
        draft.remark(f"The file holds {len(scores)} movements; the first is read.")
    state = _State(draft, name)
    _links(state, scores[0])
    try:
        _walk(state, scores[0])
        for measure, signs in state.late:
            signs.read(measure)
        _remark_on_doubts(state)
    except (ValueError, ArithmeticError, LookupError, TypeError) as fault:
        bar = draft.frames[-1].number if draft.frames else ""
        raise BadInput(f"the score cannot be made sense of ({str(fault)[:80]})", file=name, bar=bar,
                       remedy="export it again") from None  # fmt: skip
    if not draft.frames:
        old = next((local(e) for e in scores[0].iter() if local(e) in ("neume", "mensur", "tabGrp", "syllable")), "")
        what = "is not in common notation" if old else "has no bars"
        raise BadInput(f"the score {what}", file=name, remedy="give a score with bars in common notation")
    return draft


def _remark_on_doubts(state: _State) -> None:
    """Warning marks of an editor are not on the page; that they are there is said."""
    marked = [frame.number for (measure, _), frame in zip(state.late, state.draft.frames, strict=True)
              if any(is_editors_mark(element) for element in chosen(measure))]  # fmt: skip
    if marked:
        state.draft.remark(f"{listed(marked)}: the edition marks something there as doubtful or corrected.")


def _heading(draft: Draft, root: etree._Element) -> None:
    for element in root.iter():
        tag = local(element)
        if tag == "title" and not draft.title:
            draft.title = clean("".join(str(piece) for piece in element.itertext()))
        elif not draft.composer and (
            tag == "composer" or (tag == "persName" and element.get("role") in ("composer", "cmp"))
        ):
            draft.composer = clean("".join(str(piece) for piece in element.itertext()))
        elif tag == "music":
            return


def _links(state: _State, score: etree._Element) -> None:
    """Ties and tuplet spans, which name their notes from outside."""
    starts, stops = set(), set()
    for element in score.iter():
        tag = local(element)
        if tag == "tie":
            starts.add((element.get("startid") or "").lstrip("#"))
            stops.add((element.get("endid") or "").lstrip("#"))
        elif tag == "tupletSpan":
            num = int(element.get("num") or 3)
            base = int(element.get("numbase") or 2 ** (max(num, 1).bit_length() - 1))
            if num > 0 and base > 0:
                for named in _spanned(score, element):
                    state.spans[named] = (num, base)
    state.ties = (frozenset(starts), frozenset(stops))


def _spanned(score: etree._Element, span: etree._Element) -> list[str]:
    """Ids of the events under a tuplet span: those listed, else those between its ends in document order."""
    listed = [name.lstrip("#") for name in (span.get("plist") or "").split()]
    if listed:
        return listed
    first, last = (span.get("startid") or "").lstrip("#"), (span.get("endid") or "").lstrip("#")
    key, inside, found = "{http://www.w3.org/XML/1998/namespace}id", False, []
    for element in score.iter():
        if local(element) not in ("note", "rest", "chord", "space"):
            continue
        own = element.get(key, "")
        inside = inside or own == first
        if inside and own:
            found.append(own)
        if own == last:
            break
    return found if len(found) < 50 else []


def _walk(state: _State, element: etree._Element) -> None:
    for child in chosen(element):
        tag = local(child)
        if tag in ("scoreDef", "staffDef"):
            _definition(state, child)
        elif tag in ("section", "expansion", "part", "parts"):
            _walk(state, child)
        elif tag == "ending":
            _ending(state, child)
        elif tag == "measure":
            _measure(state, child)
        elif tag in ("staff", "layer") and not state.draft.frames:
            raise BadInput("the score has no bars", file=state.name, remedy="give a score with bars")


def _ending(state: _State, element: etree._Element) -> None:
    first = len(state.draft.frames)
    _walk(state, element)
    frames = state.draft.frames[first:]
    if frames:
        numbers = ",".join(re.findall(r"\d+", element.get("n") or "")) or str(len(state.endings) + 1)
        state.endings.append(numbers)
        frames[0].left.insert(0, etree.Element("ending", number=numbers, type="start"))
        frames[-1].right.insert(0, etree.Element("ending", number=numbers, type="stop"))


def _definition(state: _State, element: etree._Element) -> None:
    """A scoreDef or staffDef: what changes is stated at the next bar."""
    for child in element.iter():
        if local(child) == "staffDef":
            number = child.get("n") or str(len(state.staves) + 1)
            if number not in state.staves and not state.draft.frames:
                if len(state.staves) >= MAX_STAVES:
                    raise BadInput(f"the score has more than {MAX_STAVES} staves", file=state.name)
                state.staves[number] = _Staff(number)
                state.draft.parts.append(DraftPart(f"P{len(state.staves)}", ""))
                state.pending[number] = {"key", "clef", "transpose"}
    if local(element) == "scoreDef":
        _meter(state, element)
        for staff in state.staves.values():
            _in_force(state, staff, element)
    for child in element.iter():
        if local(child) == "staffDef":
            number = child.get("n") or ""
            if number in state.staves:
                _in_force(state, state.staves[number], child)
                _meter(state, child)
            elif state.draft.frames:
                state.draft.remark("A staff that begins later in the piece is left out.")
    if not state.draft.frames:
        for part, staff in zip(state.draft.parts, state.staves.values(), strict=True):
            part.name = staff.name or part.name or f"Staff {staff.number}"


def _own(element: etree._Element, tag: str) -> etree._Element | None:
    return next((child for child in chosen(element) if local(child) == tag), None)


def _meter(state: _State, element: etree._Element) -> None:
    signature = _own(element, "meterSig")
    count, unit, symbol = (element.get(f"meter.{key}") for key in ("count", "unit", "sym"))
    if signature is not None:
        count, unit, symbol = signature.get("count"), signature.get("unit"), signature.get("sym")
    if symbol in ("common", "cut"):
        count, unit = count or ("4" if symbol == "common" else "2"), unit or ("4" if symbol == "common" else "2")
    if count and re.fullmatch(r"\d+(\s*\+\s*\d+)*", count.strip()) and (unit or "4").isdigit() and int(unit or 4) > 0:
        meter = (count.replace(" ", ""), int(unit or 4), symbol if symbol in ("common", "cut") else "")
        if meter != state.meter:
            state.meter = (meter[0], meter[1], meter[2] or "")
            for number in state.staves:
                state.pending.setdefault(number, set()).add("time")


def _in_force(state: _State, staff: _Staff, element: etree._Element) -> None:
    pending = state.pending.setdefault(staff.number, set())
    label = _own(element, "label")
    name = element.get("label") or ("".join(str(p) for p in label.itertext()) if label is not None else "")
    if name and local(element) == "staffDef":
        staff.name = clean(name)
    if element.get("dur.default"):
        staff.dur = element.get("dur.default", "4")
    _key(staff, element, pending)
    clef = _own(element, "clef")
    if clef is not None:
        staff.clef = _clef(clef, "") or staff.clef
        pending.add("clef")
    elif element.get("clef.shape"):
        staff.clef = _clef(element, "clef.") or staff.clef
        pending.add("clef")
    if element.get("trans.semi"):
        chromatic = int(float(element.get("trans.semi", "0")))
        told = element.get("trans.diat")
        staff.transpose = (staff_places(chromatic, int(float(told)) if told else None), chromatic)
        pending.add("transpose")


def _key(staff: _Staff, element: etree._Element, pending: set[str]) -> None:
    signature = _own(element, "keySig")
    sig = element.get("key.sig") or element.get("keysig")
    if signature is not None:
        sig = signature.get("sig") or sig
        alters = [child for child in signature if local(child) == "keyAccid"]
        if alters and not sig:
            values = {"s": 1, "f": -1, "n": 0, "x": 2, "ss": 2, "ff": -2}
            staff.alters = {"cdefgab".index(a.get("pname", "c")): values.get(a.get("accid", "n"), 0) for a in alters}
            staff.fifths = sum(staff.alters.values())
            pending.add("key")
    match = re.fullmatch(r"(\d+)([sf])|0n?", (sig or "").strip())
    if match:
        staff.fifths = int(match[1] or 0) * (-1 if match[2] == "f" else 1)
        staff.alters = None
        pending.add("key")
    mode = element.get("key.mode") or (signature.get("mode") if signature is not None else "") or ""
    if mode:
        staff.mode = mode
        pending.add("key")


def _clef(element: etree._Element, prefix: str) -> tuple[str, str, int] | None:
    shape = element.get(f"{prefix}shape") or ""
    if shape not in ("G", "F", "C", "GG", "perc", "TAB"):
        return None
    octaves = {"8": 1, "15": 2, "22": 3}.get(element.get(f"{prefix}dis") or "", 0)
    if element.get(f"{prefix}dis.place") == "below":
        octaves = -octaves
    if shape == "GG":
        shape, octaves = "G", -1
    if shape in ("perc", "TAB"):
        return ("percussion" if shape == "perc" else "TAB", "", 0)
    return shape, element.get(f"{prefix}line") or {"G": "2", "F": "4", "C": "3"}[shape], octaves


def _measure(state: _State, measure: etree._Element) -> None:
    draft = state.draft
    if len(draft.frames) >= MAX_MEASURES:
        raise BadInput(f"the score has more than {MAX_MEASURES} bars", file=state.name)
    if not state.staves:
        raise BadInput("the score does not say what staves it has", file=state.name, element="staffDef")
    frame = Frame(clean(measure.get("n") or "") or str(len(draft.frames) + 1))
    _barlines(draft, frame, measure)
    bars = {number: DraftBar() for number in state.staves}
    here = {child.get("n") or "1": child for child in chosen(measure) if local(child) == "staff"}
    readers = _layers(state, here)
    _shorten_rests(readers)
    lengths = [reader.at for group in readers.values() for reader in group if not _all_whole(reader)]
    frame.length = max(lengths, default=Fraction(0)) or state.length()
    frame.implicit = measure.get("metcon") == "false" and frame.length < state.length()
    for number, group in readers.items():
        for reader in group:
            if _all_whole(reader):
                for event in reader.events:
                    event.length = frame.length - event.onset
        staff = state.staves[number]
        spelled_alterations(group, staff.signature(), staff.tied)
        bars[number].layers = [reader.events for reader in group]
        for reader in group:
            state.by_id.update(reader.by_id)
            state.bar_of.update({own: (number, event.onset) for own, event in reader.by_id.items()})
            for at, clef in reader.clefs:
                found = _clef(clef, "")
                if found is not None and found != staff.clef:
                    staff.clef = found
                    bars[number].at.append((at, _stated(state, staff, {"clef"})))
    for number, pending in state.pending.items():
        if number in bars and pending:
            bars[number].at.insert(0, (Fraction(0), _stated(state, state.staves[number], pending)))
            state.pending[number] = set()
    draft.frames.append(frame)
    for part, bar in zip(draft.parts, bars.values(), strict=True):
        part.bars.append(bar)
    unit = state.meter[1] if state.meter else 4
    slur = state.late[-1][1].slur if state.late else 0
    state.late.append((measure, SignReader(draft, unit, bars, state.by_id, state.bar_of, slur)))


def _shorten_rests(readers: dict[str, list[LayerReader]]) -> None:
    """A lone rest that outlasts the notes of its bar (a sign for several bars) is a rest for this bar."""
    groups = [reader for group in readers.values() for reader in group]
    sounding = [reader.at for reader in groups if any(event.what == "note" for event in reader.events)]
    for reader in groups:
        if sounding and len(reader.events) == 1 and reader.events[0].what != "note" and reader.at > max(sounding):
            reader.events[0].whole_bar = True


def _all_whole(reader: LayerReader) -> bool:
    return all(event.whole_bar for event in reader.events)


def _layers(state: _State, here: dict[str, etree._Element]) -> dict[str, list[LayerReader]]:
    found: dict[str, list[LayerReader]] = {}
    for number, staff in state.staves.items():
        found[number] = []
        element = here.get(number)
        for layer in _layer_elements(element):
            if any(local(child) in ("mRpt", "halfmRpt", "beatRpt") for child in layer.iter()):
                state.draft.remark("Bars given as a repeat sign are read as the bar before them.")
                layer = state.last_layers.get(number, layer)
            else:
                state.last_layers[number] = layer
            reader = LayerReader(state.draft, state.length(), staff.dur, spans=state.spans,
                                 tie_starts=state.ties[0], tie_stops=state.ties[1])  # fmt: skip
            reader.read(layer)
            found[number].append(reader)
    return found


def _layer_elements(staff: etree._Element | None) -> Iterator[etree._Element]:
    if staff is not None:
        yield from (child for child in chosen(staff) if local(child) == "layer")


def _barlines(draft: Draft, frame: Frame, measure: etree._Element) -> None:
    left, right = measure.get("left") or "", measure.get("right") or ""
    carried = bool(draft.frames) and any(element.tag == "carried" for element in draft.frames[-1].right)
    if left in ("rptstart", "rptboth") or carried:
        frame.left.append(etree.Element("repeat", direction="forward"))
    if carried:
        draft.frames[-1].right = [element for element in draft.frames[-1].right if element.tag != "carried"]
    if right in ("rptend", "rptboth"):
        frame.style = "light-heavy"
        frame.right.append(etree.Element("repeat", direction="backward"))
    if right in ("rptboth", "rptstart"):
        frame.right.append(etree.Element("carried"))
    if left == "rptend" and draft.frames:
        draft.frames[-1].right.append(etree.Element("repeat", direction="backward"))
    style = {"dbl": "light-light", "end": "light-heavy", "dashed": "dashed", "dotted": "dotted",
             "invis": "none"}.get(right, "")  # fmt: skip
    frame.style = frame.style or style


def _stated(state: _State, staff: _Staff, what: set[str]) -> etree._Element:
    """``<attributes>`` with what is to be stated."""
    attributes = etree.Element("attributes")

    def put(parent: etree._Element, tag: str, text: object) -> None:
        etree.SubElement(parent, tag).text = str(text)

    if "key" in what:
        key = etree.SubElement(attributes, "key")
        put(key, "fifths", max(-7, min(7, staff.fifths)))
        if staff.mode in ("major", "minor", "dorian", "phrygian", "lydian", "mixolydian", "aeolian", "ionian"):
            put(key, "mode", staff.mode)
    if "time" in what or ("key" in what and not state.draft.frames):
        time = etree.SubElement(attributes, "time")
        if state.meter is None:
            put(time, "senza-misura", "")
        else:
            if state.meter[2]:
                time.set("symbol", state.meter[2])
            put(time, "beats", state.meter[0])
            put(time, "beat-type", state.meter[1])
    if "clef" in what:
        clef = etree.SubElement(attributes, "clef")
        put(clef, "sign", staff.clef[0])
        if staff.clef[1]:
            put(clef, "line", staff.clef[1])
        if staff.clef[2]:
            put(clef, "clef-octave-change", staff.clef[2])
    if "transpose" in what and staff.transpose != (0, 0):
        transpose = etree.SubElement(attributes, "transpose")
        put(transpose, "diatonic", staff.transpose[0])
        put(transpose, "chromatic", staff.transpose[1])
    return attributes
