"""Graces read back from their notes."""

from dataclasses import replace
from fractions import Fraction as F

import pytest
from graces_hands import host, note, plain_study, score, small

from gracewright.graces import (
    Grace,
    load_source,
    page_graces,
    realise,
    recognise,
    same_grace,
    sources,
    vocabulary,
    written_out,
)
from gracewright.pitch import Pitch
from gracewright.score import tones

SILENT = ("glide", "division", "small-notes")  # they have no figure of their own


def back(grace, **place):
    length = F(place.pop("length", 1))
    context = host(length=length, **place)
    return recognise(realise(grace, context).notes, context)


@pytest.mark.parametrize("grace", [word for word in vocabulary() if word not in (*SILENT, "appoggiatura-shake")])
@pytest.mark.parametrize("length", [1, 2, F(3, 2)])
def test_every_grace_of_the_vocabulary_is_read_back(grace, length):
    place = {"following": "A4", "harmony": ("C", "E", "G"), "ternary": length == F(3, 2)}
    place["following"] = {"anticipation": "B4", "accent": "C5", "fall": "C5"}.get(grace, "A4")

    assert same_grace(Grace(grace), back(Grace(grace), length=length, **place))


@pytest.mark.parametrize("ending", ["none", "turned", "anticipation"])
@pytest.mark.parametrize("direction", ["", "above", "below"])
def test_shakes_keep_their_beginning_and_end(ending, direction):
    grace = Grace("shake", ending=ending, direction=direction)

    assert same_grace(grace, back(grace, length=2, following="B4"))


def test_a_leaning_start_is_seen():
    assert back(Grace("shake", lean=True, ending="turned"), length=2).lean


def test_realise_then_recognise_returns_the_entry_for_95_of_100():
    """Over every entry of the 45 tables that is one note's grace and has notes of its own."""
    asked = right = 0
    for source in sources():
        for entry in load_source(source).entries:
            if entry.means is None or entry.means.id in SILENT or not entry.readings:
                continue
            reading = (entry.sure or entry.readings)[0]
            key = entry.key if entry.sure else f"{entry.key}.{reading.number}"
            place = {}
            if reading.previous is not None:
                place |= {"previous": str(Pitch.at(reading.pitch.diatonic + reading.previous)), "previous_length": F(1)}
            if reading.following is not None:
                place["following"] = str(Pitch.at(reading.pitch.diatonic + reading.following))
            context = host(str(reading.pitch), reading.value, ternary=reading.value.numerator % 3 == 0, **place)
            asked += 1
            notes = realise(replace(entry.means, entry=key), context).notes
            right += same_grace(entry.means, recognise(notes, context))

    assert asked > 240
    assert right / asked >= 0.95


def test_a_written_out_turn_is_found_in_plain_notes():
    piece = score(note("G", 4, 8) + note("D", 5, 2) + note("C", 5, 2) + note("B", 4, 2) + note("C", 5, 10)
                  + note("E", 5, 8))  # fmt: skip
    (found,) = written_out(tones(piece, "P1"))

    assert (found.grace.id, str(found.pitch), found.onset, found.length) == ("turn", "C5", 1, 2)


def test_a_written_out_shake_with_its_ending_is_found():
    strokes = "".join(note(s, o, 1) for s, o in [("D", 5), ("C", 5)] * 6) + note("B", 4, 2) + note("C", 5, 2)
    piece = score(note("G", 4, 8) + strokes + note("E", 5, 8))
    (found,) = written_out(tones(piece, "P1"))

    assert (found.grace.id, found.grace.ending, str(found.pitch), found.length) == ("shake", "turned", "C5", 2)


def test_running_notes_are_no_grace():
    piece = score("".join(note(s, 5, 2) for s in "CDEFGFEDCDEFGABC"))

    assert written_out(tones(piece, "P1")) == ()


@pytest.mark.parametrize(
    ("small_notes", "grace"),
    [([("D", 5)], "appoggiatura"), ([("A", 4), ("B", 4)], "slide"), ([("B", 4), ("D", 5)], "double-appoggiatura"),
     ([("D", 5), ("C", 5), ("B", 4)], "turn"), ([("C", 5), ("B", 4)], "mordent"),
     ([("G", 4), ("E", 5)], "small-notes")],
)  # fmt: skip
def test_small_notes_are_given_the_name_of_what_they_spell(small_notes, grace):
    piece = score("".join(small(*pitch) for pitch in small_notes) + note("C", 5, 16) + note("G", 4, 16))
    (found,) = page_graces(piece, plain_study(piece))

    assert found.grace.id == grace
    sung = [n.pitch for n in realise(found.grace, host(length=2)).notes]
    assert [str(pitch) for pitch in sung[: len(small_notes)]] == [f"{s}{o}" for s, o in small_notes]
