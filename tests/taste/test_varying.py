"""Passages vary from place to place; the legs of a sequence share theirs (the demo's README says where they stand)."""

from itertools import pairwise

import pytest

from gracewright.taste import load_manner, make_plan


@pytest.fixture(params=[5.0, 8.0])
def passages(request, adagio, alto):
    """(time through, bar, steps from the first note with their shares) in the order as played."""
    piece, study = adagio
    plan = make_plan(piece, study, load_manner("italian"), alto, richness=request.param)
    found = [choice for choice in plan.choices if choice.grace and choice.grace.id == "division"]
    half = piece.bars[8].onset  # both halves are repeated
    found.sort(key=lambda choice: (choice.onset >= half, choice.time_through, choice.onset))
    assert {choice.time_through for choice in found} == {1, 2}
    return [(c.time_through, c.bar, shape(c.grace)) for c in found]


def shape(grace):
    first = grace.notes[0][0].diatonic
    return tuple((pitch.diatonic - first, share) for pitch, share in grace.notes)


def test_no_passage_is_heard_twice_running_outside_a_sequence(passages):
    for (_, bar, one), (_, then, two) in pairwise(passages):
        assert one != two or {bar, then} <= {"9", "10", "11"}


def test_most_passages_of_a_time_through_are_unlike(passages):
    for time_through in (1, 2):
        shapes = [shape for time, bar, shape in passages if time == time_through and bar not in ("9", "10", "11")]
        assert shapes
        assert len(set(shapes)) >= 0.75 * len(shapes)


def test_the_legs_of_the_sequence_share_their_figure_the_second_time(passages, request):
    legs = {bar: shape for time, bar, shape in passages if time == 2 and bar in ("9", "10", "11")}

    assert len(legs) >= 2 or request.node.callspec.params["passages"] < 8
    assert len(set(legs.values())) <= 1


def test_what_comes_again_is_not_played_the_same_way_again(passages):
    first = {bar: shape for time, bar, shape in passages if time == 1}
    again = {bar: shape for time, bar, shape in passages if time == 2}
    both = set(first) & set(again)

    assert both
    assert sum(first[bar] != again[bar] for bar in both) >= 0.6 * len(both)


@pytest.mark.parametrize("manner", ["english", "german"])
def test_english_and_german_players_keep_their_passages_for_the_repeat(manner, adagio, alto):
    """simpson1659: divisions are made on what has been heard plain; cpebach1753: varied reprises."""
    piece, study = adagio
    plan = make_plan(piece, study, load_manner(manner), alto, richness=8)

    graced = [choice for choice in plan.choices if choice.grace]
    times = [choice.time_through for choice in graced if choice.grace.id == "division"]
    assert 3 <= times.count(2) <= 8
    assert not times.count(1)
    assert sum(c.time_through == 2 for c in graced) >= sum(c.time_through == 1 for c in graced)
