"""Fingerings, shakes and compass against what others print.

Sources: the alto fingerings that two or more modern charts print alike; the recorder shakes that a Paris tutor of 1707
describes in words (p. 46); a public reference article for the compass of alto, soprano and voice flute.
"""

import pytest

from gracewright.instruments import load_instrument
from gracewright.pitch import Pitch

CHART = {
    "F4": "01234567", "G4": "0123456-", "A4": "012345--", "Bb4": "01234-67", "B4": "0123-56-", "C5": "0123----",
    "D5": "012-----", "Eb5": "01-34---", "E5": "01------", "F5": "0-2-----", "F#5": "-12-----", "G5": "--2-----",
    "Ab5": "--23456-", "A5": "p12345--", "Bb5": "p1234-6-", "B5": "p123-5--", "C6": "p123----", "C#6": "p12-4---",
    "D6": "p12-----", "E6": "p12-45--", "F6": "p1--45--",
}  # fmt: skip


@pytest.mark.parametrize("name", CHART)
def test_alto_fingerings_are_those_of_modern_charts(name):
    assert load_instrument("alto-recorder").fingerings[Pitch.parse(name).midi].holes == CHART[name]


@pytest.mark.parametrize(
    ("lower", "upper", "fingers"),
    [("F4", "G4", ("7",)), ("F#4", "G4", ("7",)), ("G5", "A5", ("3",))],
)
def test_shakes_worded_in_the_tutor_of_1707(lower, upper, fingers):
    """f'-g' and f#'-g' with the seventh finger (half of it for the latter), g''-a'' with the third."""
    shake = load_instrument("alto-recorder").shake(Pitch.parse(lower), Pitch.parse(upper))

    assert shake.fingers == fingers
    assert shake.known == "text"


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [("alto-recorder", "F4", "G6"), ("soprano-recorder", "C5", "D7"), ("voice-flute", "D4", "E6")],
)
def test_compass(name, low, high):
    instrument = load_instrument(name)

    assert (str(instrument.low), str(instrument.high)) == (low, high)


def test_the_soprano_is_the_alto_a_fifth_higher():
    """c'' on the soprano is fingered as f' on the alto; its d'' as g'."""
    soprano, alto = load_instrument("soprano-recorder"), load_instrument("alto-recorder")

    assert soprano.fingering(Pitch.parse("D5")) == alto.fingering(Pitch.parse("G4"))


def test_a_shake_with_the_little_finger_is_slower_than_one_with_a_strong_finger():
    """Ring and little finger are slower than index and middle (Motor Control 9(1), 2005, abstract)."""
    alto = load_instrument("alto-recorder")
    little = alto.rate("advanced", Pitch.parse("F4"), Pitch.parse("G4"))
    strong = alto.rate("advanced", Pitch.parse("C5"), Pitch.parse("D5"))

    assert little < strong
