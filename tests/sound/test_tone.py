"""What a rendered line sounds like, measured from its samples."""

import io
import math
from fractions import Fraction

import numpy as np
import pytest
import soundfile
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from gracewright.errors import BadInput
from gracewright.instruments import instruments, load_instrument
from gracewright.pitch import Pitch
from gracewright.sound import PEAK, SAMPLE_RATE, encoded, load_temperament, render, temperaments, time_map

SIXTY = Fraction(60)


def cents(found, wanted):
    return 1200 * math.log2(found / wanted)


def level(samples):
    return 20 * math.log10(float(np.sqrt(np.mean(samples**2))) + 1e-12)


@pytest.mark.parametrize("temperament", temperaments())
def test_sustained_notes_stand_within_two_cents_of_the_temperament_in_the_decoded_file(temperament, version, measured):
    """Five notes with sharps and flats over a plucked bass, through OGG and back."""
    names = ["A4", "G#4", "Bb4", "F#5", "Eb5"]
    line = [("P1", 2 * i, 2, name) for i, name in enumerate(names)]
    played = version(*line, *[("P2", 2 * i, 2, "D3") for i in range(5)])
    sound = render(played, tempo=SIXTY, a=415.0, temperament=temperament, bass="P2")
    back, _ = soundfile.read(io.BytesIO(encoded(sound, ".ogg")))
    tuning = load_temperament(temperament)

    for i, name in enumerate(names):
        wanted = tuning.frequency(Pitch.parse(name), 415.0)
        middle = back[int((2 * i + 0.4) * SAMPLE_RATE) : int((2 * i + 1.7) * SAMPLE_RATE)]
        assert abs(cents(measured(middle, wanted), wanted)) < 2.0


@pytest.mark.parametrize("name", instruments())
def test_each_instrument_plays_in_tune_from_bottom_to_top(name, version, measured):
    instrument = load_instrument(name)
    ends = [str(instrument.low), str(instrument.comfortable[1]), str(instrument.high)]
    sound = render(version(*[("P1", i, 1, end) for i, end in enumerate(ends)]), tempo=SIXTY, instrument=name)
    tuning = load_temperament("vallotti")

    for i, end in enumerate(ends):
        wanted = tuning.frequency(Pitch.parse(end))
        middle = sound[int((i + 0.2) * SAMPLE_RATE) : int((i + 0.85) * SAMPLE_RATE)]
        assert abs(cents(measured(middle, wanted), wanted)) < 2.0


def test_the_pluck_is_in_tune_over_its_whole_compass(version, measured):
    names = ["C2", "F#2", "Bb2", "E3", "G#3", "D4"]
    played = version(*[("P2", 2 * i, 2, name) for i, name in enumerate(names)])
    sound = render(played, tempo=SIXTY, bass="P2")
    tuning = load_temperament("vallotti")

    for i, name in enumerate(names):
        wanted = tuning.frequency(Pitch.parse(name))
        middle = sound[int((2 * i + 0.1) * SAMPLE_RATE) : int((2 * i + 1.6) * SAMPLE_RATE)]
        assert abs(cents(measured(middle, wanted), wanted)) < 2.0


def test_finger_vibrato_stays_below_the_note(version):
    """Its depth and rate are those asked for; it never rises above the pitch (Paris tutor of 1707)."""
    sound = render(version(("P1", 0, 4, "A4", {"bend": (-30.0, 5.0)})), tempo=SIXTY, temperament="equal")
    window = 2048
    heights = []
    for start in range(int(0.5 * SAMPLE_RATE), int(3.5 * SAMPLE_RATE), 256):
        piece = sound[start : start + window].astype(float)
        up = np.flatnonzero((piece[:-1] < 0) & (piece[1:] >= 0))
        cross = up + piece[up] / (piece[up] - piece[up + 1])
        heights.append(cents(SAMPLE_RATE * (len(cross) - 1) / (cross[-1] - cross[0]), 415.0))
    curve = np.array(heights)
    spectrum = np.abs(np.fft.rfft((curve - curve.mean()) * np.hanning(len(curve)), 8192))
    rate = np.argmax(spectrum) * SAMPLE_RATE / 256 / 8192

    assert -32 < curve.min() < -24
    assert curve.max() < 1.5
    assert rate == pytest.approx(5.0, abs=0.2)


def test_onsets_fall_where_the_time_map_says(version):
    """Tongued notes after rests: the first sample above a fiftieth of what comes lies within 5 ms of the map."""
    names = ["A4", "D5", "G4", "C6"]
    played = version(*[("P1", Fraction(3 * i, 2), Fraction(1, 2), name) for i, name in enumerate(names)])
    tempo = Fraction(77)
    sound = np.abs(render(played, tempo=tempo))

    for seconds, _, _, _ in time_map(played, tempo=tempo):
        start = int((seconds - 0.1) * SAMPLE_RATE) if seconds else 0
        quiet = sound[start : int(seconds * SAMPLE_RATE)].max(initial=0) if seconds else 0
        near = sound[int(seconds * SAMPLE_RATE) : int((seconds + 0.2) * SAMPLE_RATE)]
        first = np.argmax(near > max(0.02 * near.max(), 1.5 * quiet))
        assert first / SAMPLE_RATE < 0.005


def test_a_slurred_step_has_no_gap_and_a_tongued_one_has(version):
    slurred = render(version(("P1", 0, 1, "A4"), ("P1", 1, 1, "B4", {"slurred": True})), tempo=SIXTY)
    tongued = render(version(("P1", 0, 1, "A4"), ("P1", 1, 1, "B4")), tempo=SIXTY)
    joint = slice(int(0.985 * SAMPLE_RATE), int(1.0 * SAMPLE_RATE))

    assert level(slurred[joint]) > level(tongued[joint]) + 12


def test_a_slur_has_no_click(version):
    """Over the joint of a slur the sound moves no faster from sample to sample than within the notes."""
    sound = render(version(("P1", 0, 1, "A4"), ("P1", 1, 1, "E5", {"slurred": True})), tempo=SIXTY)
    bends = np.abs(np.diff(sound, 2))
    joint = bends[int(0.99 * SAMPLE_RATE) : int(1.02 * SAMPLE_RATE)].max()
    within = bends[int(1.3 * SAMPLE_RATE) : int(1.7 * SAMPLE_RATE)].max()

    assert joint < 1.5 * within


@pytest.mark.parametrize("instrument", instruments())
def test_nothing_is_louder_than_a_decibel_under_full_scale(instrument, version):
    crowd = version(*[(f"P{i}", 0, 3, name) for i, name in enumerate(["D3", "D5", "A4", "F4", "D4", "A3"])])
    sound = render(crowd, tempo=SIXTY, instrument=instrument, bass="P0")

    assert np.max(np.abs(sound)) <= PEAK + 1e-6
    assert np.isfinite(sound).all()


def test_only_the_loud_moment_is_turned_down(version):
    """A crowd of notes in the third second leaves the first second as loud as without it."""
    alone = [("P1", 0, 1, "A4")]
    crowd = [(f"P{i}", 2, 1, "A4") for i in range(2, 16)]
    quiet, loud = (render(version(*rows, ("P1", 4, 1, "A4")), tempo=SIXTY) for rows in (alone, alone + crowd))
    second = slice(0, SAMPLE_RATE)

    assert np.allclose(quiet[second], loud[second], atol=1e-5)
    assert np.max(np.abs(loud)) == pytest.approx(PEAK, rel=0.15)
    assert np.max(np.abs(loud)) <= PEAK + 1e-6


def test_it_begins_and_ends_in_silence(version):
    sound = render(version(("P1", 0, 1, "A4"), ("P2", 0, 1, "D3")), tempo=SIXTY, bass="P2")

    assert abs(sound[0]) < 1e-3
    assert np.abs(sound[-20:]).max() < 1e-4
    assert len(sound) == 2 * SAMPLE_RATE


def test_the_same_version_sounds_the_same(version):
    played = version(("P1", 0, 1, "A4"), ("P2", 0, 1, "D3"))

    assert np.array_equal(render(played, tempo=SIXTY, bass="P2"), render(played, tempo=SIXTY, bass="P2"))


def test_solo_and_continuo_can_be_silent(version):
    played = version(("P1", 0, 1, "A4"), ("P2", 1, 1, "D3"))
    alone = render(played, tempo=SIXTY, bass="P2", continuo=False)
    along = render(played, tempo=SIXTY, bass="P2", solo=False)

    assert level(alone[int(1.6 * SAMPLE_RATE) : 2 * SAMPLE_RATE]) < -70 < level(alone[: SAMPLE_RATE // 2])
    assert np.abs(along[:SAMPLE_RATE]).max() < 1e-6  # 120 dB under full scale


def test_a_swell_grows_and_dies_within_the_note(version):
    sound = render(version(("P1", 0, 4, "A4", {"swell": True})), tempo=SIXTY)
    early, middle, late = (level(sound[int(t * SAMPLE_RATE) : int((t + 0.3) * SAMPLE_RATE)]) for t in (0.2, 1.8, 3.5))

    assert middle > early + 3
    assert middle > late + 3


def test_an_unknown_instrument_is_refused(version):
    with pytest.raises(BadInput, match="no instrument is called"):
        render(version(("P1", 0, 1, "A4")), tempo=SIXTY, instrument="spoons")


def test_every_note_of_a_quick_shake_reaches_its_pitch(version, measured):
    """Eight notes of 70 ms in one slur: each, in its middle 45 ms, within 15 cents of where it should stand."""
    names = ["D5", "C5"] * 4
    each = Fraction(7, 100)
    notes = [("P1", 1 + i * each, each, name, {"slurred": i > 0}) for i, name in enumerate(names)]
    sound = render(version(*notes), tempo=SIXTY, temperament="equal")
    tuning = load_temperament("equal")

    for i, name in enumerate(names):
        start = 1 + i * 0.07 + 0.015
        middle = sound[int(start * SAMPLE_RATE) : int((start + 0.045) * SAMPLE_RATE)]
        wanted = tuning.frequency(Pitch.parse(name))
        assert abs(cents(measured(middle, wanted), wanted)) < 15


NOTES = st.lists(
    st.tuples(
        st.sampled_from(["P1", "P2", "P3"]), st.fractions(0, 2, max_denominator=96),
        st.fractions(Fraction(1, 2000), 2, max_denominator=2000),
        st.sampled_from(["C2", "F4", "G#5", "Ebb5", "G6", "D8"]),
        st.fixed_dictionaries({"slurred": st.booleans(), "swell": st.booleans(),
                               "bend": st.sampled_from([None, (-35.0, 5.0), (-10.0, 3.0)])}),
    ),
    min_size=1, max_size=8,
)  # fmt: skip


@settings(max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(NOTES, st.fractions(20, 300, max_denominator=7), st.sampled_from(instruments()))
def test_whatever_is_played_stays_within_bounds(version, notes, tempo, instrument):
    """Overlaps, specks of notes, notes far outside any compass: finite, never too loud, as long as it should be."""
    played = version(*notes)
    sound = render(played, tempo=tempo, instrument=instrument, bass="P2")

    assert np.isfinite(sound).all()
    assert np.max(np.abs(sound)) <= PEAK + 1e-6
    assert len(sound) == pytest.approx(float(played.length * 60 / tempo) * SAMPLE_RATE + SAMPLE_RATE, abs=2)
