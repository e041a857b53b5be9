"""Keys by lines and sections, and harmony over endings as heard; the right answer is argued beside each case."""

from dataclasses import replace
from fractions import Fraction as F
from pathlib import Path

from gracewright.pitch import Key
from gracewright.score import read
from gracewright.study import study
from gracewright.study.frames import frames_of, timeline
from gracewright.study.harmony import harmonies, read_harmony
from gracewright.study.heard import heard
from gracewright.study.pauses import pauses_of

DEMO = Path(__file__).resolve().parents[2] / "src" / "gracewright" / "data" / "demo"


def with_fermatas(piece, onsets):
    notes = tuple(
        replace(note, marks=replace(note.marks, fermata=True)) if note.onset in onsets else note for note in piece.notes
    )
    return replace(piece, notes=notes)


CHORALE = {
    "P1": "G4:1 A4:1 B4:1 C5:1 B4:1 A4:1 G4:2 "
          "B4:1 C5:1 B4:1 A4:1 A4:1 G#4:1 A4:2 "
          "D5:1 C5:1 B4:1 C5:1 A4:1 F#4:1 G4:2",
    "P2": "D4:1 F#4:1 G4:1 G4:1 G4:1 F#4:1 D4:2 "
          "G4:1 G4:1 F4:1 E4:1 F4:1 E4:1 E4:2 "
          "G4:1 F#4:1 G4:1 G4:1 E4:1 D4:1 D4:2",
    "P3": "B3:1 D4:1 D4:1 E4:1 D4:1 C4:1 B3:2 "
          "D4:1 E4:1 D4:1 C4:1 D4:1 B3:1 C4:2 "
          "B3:1 A3:1 D4:1 C4:1 C4:1 A3:1 B3:2",
    "P4": "G3:1 D3:1 G3:1 C3:1 D3:1 D3:1 G2:2 "
          "G3:1 C3:1 G#3:1 A3:1 D3:1 E3:1 A2:2 "
          "G3:1 D3:1 G3:1 E3:1 C3:1 D3:1 G2:2",
}  # fmt: skip


def test_each_line_of_a_chorale_has_the_key_of_its_pause(make_piece):
    """Three lines: a close in G, one in A minor with its G sharp, one in G again."""
    piece = with_fermatas(make_piece(CHORALE, fifths=1), {F(6), F(14), F(22)})
    line = timeline(piece)
    found = study(piece)

    assert pauses_of(piece, line, frames_of(piece, line)).chorale
    assert [found.key_at(F(at)) for at in (6, 14, 22)] == [Key.parse(k) for k in ("G major", "A minor", "G major")]


def test_a_piece_with_one_fermata_is_no_chorale(make_piece):
    piece = with_fermatas(make_piece(CHORALE, fifths=1), {F(22)})
    line = timeline(piece)

    assert not pauses_of(piece, line, frames_of(piece, line)).chorale


def with_endings(piece):
    """Bars 0 1 | 2 (first) | 3 (second)."""
    bars = list(piece.bars)
    bars[0] = replace(bars[0], repeat_start=True)
    bars[2] = replace(bars[2], endings=(1,), repeat_end=2)
    bars[3] = replace(bars[3], endings=(2,))
    return replace(piece, bars=tuple(bars))


ENDINGS = {
    "P1": "E5:1 D5:1 C5:1 B4:1 A4:1 D5:1 B4:2 C5:1 D5:1 B4:2 C5:1/2 D5:1/2 B4:1 C5:2",
    "P2": "C3:2 E3:2 F3:1 F#3:1 G3:2 E3:1 D3:1 G3:2 E3:1 G3:1 C3:2",
}


def test_a_second_ending_is_read_as_if_the_first_were_not_there(make_piece):
    """What is heard the second time through is the piece without its first ending."""
    whole = make_piece(ENDINGS)
    piece = with_endings(whole)
    line = timeline(piece)
    frames = frames_of(piece, line)
    order = heard(piece, frames)
    second = order.place[frames.bar == 3]

    assert order.frames.bar[second[0] - 1] == 1
    assert order.frames.bar[order.place[frames.bar == 2][-1] + 1] == 0
    assert (order.frames.start[order.place] >= frames.start).all()
    assert (order.frames.length[order.place] == frames.length).all()


def test_endings_keep_every_bar_of_the_page(make_piece):
    piece = with_endings(make_piece(ENDINGS))
    line = timeline(piece)
    frames = frames_of(piece, line)
    found = harmonies(line, frames, read_harmony(piece, line, frames))

    assert [chord.onset for chord in found] == [F(0), *(chord.end for chord in found[:-1])]
    assert found[-1].end == piece.length


def test_the_adagio_of_the_demo_turns_to_f_major_and_home_again():
    """Its README: D minor to bar 4, F major with a full close in bar 8, D minor from bar 9 on."""
    found = study(read(DEMO / "adagio.musicxml"))

    assert found.home == Key.parse("D minor")
    assert [str(found.key_at(F(at))) for at in (0, 14, 24, 28, 44, 60)] == [
        "D minor", "D minor", "F major", "F major", "D minor", "D minor",
    ]  # fmt: skip


def test_two_notes_are_read_in_a_key_of_their_signature(make_piece):
    """C and G with neither sharps nor flats: C major rather than C minor, whose E flat would be at the clef."""
    assert study(make_piece({"P1": "C5:2 G4:2"})).home == Key.parse("C major")


def test_the_menuet_of_the_demo_goes_through_c_major_and_d_minor():
    """Its README: a full close in C major in bar 8, one in D minor in bar 16, home to F at the end.

    Each close confirms its key, so that key line and cadence say the same.
    """
    found = study(read(DEMO / "menuet.musicxml"))

    assert [str(found.key_at(F(at))) for at in (0, 21, 45, 69)] == ["F major", "C major", "D minor", "F major"]
    assert {F(21), F(45), F(69)} <= {c.onset for c in found.cadences if c.kind == "authentic-perfect"}
