"""Laws that every temperament keeps."""

import pytest

from gracewright.errors import BadInput
from gracewright.pitch import Pitch, class_from_fifths
from gracewright.sound import load_temperament, temperaments


def test_there_are_thirteen():
    assert len(temperaments()) == 13


@pytest.mark.parametrize("name", temperaments())
@pytest.mark.parametrize("a", [392.0, 415.0, 440.0, 465.0])
def test_the_tuning_note_stays_where_it_is(name, a):
    assert load_temperament(name).frequency(Pitch.parse("A4"), a) == a


@pytest.mark.parametrize("name", temperaments())
def test_octaves_are_pure(name):
    tuning = load_temperament(name)

    for letter in ("C", "F#", "Bb", "E"):
        low, high = (tuning.frequency(Pitch.parse(f"{letter}{octave}")) for octave in (3, 4))
        assert high == pytest.approx(2 * low, rel=1e-12)


@pytest.mark.parametrize("name", [name for name in temperaments() if not load_temperament(name).fifth])
def test_a_circle_closes(name):
    """Twelve fifths make seven octaves, and g sharp is a flat."""
    tuning = load_temperament(name)
    names = [class_from_fifths(f) for f in range(-3, 9)]
    fifths = [(tuning.cents_from_c(b) - tuning.cents_from_c(a)) % 1200 for a, b in zip(names, [*names[1:], names[0]],
                                                                                    strict=True)]  # fmt: skip

    assert sum(fifths) == pytest.approx(8400)
    assert tuning.frequency(Pitch.parse("G#4")) == tuning.frequency(Pitch.parse("Ab4"))


@pytest.mark.parametrize("name", ["meantone_1_4", "meantone_1_6_syntonic", "division_55"])
def test_in_a_meantone_g_sharp_is_lower_than_a_flat(name):
    """So eighteenth-century flute tutors teach it (common practice)."""
    tuning = load_temperament(name)

    assert tuning.frequency(Pitch.parse("G#5")) < tuning.frequency(Pitch.parse("Ab5"))


def test_an_unknown_name_is_answered_with_the_known_ones():
    with pytest.raises(BadInput, match="no temperament is called 'wobbly'; choose one of equal, pythagorean"):
        load_temperament("wobbly")


@pytest.mark.parametrize("name", temperaments())
def test_midi_cents_lead_from_midis_own_pitch_to_ours(name):
    """MIDI takes key 69 for 440 Hz and each key for an equal semitone (the MIDI standard)."""
    tuning = load_temperament(name)

    for letter in ("C4", "G#4", "Eb5", "F#6"):
        pitch = Pitch.parse(letter)
        plain = 440 * 2 ** ((pitch.midi - 69) / 12)
        assert plain * 2 ** (tuning.midi_cents(pitch, 392.0) / 1200) == pytest.approx(tuning.frequency(pitch, 392.0))
