"""Sequences, returns, hemiolas, imitation and walking bass in lines written for it, with the answer argued."""

from fractions import Fraction as F

import pytest

from gracewright.score import Meter
from gracewright.study import describe, study, study_json
from gracewright.study.hemiola import find_hemiolas
from gracewright.study.material import gather
from gracewright.study.returns import find_returns
from gracewright.study.sequences import find_sequences
from gracewright.study.texture import find_imitations, find_walking_bass

TRIPLE = Meter(3, 4)
STRAIN = "C5:1 E5:1/2 D5:1/2 C5:1 G4:1 A4:1 B4:1 C5:2 D5:1 F5:1/2 E5:1/2 D5:1 A4:1 B4:1 D5:1 G4:2 "  # four bars of 4/4
EPISODE = "E5:1 G5:1 F#5:1 E5:1 D5:2 B4:2 A4:1 F#4:1 G4:1 A4:1 B4:3 r:1 "  # four more, unlike
OTHER = "G5:2 E5:1 C5:1 F5:1 D5:1 B4:1 G4:1 E5:4 A4:1 C5:1 E5:1 A5:1 "


def material(make_piece, solo, bass="", **more):
    return gather(make_piece({"P1": solo, **({"P2": bass} if bass else {})}, **more))


def bars(spans, length=4):
    """Times as bars from 0."""
    return [(float(a) / length, float(b) / length) for a, b in spans]


# ---- sequences ------------------------------------------------------------------------------------------------------


def test_two_bars_down_a_step_are_a_sequence_of_two_legs(make_piece):
    line = "C5:4 E5:1 G5:1 F5:1 E5:1 D5:1 F5:1 E5:1 D5:1 G4:4"
    (found,) = find_sequences(material(make_piece, line))

    assert (found.step, len(found.legs), found.exact) == (-1, 2, True)
    assert bars([(leg.start, leg.end) for leg in found.legs]) == [(1, 2), (2, 3)]


def test_one_note_in_six_may_differ_and_then_it_is_not_exact(make_piece):
    """The third note of the second leg goes elsewhere; the third leg is true again."""
    line = "E5:1 G5:1 F5:1/2 E5:1/2 D5:1/2 E5:1/2 D5:1 F5:1 G5:1/2 D5:1/2 C5:1/2 D5:1/2 C5:4"
    (found,) = find_sequences(material(make_piece, line))

    assert (found.step, len(found.legs), found.exact) == (-1, 2, False)


def test_half_bars_must_be_three(make_piece):
    two = "E5:1 G5:1/2 F5:1/2 D5:1 F5:1/2 E5:1/2 A4:4 G4:4"
    three = "E5:1 G5:1/2 F5:1/2 D5:1 F5:1/2 E5:1/2 C5:1 E5:1/2 D5:1/2 B4:2 A4:4"

    assert find_sequences(material(make_piece, two)) == ()
    (found,) = find_sequences(material(make_piece, three))
    assert [leg.shift for leg in found.legs] == [0, -1, -2]


@pytest.mark.parametrize(
    "line",
    [
        "C4:1 D4:1 E4:1 F4:1 G4:1 A4:1 B4:1 C5:1 D5:1 E5:1 F5:1 G5:1",  # a scale: each bar is a fifth above the last
        "C4:1 E4:1 G4:1 C5:1 E5:1 G5:1 C6:1 E6:1",  # an arpeggio
        "C5:1 C5:1 C5:1 C5:1 D5:1 D5:1 D5:1 D5:1",  # one note struck again has no figure
        "C5:1 E5:1 D5:1 G5:1 B4:1 D5:1 C5:1 F5:1 C5:1 E5:1 D5:1 G5:1 B4:1 D5:1 C5:1 F5:1",  # two bars taking turns
    ],
)
def test_what_runs_on_or_takes_turns_is_no_sequence(make_piece, line):
    assert find_sequences(material(make_piece, line)) == ()


def test_the_bass_goes_along_where_it_is_moved_by_the_same_step(make_piece):
    line = "C5:4 E5:1 G5:1 F5:1 E5:1 D5:1 F5:1 E5:1 D5:1 G4:4"
    moved = find_sequences(material(make_piece, line, "C3:4 C3:2 A3:2 B2:2 G3:2 C3:4"))
    still = find_sequences(material(make_piece, line, "C3:4 C3:2 A3:2 G3:2 F3:2 C3:4"))

    assert [one.with_bass for one in (*moved, *still)] == [True, False]


# ---- returns --------------------------------------------------------------------------------------------------------


def returns(make_piece, solo, bass="", **more):
    return [(one.kind, *bars([one.first, one.again])) for one in find_returns(material(make_piece, solo, bass, **more))]


def test_the_opening_strain_after_an_episode_is_a_refrain(make_piece):
    assert returns(make_piece, STRAIN + EPISODE + STRAIN) == [("refrain", (0, 4), (8, 12))]


def test_each_return_of_a_rondeau_goes_back_to_the_first_strain(make_piece):
    found = returns(make_piece, STRAIN + EPISODE + STRAIN + OTHER + STRAIN)

    assert found == [("refrain", (0, 4), (8, 12)), ("refrain", (0, 4), (16, 20))]


def test_what_is_said_again_at_once_is_an_echo(make_piece):
    two = "E5:1 G5:1/2 F5:1/2 E5:1 C5:1 D5:1 B4:1 C5:2 "

    assert returns(make_piece, EPISODE + two + two + OTHER) == [("echo", (4, 6), (6, 8))]


def test_the_close_said_once_more_at_the_end_is_a_petite_reprise(make_piece):
    close = "E5:1 D5:1/2 C5:1/2 F5:1 A5:1 D5:1 B4:1 C5:2 "

    assert returns(make_piece, STRAIN + EPISODE + close + close) == [("petite reprise", (8, 10), (10, 12))]


def test_a_return_that_begins_in_the_middle_of_a_bar_is_found_there(make_piece):
    """The strain begins on the third beat, first in bar 1, then in bar 6."""
    solo = "r:2 " + STRAIN + "E5:1 C5:1 " + "A4:2 F4:2 " * 1 + "B4:2 " + STRAIN + "C5:2 "
    ((kind, first, again),) = returns(make_piece, solo)

    assert kind in ("refrain", "written")
    assert (first[0] % 1, again[0] % 1) == (0.5, 0.5)
    assert first[1] - first[0] == again[1] - again[0] >= 4


def test_a_strain_dressed_in_divisions_over_the_same_bass_is_a_varied_return(make_piece):
    """Every beat of the double begins with the note that stood there."""
    plain = "C5:1 E5:1 D5:1 G4:1 A4:1 B4:1 C5:2 D5:1 F5:1 E5:1 A4:1 B4:1 D5:1 G4:2 "
    double = ("C5:1/2 D5:1/2 E5:1/2 C5:1/2 D5:1/4 C5:1/4 B4:1/2 G4:1 A4:1/2 G4:1/2 B4:1/2 D5:1/2 C5:1 B4:1/2 C5:1/2 "
              "D5:1/2 E5:1/2 F5:1 E5:1/4 D5:1/4 C5:1/2 A4:1 B4:1/2 C5:1/2 D5:1/2 F#4:1/2 G4:2 ")  # fmt: skip
    ground = "C3:2 B2:2 F2:1 G2:1 C3:2 B2:2 C3:2 G2:1 D3:1 G2:2 "
    away = "C3:4 B2:4 A2:4 G2:4 "
    found = returns(make_piece, plain + EPISODE + double, ground + away + ground)

    assert found == [("varied", (0, 4), (8, 12))]


def test_one_bar_again_and_a_transposed_return_are_none(make_piece):
    one = "C5:1 E5:1/2 D5:1/2 C5:1 G4:1 "
    up = "G5:1 B5:1/2 A5:1/2 G5:1 D5:1 E5:1 F#5:1 G5:2 A5:1 C6:1/2 B5:1/2 A5:1 E5:1 F#5:1 A5:1 D5:2 "

    assert returns(make_piece, EPISODE + one + one + OTHER) == []
    assert returns(make_piece, STRAIN + EPISODE + up) == []


# ---- hemiola --------------------------------------------------------------------------------------------------------

LEAD = "C5:3 D5:3 "


def hemiolas(make_piece, solo, bass):
    found = find_hemiolas(material(make_piece, LEAD + solo, "C3:3 B2:3 " + bass, meter=TRIPLE))
    return bars([(one.start, one.end) for one in found], 3)


def test_both_lines_in_twos_are_a_hemiola(make_piece):
    assert hemiolas(make_piece, "E5:2 D5:2 C5:2 B4:3", "C3:2 F3:2 F#3:2 G3:3") == [(2, 4)]


def test_the_bass_alone_in_twos_is_one_before_a_falling_fifth(make_piece):
    solo = "E5:1 F5:1 D5:1 E5:1 C5:1 B4:1 C5:3"

    assert hemiolas(make_piece, solo, "C3:2 F3:2 G3:1 G2:1 C3:3") == [(2, 4)]
    assert hemiolas(make_piece, solo, "C3:2 F3:2 G3:2 A3:3") == []


def test_a_rest_on_the_downbeat_is_no_hemiola(make_piece):
    assert hemiolas(make_piece, "E5:2 D5:1 r:1 C5:1 B4:1 C5:3", "C3:2 F3:1 r:1 G3:1 G2:1 C3:3") == []


def test_a_dominant_that_comes_on_the_downbeat_is_no_hemiola(make_piece):
    """The melody goes in twos, the bass has its dominant from the second downbeat on."""
    assert hemiolas(make_piece, "E5:2 D5:2 C5:1 B4:1 C5:3", "C3:1 E3:1 F3:1 G3:2 G2:1 C3:3") == []


# ---- texture --------------------------------------------------------------------------------------------------------

HEAD = "C5:1/2 G4:1/2 A4:1/2 B4:1/2 C5:1 E5:1 D5:1/2 C5:1/2 D5:1 "


def test_a_bass_that_answers_a_bar_and_a_half_later_imitates(make_piece):
    low = "C3:1/2 G2:1/2 A2:1/2 B2:1/2 C3:1 E3:1 D3:1/2 C3:1/2 D3:1 "
    (found,) = find_imitations(material(make_piece, HEAD + "G5:2 F5:2 E5:2 D5:4", "r:6 " + low + "G2:4"))

    assert (found.leader, found.start, found.entry, found.step) == ("solo", 0, 6, -14)
    assert found.length >= 5


def test_parallel_motion_and_scales_are_no_imitation(make_piece):
    together = find_imitations(material(make_piece, HEAD, HEAD.replace("5:", "4:")))
    scale = "C4:1 D4:1 E4:1 F4:1 G4:1 A4:1 B4:1 C5:1 "
    late = find_imitations(material(make_piece, scale + "C5:8", "C3:4 " + scale.replace("4:", "3:") + "C3:4"))

    assert together == late == ()


def test_a_bass_walks_in_even_steps_for_two_bars_or_more(make_piece):
    solo = "C5:4 " * 4
    (walk,) = find_walking_bass(
        material(make_piece, solo, "C3:1 D3:1 E3:1 F3:1 G3:1 F3:1 E3:1 D3:1 C3:1 B2:1 C3:1 D3:1 C3:4")
    )

    assert (walk.start, walk.end, walk.value) == (0, 12, 1)
    assert find_walking_bass(material(make_piece, solo, "C3:1 G3:1 C3:1 G3:1 " * 4)) == ()  # leaps
    assert find_walking_bass(material(make_piece, solo, "C3:1 r:1 D3:1 r:1 " * 4)) == ()  # rests


def test_all_of_it_is_told_in_words_and_as_json(make_piece):
    piece = make_piece({"P1": HEAD + "G5:2 F5:2 E5:2 D5:4",
                        "P2": "r:6 C3:1/2 G2:1/2 A2:1/2 B2:1/2 C3:1 E3:1 D3:1/2 C3:1/2 D3:1 G2:4"})  # fmt: skip
    found = study(piece)
    told = study_json(found, piece)

    (one,) = told["imitations"]

    assert "the bass at bar 2, beat 3 takes up what the solo has from bar 1, beat 1" in describe(found, piece)
    assert (one["leader"], one["start"], one["entry"], one["step"]) == ("solo", "0", "6", -14)
    assert F(one["length"]) >= 5
    assert told["walking_bass"] == []


def test_a_last_leg_that_breaks_off_ends_with_the_piece(make_piece):
    """The third leg has lost its last beat."""
    line = "E5:1 G5:1 F5:1 E5:1 D5:1 F5:1 E5:1 D5:1 C5:1 E5:1 D5:1"
    (found,) = find_sequences(material(make_piece, line))
    piece = make_piece({"P1": line})

    assert len(found.legs) == 3
    assert found.end <= piece.length
