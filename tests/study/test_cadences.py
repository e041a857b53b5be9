"""Cadences whose kind, place and notes can be argued at sight. Facts of the trade: common practice, no source."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from gracewright.pitch import Key
from gracewright.score import Marks, Meter, Sign
from gracewright.study import study
from gracewright.study.beats import Beats
from gracewright.study.cadences import peaks
from gracewright.study.closes import read_closes
from gracewright.study.frames import frames_of, timeline
from gracewright.study.harmony import read_harmony
from gracewright.study.material import gather
from gracewright.study.sequences import find_sequences

TRIPLE = Meter(3, 4)
OPENING = {
    "P1": "E5:1 F5:1 G5:1 E5:1 F5:1 E5:1 D5:2 ",
    "P2": "C3:2 E3:2 F3:2 G3:2 ",
    "P3": "G4:2 C4:2 A4:2 B4:2 ",
}
CLOSE = {"P1": "E5:1 F5:1 D5:1 B4:1 C5:4", "P2": "A3:1 F3:1 G3:1 G2:1 C3:4", "P3": "C4:1 A4:1 G4:1 F4:1 E4:4"}


def joined(*blocks):
    return {part: " ".join(block[part] for block in blocks) for part in blocks[0]}


def shaken(piece, name):
    """The piece with a shake on one note."""
    marks = Marks(signs=(Sign("trill-mark"),))
    return replace(piece, notes=tuple(replace(n, marks=marks) if n.id == name else n for n in piece.notes))


def only(found, onset):
    (cadence,) = [cadence for cadence in found.cadences if cadence.onset == onset]
    return cadence


def test_a_minor_passage_that_ends_on_a_long_dominant_is_a_half_cadence_in_its_minor_key(make_piece):
    """Two whole bars of A major in D minor: one half cadence, where the dominant comes, and no A major."""
    found = study(make_piece(
        {"P1": "A5:1 G5:1/2 F5:1/2 E5:1 D5:1 C#5:1 D5:1 E5:2 F5:1 E5:1/2 D5:1/2 Bb5:1 G5:1 E5:4 E5:4",
         "P2": "D3:2 C#3:1 D3:1 A3:1 F3:1 C#3:2 D3:2 G3:2 A3:4 A2:4"}, fifths=-1
    ))  # fmt: skip

    assert [(c.onset, c.kind, c.key) for c in found.cadences] == [(F(12), "half", Key.parse("D minor"))]


def test_a_suspension_held_over_the_arrival_resolves_into_the_close(make_piece):
    """D is held over the bar above the C of the bass and falls to C: D carries the dominant, C arrives.

    Analysts put the close with the bass or with the resolution, a beat later.
    """
    piece = make_piece(
        {"P1": "E5:1 F5:1 G5:1 E5:1 A5:1 G5:1 F5:2 E5:1 D5:1/2 C5:1/2 D5:3 C5:3",
         "P2": "C3:2 E3:2 F3:2 D3:2 C3:1 F3:1 G3:1 G2:1 C3:4"}
    )  # fmt: skip
    (cadence,) = study(piece).cadences

    assert cadence.onset in (F(12), F(13))
    assert cadence.kind == "authentic-perfect"
    assert (cadence.penultimate, cadence.arrival) == ("P1.10", "P1.11")


def test_a_close_counts_though_the_bass_moves_on_at_once(make_piece):
    piece = make_piece(
        {"P1": "G5:1 F5:1 E5:1 D5:1 C5:1 A5:1 D5:1/2 C5:1/2 B4:1 C5:4",
         "P2": "C4:1 B3:1 C4:1 G3:1 A3:1 F3:1 G3:2 C3:1/2 D3:1/2 E3:1/2 C3:1/2 F3:1/2 E3:1/2 D3:1/2 C3:1/2"}
    )  # fmt: skip

    assert only(study(piece), F(8)).kind == "authentic-perfect"


def test_a_stop_on_the_dominant_of_a_major_key_is_a_half_cadence(make_piece):
    found = study(make_piece(
        {"P1": "E5:1 D5:1 C5:1 E5:1 F5:1 E5:1 D5:1 C5:1 B4:1 C5:1 D5:1 E5:1 D5:4",
         "P2": "C3:2 C4:2 A3:2 F3:2 G3:1 A3:1 F3:2 G3:4", "P3": "G4:2 G4:2 C5:2 A4:2 D4:1 E4:1 A4:2 B4:4"}
    ))  # fmt: skip

    cadence = only(found, F(12))
    assert (cadence.kind, cadence.key, cadence.dominant_onset) == ("half", Key.parse("C major"), F(10))


def test_the_bass_falling_a_semitone_to_the_dominant_of_minor_is_phrygian(make_piece):
    """iv6 to V in D minor: B flat to A in the bass."""
    found = study(make_piece(
        {"P1": "D5:1 E5:1 F5:1 D5:1 G5:1 F5:1 E5:1 D5:1 D5:1 D5:1 D5:2 E5:4",
         "P2": "D3:2 D4:2 Bb3:2 C#4:2 D4:2 Bb3:2 A3:4", "P3": "F4:2 A4:2 D4:2 A4:2 A4:2 G4:2 C#5:4"}, fifths=-1
    ))  # fmt: skip

    assert (only(found, F(12)).kind, only(found, F(12)).key) == ("phrygian", Key.parse("D minor"))


def test_the_sixth_degree_in_the_place_of_the_tonic_is_deceptive(make_piece):
    middle = {"P1": "E5:1 D5:1/2 C5:1/2 D5:1 B4:1 C5:4", "P2": "C4:1 F3:1 G3:2 A3:4", "P3": "G4:1 A4:1 G4:2 E4:4"}
    found = study(make_piece(joined(OPENING, middle, CLOSE)))

    assert only(found, F(12)).kind == "deceptive"
    assert only(found, F(12)).strength < 0.5
    assert only(found, F(20)).kind == "authentic-perfect"


def test_a_shaken_dominant_that_slips_into_a_sixth_chord_is_evaded(make_piece):
    """ii6, a shake over V, then E in the bass and a leap up to G: the close breaks off and comes later."""
    middle = {"P1": "E5:1 D5:1 D5:1 B4:1 G5:2 F5:1 E5:1", "P2": "C4:1 F3:1 G3:2 E3:2 D3:1 C3:1",
              "P3": "G4:1 A4:1 C5:1 B4:1 C5:2 B4:1 G4:1"}  # fmt: skip
    last = {"P1": "D5:1 C5:1 D5:1 B4:1 C5:4", "P2": "F3:1 F3:1 G3:2 C3:4", "P3": "A4:1 A4:1 G4:1 F4:1 E4:4"}
    piece = shaken(make_piece(joined(OPENING, middle, last)), "P1.9")
    found = study(piece)

    assert only(found, F(12)).kind == "evaded"
    assert only(found, F(20)).kind == "authentic-perfect"


@pytest.mark.parametrize(("top", "kind"), [("C5", "authentic-perfect"), ("E5", "authentic-imperfect")])
def test_a_close_is_perfect_only_where_the_melody_reaches_the_tonic(make_piece, top, kind):
    last = {**CLOSE, "P1": f"E5:1 F5:1 {'D5:1 B4:1' if top == 'C5' else 'F5:1 D5:1'} {top}:4"}

    assert study(make_piece(joined(OPENING, last))).cadences[-1].kind == kind


def test_an_anticipation_does_not_carry_the_dominant(make_piece):
    """D (dotted), C, C: the dominant is on the D, where the shake would stand."""
    last = {"P1": "E5:1 F5:1 D5:3/2 C5:1/2 C5:4", "P2": CLOSE["P2"], "P3": "C4:1 A4:1 B4:2 G4:4"}
    cadence = only(study(make_piece(joined(OPENING, last))), F(12))

    assert (cadence.penultimate, cadence.arrival) == ("P1.9", "P1.11")


def test_the_short_notes_that_end_a_shake_do_not_carry_the_dominant(make_piece):
    """D with a shake, then C D quickly, then C: the dominant is on the long D."""
    last = {"P1": "E5:1 F5:1 D5:3/2 C5:1/4 D5:1/4 C5:4", "P2": CLOSE["P2"], "P3": "C4:1 A4:1 B4:2 G4:4"}
    piece = shaken(make_piece(joined(OPENING, last)), "P1.9")
    cadence = only(study(piece), F(12))

    assert (cadence.penultimate, cadence.arrival) == ("P1.9", "P1.12")
    assert "a shake on the way" in cadence.reason


def test_a_melody_that_rests_has_no_note_of_arrival(make_piece):
    last = {**CLOSE, "P1": "E5:1 F5:1 D5:1 B4:1 r:4"}
    found = study(make_piece(joined(OPENING, last)), solo="P1")

    assert all(cadence.arrival == "" for cadence in found.cadences if cadence.onset == 12)


def test_a_close_after_a_pickup_stands_on_its_downbeat(make_piece):
    found = study(make_piece(
        {"P1": "G4:1 C5:1 D5:1 E5:1 C5:1 F5:1 E5:1 D5:1 C5:1 B4:1 C5:1 D5:1 B4:1 C5:3",
         "P2": "r:1 C3:2 C4:2 A3:2 F3:2 G3:2 G2:2 C3:3", "P3": "r:1 E4:2 G4:2 C5:2 A4:2 G4:2 F4:2 E4:3"}, pickup=F(1)
    ))  # fmt: skip

    assert [(cadence.onset, cadence.kind) for cadence in found.cadences] == [(F(13), "authentic-perfect")]


def test_a_hemiola_before_the_close_is_named(make_piece):
    """Bars 3 and 4 in three twos, then the close."""
    found = study(make_piece(
        {"P1": "G5:1 A5:1 B5:1 C6:1 B5:1 A5:1 G5:2 A5:1 A5:1 F5:2 E5:2 F5:1 E5:1 D5:2 C5:3",
         "P2": "C4:3 A3:3 B3:3 C4:3 F3:2 G3:2 G2:2 C3:3"}, meter=TRIPLE
    ))  # fmt: skip

    assert only(found, F(18)).kind == "authentic-perfect"
    assert only(found, F(18)).hemiola


def endings(piece, first, second):
    """The piece with its last two bars under a first and a second ending."""
    bars = tuple(
        replace(bar, endings=(1,), repeat_end=2) if bar.index == first
        else replace(bar, endings=(2,)) if bar.index == second else bar
        for bar in piece.bars
    )  # fmt: skip
    return replace(piece, bars=(replace(bars[0], repeat_start=True), *bars[1:]))


def test_two_endings_that_close_alike_both_close(make_piece):
    """The second ending follows the bars before the first, so its tonic is an arrival too."""
    last = {"P1": "E5:1 F5:1 D5:1 B4:1 C5:4 C5:4", "P2": "A3:1 F3:1 G3:1 G2:1 C3:4 C3:4",
            "P3": "C4:1 A4:1 G4:1 F4:1 E4:4 E4:4"}  # fmt: skip
    piece = endings(make_piece(joined(OPENING, last)), 3, 4)
    found = {cadence.onset: cadence.kind for cadence in study(piece).cadences}

    assert (found[F(12)], found[F(16)]) == ("authentic-perfect", "authentic-perfect")


def test_an_ending_with_another_harmony_does_not_inherit_the_close(make_piece):
    """The first ending closes in C, the second opens on A minor over A: no perfect cadence there."""
    last = {"P1": "E5:1 F5:1 D5:1 B4:1 C5:4 E5:1 C5:1 A4:2", "P2": "A3:1 F3:1 G3:1 G2:1 C3:4 A2:4",
            "P3": "C4:1 A4:1 G4:1 F4:1 E4:4 C5:1 A4:1 E4:2"}  # fmt: skip
    piece = endings(make_piece(joined(OPENING, last)), 3, 4)
    found = {cadence.onset: cadence.kind for cadence in study(piece).cadences}

    assert found[F(12)] == "authentic-perfect"
    assert found.get(F(16)) != "authentic-perfect"


def test_dominants_and_tonics_inside_a_sequence_are_no_strong_cadences(make_piece):
    """A D, G C, F B: each leg falls a fifth, none is a close; only the end is."""
    legs = {
        "P1": "C5:1/2 D5:1/2 E5:1/2 C5:1/2 F5:1 D5:1 B4:1/2 C5:1/2 D5:1/2 B4:1/2 E5:1 C5:1 "
              "A4:1/2 B4:1/2 C5:1/2 A4:1/2 D5:1 B4:1 ",
        "P2": "A3:2 D3:2 G3:2 C3:2 F3:2 B3:2 ",
        "P3": "E4:2 F4:2 D4:2 E4:2 C4:2 D4:2 ",
    }  # fmt: skip
    found = study(make_piece(joined(OPENING, legs, CLOSE)))

    assert not [cadence for cadence in found.cadences if 10 <= cadence.onset < 20 and cadence.strength >= 0.5]
    assert only(found, F(24)).kind == "authentic-perfect"


def test_the_likeliest_arrivals_stand_apart():
    import numpy as np

    place, score = np.array([0, 10, 20, 30, 40]), np.array([0.5, 0.9, 0.6, 0.1, 0.7])

    assert peaks(place, score, 0.2, 20) == [1, 4]
    assert peaks(place, score, 0.2, 10) == [0, 1, 2, 4]


def test_chances_of_arrivals_are_chances(make_piece):
    piece = make_piece(joined(OPENING, CLOSE))
    line = timeline(piece)
    material = gather(piece)
    closes = read_closes(material, read_harmony(piece, line, frames_of(piece, line)), find_sequences(material))

    assert closes.arrival.min() >= 0
    assert closes.arrival.max() <= 1
    assert 0 <= closes.phrase.min() <= closes.phrase.max() <= 1


def test_a_bar_cut_by_a_repeat_is_counted_as_one(make_piece):
    """Three quarters, the repeat, one quarter: the second half begins with an upbeat to the bar after it."""
    piece = make_piece({"P1": "C5:4 D5:4 E5:3 F5:1 G5:4 C5:4", "P2": "C3:4 G3:4 C3:3 F3:1 G3:4 C3:4"})
    bars, cut = [], F(11)
    for bar in piece.bars:
        if bar.index == 2:
            bars.append(replace(bar, length=F(3), repeat_end=2))
            bars.append(replace(bar, index=3, onset=cut, length=F(1), repeat_start=True))
        else:
            bars.append(replace(bar, index=bar.index + (bar.index > 2)))
    notes = tuple(replace(note, bar=note.bar + (note.onset >= cut)) for note in piece.notes)
    piece = replace(piece, bars=tuple(bars), notes=notes)
    line = timeline(piece)
    beats = Beats(gather(piece), read_harmony(piece, line, frames_of(piece, line)))
    begin, down, end = (times / line.quarter for times in beats.section_spans)

    assert begin.tolist() == [0, 11]
    assert down.tolist() == [0, 12]
    assert end.tolist() == [11, 20]


def test_a_cadence_in_the_bar_that_ends_a_section_is_strong(make_piece):
    """A close before a repeat sign wants its shake, however plain the rest of the texture."""
    piece = make_piece(joined(OPENING, CLOSE, OPENING, CLOSE))
    bars = tuple(replace(bar, repeat_end=2) if bar.index == 3 else bar for bar in piece.bars)
    found = study(replace(piece, bars=bars))

    assert only(found, F(12)).strength >= 0.7
    assert only(found, F(28)).strength >= 0.7
