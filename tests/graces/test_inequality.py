"""Notes written equal and played long-short. The rules are the usual French ones, known from memory."""

from fractions import Fraction as F

import pytest
from graces_hands import Fingers, note, plain_study, score, small

from gracewright.graces import Inequality, perform, unequal_value
from gracewright.score import Meter

DOTS = "<articulations><staccato/></articulations>"
UP = (("C", 5), ("D", 5), ("E", 5), ("F", 5), ("G", 5), ("F", 5))


def quavers(pitches=UP, notations=()):
    marks = dict(notations)
    return "".join(note(step, octave, 4, notations=marks.get(i, "")) for i, (step, octave) in enumerate(pitches))


def lengths(piece, ratio=F(2), tempo=F(60), **more):
    version = perform(piece, plain_study(piece), (), Fingers(), inequality=ratio, tempo=tempo, **more)
    return [n.length for n in version.notes if n.part == "P1"]


LONG_SHORT = [F(2, 3), F(1, 3)] * 3


def test_stepwise_quavers_in_three_are_played_two_to_one():
    assert lengths(score(quavers(), beats=3)) == LONG_SHORT


def test_the_ratio_is_the_players():
    assert lengths(score(quavers(), beats=3), F(3)) == [F(3, 4), F(1, 4)] * 3
    assert lengths(score(quavers(), beats=3), F(1, 2)) == [F(1, 3), F(2, 3)] * 3


def test_nothing_is_uneven_unless_asked():
    assert lengths(score(quavers(), beats=3), None) == [F(1, 2)] * 6


def test_quavers_stay_equal_where_semiquavers_are_the_unequal_value():
    assert lengths(score(quavers() + note("E", 5, 8), beats=4))[:6] == [F(1, 2)] * 6


@pytest.mark.parametrize("why", ["dots", "long slur", "leap", "repeated note"])
def test_what_cancels_a_pair(why):
    leap = (("C", 5), ("E", 5), *UP[2:])
    same = (("D", 5), ("D", 5), *UP[2:])
    slur = {0: '<slur type="start" number="1"/>', 3: '<slur type="stop" number="1"/>'}
    first = {
        "dots": quavers(notations={0: DOTS, 1: DOTS}), "long slur": quavers(notations=slur), "leap": quavers(leap),
        "repeated note": quavers(same),
    }[why]  # fmt: skip

    assert lengths(score(first, beats=3))[:2] == [F(1, 2), F(1, 2)]
    assert lengths(score(first, beats=3))[4:] == [F(2, 3), F(1, 3)]


def test_a_slur_over_a_pair_keeps_it_uneven():
    slur = {0: '<slur type="start" number="1"/>', 1: '<slur type="stop" number="1"/>'}

    assert lengths(score(quavers(notations=slur), beats=3)) == LONG_SHORT


def test_pairs_are_found_by_their_place_not_by_counting():
    off = note("C", 5, 12) + note("D", 5, 4) + note("E", 5, 4) + note("F", 5, 4)

    assert lengths(score(off, beats=3)) == [F(3, 2), F(1, 2), F(2, 3), F(1, 3)]


def test_a_syncopation_is_left_alone():
    crossed = note("C", 5, 4) + note("D", 5, 8) + note("E", 5, 4) + note("F", 5, 8)

    assert lengths(score(crossed, beats=3)) == [F(1, 2), F(1), F(1, 2), F(1)]


def test_the_word_for_equal_cancels():
    word = "<direction><direction-type><words>notes égales</words></direction-type></direction>"

    assert lengths(score(word + quavers(), beats=3)) == [F(1, 2)] * 6


def test_a_bar_with_quicker_notes_is_left_equal():
    mixed = quavers(UP[:4]) + note("G", 5, 2) + note("F", 5, 2) + note("E", 5, 4)

    assert lengths(score(mixed, beats=3))[:4] == [F(1, 2)] * 4


def test_very_quick_notes_stay_equal():
    assert lengths(score(quavers(), beats=3), tempo=F(320)) == [F(1, 2)] * 6


def test_printed_and_played_length_are_two_facts():
    piece = score(quavers(), beats=3, bass=(note("C", 3, 24),))
    version = perform(piece, plain_study(piece), (), Fingers(), inequality=F(2))
    solo = [n for n in version.notes if n.part == "P1"]

    assert [n.page_onset for n in solo] == [F(i, 2) for i in range(6)]
    assert [n.onset for n in solo][:3] == [0, F(2, 3), 1]
    assert {n.length for n in piece.notes if n.part == "P1"} == {F(1, 2)}
    assert version.length == 3


def test_a_grace_on_an_uneven_note_fills_its_played_length():
    piece = score(small("E", 5) + quavers((("D", 5), ("E", 5), *UP[2:])), beats=3)
    version = perform(piece, plain_study(piece), (), Fingers(), inequality=F(2))
    first = version.notes[0].host
    graced = [(str(n.pitch), n.length) for n in version.notes if n.host == first]

    assert graced == [("E5", F(1, 3)), ("D5", F(1, 3))]


def test_overdotting_lengthens_the_dotted_note():
    dotted = note("C", 5, 12) + note("D", 5, 4) + note("E", 5, 8)
    version = perform(score(dotted, beats=3), plain_study(score(dotted, beats=3)), (), Fingers(),
                      inequality=Inequality(F(2), overdot=True))  # fmt: skip

    assert [n.length for n in version.notes] == [F(7, 4), F(1, 4), F(1)]


@pytest.mark.parametrize(
    ("meter", "value"),
    [(Meter(3, 4), F(1, 2)), (Meter(4, 4, "common"), F(1, 4)), (Meter(2, 2, "cut"), F(1, 2)), (Meter(3, 8), F(1, 4)),
     (Meter(6, 4), F(1, 2)), (Meter(3, 2), F(1)), (Meter(2, 4), F(1, 4)), (Meter(5, 4), None)],
)  # fmt: skip
def test_the_unequal_value_by_metre(meter, value):
    assert unequal_value(meter) == value
