"""Out of range, and the usual moves."""

from fractions import Fraction

import pytest

from gracewright.instruments import load_instrument, octave_moves, out_of_range, transpositions
from gracewright.pitch import Pitch
from gracewright.score.model import Tone
from gracewright.study.model import Phrase


def line(*names):
    return tuple(Tone(f"n{i}", (f"n{i}",), 0, Fraction(i), Fraction(1), Pitch.parse(n)) for i, n in enumerate(names))


def test_notes_below_the_alto_are_reported():
    outside = out_of_range(line("D4", "F4", "E4", "G5"), load_instrument("alto-recorder"))

    assert [tone.id for tone in outside] == ["n0", "n2"]


def test_high_f_sharp_is_missing_on_the_alto():
    """It needs the bell closed on the knee: modern charts."""
    assert [t.id for t in out_of_range(line("F6", "F#6", "G6"), load_instrument("alto-recorder"))] == ["n1"]


def test_a_french_flute_piece_goes_up_a_minor_third_on_the_alto():
    """D major to F major, e minor to g minor: three sharps fewer (common practice; public reference articles)."""
    best = transpositions(line("D4", "F#4", "A4", "D5", "E6"), load_instrument("alto-recorder"))[0]

    assert (best.diatonic, best.chromatic, best.fifths, best.misses) == (2, 3, -3, 0)
    triad = [Pitch.parse(name).transposed(best.diatonic, best.chromatic) for name in ("D4", "F#4", "A4")]
    assert [str(pitch) for pitch in triad] == ["F4", "A4", "C5"]


def test_flute_music_stays_where_it_is_on_the_voice_flute():
    flute = line("D4", "F#5", "E6")

    assert out_of_range(flute, load_instrument("voice-flute")) == ()


def test_the_soprano_is_offered_its_octave_first():
    best = transpositions(line("C4", "E4", "G4", "A5"), load_instrument("soprano-recorder"))[0]

    assert (best.diatonic, best.chromatic, best.misses) == (7, 12, 0)


def test_oboe_music_from_low_c_goes_up_a_fourth_on_the_alto():
    """Common practice: C major becomes F major."""
    best = transpositions(line("C4", "D4", "C5", "A5"), load_instrument("alto-recorder"))[0]

    assert (best.diatonic, best.chromatic, best.misses) == (3, 5, 0)


@pytest.mark.parametrize("name", ["G3", "B3"])
def test_what_fits_nowhere_is_told_by_its_misses(name):
    """A violin line over more than two octaves and a tone leaves notes outside wherever it is moved."""
    moves = transpositions(line(name, "D5", "G6"), load_instrument("alto-recorder"))

    assert moves
    assert min(move.misses for move in moves) >= 1


def test_a_low_phrase_of_violin_music_goes_up_an_octave_as_a_whole():
    phrases = [Phrase(Fraction(0), Fraction(3), 3.0), Phrase(Fraction(3), Fraction(6), 3.0)]
    moves = octave_moves(line("A4", "C5", "F4", "A3", "D4", "C4"), phrases, load_instrument("alto-recorder"))

    assert [(phrase.start, octaves, words) for phrase, octaves, words in moves] == [
        (3, 1, "this phrase fits an octave up")
    ]


def test_a_phrase_too_wide_for_either_octave_is_not_offered():
    phrases = [Phrase(Fraction(0), Fraction(2), 2.0)]

    assert octave_moves(line("G3", "A6"), phrases, load_instrument("alto-recorder")) == ()
