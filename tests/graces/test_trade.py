"""Facts of the trade (common practice, no source): what any player of the repertory expects of a realisation."""

from fractions import Fraction as F

import pytest
from graces_hands import Fingers, host, note, plain_study, score

from gracewright.graces import Grace, page_graces, perform, realise
from gracewright.pitch import Pitch


def sung(grace, **place):
    length = F(place.pop("length", 1))
    return [(str(n.pitch), n.length) for n in realise(grace, host(length=length, **place)).notes]


def pitches(grace, **place):
    return [name for name, _ in sung(grace, **place)]


def test_an_appoggiatura_is_on_the_beat_and_takes_half_of_its_note():
    assert sung(Grace("appoggiatura", direction="above")) == [("D5", F(1, 2)), ("C5", F(1, 2))]


def test_an_appoggiatura_takes_two_thirds_of_a_dotted_note():
    assert sung(Grace("appoggiatura", direction="above"), length="3/2", ternary=True)[0] == ("D5", F(1))


def test_a_shake_begins_with_the_note_above_on_the_beat():
    first = realise(Grace("shake"), host()).notes[0]

    assert (str(first.pitch), first.onset) == ("D5", 0)


@pytest.mark.parametrize(
    ("shaken", "then", "ending"),
    [(("D", 5), note("C", 5, 16), "anticipation"), (("B", 4), note("C", 5, 16), "turned"),
     (("B", 4), "<note><rest/><duration>16</duration></note>", "none")],
)  # fmt: skip
def test_the_tune_falls_by_step_anticipation_it_rises_turned_ending(shaken, then, ending):
    piece = score(note(*shaken, 16, notations="<ornaments><trill-mark/></ornaments>") + then)
    (found,) = page_graces(piece, plain_study(piece))

    assert found.grace.ending == ending


def test_a_turned_ending_is_the_note_below_and_the_note():
    assert pitches(Grace("shake", ending="turned"), pitch="B4", following="C5")[-2:] == ["A4", "B4"]


def test_a_turn_stands_for_a_closed_shake_that_has_no_time():
    assert pitches(Grace("shake", ending="turned"), length="1/2", quarter=F(1, 2), least=0.06, rate=4.0) == [
        "D5", "C5", "B4", "C5"]  # fmt: skip


def test_an_anticipated_ending_touches_the_next_note_early():
    notes = sung(Grace("shake", ending="anticipation"), pitch="D5", following="C5")

    assert notes[-1] == ("C5", F(1, 4))
    assert notes[-2][0] == "D5"


def test_a_mordent_goes_to_the_note_below():
    assert pitches(Grace("mordent")) == ["C5", "B4", "C5"]
    assert pitches(Grace("mordent", size="double")) == ["C5", "B4", "C5", "B4", "C5"]


def test_a_turn_goes_round_its_note():
    assert pitches(Grace("turn")) == ["D5", "C5", "B4", "C5"]
    assert pitches(Grace("turn-after"), following="D5") == ["C5", "D5", "C5", "B4", "C5"]


def test_a_turn_after_a_dotted_note_comes_home_on_its_dot():
    notes = sung(Grace("turn-after"), length="3/2", ternary=True)

    assert [name for name, _ in notes] == ["C5", "D5", "C5", "B4", "C5"]
    assert notes[-1] == ("C5", F(1, 2))


def test_a_shake_led_into_goes_up_down_up_or_round():
    assert pitches(Grace("shake", direction="below"))[:4] == ["B4", "C5", "D5", "C5"]
    assert pitches(Grace("shake", direction="above"))[:5] == ["D5", "C5", "B4", "C5", "D5"]


def test_a_double_appoggiatura_takes_two_notes_into_the_main_one():
    assert pitches(Grace("double-appoggiatura")) == ["B4", "D5", "C5"]


def test_a_slide_comes_from_the_third_below():
    assert pitches(Grace("slide")) == ["A4", "B4", "C5"]


def test_an_accent_is_a_lift_between_repeated_notes():
    notes = sung(Grace("accent"), following="C5")

    assert [name for name, _ in notes] == ["C5", "D5"]
    assert notes[1][1] <= F(1, 4)


def test_a_falling_third_is_filled_at_the_end_of_its_first_note():
    assert pitches(Grace("passing-notes"), following="A4") == ["C5", "B4"]
    assert pitches(Grace("passing-notes"), following="F5") == ["C5", "D5", "E5"]


def test_a_passing_appoggiatura_takes_its_time_from_the_note_before():
    grace = Grace("appoggiatura", size="passing", direction="above")
    realised = realise(grace, host(previous="E5", previous_length=F(1)))

    assert [(str(n.pitch), n.onset) for n in realised.notes] == [("D5", F(-1, 4)), ("C5", F(0))]
    assert realised.from_previous == F(1, 4)


def test_a_short_leaning_note_is_short_on_a_dotted_note_too():
    notes = sung(Grace("appoggiatura", size="short", direction="above"), length="3/2", ternary=True)

    assert notes[0] == ("D5", F(1, 8))


def test_finger_vibrato_lies_below_the_pitch_and_makes_no_notes():
    (only,) = realise(Grace("finger-vibrato"), host(length=3)).notes

    assert only.bend is not None
    assert only.bend[0] < 0
    assert only.length == 3


@pytest.mark.parametrize(
    ("pitch", "key", "lower"),
    [("A4", "A minor", "G#4"), ("D5", "D minor", "C#5"), ("G4", "G minor", "F#4"), ("E5", "A minor", "D5"),
     ("C5", "C major", "B4"), ("G#4", "A minor", "F#4"), ("B4", "E minor", "A4")],
)  # fmt: skip
def test_the_note_below_the_tonic_is_the_leading_note(pitch, key, lower):
    assert pitches(Grace("mordent"), pitch=pitch, key=key)[1] == lower


@pytest.mark.parametrize(
    ("pitch", "key", "upper"),
    [("E5", "A minor", "F5"), ("G#4", "A minor", "A4"), ("F5", "A minor", "G5"), ("F#5", "A minor", "G#5"),
     ("C#5", "D minor", "D5"), ("A4", "D minor", "Bb4"), ("F#5", "G major", "G5")],
)  # fmt: skip
def test_the_note_above_is_the_keys_own_and_never_an_augmented_second(pitch, key, upper):
    assert pitches(Grace("shake"), pitch=pitch, key=key)[0] == upper


def test_an_accidental_in_the_bar_goes_before_the_key():
    state = {Pitch.parse("D5").diatonic: -1}

    assert pitches(Grace("shake"), bar_state=state)[0] == "Db5"


def test_a_prescribed_accidental_goes_before_everything():
    state = {Pitch.parse("D5").diatonic: -1}

    assert pitches(Grace("shake", upper_alter=0), bar_state=state)[0] == "D5"


def test_a_chord_of_another_key_colours_the_neighbour():
    assert pitches(Grace("mordent"), pitch="G4", harmony=("D", "F#", "A"))[1] == "F#4"


@pytest.mark.parametrize("source", ["mace1676", "carr1686"])
def test_english_beats_take_the_semitone_below(source):
    notes = pitches(Grace("mordent"), pitch="D5", source=source)

    assert "C#5" in notes
    assert "C5" not in notes


def test_a_shake_fills_a_chain_of_tied_notes():
    mark = '<tied type="start"/><ornaments><trill-mark/></ornaments>'
    first = note("D", 5, 32, notations=mark, extra='<tie type="start"/>')
    second = note("D", 5, 16, notations='<tied type="stop"/>', extra='<tie type="stop"/>')
    piece = score(first, second + note("C", 5, 16))
    version = perform(piece, plain_study(piece), (), Fingers())
    shaken = [n for n in version.notes if n.host == version.notes[0].host]

    assert sum(n.length for n in shaken) == 6
    assert len(shaken) > 20


def test_a_wavy_line_carries_the_shake_over_the_notes_under_it():
    line = (note("D", 5, 16, notations='<ornaments><trill-mark/><wavy-line type="start" number="1"/></ornaments>')
            + note("E", 5, 8) + note("F", 5, 8, notations='<ornaments><wavy-line type="stop" number="1"/></ornaments>'),
            note("G", 5, 32))  # fmt: skip
    piece = score(*line)

    assert [g.grace.id for g in page_graces(piece, plain_study(piece))] == ["shake"] * 3
