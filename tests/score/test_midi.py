"""MIDI in and out: tracks, pickups, keys, names of notes, ornaments that were played."""

from fractions import Fraction as F

import pytest
from score_hands import note, score

from gracewright.errors import BadInput
from gracewright.graces.heard import open_piece
from gracewright.pitch import Pitch
from gracewright.score import MidiPart, Sounded, find_solo, read, signatures, tones, write_midi
from gracewright.score.spelling import spell


def part_of(*notes, name="Flute"):
    """A part of notes as (name, quarters), end to end."""
    found, at = [], F(0)
    for pitch, length in notes:
        found.append(Sounded(at, F(length), Pitch.parse(pitch)))
        at += F(length)
    return MidiPart(name, tuple(found))


def heard(piece, line="P1"):
    return [(str(tone.pitch), tone.onset, tone.length) for tone in tones(piece, line)]


def test_a_part_bent_to_a_temperament_comes_back_as_one_part():
    """Each pitch class is bent by its own amount, so the part sounds on several channels; it is one player."""
    names = ("C5", "D5", "E5", "F5", "G5", "A5", "B5", "C6")
    data = write_midi([part_of(*((name, 1) for name in names))], F(60), tuning=lambda pitch: 5.0 * pitch.step)
    piece = read("bent.mid", data)

    assert len(piece.parts) == 1
    assert [name for name, _, _ in heard(piece)] == list(names)


def test_time_key_and_pickup_survive():
    """A crotchet before a bar of three in G minor, two flats."""
    page = read("page.musicxml", score(note("D5", 2), note("G5", 6), beats=3, fifths=-2).replace(
        b'<measure number="1">', b'<measure number="0" implicit="yes">'))  # fmt: skip
    line = [MidiPart("Flute", tuple(Sounded(t.onset, t.length, t.pitch) for t in tones(page, "P1")))]
    piece = read("out.mid", write_midi(line, F(60), signed=signatures(page, [(0, 1)])))

    assert [(bar.meter.beats, bar.meter.unit, bar.length, bar.pickup, bar.fifths) for bar in piece.bars] == [
        (3, 4, 1, True, -2), (3, 4, 3, False, -2),
    ]  # fmt: skip
    assert not any("guess" in remark for remark in piece.remarks)


def test_what_the_file_does_not_state_is_said():
    piece = read("bare.mid", write_midi([part_of(("C5", 1), ("D5", 1))], F(60)))

    assert "The file states no time signature and no key signature: what is shown is a guess." in piece.remarks


@pytest.mark.parametrize(
    ("names", "fifths"),
    [
        ("A4 B4 C5 D5 E5 F#5 G#5 A5 G5 F5 E5 D5 C5 B4 A4", 0),  # melodic minor, up and down
        ("D5 C#5 D5 E5 F5 G5 A5 Bb5 A5 G5 F5 E5 D5 C#5 D5", -1),  # harmonic minor with its leading note
        ("G4 A4 Bb4 C5 D5 Eb5 F#5 G5 F#5 Eb5 D5 C5 Bb4 A4 G4", -2),
        ("E5 D#5 E5 F#5 G5 A5 B5 C6 B5 A5 G5 F#5 E5 D#5 E5", 1),
        ("Eb5 F5 G5 Ab5 Bb5 C6 D6 Eb6 D6 C6 Bb5 Ab5 G5 F5 Eb5", -3),
    ],
)
def test_scales_get_their_usual_names(names, fifths):
    """Scales as every primer has them (common practice)."""
    pitches = [Pitch.parse(name) for name in names.split()]

    assert spell([pitch.midi for pitch in pitches], fifths) == pitches


TUNE = [("G4", 1), ("A4", 1), ("B4", 1), ("C5", 1), ("D5", 1)]


@pytest.mark.parametrize(
    ("played", "pitch", "sign"),
    [
        ([("D5", F(1, 8)), ("C5", F(1, 8))] * 4, "C5", "trill-mark"),
        ([("D5", F(1, 8)), ("C5", F(1, 8))] * 2 + [("D5", F(1, 8)), ("C5", F(3, 8))], "C5", "trill-mark"),
        ([("C5", F(1, 12)), ("B4", F(1, 12)), ("C5", F(5, 6))], "C5", "mordent"),
        ([("D5", F(1, 12)), ("C5", F(1, 12)), ("B4", F(1, 12)), ("C5", F(3, 4))], "C5", "turn"),
    ],
)
def test_an_ornament_that_is_plain_to_see_becomes_a_sign(played, pitch, sign):
    """Shake from above, mordent and turn as in the tables of the time; the note is a crotchet again."""
    piece = open_piece("air.mid", write_midi([part_of(*TUNE, *played, ("G4", 1), ("G4", 1))], F(72)))
    there = next(tone for tone in tones(piece, find_solo(piece)) if tone.onset == 5)

    assert (str(there.pitch), there.length) == (pitch, 1)
    assert [mark.element for mark in there.marks.signs] == [sign]
    assert len(tones(piece, "P1")) == 8
    assert any("became signs" in remark for remark in piece.remarks)


@pytest.mark.parametrize(
    "played",
    [
        [("C5", F(1, 4)), ("B4", F(1, 4)), ("C5", F(1, 2))],  # a melody's own turn round a note
        [("C5", F(1, 8)), ("D5", F(1, 8)), ("E5", F(1, 8)), ("F5", F(1, 8)), ("G5", F(1, 2))],  # a run
        [("E5", F(1, 8)), ("C5", F(1, 8))] * 4,  # a broken third
    ],
)
def test_notes_of_the_melody_stay_notes(played):
    data = write_midi([part_of(*TUNE, *played, ("G4", 1))], F(72))

    assert heard(open_piece("air.mid", data)) == heard(read("air.mid", data))
    assert not any(tone.marks.signs for tone in tones(open_piece("air.mid", data), "P1"))


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (write_midi([part_of(("C5", 1))], F(60))[:-9], "breaks off"),
        (b"MThd\0\0\0\6\0\1\0\1\xe7\x28MTrk\0\0\0\4\0\xff\x2f\0", "film frames"),
        (b"MThd", "not a MIDI file"),
    ],
)
def test_broken_files_are_refused_in_one_sentence(data, words):
    with pytest.raises(BadInput, match=words):
        read("broken.mid", data)
