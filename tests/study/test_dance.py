"""Dances guessed from how they look, where no title tells."""

from dataclasses import replace
from fractions import Fraction as F

import pytest

from gracewright.score import Marks, Meter, tones
from gracewright.study.dance import guess_dance

CUT, TRIPLE, EIGHTHS, GIGUE = Meter(2, 2), Meter(3, 4), Meter(3, 8), Meter(6, 8)


def guess(make_piece, line, meter, pickup=0, title=""):
    piece = make_piece({"P1": line}, meter=meter, pickup=pickup)
    bars = (*piece.bars[:-1], replace(piece.bars[-1], repeat_end=2))
    piece = replace(piece, bars=bars, title=title)
    return guess_dance(piece, tones(piece, "P1"))


@pytest.mark.parametrize(
    ("name", "line", "meter", "pickup"),
    [
        # half a bar of upbeat in cut time, eighths: what a gavotte is told by
        ("gavotte", "D5:1 D5:1 " + "G5:1/2 F5:1/2 E5:1/2 D5:1/2 C5:1 D5:1 " * 8, CUT, F(2)),
        # a quarter of upbeat instead
        ("bourrée", "D5:1 " + "G5:1/2 F5:1/2 E5:1/2 D5:1/2 C5:1 D5:1 " * 8, CUT, F(1)),
        # three, no upbeat, the second beat held beyond the third
        ("sarabande", "C5:1 D5:3/2 E5:1/2 D5:1 C5:2 " * 8, TRIPLE, 0),
        # three, no upbeat, even eighths, no beat held
        ("minuet", "C5:1/2 D5:1/2 E5:1/2 F5:1/2 G5:1 E5:1 D5:1 C5:1 " * 8, TRIPLE, 0),
        # 3/8 with an eighth of upbeat, by step; by leap it is a gigue
        ("passepied", "B4:1/2 " + "C5:1/4 D5:1/4 E5:1/2 D5:1/2 C5:1/2 D5:1/2 B4:1/2 " * 8, EIGHTHS, F(1, 2)),
        ("gigue", "B4:1/2 " + "C5:1/4 G5:1/4 E5:1/2 A5:1/2 D5:1/2 G5:1/2 B4:1/2 " * 8, EIGHTHS, F(1, 2)),
        ("gigue", "G4:1/2 " + "C5:1/2 E5:1/2 G5:1/2 A5:1/2 F5:1/2 D5:1/2 " * 12, GIGUE, F(1, 2)),
        ("allemande", "D5:1/4 " + "C5:1/4 B4:1/4 A4:1/4 G4:1/4 " * 32, Meter(4, 4), F(1, 4)),
    ],
)
def test_a_dance_is_told_by_meter_upbeat_and_rhythm(make_piece, name, line, meter, pickup):
    found = guess(make_piece, line, meter, pickup)

    assert found.name == name
    assert 0.3 < found.confidence < 0.9


def test_a_title_is_surer_than_a_look(make_piece):
    line = "C5:1/2 D5:1/2 E5:1/2 F5:1/2 G5:1 E5:1 D5:1 C5:1 " * 8
    found = guess(make_piece, line, TRIPLE, title="Sarabande en rondeau")

    assert (found.name, found.confidence) == ("sarabande", 0.95)


def test_no_dance_is_named_where_nothing_fits(make_piece):
    assert guess(make_piece, "C5:5/4 " * 12, Meter(5, 4)).name == ""


def test_a_chorale_with_pauses_over_its_lines_is_no_dance(make_piece):
    """A quarter of upbeat and repeat signs, as a bourrée has; but four fermatas."""
    line = "D5:1 " + "G5:1/2 F5:1/2 E5:1/2 D5:1/2 C5:1 D5:1 " * 8
    piece = make_piece({"P1": line}, meter=CUT, pickup=F(1))
    bars = (*piece.bars[:-1], replace(piece.bars[-1], repeat_end=2))
    pause = Marks(fermata=True)
    notes = tuple(replace(note, marks=pause) if n % 12 == 11 else note for n, note in enumerate(piece.notes))
    chorale = replace(piece, bars=bars, notes=notes)

    assert guess_dance(chorale, tones(chorale, "P1")).name == ""
