"""Phrases whose ends can be argued at sight, and the demo's own closes. Common practice, no source."""

from dataclasses import replace
from fractions import Fraction as F
from importlib.resources import files
from itertools import pairwise

import pytest

from gracewright.pitch import Key
from gracewright.score import Marks, read
from gracewright.study import study

DEMO = files("gracewright").joinpath("data", "demo")
TUNE = {
    "P1": "E5:1 F5:1 G5:1 E5:1 F5:1 E5:1 D5:2 E5:1 F5:1 G5:1 E5:1 F5:1 D5:1 C5:2",
    "P2": "C3:2 E3:2 F3:2 G3:2 C4:2 E3:2 F3:1 G3:1 C3:2",
}


def bar_of(piece, onset):
    return piece.bar_at(onset).number


def test_phrases_cover_the_melody_from_end_to_end(make_piece):
    piece = make_piece(TUNE)
    phrases = study(piece).phrases

    assert phrases[0].start == F(0)
    assert phrases[-1].end == F(16)
    assert all(before.end <= after.start for before, after in pairwise(phrases))
    assert all(phrase.start <= phrase.goal <= phrase.end for phrase in phrases)


def test_a_breath_sign_ends_a_phrase(make_piece):
    piece = make_piece({"P1": "C5:1 D5:1 E5:1 F5:1 G5:1 A5:1 G5:1 F5:1 E5:1 D5:1 C5:2", "P2": "C3:4 C4:4 G3:2 C3:2"})
    marked = tuple(replace(note, marks=Marks(breath=True)) if note.id == "P1.4" else note for note in piece.notes)
    phrases = study(replace(piece, notes=marked)).phrases

    assert phrases[0].breath_after == "P1.4"
    assert phrases[0].reason == "a breath sign"


def test_a_fermata_ends_a_phrase(make_piece):
    piece = make_piece(
        {"P1": "C5:1 D5:1 E5:2 F5:1 E5:1 D5:2 E5:1 D5:1 C5:2", "P2": "C3:2 C4:2 A3:1 G3:1 G3:2 C4:1 G3:1 C3:2"}
    )
    held = tuple(replace(note, marks=Marks(fermata=True)) if note.id == "P1.5" else note for note in piece.notes)

    assert "P1.5" in {phrase.breath_after for phrase in study(replace(piece, notes=held)).phrases}


def test_no_phrase_runs_across_a_repeat_sign(make_piece):
    """The player turns back there, also where quavers lead on to the bar line."""
    piece = make_piece({
        "P1": "E5:1 F5:1 G5:1 E5:1 F5:1 D5:1 B4:1/2 D5:1/2 F5:1/2 G5:1/2 E5:1 F5:1 G5:1 E5:1 F5:1 D5:1 C5:2",
        "P2": "C3:2 E3:2 F3:2 G3:2 C4:2 E3:2 F3:1 G3:1 C3:2",
    })  # fmt: skip
    bars = tuple(replace(bar, repeat_end=2) if bar.index == 1 else bar for bar in piece.bars)

    assert F(8) in {phrase.end for phrase in study(replace(piece, bars=bars)).phrases}


def closes(name, written):
    """Kind and key of the cadences of a demo movement in the bars its manuscript names; the piece; all cadences."""
    piece = read(str(DEMO.joinpath(name)))
    found = study(piece).cadences
    named = [cadence for cadence in found if bar_of(piece, cadence.onset) in written]
    return {bar_of(piece, cadence.onset): (cadence.kind, str(cadence.key)) for cadence in named}, piece, found


def test_the_closes_of_the_adagio_are_those_its_manuscript_names():
    """data/demo/README.md: bars 4 (half), 8 (F major, full), 12 (half), 16 (D minor, full), and no others."""
    wanted = {
        "4": ("half", "D minor"), "8": ("authentic-perfect", "F major"), "12": ("half", "D minor"),
        "16": ("authentic-perfect", "D minor"),
    }  # fmt: skip
    named, piece, found = closes("adagio.musicxml", wanted)

    assert named == wanted
    assert {bar_of(piece, cadence.onset) for cadence in found} == set(wanted)


def test_the_closes_of_the_menuet_are_those_its_manuscript_names():
    """data/demo/README.md: bars 4 (on the dominant), 8 (C major), 16 (D minor), 20 (as bar 4), 24 (F major)."""
    wanted = {
        "4": ("half", "F major"), "8": ("authentic-perfect", "C major"), "16": ("authentic-perfect", "D minor"),
        "20": ("half", "F major"), "24": ("authentic-perfect", "F major"),
    }  # fmt: skip
    named, _, found = closes("menuet.musicxml", wanted)

    assert named == wanted
    assert found[-1].hemiola


ENDS = {"adagio": {"4", "8", "12", "16"}, "menuet": {"4", "8", "16", "20", "24"}}


@pytest.mark.parametrize(("name", "ends"), ENDS.items())
def test_the_phrases_of_the_demo_end_where_its_manuscript_closes(name, ends):
    piece = read(str(DEMO.joinpath(f"{name}.musicxml")))

    assert ends <= {bar_of(piece, phrase.goal) for phrase in study(piece).phrases}


def test_a_cadence_in_minor_on_its_dominant_has_its_key():
    """The Adagio's half closes are in D minor, not in A."""
    piece = read(str(DEMO.joinpath("adagio.musicxml")))

    assert {c.key for c in study(piece).cadences if c.kind == "half"} == {Key.parse("D minor")}
