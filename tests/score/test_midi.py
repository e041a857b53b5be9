"""MIDI in and out: tracks, pickups, keys, names of notes, ornaments that were played."""

from dataclasses import replace
from fractions import Fraction as F

import pytest
from score_hands import note, score

from gracewright.errors import BadInput
from gracewright.graces.heard import open_piece
from gracewright.pitch import Pitch
from gracewright.score import (
    Held,
    MidiPart,
    Sign,
    Signature,
    Sounded,
    find_solo,
    read,
    read_held,
    signatures,
    tones,
    write_midi,
)
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
    assert any("first bar, 1/4," in remark and "3/4" in remark and "pickup" in remark for remark in piece.remarks)


def test_parts_are_joined_to_a_pickup_alike():
    """A bar of 2/4 before 4/4 in two parts: both say 4/4 with a short first bar, and a remark says so, for it may be a
    bar of its own; a first bar that is longer is no pickup."""
    parts = [part_of(("C5", 2), ("D5", 4), ("E5", 4)), part_of(("C4", 2), ("D4", 4), ("E4", 4), name="Cello")]
    read_in = read("short.mid", write_midi(parts, F(60), signed=[Signature(F(0), 2, 4, 0), Signature(F(2), 4, 4, 0)]))
    falling = read("long.mid", write_midi(parts, F(60), signed=[Signature(F(0), 4, 4, 0), Signature(F(4), 2, 4, 0)]))

    written = [
        [(time.findtext("beats"), time.findtext("beat-type")) for time in part.iter("time")]
        for part in read_in.document.opened()[0].iter("part")
    ]
    assert written == [[("4", "4")], [("4", "4")]]
    assert [(bar.pickup, bar.length) for bar in read_in.bars] == [(True, 2), (False, 4), (False, 4)]
    assert any("first bar, 2/4, is shorter than the 4/4" in remark for remark in read_in.remarks)
    assert not falling.bars[0].pickup
    assert not any("pickup" in remark for remark in falling.remarks)


def test_a_time_signature_that_midi_cannot_write_is_not_bent_into_another():
    """A pickup of a third of a crotchet would be 1/12; the format knows powers of two only (Standard MIDI Files 1.0,
    meta event 58, from memory). An eighth is 1/8."""
    page = read("page.musicxml", score(note("D5", 2), note("G5", 8)))
    short = [
        replace(page, bars=(replace(page.bars[0], length=length), page.bars[1])) for length in (F(1, 3), F(1, 2))
    ]
    stated = [[(here.beats, here.unit) for here in signatures(piece, [(0, 1)])] for piece in short]

    assert stated == [[(4, 4)], [(1, 8), (4, 4)]]


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


def hands(*parts):
    """Parts of (name, quarters) as tracks of one channel without names or sounds: a keyboard's two hands."""
    tracks = []
    for index, part in enumerate(parts):
        body = b"" if index else b"\0\xff\x58\4\4\2\x18\x08"
        for name, length in part:
            key, ticks = Pitch.parse(name).midi, int(length * 120)
            body += bytes([0, 0x90, key, 80, ticks, 0x80, key, 64])
        body += b"\0\xff\x2f\0"
        tracks.append(b"MTrk" + len(body).to_bytes(4, "big") + body)
    return b"MThd\0\0\0\6\0\1" + bytes([0, len(parts), 0, 120]) + b"".join(tracks)


SHAKE = [("D5", F(1, 8)), ("C5", F(1, 8))] * 4
ABOVE = [(name, 1) for name in ("G5", "A5", "B5", "C6", "D6", "E6", "D6", "C6")]


def test_a_shake_in_the_left_hand_becomes_a_sign_and_no_note_is_called_lost():
    """Two tracks without names come as two staves of one part; the shake stands below a longer note of the other."""
    piece = open_piece("hands.mid", hands(ABOVE, [*TUNE[:4], *SHAKE, ("G4", 1), ("G4", 1)]))
    there = next(tone for tone in tones(piece, "P1/2") if tone.onset == 4)

    assert [part.id for part in piece.parts] == ["P1"]
    assert (str(there.pitch), there.length, [mark.element for mark in there.marks.signs]) == ("C5", 1, ["trill-mark"])
    assert not any(tone.marks.signs for tone in tones(piece, "P1/1"))
    assert any("1 shake" in remark for remark in piece.remarks)
    assert not any("fell together" in remark for remark in piece.remarks)


def test_two_shakes_at_once_get_a_sign_each():
    piece = open_piece("hands.mid", hands([*TUNE[:4], *SHAKE, ("G4", 1)], [*TUNE[:4], *SHAKE, ("E4", 1)]))
    signed = [(note.staff, note.onset, len(note.marks.signs)) for note in piece.notes if note.marks.signs]

    assert signed == [(1, 4, 1), (2, 4, 1)]
    assert any("2 shakes" in remark for remark in piece.remarks)


def test_a_figure_without_a_note_to_sign_stays_in_notes_and_is_not_counted():
    """Where rounding took the held note away nothing is signed, and the eight notes stay."""
    data = write_midi([part_of(*TUNE[:4], *SHAKE, ("G4", 1))], F(72))
    plain = read("air.mid", data)
    figure = Held(plain.heard.notes[0].track, 4, 11, 72, Sign("trill-mark"))

    assert [str(tone.pitch) for tone in tones(read_held(plain, [figure]), "P1") if tone.marks.signs] == ["C5"]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("gracewright.score.midi.NEAR", F(-1))
        piece = read_held(plain, [figure])
    assert heard(piece) == heard(plain)
    assert not any("became signs" in remark for remark in piece.remarks)


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
