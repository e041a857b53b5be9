"""Old clefs: a recorder player gets the treble clef, a line that is not for the recorder keeps its own."""

from dataclasses import replace
from fractions import Fraction as F

from gracewright.instruments import load_instrument
from gracewright.score import Clef
from gracewright.sheet import readable

ALTO = load_instrument("alto-recorder")


def in_clef(piece, sign, line):
    part = replace(piece.parts[0], clefs=(Clef(F(0), 1, sign, line), Clef(F(12), 1, sign, line)))
    return replace(piece, parts=(part, *piece.parts[1:]))


def test_a_soprano_clef_becomes_the_treble_clef(adagio):
    drawn = readable(in_clef(adagio.piece, "C", 1), adagio.study.solo, ALTO)
    assert [(clef.onset, clef.sign, clef.line) for clef in drawn.parts[0].clefs] == [(0, "G", 2)]
    assert drawn.parts[1:] == adagio.piece.parts[1:]


def test_the_french_violin_clef_is_read_by_recorder_players_and_stays(adagio):
    """The alto recorder's own clef in French prints (common practice, no source)."""
    piece = in_clef(adagio.piece, "G", 1)
    assert readable(piece, adagio.study.solo, ALTO) is piece


def test_a_line_that_the_player_cannot_play_keeps_its_clef(adagio):
    bass = adagio.study.bass
    assert readable(adagio.piece, bass, ALTO) is adagio.piece
