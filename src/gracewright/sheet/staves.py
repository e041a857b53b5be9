"""Staves as MEI layers: a staff as written, with all its voices, and a staff as played.

Conventions: a ``Drawn`` is one staff of one bar: its layers, and the control events that belong to it (slurs, signs,
marks). Ids lead back to the notes (:func:`gracewright.sheet.layer.tone_of`): a written note has its own id made safe;
a played one adds ``--tTIME.NUMBER``, a small note ``--b0`` or ``--a0``, a sign ``--s0``.

Public: Drawn, written_bar, played_bar, Place, clef_attributes, played_id.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from gracewright.graces import Notated
from gracewright.pitch import STEPS, Pitch
from gracewright.score import Bar, Clef, Note, SmallNote
from gracewright.sheet.glyphs import OURS, sign_xml
from gracewright.sheet.layer import (
    Accidentals,
    Atom,
    attributes,
    beams_as_printed,
    beams_by_beat,
    drawn_id,
    layer_xml,
    text,
    tuplet_groups,
)
from gracewright.sheet.played import Struck
from gracewright.sheet.rhythm import DURATIONS, Slot, binary, printed, slots_of

ARTICULATIONS: Final = {
    "accent": "acc", "strong-accent": "marc", "staccato": "stacc", "tenuto": "ten", "detached-legato": "ten-stacc",
    "staccatissimo": "stacciss", "spiccato": "stacciss",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Drawn:
    """MEI of one bar on one staff: its layers, and the events that stand beside them."""

    layers: tuple[str, ...]
    events: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Place:
    """Where a bar is drawn: staff number, the pitch shift from sounding to written, the written signature."""

    staff: int
    shift: tuple[int, int]
    fifths: int
    lyrics: bool = False
    tag: str = ""  # tells the ids of one played staff from those of another that plays the same notes


def pitch_xml(pitch: Pitch, shift: tuple[int, int]) -> tuple[Pitch, str]:
    """The written pitch and its attributes."""
    written = pitch.transposed(*shift) if shift != (0, 0) else pitch
    return written, f' pname="{STEPS[written.step].lower()}" oct="{written.octave}"'


# ---- a staff as written ----------------------------------------------------------------------------------------


def written_bar(notes: Sequence[Note], bar: Bar, place: Place, added: Mapping[str, Notated],
                clefs: Sequence[Clef] = (), again: Mapping[str, Notated] | None = None) -> Drawn:
    """One bar of a staff as it stands on the page. ``added`` is what we add at a note, ``again`` what we add at the
    repeat only (its signs go below the staff); ``clefs`` change inside the bar."""
    accidentals = _accidentals(notes, place, added)
    layers: list[str] = []
    for voice in dict.fromkeys(note.voice for note in notes):
        atoms = _atoms([note for note in notes if note.voice == voice], bar, place, added, accidentals)
        atoms = _with_clefs(atoms, clefs if not layers else (), bar)
        offset = max(Fraction(0), bar.meter.length - bar.length) if bar.pickup else Fraction(0)
        beams = beams_as_printed(atoms) or beams_by_beat(atoms, _beam_beat(bar), offset)
        layers.append(layer_xml(atoms, [*tuplet_groups(atoms), *beams]))
    events = [event for note in notes for event in _events(note, bar, place, added.get(note.id, Notated()))]
    for note in notes:
        events += _repeat_signs(note, place, (again or {}).get(note.id, Notated()))
    return Drawn(tuple(layers) or ("<mRest/>",), tuple(events))


def _repeat_signs(note: Note, place: Place, again: Notated) -> list[str]:
    """Signs for the second time, below the staff and named as such."""
    here = drawn_id(note.id)
    events = [
        sign_xml(replace(sign, placement="below"), drawn_id(note.id, f"r{n}"), here, place.staff)
        for n, sign in enumerate(again.signs)
    ]
    if events:
        events.append(f'<dir staff="{place.staff}" place="below" type="ours" startid="#{here}"><rend fontsize="70%" '
                      f'color="{OURS}">2nd</rend></dir>')  # fmt: skip
    return events


def _beam_beat(bar: Bar) -> Fraction:
    """Beams follow the felt beat; in 3/8 the whole bar, in long units the quarter."""
    if bar.meter.unit >= 8 and bar.meter.beats == 3:
        return bar.meter.length
    return min(bar.meter.beat, Fraction(3, 2) if bar.meter.beat.numerator == 3 else Fraction(1))


def _accidentals(notes: Sequence[Note], place: Place, added: Mapping[str, Notated]) -> dict[str, str]:
    """Drawn id → ``<accid>``, in the order of time, all voices of the staff together."""
    state = Accidentals(place.fifths)
    found = {}
    for note in sorted(notes, key=lambda note: note.onset):
        small = [(small, f"b{n}") for n, small in enumerate((*note.marks.before, *_ours(added, note).before))]
        for one, tail in small:
            found[drawn_id(note.id, tail)] = state.of(pitch_xml(one.pitch, place.shift)[0])
        if note.pitch is not None:
            written = pitch_xml(note.pitch, place.shift)[0]
            found[note.id] = state.of(written, tied_in=note.tie_in, printed=bool(note.marks.accidental))
        for n, one in enumerate((*note.marks.after, *_ours(added, note).after)):
            found[drawn_id(note.id, f"a{n}")] = state.of(pitch_xml(one.pitch, place.shift)[0])
    return found


def _ours(added: Mapping[str, Notated], note: Note) -> Notated:
    return added.get(note.id, Notated())


def _atoms(notes: Sequence[Note], bar: Bar, place: Place, added: Mapping[str, Notated],
           accidentals: Mapping[str, str]) -> list[Atom]:
    atoms: list[Atom] = []
    at = bar.onset
    index = 0
    while index < len(notes):
        chord = [notes[index]]
        index += 1
        while index < len(notes) and notes[index].chord and notes[index].onset == chord[0].onset:
            chord.append(notes[index])
            index += 1
        first = chord[0]
        if first.onset > at:
            atoms += _spaces(at - bar.onset, first.onset - at)
        if first.onset < at or not first.length:
            continue
        atoms += _note_atoms(chord, bar, place, added, accidentals)
        at = first.end
    if at < bar.end and atoms:
        atoms += _spaces(at - bar.onset, bar.end - at)
    return atoms


def _spaces(onset: Fraction, length: Fraction) -> list[Atom]:
    return [
        Atom(f'<space dur="{DURATIONS[slot.value]}"{attributes({"dots": slot.dots or None})}/>',
             slot.onset, slot.length, False, True, value=slot.value,
             tuplet=(slot.tuplet.num, slot.tuplet.base) if slot.tuplet else None)
        for slot in slots_of([(onset, onset + length)], Fraction(1))
    ]  # fmt: skip


def _shape(note: Note) -> list[tuple[Fraction, int, Fraction]]:
    """Undotted value, dots and length of the printed notes that show a note: one, unless its value is missing."""
    factor = Fraction(*note.marks.tuplet) if note.marks.tuplet else Fraction(1)
    found = printed(note.length * factor)
    if found is None and not binary(note.length * factor):
        found = printed(note.value)  # a length that the page does not explain: show what it printed
    if found is not None:
        return [(*found, note.length)]
    return [(s.value, s.dots, s.length / factor) for s in slots_of([(Fraction(0), note.length * factor)], Fraction(1))]


def _note_atoms(chord: Sequence[Note], bar: Bar, place: Place, added: Mapping[str, Notated],
                accidentals: Mapping[str, str]) -> list[Atom]:
    first = chord[0]
    onset, marks = first.onset - bar.onset, first.marks
    if first.pitch is None and (first.whole_bar or first.length == bar.length):
        return [Atom(f'<mRest xml:id="{drawn_id(first.id)}"/>', onset, first.length, False, True)]
    shapes = _shape(first)
    atoms = []
    for number, (value, dots, length) in enumerate(shapes):
        duration = {"dur": DURATIONS[value], "dots": dots or None}
        tail = f"p{number}" if number else ""
        if first.pitch is None:
            xml = f'<rest xml:id="{drawn_id(first.id, tail)}"{attributes(duration)}/>'
        else:
            tie = _tie(number > 0, number + 1 < len(shapes))  # ties from note to note are drawn apart
            alone = {} if len(chord) > 1 else duration
            heads = [_head(note, tie, alone, place, accidentals, tail) for note in chord]
            xml = heads[0] if len(chord) == 1 else f"<chord{attributes(duration)}>{''.join(heads)}</chord>"
        if number == 0:
            before, after = _small_notes(first, place, added, accidentals)
            xml = before + xml + after
        atoms.append(Atom(xml, onset, length, value < 1, first.pitch is None, marks.beam, marks.tuplet, value))
        onset += length
    return atoms


def _tie(tied_in: bool, tied_out: bool) -> str:
    return "m" if tied_in and tied_out else "t" if tied_in else "i" if tied_out else ""


def _head(note: Note, tie: str, duration: Mapping[str, object], place: Place, accidentals: Mapping[str, str],
          tail: str) -> str:
    assert note.pitch is not None, "rests have no head"
    _, pitch = pitch_xml(note.pitch, place.shift)
    cue = {"cue": "true"} if note.cue else {}
    inner = accidentals.get(note.id, "") if not tail else ""
    if not tail:
        inner += "".join(f'<artic artic="{ARTICULATIONS[a]}"/>' for a in note.marks.articulations if a in ARTICULATIONS)
        if place.lyrics:
            inner += "".join(_verse(n, line) for n, line in enumerate(note.marks.lyrics, 1) if line)
    look = attributes({**duration, **cue, "tie": tie})
    return f'<note xml:id="{drawn_id(note.id, tail)}"{look}{pitch}>{inner}</note>'


def _verse(number: int, syllable: str) -> str:
    joined = ' wordpos="i" con="d"' if syllable.endswith("-") else ""
    return f'<verse n="{number}"><syl{joined}>{text(syllable.removesuffix("-"))}</syl></verse>'


def _small_notes(note: Note, place: Place, added: Mapping[str, Notated],
                 accidentals: Mapping[str, str]) -> tuple[str, str]:
    """Small notes before and after a note, those of the page first."""
    ours = _ours(added, note)
    before = [_small(n, one, note, place, accidentals, "b") for n, one in enumerate((*note.marks.before, *ours.before))]
    after = [_small(n, one, note, place, accidentals, "a") for n, one in enumerate((*note.marks.after, *ours.after))]
    return _grouped(before, "pre"), _grouped(after, "post")


def _grouped(notes: Sequence[str], attach: str) -> str:
    if not notes:
        return ""
    inner = "".join(notes)
    return f'<graceGrp attach="{attach}">{f"<beam>{inner}</beam>" if len(notes) > 1 else inner}</graceGrp>'


def _small(number: int, small: SmallNote, note: Note, place: Place, accidentals: Mapping[str, str], tail: str) -> str:
    drawn = drawn_id(note.id, f"{tail}{number}")
    _, pitch = pitch_xml(small.pitch, place.shift)
    found = printed(small.value) or (Fraction(1, 2), 0)
    look = {"dur": DURATIONS[found[0]], "dots": found[1] or None, "grace": "unacc" if small.slash else "acc",
            "stem.mod": "1slash" if small.slash else None, "color": OURS if small.ours else None,
            "type": "ours" if small.ours else None}  # fmt: skip
    return f'<note xml:id="{drawn}"{attributes(look)}{pitch}>{accidentals.get(drawn, "")}</note>'


def _with_clefs(atoms: list[Atom], clefs: Sequence[Clef], bar: Bar) -> list[Atom]:
    """Clefs put before the atom at their time; one at the bar's end goes last."""
    for clef in clefs:
        xml = f"<clef{attributes(clef_attributes(clef, ''))}/>"
        at = clef.onset - bar.onset
        place = next((i for i, atom in enumerate(atoms) if atom.onset >= at), len(atoms))
        atoms = [*atoms[:place], Atom(xml, at, Fraction(0), False, True), *atoms[place:]]
    return atoms


def clef_attributes(clef: Clef, prefix: str) -> dict[str, object]:
    """MEI attributes of a clef, with ``clef.`` before them in a staff definition."""
    octaves = {1: 8, 2: 15}.get(abs(clef.octave))
    return {f"{prefix}shape": clef.sign, f"{prefix}line": clef.line, f"{prefix}dis": octaves,
            f"{prefix}dis.place": None if octaves is None else "above" if clef.octave > 0 else "below"}  # fmt: skip


def _events(note: Note, bar: Bar, place: Place, ours: Notated) -> list[str]:
    """Control events of one written note."""
    here, marks = drawn_id(note.id), note.marks
    offset = note.onset + note.length * Fraction(3, 5) - bar.onset
    after = f"{float(1 + offset * bar.meter.unit / 4):.4f}"
    page = {sign.element for sign in marks.signs}
    signs = [*marks.signs, *(sign for sign in ours.signs if sign.element not in page)]
    events = [
        sign_xml(sign, drawn_id(note.id, f"s{n}"), here, place.staff, after=after) for n, sign in enumerate(signs)
    ]
    if "start" in marks.wavy and not signs:
        events.append(f'<trill staff="{place.staff}" startid="#{here}"/>')
    if marks.fermata:
        events.append(f'<fermata staff="{place.staff}" place="above" startid="#{here}"/>')
    if marks.breath:
        events.append(f'<breath staff="{place.staff}" startid="#{here}"/>')
    if marks.arpeggio:
        events.append(f'<arpeg staff="{place.staff}" startid="#{here}"/>')
    before, behind = (*marks.before, *ours.before), (*marks.after, *ours.after)
    if any(small.slurred for small in before) and note.pitch is not None:
        events.append(_slur(drawn_id(note.id, "b0"), here, place.staff, before[0].ours))
    if any(small.slurred for small in behind) and note.pitch is not None:
        events.append(_slur(here, drawn_id(note.id, f"a{len(behind) - 1}"), place.staff, behind[0].ours))
    return events


def _slur(start: str, end: str, staff: int, ours: bool) -> str:
    colour = f' color="{OURS}"' if ours else ""
    return f'<slur staff="{staff}" startid="#{start}" endid="#{end}"{colour}/>'


# ---- a staff as played -----------------------------------------------------------------------------------------


def played_bar(struck: Sequence[Struck], bar: Bar, place: Place) -> Drawn:
    """One bar of a staff with what is played, gaps as rests."""
    if not struck:
        return Drawn(("<mRest/>",))
    spans: list[tuple[Fraction, Fraction]] = []
    owners: list[Struck | None] = []
    at = Fraction(0)
    for note in struck:
        if note.onset > at:
            spans.append((at, note.onset))
            owners.append(None)
        spans.append((max(at, note.onset), note.end))
        owners.append(note)
        at = note.end
    if at < bar.length:
        spans.append((at, bar.length))
        owners.append(None)
    offset = max(Fraction(0), bar.meter.length - bar.length) if bar.pickup else Fraction(0)
    moved = [(a + offset, b + offset) for a, b in spans]
    slots = slots_of(moved, bar.meter.beat)
    state = Accidentals(place.fifths)
    atoms = [_played_atom(slot, owners[slot.span], bar, place, state, number) for number, slot in enumerate(slots)]
    groups = [*tuplet_groups(atoms), *beams_by_beat(atoms, _beam_beat(bar))]
    return Drawn((layer_xml(atoms, groups),), tuple(_played_slurs(struck, place)))


def played_id(note: Struck, tag: str = "", bar: Bar | None = None, number: int = 0) -> str:
    """Id of a played note; its later parts are told apart by bar and place."""
    tail = f"t{note.time}.{note.number}{tag}"
    return drawn_id(note.host, tail if bar is None else f"{tail}.{bar.index}.{number}")


def _played_atom(slot: Slot, note: Struck | None, bar: Bar, place: Place, state: Accidentals, number: int) -> Atom:
    duration = {"dur": DURATIONS.get(slot.value, "256"), "dots": slot.dots or None}
    tuplet = (slot.tuplet.num, slot.tuplet.base) if slot.tuplet else None
    if note is None:
        xml = f"<rest{attributes(duration)}/>"
    else:
        tied_in, tied_out = note.tied_in or not slot.first, note.tied_out or not slot.last
        written, pitch = pitch_xml(note.pitch, place.shift)
        accid = state.of(written, tied_in=tied_in)
        drawn = played_id(note, place.tag) if not tied_in else played_id(note, place.tag, bar, number)
        look = attributes({**duration, "tie": _tie(tied_in, tied_out), "type": "added" if not note.main else None})
        xml = f'<note xml:id="{drawn}"{look}{pitch}>{accid}</note>'
    beat = _beam_beat(bar)
    group = slot.tuplet
    across = group is not None and group.end > (group.onset // beat + 1) * beat
    together = group.onset if group is not None and across else None
    return Atom(xml, slot.onset, slot.length, slot.value < 1, note is None, "", tuplet, slot.value, together)


def _played_slurs(struck: Sequence[Struck], place: Place) -> list[str]:
    """A slur over each run of notes that are slurred together."""
    slurs, start = [], 0
    for index in range(1, len(struck) + 1):
        joined = index < len(struck) and struck[index].slurred and struck[index].host == struck[index - 1].host
        if not joined:
            if index - start > 1 and not struck[start].tied_in:
                ends = played_id(struck[start], place.tag), played_id(struck[index - 1], place.tag)
                slurs.append(_slur(*ends, place.staff, False))
            start = index
    return slurs
