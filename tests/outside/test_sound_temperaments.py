"""Temperaments against tables that others have published.

Sources: tables of cents above C in public lists of historical temperaments (compared by us, to a hundredth of a cent);
the pure major third 5:4 and the fifth of the 55- and 43-part octave by arithmetic. A list for Vallotti in public code
differs from the sixth-comma definition by up to 0.36 cents (it takes the schisma into account); the definition is kept.
"""

import math

import pytest

from gracewright.pitch import Pitch
from gracewright.sound import load_temperament

NAMES = ("C", "C#", "D", "Eb", "E", "F", "F#", "G", "G#", "A", "Bb", "B")
PUBLISHED = {  # cents above C
    "pythagorean": (0, 113.69, 203.91, 294.14, 407.82, 498.05, 611.73, 701.96, 815.64, 905.87, 996.09, 1109.78),
    "meantone_1_4": (0, 76.05, 193.16, 310.26, 386.31, 503.42, 579.47, 696.58, 772.63, 889.74, 1006.84, 1082.89),
    "meantone_1_6_pythagorean":
        (0, 86.32, 196.09, 305.87, 392.18, 501.96, 588.27, 698.05, 784.36, 894.14, 1003.91, 1090.23),
    "werckmeister_3": (0, 90.23, 192.18, 294.14, 390.23, 498.05, 588.27, 696.09, 792.18, 888.27, 996.09, 1092.18),
    "kirnberger_3": (0, 90.23, 193.16, 294.14, 386.31, 498.05, 590.22, 696.58, 792.18, 889.74, 996.09, 1088.27),
    "vallotti": (0, 94.14, 196.09, 298.05, 392.18, 501.96, 592.18, 698.05, 796.09, 894.14, 1000.00, 1090.23),
    "young_2": (0, 90.23, 196.09, 294.14, 392.18, 498.05, 588.27, 698.05, 792.18, 894.14, 996.09, 1090.23),
}  # fmt: skip


@pytest.mark.parametrize("name", PUBLISHED)
def test_published_cents(name):
    tuning = load_temperament(name)

    for note, cents in zip(NAMES, PUBLISHED[name], strict=True):
        assert tuning.cents_from_c(note) == pytest.approx(cents, abs=0.01)


@pytest.mark.parametrize(("low", "high"), [("C", "E"), ("G", "B"), ("D", "F#"), ("F", "A"), ("Ab", "C"), ("B", "D#")])
def test_quarter_comma_thirds_are_pure_however_far_they_lie(low, high):
    tuning = load_temperament("meantone_1_4")
    third = (tuning.cents_from_c(high) - tuning.cents_from_c(low)) % 1200

    assert third == pytest.approx(1200 * math.log2(5 / 4), abs=1e-9)


@pytest.mark.parametrize(("name", "steps", "division"), [("division_55", 32, 55), ("division_43", 25, 43)])
def test_divisions_of_the_octave(name, steps, division):
    """Nine commas make a tone in the octave of 55; the large semitone has five, the small one four."""
    tuning = load_temperament(name)

    assert tuning.cents_from_c("G") == pytest.approx(1200 * steps / division)
    if division == 55:
        assert [round(tuning.cents_from_c(note) * 55 / 1200, 6) for note in ("D", "Db", "C#")] == [9, 5, 4]


def test_equal_temperament_is_that_of_midi():
    """69 is a', each number a semitone (the MIDI standard)."""
    tuning = load_temperament("equal")

    found = [round(tuning.frequency(Pitch.parse(name), 440.0), 4) for name in ("A4", "C4", "F#5")]

    assert found == [440.0, 261.6256, 739.9888]
