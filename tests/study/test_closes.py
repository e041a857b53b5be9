"""Reading closes: the shape of what is learned, and weights read from another place."""

import numpy as np
import pytest

from gracewright.study.beats import Beats
from gracewright.study.closes import ARRIVALS, SORTS, close_features, mean_chance, sorts_of
from gracewright.study.harmony import read_harmony
from gracewright.study.material import gather
from gracewright.study.surroundings import log_odds, surroundings
from gracewright.study.tables import using, weights

LINES = {
    "P1": "G5:1 F5:1 E5:1 D5:1 C5:1 A5:1 D5:1/2 C5:1/2 B4:1 C5:4",
    "P2": "C4:1 B3:1 C4:1 G3:1 A3:1 F3:1 G3:2 C3:4",
}


@pytest.fixture
def beats(make_piece):
    material = gather(make_piece(LINES))
    return Beats(material, read_harmony(material.piece, material.line, material.frames))


def test_the_shipped_weights_fit_the_features(beats):
    layers = weights().layers

    assert close_features(beats).shape == (len(beats), layers["close"].first.shape[0])
    assert surroundings(beats, np.full((len(beats), len(SORTS)), 0.1)).shape[1] == layers["close_again"].first.shape[0]


def test_features_are_numbers_of_one_size(beats):
    seen = close_features(beats)

    assert np.isfinite(seen).all()
    assert np.abs(seen).max() <= 20


def test_a_perfect_cadence_is_an_authentic_one_too(beats):
    chance = np.tile([0.6, 0.7, 0.1, 0.0, 0.5], (len(beats), 1))
    closes = sorts_of(beats, chance)

    assert closes.arrival[0].tolist() == pytest.approx([0.2, 0.6, 0.1, 0.1])
    assert closes.arrival.shape == (len(beats), len(ARRIVALS))


def test_two_readings_are_averaged_as_odds():
    """Even odds and nine to one: three to one."""
    one, other = log_odds(np.array([0.5])), log_odds(np.array([0.9]))

    assert mean_chance(one, other).tolist() == pytest.approx([0.75])


def test_the_lowest_note_of_a_lone_line_is_sought_within_the_beat(make_piece):
    """C E G E in semiquavers: the beat stands on C though it begins on E."""
    material = gather(make_piece({"P1": "E5:1/4 C4:1/4 G4:1/4 E4:1/4 C5:3"}))
    beats = Beats(material, read_harmony(material.piece, material.line, material.frames))

    assert beats.bottom[0] // 64 == 60


def test_weights_can_be_read_from_another_folder_for_a_while(tmp_path):
    (tmp_path / "dials.toml").write_text("[closes]\ncadence = 0.5\n", encoding="utf-8")
    before = weights().numbers["closes.cadence"]
    with using(tmp_path):
        inside = weights().numbers["closes.cadence"]

    assert inside == 0.5
    assert weights().numbers["closes.cadence"] == before != 0.5
