"""Small cases with the right answer argued beside them. Facts of the trade: common practice, no source."""

from dataclasses import replace
from fractions import Fraction as F

import numpy as np

from gracewright.pitch import Key, Pitch
from gracewright.score import Bar, Figure, FigureItem, Meter, Note
from gracewright.study import study
from gracewright.study.continuo import figures_over, propose_figures
from gracewright.study.evidence import chord_windows, spread, view
from gracewright.study.figures import figured_members
from gracewright.study.frames import frames_of, timeline
from gracewright.study.hemiola import find_hemiolas
from gracewright.study.material import gather
from gracewright.study.model import Harmony
from gracewright.study.numerals import numeral
from gracewright.study.repeats import played_order
from gracewright.study.sequences import find_sequences

G_MINOR = Key.parse("G minor")


def places(names):
    return {Pitch.parse(name + "4").fifths for name in names.split()}


def test_an_accidental_alone_under_the_bass_raises_the_third():
    """A sharp under D in two flats: D F# A."""
    named, hung = figured_members(Pitch.parse("D3"), (FigureItem(None, "sharp"),), -2)

    assert named == places("D F# A")
    assert hung == frozenset()


def test_a_four_beside_a_five_is_a_suspension_of_the_third():
    named, hung = figured_members(Pitch.parse("G3"), (FigureItem(5), FigureItem(4)), 0)

    assert named == places("G B D")
    assert hung == places("C")


def test_six_five_names_four_notes():
    """Over B in C major: B D F G, the dominant seventh in its first inversion."""
    named, _ = figured_members(Pitch.parse("B2"), (FigureItem(6), FigureItem(5)), 0)

    assert named == places("B D F G")


def test_two_figures_under_one_bass_note_are_two_moments(make_piece):
    """5 4, then 5 3 over a held G, under a prepared C that falls to B: G major on both beats, the C suspended."""
    piece = make_piece({"P1": "E5:1 F5:1 E5:1 C5:1 C5:1 B4:1 C5:2", "P2": "C3:1 D3:1 E3:1 F3:1 G2:2 C3:2"})
    four = Figure("P2", 1, F(4), F(1), (FigureItem(5), FigureItem(4)))
    three = Figure("P2", 1, F(5), F(1), (FigureItem(5), FigureItem(3)))
    found = study(replace(piece, figures=(four, three)))

    assert {found.harmony_at(F(4)).root, found.harmony_at(F(5)).root} == {"G"}
    assert next(role for role in found.roles if role.onset == 4).role == "suspension"


def test_printed_figures_outweigh_a_guess(make_piece):
    """E over C in the bass: plain it is C major, with a 6 it is A minor over C."""
    piece = make_piece({"P1": "E5:4 E5:4", "P2": "C3:4 C3:4"})
    figured = replace(piece, figures=(Figure("P2", 0, F(0), F(4), (FigureItem(6),)),))

    chord = study(figured).harmony_at(F(0))
    assert (chord.root, chord.quality, chord.bass, chord.inversion) == ("A", "minor", "C", 1)


def test_figures_are_proposed_for_a_first_inversion(make_piece):
    chord = Harmony(F(0), F(4), "A", "minor", "C", 1, Key.parse("C major"), "vi6")
    upper = Note("n", "P1", 1, "1", 0, F(0), F(4), Pitch.parse("E5"))

    assert figures_over(Pitch.parse("C3"), [upper], chord, 0) == (FigureItem(6),)


def test_no_figures_without_a_bass(make_piece):
    piece = make_piece({"P1": "C5:4"})

    assert propose_figures(piece, study(piece)) == ()


def test_numerals_name_applied_dominants():
    assert numeral(Pitch.parse("A4").fifths, "dominant seventh", 0, G_MINOR) == "V7/V"
    assert numeral(Pitch.parse("F#4").fifths, "diminished seventh", 0, G_MINOR) == "#viio7"
    assert numeral(Pitch.parse("Ab4").fifths, "major", 1, G_MINOR) == "bII6"


def test_a_suspension_tied_over_the_bar_is_called_one(make_piece):
    """C held over the bar line becomes the fourth above G and falls to B."""
    piece = make_piece({"P1": "E5:1 D5:1 C5:3 B4:1 C5:2", "P2": "C3:1 G3:1 A3:1 F3:1 G3:2 C3:2"})
    roles = {role.onset: role for role in study(piece).roles}

    assert roles[F(2)].role == "suspension"
    assert roles[F(2)].prepared
    assert roles[F(2)].resolved


def test_a_pattern_falling_by_steps_is_a_sequence_of_three_legs(make_piece):
    line = "E5:1 F5:1/2 E5:1/2 D5:1 C5:1 D5:1 E5:1/2 D5:1/2 C5:1 B4:1 C5:1 D5:1/2 C5:1/2 B4:1 A4:1 G4:4"
    (found,) = find_sequences(gather(make_piece({"P1": line, "P2": "C3:4 B2:4 A2:4 G2:4"})))

    assert (len(found.legs), found.step, found.exact) == (3, -1, True)
    assert (found.start, found.end) == (F(0), F(12))


def test_a_repeated_note_is_no_sequence(make_piece):
    assert find_sequences(gather(make_piece({"P1": "C5:1 " * 16}))) == ()


def test_three_twos_over_two_triple_bars_are_a_hemiola(make_piece):
    """Bass new on beats 1 and 3, then 2, the second downbeat passed over."""
    triple = Meter(3, 4)
    piece = make_piece({"P1": "C5:3 C5:3 D5:2 C5:2 B4:2 C5:3", "P2": "C3:3 E3:3 F3:2 G3:2 G2:2 C3:3"}, meter=triple)
    (found,) = find_hemiolas(gather(piece))

    assert (found.start, found.end) == (F(6), F(12))


def test_first_and_second_endings_are_played_in_turn():
    """A B1 A B2: bars 0 1 | 0 2."""
    bars = [
        Bar(0, "1", F(0), F(3), Meter(3, 4), 0, repeat_start=True),
        Bar(1, "2", F(3), F(3), Meter(3, 4), 0, endings=(1,), repeat_end=2),
        Bar(2, "3", F(6), F(3), Meter(3, 4), 0, endings=(2,)),
    ]

    assert [(s.first_bar, s.last_bar, s.time_through) for s in played_order(bars)] == [(0, 1, 1), (0, 0, 2), (2, 2, 1)]


def test_a_minor_piece_with_one_flat_too_few_is_still_minor(make_piece):
    """G minor written with one flat, as was usual: Eb comes as an accidental."""
    piece = make_piece(
        {"P1": "G5:1 A5:1 Bb5:1 G5:1 Eb5:1 D5:1 C5:1 Bb4:1 A4:1 Bb4:1 A4:2 G4:4",
         "P2": "G3:2 G3:1 F#3:1 C3:1 D3:1 Eb3:1 G3:1 C3:1 G2:1 D3:2 G2:4"}, fifths=-1
    )  # fmt: skip

    assert study(piece).home == G_MINOR


def test_a_pickup_is_weaker_than_the_downbeat_after_it(make_piece):
    piece = make_piece({"P1": "G4:1 C5:1 D5:1 E5:1 C5:1", "P2": "r:1 C3:4"}, pickup=F(1))
    roles = study(piece).roles

    assert roles[0].metre_weight < roles[1].metre_weight == 1.0


def test_the_same_piece_gives_the_same_study(make_piece):
    piece = make_piece({"P1": "G5:1 F5:1 E5:1 D5:1 C5:4", "P2": "C4:1 B3:1 C4:1 G3:1 C3:4"})

    assert study(piece) == study(piece)


def test_all_roots_at_once_are_scored_as_one_by_one(make_piece):
    piece = make_piece({"P1": "G5:1 F5:1 E5:1 D5:1", "P2": "C4:1 B3:1 C4:1 G3:1"})
    windows = chord_windows(frames_of(piece, timeline(piece)))
    weights = np.random.default_rng(1).normal(size=(windows.shape[1] * 21, 3)).astype(np.float32)
    roots = np.arange(14, 22)
    together = spread(weights, windows, roots, 10)

    for column, root in enumerate(roots.tolist()):
        assert np.allclose(together[:, column], view(windows, root, 10) @ weights, atol=1e-4)


def test_a_long_piece_read_in_stretches_keeps_its_beginning(make_piece):
    """What is far away hardly matters: the first bars read the same alone in a long piece read in stretches."""
    tune = "G5:1 F5:1 E5:1 D5:1 C5:2 D5:2 E5:1 D5:1 C5:1 B4:1 C5:4 "
    bass = "C4:1 B3:1 C4:1 G3:1 A3:2 G3:2 C4:1 F3:1 G3:2 C3:4 "
    short, long = (study(make_piece({"P1": tune * n, "P2": bass * n})) for n in (40, 200))

    same = sum(a.root == b.root for a, b in zip(short.harmony[:200], long.harmony[:200], strict=True))
    assert same >= 195
