"""A whole study of small pieces whose right answer can be argued at sight."""

from fractions import Fraction as F

import pytest

from gracewright.errors import BadInput
from gracewright.pitch import Key
from gracewright.study import describe, study, study_json

CLOSE = {
    "P1": "G5:1 F5:1 E5:1 D5:1 C5:1 A5:1 D5:1/2 C5:1/2 B4:1 C5:4",
    "P2": "C4:1 B3:1 C4:1 G3:1 A3:1 F3:1 G3:2 C3:4",
}


def test_a_plain_close_in_c_major_is_a_perfect_cadence_on_its_last_downbeat(make_piece):
    found = study(make_piece(CLOSE))

    assert found.home == Key.parse("C major")
    last = found.cadences[-1]
    assert (last.onset, last.kind) == (F(8), "authentic-perfect")
    assert (last.penultimate, last.arrival) == ("P1.8", "P1.9")


def test_harmony_covers_the_piece_without_gaps(make_piece):
    found = study(make_piece(CLOSE))

    ends = [chord.end for chord in found.harmony]
    assert [chord.onset for chord in found.harmony] == [F(0), *ends[:-1]]
    assert ends[-1] == F(12)


def test_a_study_is_told_in_words_and_as_json(make_piece):
    piece = make_piece(CLOSE)
    found = study(piece)

    assert "C major" in describe(found, piece)
    told = study_json(found, piece)
    assert told["cadences"][-1]["onset"] == "8"
    assert told["cadences"][-1]["bar"] == "3"
    assert told["notes"][0]["pitch"] == "G5"


def test_a_lone_melody_says_that_it_guesses(make_piece):
    found = study(make_piece({"P1": CLOSE["P1"]}))

    assert found.bass == ""
    assert any("guess" in remark for remark in found.remarks)


def test_a_score_without_notes_is_refused(make_piece):
    with pytest.raises(BadInput, match="no notes"):
        study(make_piece({"P1": "r:4"}))
