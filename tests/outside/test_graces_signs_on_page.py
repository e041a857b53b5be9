"""Signs as they stand in a score, read by the source that explains them, give the notes that the source prints.

From end to end: MusicXML in, the sign found, its source asked, the notes compared with the source's table
(jsbach1720 whole; the wavy lines of danglebert1689; marpurg1755 where MusicXML has the sign).
"""

from fractions import Fraction as F

import pytest

from gracewright.graces import Placed, contexts, load_source, page_graces, realise
from gracewright.pitch import Pitch
from gracewright.score import find_solo, read
from gracewright.study import study

WAVY = "<inverted-mordent{}/>"
GRACE = ('<note><grace steal-time-following="50"/><pitch><step>{}</step><octave>{}</octave></pitch>'
         "<type>eighth</type></note>")  # fmt: skip
CASES = [
    # source, entry, reading, small notes before, sign, the note before
    ("jsbach1720", "trillo", 1, "", WAVY.format(""), "C5"),
    ("jsbach1720", "mordant", 1, "", "<mordent/>", "C5"),
    ("jsbach1720", "trillo_und_mordant", 1, "", WAVY.format(' departure="below"'), "C5"),
    ("jsbach1720", "cadence", 1, "", "<turn/>", "C5"),
    ("jsbach1720", "doppelt_cadence_unten", 1, "", WAVY.format(' approach="below"'), "C5"),
    ("jsbach1720", "doppelt_cadence_oben", 1, "", WAVY.format(' approach="above"'), "C5"),
    ("jsbach1720", "doppelt_cadence_mordant_unten", 1, "", WAVY.format(' approach="below" departure="below"'), "C5"),
    ("jsbach1720", "doppelt_cadence_mordant_oben", 1, "", WAVY.format(' approach="above" departure="below"'), "C5"),
    ("jsbach1720", "accent_steigend", 1, GRACE.format("B", 4), "", "B4"),
    ("jsbach1720", "accent_fallend", 1, GRACE.format("D", 5), "", "D5"),
    ("jsbach1720", "accent_und_mordant", 1, GRACE.format("B", 4), "<mordent/>", "B4"),
    ("jsbach1720", "accent_und_trillo", 1, GRACE.format("D", 5), WAVY.format(""), "D5"),
    ("jsbach1720", "accent_und_trillo_idem", 1, "",
     '<other-ornament smufl="ornamentPrecompAppoggTrill"></other-ornament>', "D5"),
    ("danglebert1689", "tremblement_simple", 1, "", WAVY.format(""), "C5"),
    ("danglebert1689", "cadence_from_above", 1, "", WAVY.format(' approach="above"'), "C5"),
    ("danglebert1689", "cadence_from_below", 1, "", WAVY.format(' approach="below"'), "C5"),
    ("danglebert1689", "tremblement_et_pince", 1, "", WAVY.format(' departure="below"'), "C5"),
    ("marpurg1755", "doppelschlag", 1, "", "<turn/>", "C5"),
    ("marpurg1755", "mordent", 1, "", "<mordent/>", "C5"),
    ("marpurg1755", "schleifer", 1, "", "<schleifer/>", "G4"),
]  # fmt: skip


class Fingers:
    def rate(self, level, lower, upper):
        return 5.0

    def least(self, level):
        return 0.06


def xml_note(pitch, length, before="", ornaments=""):
    marks = f"<notations><ornaments>{ornaments}</ornaments></notations>" if ornaments else ""
    return (f"{before}<note><pitch><step>{pitch.pitch_class}</step><octave>{pitch.octave}</octave></pitch>"
            f"<duration>{int(length * 8)}</duration>{marks}</note>")  # fmt: skip


def score(reading, before, sign, previous):
    """The example note on the second beat, a quarter before it and the rest of the bar after it."""
    main = reading.pitch
    rest = 3 - reading.value
    notes = xml_note(Pitch.parse(previous), 1) + xml_note(main, reading.value, before, sign) + xml_note(main, rest)
    return read("sign.musicxml", (
        '<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>'
        '</part-list><part id="P1"><measure number="1"><attributes><divisions>8</divisions>'
        '<key><fifths>0</fifths></key><time><beats>4</beats><beat-type>4</beat-type></time></attributes>'
        f'<sound tempo="60"/>{notes}</measure></part>'
        "</score-partwise>"
    ).encode())  # fmt: skip


@pytest.mark.parametrize("case", CASES, ids=lambda case: f"{case[0]}.{case[1]}")
def test_a_sign_on_the_page_becomes_the_notes_of_its_table(case):
    source, entry_id, number, before, sign, previous = case
    reading = load_source(source).entry(entry_id).readings[number - 1]
    piece = score(reading, before, sign, previous)
    found = study(piece, solo=find_solo(piece))

    (grace,) = page_graces(piece, found, source=source)
    places = contexts(piece, found, Fingers(), "intermediate", tempo=F(60), source=source)
    notes = realise(grace.grace, places[grace.note]).notes

    assert grace.source == source
    steps = [(note.pitch.diatonic - reading.pitch.diatonic, note.length) for note in notes]
    assert steps == [(mark.step, mark.share * reading.value) for mark in reading.notes]
    assert Placed(1, grace.note, grace.grace).grace is grace.grace
