"""Transpose a MusicXML document, keeping all else as it was.

The whole score moves by one interval: pitches, key signatures, printed accidentals, chord symbols, and those figures
of a figured bass that name an accidental (a sharp third may become a natural one in the new key).

Public: transposed.
"""

from __future__ import annotations

from typing import Final

from lxml import etree

from gracewright.errors import BadInput
from gracewright.pitch import STEPS, Pitch

ACCIDENTAL_NAMES: Final = {
    -2: "flat-flat", -1: "flat", 0: "natural", 1: "sharp", 2: "double-sharp",
}  # fmt: skip
_ALTERS: Final = {name: alter for alter, name in ACCIDENTAL_NAMES.items()} | {"sharp-sharp": 2, "double-flat": -2}


def transposed(root: etree._Element, diatonic: int, chromatic: int) -> None:
    """Move a partwise document in place by an interval (staff places, semitones): a rising minor third is 2, 3.

    Raises BadInput where the new key would need more than seven sharps or flats.

    >>> root = etree.fromstring("<part><attributes><key><fifths>1</fifths></key></attributes>"
    ...     "<note><pitch><step>F</step><alter>1</alter><octave>5</octave></pitch></note></part>")
    >>> transposed(root, 2, 3)
    >>> etree.tostring(root.find("note/pitch")), root.findtext(".//fifths")
    (b'<pitch><step>A</step><octave>5</octave></pitch>', '-2')
    """
    moved_fifths = Pitch(4, 0).transposed(diatonic, chromatic).fifths
    old_bass = None
    for element in root.iter("fifths", "pitch", "accidental", "figure", "root", "bass", "part"):
        if element.tag == "part":
            old_bass = None
        elif element.tag == "fifths":
            _move_signature(element, moved_fifths)
        elif element.tag == "pitch":
            old_bass = _move_pitch(element, diatonic, chromatic)
        elif element.tag == "figure":
            bass = _next_pitch(element) or old_bass
            if bass is not None:
                _move_figure(element, bass, diatonic, chromatic)
        elif element.tag == "accidental":
            _move_accidental(element)
        else:
            _move_chord_symbol(element, diatonic, chromatic)


def _move_signature(element: etree._Element, moved: int) -> None:
    fifths = int((element.text or "0").strip()) + moved
    if abs(fifths) > 7:
        raise BadInput("the new key would need more than seven sharps or flats", remedy="choose another transposition")
    element.text = str(fifths)


def _read(element: etree._Element) -> Pitch:
    alter = round(float(element.findtext("alter") or 0))
    return Pitch(int(element.findtext("octave") or 4), STEPS.index((element.findtext("step") or "C").strip()), alter)


def _move_pitch(element: etree._Element, diatonic: int, chromatic: int) -> Pitch:
    """Move a ``<pitch>`` and return what it was."""
    old = _read(element)
    new = old.transposed(diatonic, chromatic)
    for child in list(element):
        if child.tag == "step":
            child.text = STEPS[new.step]
        elif child.tag == "octave":
            child.text = str(new.octave)
        elif child.tag == "alter":
            element.remove(child)
    if new.alter:
        alter = etree.Element("alter")
        alter.text = str(new.alter)
        element.insert(1, alter)
    return old


def _move_accidental(element: etree._Element) -> None:
    """A printed accidental shows the (already moved) pitch of its note."""
    note = element.getparent()
    pitch = note.find("pitch") if note is not None else None
    if pitch is not None:
        element.text = ACCIDENTAL_NAMES.get(_read(pitch).alter, element.text)


def _next_pitch(figure: etree._Element) -> Pitch | None:
    """The bass note under a figure: MusicXML puts figures before their note."""
    column = figure.getparent()
    if column is None:
        return None
    place = column.getnext()
    while place is not None:
        if place.tag == "note":
            pitch = place.find("pitch")
            return None if pitch is None else _read(pitch)
        place = place.getnext()
    return None


def _move_figure(figure: etree._Element, bass: Pitch, diatonic: int, chromatic: int) -> None:
    """Respell the accidental of a figure for the new key."""
    number = figure.findtext("figure-number")
    interval = int(number) if number and number.strip().isdigit() else 3
    for tag in ("prefix", "suffix"):
        mark = figure.find(tag)
        if mark is None or (mark.text or "").strip() not in _ALTERS:
            continue
        above = Pitch.at(bass.diatonic + interval - 1)
        meant = Pitch(above.octave, above.step, _ALTERS[(mark.text or "").strip()])
        mark.text = ACCIDENTAL_NAMES.get(meant.transposed(diatonic, chromatic).alter, mark.text)


def _move_chord_symbol(element: etree._Element, diatonic: int, chromatic: int) -> None:
    step, alter = element.find(f"{element.tag}-step"), element.find(f"{element.tag}-alter")
    if step is None or (step.text or "").strip() not in STEPS:
        return
    old = Pitch(4, STEPS.index((step.text or "C").strip()), round(float(alter.text or 0)) if alter is not None else 0)
    new = old.transposed(diatonic, chromatic)
    step.text = STEPS[new.step]
    if alter is None and new.alter:
        alter = etree.SubElement(element, f"{element.tag}-alter")
    if alter is not None:
        alter.text = str(new.alter)
