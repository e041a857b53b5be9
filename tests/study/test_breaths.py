"""Places to breathe inside a phrase that lasts longer than a breath. Common practice, no source."""

from dataclasses import replace
from fractions import Fraction as F
from itertools import pairwise

import numpy as np
import pytest

from gracewright.pitch import Key
from gracewright.score import Marks
from gracewright.study import study
from gracewright.study.breaths import LONGEST, breathing
from gracewright.study.material import gather
from gracewright.study.model import Cadence, Leg, Sequence

SLOW = F(60)  # a quarter is a second

RUN = "C5:1/2 D5:1/2 E5:1/2 F5:1/2 G5:1/2 F5:1/2 E5:1/2 D5:1/2 "


def breaths_of(piece, cadences=(), patterns=()):
    material = gather(piece)
    last = len(material.melody) - 1
    return material, breathing(material, cadences, patterns, np.zeros(last + 1), SLOW).within(0, last)


def test_a_phrase_of_one_breath_needs_no_other(make_piece):
    _, found = breaths_of(make_piece({"P1": RUN * 2}))

    assert found == ()


def test_a_long_note_in_the_middle_is_the_place_to_breathe(make_piece):
    """Twelve seconds of quavers with one half note in the fifth: everyone would take breath after it."""
    _, (breath,) = breaths_of(make_piece({"P1": RUN + "C5:2 " + "D5:1/2 E5:1/2 F5:1/2 G5:1/2 " + RUN}))

    assert (breath.after, breath.onset) == ("P1.8", F(6))
    assert breath.seconds == 6.0
    assert breath.reason == "a long note"


def test_no_span_between_breaths_is_longer_than_a_breath(make_piece):
    material, found = breaths_of(make_piece({"P1": RUN * 12}))

    taken = [0.0, *(float(breath.onset) for breath in found), float(material.melody[-1].end)]
    assert max(after - before for before, after in pairwise(taken)) <= LONGEST


def test_a_slur_is_not_torn(make_piece):
    piece = make_piece({"P1": RUN * 3})
    bound = tuple(
        replace(note, marks=Marks(slur_starts=("1",))) if note.id == "P1.9"
        else replace(note, marks=Marks(slur_stops=("1",))) if note.id == "P1.16" else note
        for note in piece.notes
    )  # fmt: skip
    _, found = breaths_of(replace(piece, notes=bound))

    assert found
    assert not {breath.after for breath in found} & {f"P1.{number}" for number in range(9, 16)}


def test_a_breath_falls_between_the_legs_of_a_sequence(make_piece):
    steps = ("ECD", "DBC", "CAB", "BGA", "AFG", "GEF")
    line = "".join(f"{a}5:1/2 {b}5:1/2 {a}5:1/2 {c}5:1/2 " for a, b, c in steps) + "C5:2"
    legs = tuple(Leg(F(2 * n), F(2 * n + 2), -n) for n in range(6))
    _, found = breaths_of(make_piece({"P1": line}), patterns=[Sequence(legs, -1, True, False)])

    assert found
    assert {breath.onset for breath in found} <= {leg.start for leg in legs}


def test_nobody_breathes_between_the_dominant_and_its_goal(make_piece):
    close = Cadence(F(12), "authentic-perfect", 1.0, Key.parse("C major"), F(6), "", "")
    _, found = breaths_of(make_piece({"P1": RUN * 2 + "C5:2 B4:2 " + RUN}), cadences=[close])

    assert not any(F(6) < breath.onset < F(12) for breath in found)


@pytest.mark.parametrize("tempo", [F(30), F(240)])
def test_the_faster_the_tune_the_fewer_the_breaths(make_piece, tempo):
    piece = make_piece({"P1": RUN * 6, "P2": "C3:4 G3:4 C3:4 G3:4 C3:4 C3:4"})
    inside = sum(len(phrase.breaths) for phrase in study(piece, tempo=tempo).phrases)

    assert (inside > 0) == (tempo < 60)
