"""Scores that hypothesis makes up: what is written is what was read, and damaged ones are read or refused.

The examples are the same in every run; the long runs are in ``fuzz/``.
"""

import importlib.util
import random
from fractions import Fraction as F
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score import (
    MidiPart,
    Sounded,
    canonical,
    find_bass,
    find_solo,
    read,
    tones,
    write_midi,
    write_played,
    write_signs,
)

STEADY = settings(derandomize=True, deadline=None, max_examples=120)
TYPES = {F(1, 4): ("16th", 0), F(1, 2): ("eighth", 0), F(3, 4): ("eighth", 1), F(1): ("quarter", 0),
         F(3, 2): ("quarter", 1), F(2): ("half", 0), F(3): ("half", 1), F(4): ("whole", 0)}  # fmt: skip
SIGNS = ("trill-mark", "mordent", "inverted-mordent", "turn", "schleifer")
DIVISIONS = (4, 8, 12, 480)

spec = importlib.util.spec_from_file_location("fuzz_doors", Path(__file__).parents[2] / "fuzz" / "fuzz_doors.py")
assert spec is not None
assert spec.loader is not None
fuzz = importlib.util.module_from_spec(spec)
spec.loader.exec_module(fuzz)


@st.composite
def bars(draw):
    """A bar of 4/4 as (length, pitch or None for a rest, sign) end to end."""
    left, found = F(4), []
    while left > 0:
        length = draw(st.sampled_from([value for value in TYPES if value <= left]))
        pitch = draw(st.none() | st.builds(Pitch, st.integers(3, 6), st.integers(0, 6), st.integers(-1, 1)))
        sign = draw(st.none() | st.sampled_from(SIGNS)) if pitch else None
        found.append((length, pitch, sign))
        left -= length
    return found


MUSIC = st.lists(bars(), min_size=1, max_size=4).filter(lambda music: any(row[1] for bar in music for row in bar))


def document(music, divisions, *, second=False):
    """The bars as MusicXML; with ``second`` a second voice holds a whole note under each bar."""
    text = ['<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part>'
            '</part-list><part id="P1">']  # fmt: skip
    for number, bar in enumerate(music, 1):
        text.append(f'<measure number="{number}">')
        if number == 1:
            text.append(f"<attributes><divisions>{divisions}</divisions><key><fifths>0</fifths></key><time><beats>4"
                        "</beats><beat-type>4</beat-type></time></attributes>")  # fmt: skip
        for length, pitch, sign in bar:
            kind, dots = TYPES[length]
            what = "<rest/>" if pitch is None else (
                f"<pitch><step>{'CDEFGAB'[pitch.step]}</step><alter>{pitch.alter}</alter><octave>{pitch.octave}</octave>"
                "</pitch>")  # fmt: skip
            marks = f"<notations><ornaments><{sign}/></ornaments></notations>" if sign else ""
            text.append(f"<note>{what}<duration>{length * divisions}</duration><voice>1</voice><type>{kind}</type>"
                        f"{'<dot/>' * dots}{marks}</note>")  # fmt: skip
        if second:
            whole = f"<duration>{4 * divisions}</duration>"
            text.append(f"<backup>{whole}</backup><note><pitch><step>C</step><octave>2</octave></pitch>{whole}<voice>2"
                        "</voice><type>whole</type></note>")  # fmt: skip
        text.append("</measure>")
    return "".join([*text, "</part></score-partwise>"]).encode()


@given(MUSIC, st.sampled_from(DIVISIONS), st.booleans())
@STEADY
def test_every_note_and_sign_is_read_and_nothing_else_is_written(music, divisions, second):
    data = document(music, divisions, second=second)
    piece = read("made.musicxml", data)
    expected, at = [], F(0)
    for bar in music:
        for length, pitch, sign in bar:
            if pitch is not None:
                expected.append((at, length, pitch, [sign] if sign else []))
            at += length
    found = [(note.onset, note.length, note.pitch, [sign.element for sign in note.marks.signs])
             for note in piece.notes if note.pitch is not None and note.voice == "1"]  # fmt: skip

    assert found == expected
    assert piece.length == 4 * len(music)
    assert canonical(write_signs(piece, find_solo(piece), ())) == canonical(data)


@given(MUSIC, st.sampled_from(DIVISIONS), st.integers(1, 7))
@STEADY
def test_a_line_cut_in_any_number_of_pieces_is_written_out_exactly(music, divisions, count):
    """Each note as so many repeated notes; ties and tuplets in the document add up to the same times."""
    piece = read("made.musicxml", document(music, divisions))
    line = find_solo(piece)
    played = [Sounded(tone.onset + turn * tone.length / count, tone.length / count, tone.pitch, False, tone.id)
              for tone in tones(piece, line) for turn in range(count)]  # fmt: skip
    again = read("out.musicxml", write_played(piece, line, played, [(0, len(piece.bars) - 1)]))

    assert [(t.onset, t.length, t.pitch) for t in tones(again, line)] == [(s.onset, s.length, s.pitch) for s in played]


def either_read_or_refused(name, data):
    """Any other error than BadInput fails the test; the sentence is one line."""
    piece, sentence = None, ""
    try:
        piece = read(name, data)
    except BadInput as fault:
        sentence = str(fault)
    assert "\n" not in sentence
    if piece is None:
        return
    solo = find_solo(piece)
    tones(piece, solo)
    find_bass(piece, solo)


@given(st.sampled_from(["a.musicxml", "a.mei"]), st.integers(0, 2**32 - 1))
@settings(STEADY, max_examples=400)
def test_damaged_scores_are_read_or_refused(name, seed):
    either_read_or_refused(name, fuzz.damaged(fuzz.SEEDS[name], random.Random(seed)))


@given(st.sampled_from(["a.musicxml", "a.mei", "a.mxl", "a.mid"]), st.binary(max_size=400))
@settings(STEADY, max_examples=200)
def test_any_bytes_are_read_or_refused(name, data):
    either_read_or_refused(name, data)


MIDI = write_midi([MidiPart("x", tuple(Sounded(F(i), F(1), Pitch(5, i % 7)) for i in range(5)))], F(60))


@given(st.lists(st.tuples(st.integers(0, len(MIDI) - 1), st.integers(0, 255)), min_size=1, max_size=6))
@settings(STEADY, max_examples=12)
def test_damaged_midi_is_read_or_refused(changes):
    data = bytearray(MIDI)
    for place, value in changes:
        data[place] = value

    either_read_or_refused("a.mid", bytes(data))


@pytest.mark.parametrize("name", ["a.krn", "a.abc"])
@pytest.mark.parametrize("seed", range(4))
def test_damaged_text_is_read_or_refused(name, seed):
    either_read_or_refused(name, fuzz.damaged(fuzz.SEEDS[name], random.Random(seed)))
