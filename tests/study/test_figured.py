"""Printed figures read as chords, and figures proposed, with the right answer argued beside each.

Common practice, no source.
"""

from dataclasses import replace
from fractions import Fraction as F

from gracewright.pitch import Key, Pitch
from gracewright.score import Figure, FigureItem, Note
from gracewright.study import study
from gracewright.study.continuo import figures_over
from gracewright.study.figures import figured_members
from gracewright.study.model import Harmony


def places(names):
    return {Pitch.parse(name + "4").fifths for name in names.split()}


def item(number=None, prefix="", suffix="", extend=False):
    return FigureItem(number, prefix, suffix, extend)


def figure(onset, *items, length=0, bar=0):
    return Figure("P2", bar, F(onset), F(length), items)


def chord_of(root, quality, bass, inversion):
    return Harmony(F(0), F(4), root, quality, bass, inversion, Key.parse("C major"), "")


def test_a_slash_through_a_six_raises_it():
    """Over B in C major the sixth is G; struck through it is G sharp: B D G#."""
    named, _ = figured_members(Pitch.parse("B2"), (item(6, suffix="slash"),), 0)

    assert named == places("B D G#")


def test_a_natural_alone_raises_a_flat_third():
    """G in three flats has B flat above it; the natural makes it G B D."""
    named, _ = figured_members(Pitch.parse("G2"), (item(prefix="natural"),), -3)

    assert named == places("G B D")


def test_four_two_names_the_seventh_chord_whose_seventh_is_in_the_bass():
    named, _ = figured_members(Pitch.parse("F3"), (item(4), item(2)), 0)

    assert named == places("F G B D")


def test_a_figured_root_need_not_sound(make_piece):
    """D and F over D, figured with a raised six: D F B is B diminished, though no B is sung."""
    piece = make_piece({"P1": "C5:2 F5:2 E5:4", "P2": "C3:2 D3:2 C3:4"}, fifths=-1)
    found = study(replace(piece, figures=(figure(2, item(6, "natural")),)))

    chord = found.harmony_at(F(2))
    assert (chord.root, chord.quality, chord.inversion) == ("B", "diminished", 1)


def test_figures_over_one_bass_note_change_the_chord(make_piece):
    """5 then 6 over a held C: C major, then A minor in its first inversion."""
    piece = make_piece({"P1": "E5:4 E5:4", "P2": "C3:4 C3:4"})
    found = study(replace(piece, figures=(figure(0, item(5), length=2), figure(2, item(6), length=2))))

    assert [found.harmony_at(F(at)).root for at in (0, 2)] == ["C", "A"]


def test_a_figure_over_a_rest_belongs_to_the_bass_note_after_it(make_piece):
    """The bass comes in late on C; the six over its rest makes the whole half bar A minor over C."""
    piece = make_piece({"P1": "E5:2 D5:2 E5:4", "P2": "r:1 C3:1 G2:2 C3:4"})
    found = study(replace(piece, figures=(figure(0, item(6)),)))

    assert [found.harmony_at(F(at)).root for at in (0, 1)] == ["A", "A"]


def test_a_held_figure_keeps_its_chord_while_the_bass_moves_on(make_piece):
    """6 over E with a line drawn under F: C major throughout, the F passing to G."""
    piece = make_piece({"P1": "C5:2 G4:2 C5:4", "P2": "E3:1 F3:1 G3:2 C3:4"})
    held = (figure(0, item(6, extend=True), length=2), figure(2, item(5)))
    found = study(replace(piece, figures=held))

    assert [found.harmony_at(F(at)).root for at in (0, 1)] == ["C", "C"]


def test_a_bass_note_left_bare_among_figured_ones_carries_its_triad(make_piece):
    """C under A: plain it would be A minor or F major; no six, no six-four stands there, where others are figured."""
    piece = make_piece({"P1": "G5:1 F5:1 A5:1 D5:1 E5:4", "P2": "E3:1 D3:1 A3:1 B2:1 C3:4"})
    figures = (figure(0, item(6)), figure(1, item(6)), figure(3, item(6)))
    found = study(replace(piece, figures=figures))

    chord = found.harmony_at(F(2))
    assert (chord.root, chord.inversion) == ("A", 0)


def upper(*names):
    return [Note(name, "P1", 1, "1", 0, F(0), F(1), Pitch.parse(name)) for name in names]


def test_a_leading_note_with_its_diminished_fifth_is_figured_six_five():
    """B D F means the dominant seventh over its third."""
    chord = chord_of("B", "diminished", "B", 0)

    assert figures_over(Pitch.parse("B2"), upper("F4", "D5", "D4"), chord, 0) == (item(6), item(5))


def test_a_fourth_that_only_passes_over_a_sixth_is_not_figured():
    """G B E with a passing C sharp: the player needs the 6 alone."""
    chord = chord_of("E", "minor", "G", 1)

    assert figures_over(Pitch.parse("G2"), upper("C#4", "E4", "B4"), chord, 1) == (item(6),)


def test_a_suspended_fourth_over_a_dominant_seventh_is_figured_four():
    chord = chord_of("G", "dominant seventh", "G", 0)

    assert figures_over(Pitch.parse("G2"), upper("C4", "D4", "F4"), chord, 0) == (item(4),)


def test_a_raised_bass_note_needs_no_accidental_for_its_third():
    """E sharp with G sharp, B and C sharp in two sharps: 6 5 says it."""
    chord = chord_of("C#", "dominant seventh", "E#", 1)

    assert figures_over(Pitch.parse("E#2"), upper("G#3", "B3", "C#4"), chord, 2) == (item(6), item(5))


def test_a_dominant_shows_its_raised_third():
    """D F# A in two flats: the sharp alone."""
    chord = chord_of("D", "major", "D", 0)

    assert figures_over(Pitch.parse("D3"), upper("F#4", "A4", "D5"), chord, -2) == (item(prefix="sharp"),)


def test_figures_of_a_chord_differ_from_the_printed_signature(make_piece):
    """C major to G by way of D F# A: no sharp stands at the clef, so the F sharp over D is marked though G has one."""
    lines = {"P1": "E5:2 D5:2 F#5:2 F#5:2 G5:4 A5:2 F#5:2 G5:4", "P2": "C3:2 B2:2 D3:4 G3:4 D3:4 G2:4",
             "P3": "G4:2 G4:2 A4:4 B4:4 A4:4 B4:4"}  # fmt: skip
    found = study(make_piece(lines))

    chord = found.harmony_at(F(12))
    assert (chord.root, chord.quality, chord.figures) == ("D", "major", ("#",))
