"""Names for notes that come as keys of a keyboard.

Each sounding pitch class of the surroundings votes, as often as it sounds there, for the letter that a note would have
in the chromatic scale built on it; the letter with most votes names the note. Measured on the open data by
``bench/bench_midi.py``.

Public: spell, respell.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

from lxml import etree

from gracewright.pitch import STEPS, Pitch
from gracewright.score.lines import alter_in
from gracewright.score.model import Piece
from gracewright.score.notation import accidental_name

BEFORE: Final = 10
AFTER: Final = 42
"""Notes of the surroundings, before and after."""
STEPS_ABOVE: Final = (0, 1, 1, 2, 2, 3, 3, 4, 5, 5, 6, 6)
"""Letters above its tonic of each degree of a chromatic scale, as it is commonly written."""
NATURAL: Final = (0, 2, 4, 5, 7, 9, 11)


def spell(keys: Sequence[int], fifths: int) -> list[Pitch]:
    """Pitches for MIDI keys in the order in which they sound, under a signature of so many sharps (flats negative).

    >>> [str(pitch) for pitch in spell([69, 71, 72, 68, 69], 0)]
    ['A4', 'B4', 'C5', 'G#4', 'A4']
    """
    if not keys:
        return []
    classes = [key % 12 for key in keys]
    home = (fifths * 7) % 12  # the major tonic of the signature
    home_letter = (fifths * 4) % 7
    around = Counter(classes[: AFTER + 1])
    found = []
    for place, key in enumerate(keys):
        if place:
            entering, leaving = place + AFTER, place - BEFORE - 1
            if entering < len(classes):
                around[classes[entering]] += 1
            if leaving >= 0:
                around[classes[leaving]] -= 1
        votes = [0] * 7
        for tonic, count in around.items():
            tonic_letter = (home_letter + STEPS_ABOVE[(tonic - home) % 12]) % 7
            votes[(tonic_letter + STEPS_ABOVE[(classes[place] - tonic) % 12]) % 7] += count
        found.append(_on_letter(key, max(range(7), key=lambda letter: votes[letter])))
    return found


def _on_letter(key: int, letter: int) -> Pitch:
    """A key named by a letter, if two accidentals are enough; else by the nearest letter."""
    alter = (key % 12 - NATURAL[letter] + 6) % 12 - 6
    if abs(alter) > 2:
        letter = min(range(7), key=lambda other: abs((key % 12 - NATURAL[other] + 6) % 12 - 6))
        alter = (key % 12 - NATURAL[letter] + 6) % 12 - 6
    return Pitch((key - alter - NATURAL[letter]) // 12 - 1, letter, alter)


def respell(piece: Piece) -> etree._ElementTree:
    """The document of a piece with its notes named anew; notes tied to one another keep one name."""
    assert piece.document is not None, "a piece that was read keeps its document"
    tree, elements = piece.document.opened()
    sounding = [note for note in piece.notes if note.pitch is not None]
    struck = [note.pitch.midi for note in sounding if note.pitch is not None and not note.tie_in]
    names = iter(spell(struck, piece.bars[0].fifths))
    last: dict[tuple[str, int], Pitch] = {}
    for note in sounding:
        assert note.pitch is not None, "rests were left out"
        place = (note.part, note.pitch.midi)
        if not note.tie_in:
            last[place] = next(names)
        _rename(elements[note.id], last.get(place, note.pitch))
    for part in tree.getroot().findall("part"):
        _accidentals(part)
    return tree


def _rename(note: etree._Element, pitch: Pitch) -> None:
    element = note.find("pitch")
    assert element is not None, "only pitched notes are spelled"
    for child in list(element):
        element.remove(child)
    for tag, text in (("step", STEPS[pitch.step]), ("alter", str(pitch.alter)), ("octave", str(pitch.octave))):
        if text != "0" or tag == "octave":
            etree.SubElement(element, tag).text = text


def _accidentals(part: etree._Element) -> None:
    """Print the accidentals that the names need, bar by bar."""
    fifths = 0
    for bar in part.findall("measure"):
        state: dict[tuple[str, str, str], int] = {}
        for child in bar:
            if child.tag == "attributes" and child.find("key/fifths") is not None:
                fifths = int(child.findtext("key/fifths") or 0)
            element = child.find("pitch") if child.tag == "note" else None
            if element is None:
                continue
            for old in child.findall("accidental"):
                child.remove(old)
            step, octave = element.findtext("step") or "C", element.findtext("octave") or "4"
            alter = int(element.findtext("alter") or 0)
            place = (child.findtext("staff") or "1", step, octave)
            if state.get(place, alter_in(fifths, STEPS.index(step))) != alter:
                state[place] = alter
                if not any(tie.get("type") == "stop" for tie in child.findall("tie")):
                    _insert(child, accidental_name(alter))


def _insert(note: etree._Element, name: str) -> None:
    """An accidental stands after type and dots."""
    ahead = [place for place, child in enumerate(note)
             if child.tag in ("pitch", "duration", "tie", "voice", "type", "dot", "chord", "instrument")]  # fmt: skip
    accidental = etree.Element("accidental")
    accidental.text = name
    note.insert(ahead[-1] + 1, accidental)
