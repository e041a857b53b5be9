"""What a player stumbles over is told; what lies well is not."""

from dataclasses import replace
from fractions import Fraction

import pytest

from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.instruments import load_instrument, long_breaths, playable, shake_fingerings
from gracewright.pitch import Pitch
from gracewright.study.model import Phrase

ALTO = load_instrument("alto-recorder")
SIXTY = Fraction(60)  # a quarter lasts a second


def version(*hosts):
    """Each host is a list of ``(name, length in quarters)``; several notes are slurred together."""
    notes, at = [], Fraction(0)
    for number, host in enumerate(hosts):
        for place, (name, length) in enumerate(host):
            length = Fraction(length)
            notes.append(PlayedNote("P1", at, length, Pitch.parse(name), f"n{number}", at, 1, main=place == 0,
                                    slurred=place > 0))  # fmt: skip
            at += length
    return Version("P1", (Pass(0, 0, 1, Fraction(0), Fraction(0), at),), tuple(notes), {})


def shake(low, high, strokes, each):
    return [(name, each) for _ in range(strokes) for name in (high, low)]


def rules(*hosts, level="intermediate", tempo=SIXTY):
    found = playable(version(*hosts), ALTO, level, tempo=tempo)
    return [(trouble.rule, trouble.note, trouble.fault) for trouble in found]


def test_a_plain_line_has_no_trouble():
    assert rules([("A4", 1)], [("C5", 1)], [("G5", 1)]) == []


def test_a_note_below_the_compass_is_a_fault():
    assert rules([("A4", 1)], [("E4", 1)]) == [("compass", "n1", True)]


def test_high_f_sharp_is_a_missing_note():
    assert rules([("F#6", 1)]) == [("missing note", "n0", True)]


def test_a_shake_at_the_pace_of_the_level_is_no_trouble():
    """Four and a half strokes a second with one strong finger."""
    assert rules(shake("D5", "E5", 4, Fraction(1, 9))) == []


def test_the_same_shake_twice_as_fast_is_too_quick():
    assert rules(shake("D5", "E5", 8, Fraction(1, 18))) == [("shake", "n0", False)]
    assert rules(shake("D5", "E5", 4, Fraction(1, 9)), tempo=Fraction(120)) == [("shake", "n0", False)]


def test_a_shake_that_a_strong_finger_can_do_may_be_too_quick_for_the_little_one():
    strong, little = shake("C5", "D5", 4, Fraction(1, 9)), shake("F4", "G4", 4, Fraction(1, 9))

    assert rules(strong) == []
    assert rules(little) == [("shake", "n0", False)]


def test_the_shake_on_high_f_cannot_be_done():
    """f'''-g''': three fingers move against each other (common practice)."""
    assert rules(shake("F6", "G6", 3, Fraction(1, 8))) == [("shake", "n0", True)]


def test_a_run_tongued_too_quickly_is_told_once():
    assert rules(*[[(name, Fraction(1, 8))] for name in ("C5", "D5", "E5", "D5", "C5")]) == [("tongue", "n0", False)]


def test_a_slurred_run_is_not_a_matter_of_the_tongue():
    assert rules([(name, Fraction(1, 8)) for name in ("C5", "D5", "E5", "F5", "G5")]) == []


def test_a_grace_note_too_short_to_speak():
    assert rules([("D5", Fraction(1, 40)), ("C5", Fraction(1, 40)), ("D5", 1)]) == [("quick note", "n0", False)]


def test_no_finger_vibrato_on_the_lowest_note():
    plain = version([("F4", 2)])
    bent = replace(plain, notes=(replace(plain.notes[0], bend=(-20.0, 5.0)),))

    assert [t.rule for t in playable(bent, ALTO, "advanced", tempo=SIXTY)] == ["finger vibrato"]


def test_shakes_are_listed_with_their_fingering():
    (found,) = shake_fingerings(version([("A4", 1)], shake("E5", "F5", 4, Fraction(1, 9))), ALTO, tempo=SIXTY)

    assert (found.note, str(found.lower), str(found.upper)) == ("n1", "E5", "F5")
    assert found.strokes == pytest.approx(4.5)
    assert found.words.startswith("hold 0 -23 ---- and beat finger 3")


def test_a_phrase_longer_than_a_breath_is_told():
    phrases = [Phrase(Fraction(0), Fraction(8), 8.0), Phrase(Fraction(8), Fraction(24), 16.0)]

    assert [phrase.start for phrase, _ in long_breaths(phrases, ALTO)] == [8]
    assert long_breaths(phrases, load_instrument("violin")) == ()


def test_every_trouble_says_what_to_do():
    troubles = playable(version(shake("F6", "G6", 3, Fraction(1, 8)), [("E4", 1)]), ALTO, "beginner", tempo=SIXTY)

    assert troubles
    assert all(words[0].isupper() and words.endswith(".") for t in troubles for words in (t.what, t.remedy))
    assert all(trouble.source for trouble in troubles)


def test_a_repeated_note_is_no_shake():
    """C C D C: one stroke after a repetition is too little."""
    host = [(name, Fraction(1, 4)) for name in ("C5", "C5", "D5", "C5")]

    assert shake_fingerings(version(host), ALTO, tempo=SIXTY) == ()
