"""What every passage must be, whatever the host."""

from fractions import Fraction as F

import pytest

from gracewright.divisions import divisions_for, styles
from gracewright.errors import BadInput
from gracewright.graces.model import Context
from gracewright.pitch import Key, Pitch


def host(pitch="E5", length=F(2), following="C5", key="C major", harmony=("C", "E", "G"), bass="C3", **more):
    return Context(
        Pitch.parse(pitch), F(0), length, Key.parse(key), Key.parse(key).signature, harmony=harmony, least=0.08,
        following=Pitch.parse(following) if following else None, bass=Pitch.parse(bass) if bass else None, **more,
    )  # fmt: skip


@pytest.mark.parametrize("manner", styles())
def test_a_falling_third_of_two_beats_is_divided_in_every_style(manner):
    found = divisions_for(host(), manner=manner)

    assert len(found) == 5
    assert [division.score for division in found] == sorted((d.score for d in found), reverse=True)
    for division in found:
        assert division.grace.id == "division"
        assert division.notes[0][0] == Pitch.parse("E5")
        assert sum(share for _, share in division.notes) == 1
        assert len(division.notes) > 1


def test_a_minor_line_rises_to_the_tonic_through_raised_degrees_and_falls_through_natural_ones():
    """Melodic minor: common practice, no source."""
    up = divisions_for(host("D5", F(1), "G5", "G minor", ("G", "Bb", "D"), "G2"), manner="english", most=20)
    down = divisions_for(host("G5", F(1), "D5", "G minor", ("G", "Bb", "D"), "G2"), manner="english", most=20)

    rising = {str(p) for d in up if [p.diatonic for p, _ in d.notes] == [36, 37, 38] for p, _ in d.notes}
    falling = {str(p) for d in down if [p.diatonic for p, _ in d.notes] == [39, 38, 37] for p, _ in d.notes}
    assert rising == {"D5", "E5", "F#5"}
    assert falling == {"G5", "F5", "Eb5"}


def test_a_note_too_short_for_the_player_is_left_alone():
    assert divisions_for(host(length=F(1, 8)), manner="italian") == ()


def test_before_a_rest_the_passage_ends_with_a_held_note_of_the_chord():
    for division in divisions_for(host("A4", F(4), None, "F major", ("F", "A", "C"), "F2"), manner="italian", most=20):
        last, share = division.notes[-1]
        assert last.pitch_class in ("F", "A", "C")
        assert share >= F(1, 4)


def test_an_unknown_manner_is_named_in_the_error():
    with pytest.raises(BadInput, match="no style of divisions is called 'martian'"):
        divisions_for(host(), manner="martian")


def test_four_notes_by_step_do_not_outline_a_tritone():
    """simpson1659, division viol, part 3: four notes running by step should not make a tritone."""
    best = divisions_for(host("Eb5", F(1), "D5", "Bb major", ("Eb", "G", "Bb"), "Eb3"), manner="italian", richness=8)[0]

    shape = [pitch.pitch_class for pitch, _ in best.notes]
    assert not any(shape[i : i + 4] == ["Eb", "F", "G", "A"] for i in range(len(shape)))


def test_what_was_heard_lately_steps_back():
    first = divisions_for(host(), manner="italian")[0]
    again = divisions_for(host(), manner="italian", lately=(first.formula,))[0]

    assert first.notes != again.notes


def test_the_fresher_a_passage_the_more_it_steps_back():
    def first(*lately):
        return divisions_for(host("E5", F(1), "D5"), manner="italian", lately=lately)[0].formula

    heard = [first()]
    for _ in range(5):
        heard.append(first(*heard))

    assert len(set(heard)) == 6


def test_a_passage_to_match_steps_forward():
    """The next leg of a sequence: the same figures a step lower, though they were heard just now."""
    leg = divisions_for(host("D5", F(1), "C5", harmony=("G", "B", "D"), bass="G3"), manner="italian")[2]
    then = divisions_for(host("C5", F(1), "B4", harmony=("F", "A", "C"), bass="F3"), manner="italian",
                         lately=(leg.formula,), like=leg.formula)[0]  # fmt: skip

    assert then.formula == leg.formula
    assert [p.diatonic for p, _ in then.notes] == [p.diatonic - 1 for p, _ in leg.notes]


def test_the_sixth_degree_stays_natural_where_the_chord_has_the_natural_seventh():
    """D minor over an F chord with C natural: no B natural rises to it (melodic minor; common practice, no source)."""
    place = host("A5", F(1), "F5", "D minor", ("F", "A", "C"), "F3")
    found = divisions_for(place, manner="italian", richness=8, most=20)

    assert {"Bb", "C"} <= {p.pitch_class for d in found for p, _ in d.notes}
    assert not {"B", "C#"} & {p.pitch_class for d in found for p, _ in d.notes}


def test_a_note_beyond_the_compass_gets_no_passage_and_no_fault():
    """No note of the chord lies within reach and compass: nothing is found, over a bass that moves."""
    compass = Pitch.parse("F4"), Pitch.parse("G5")

    assert divisions_for(host("E7", following="C7"), manner="italian", compass=compass, beat=F(1)) == ()
