"""Exact times as printed values: what is printed adds up to what is played."""

from fractions import Fraction as F
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from gracewright.sheet.rhythm import slots_of


def values(spans, beat=F(1)):
    slots = slots_of(spans, beat)
    return [(slot.value, slot.dots, slot.tuplet and (slot.tuplet.num, slot.tuplet.base)) for slot in slots]


def row(*lengths):
    spans, at = [], F(0)
    for length in lengths:
        spans.append((at, at + length))
        at += length
    return spans


# Common practice of notation, no source: the values a copyist would write.
@pytest.mark.parametrize(
    ("lengths", "written"),
    [
        ([F(1)], [(F(1), 0, None)]),
        ([F(3, 2), F(1, 2)], [(F(1), 1, None), (F(1, 2), 0, None)]),
        ([F(7, 4), F(1, 4)], [(F(1), 2, None), (F(1, 4), 0, None)]),
        ([F(1, 2), F(1), F(1, 2)], [(F(1, 2), 0, None), (F(1), 0, None), (F(1, 2), 0, None)]),
        ([F(1, 3)] * 3, [(F(1, 2), 0, (3, 2))] * 3),
        ([F(2, 3), F(1, 3)], [(F(1), 0, (3, 2)), (F(1, 2), 0, (3, 2))]),
        ([F(1, 5)] * 5, [(F(1, 4), 0, (5, 4))] * 5),
        ([F(1, 6)] * 6, [(F(1, 4), 0, (3, 2))] * 6),
        ([F(1, 7)] * 7, [(F(1, 4), 0, (7, 4))] * 7),
        ([F(3, 8)] * 4, [(F(1, 2), 0, (4, 3))] * 4),
        ([F(3, 4), F(1, 4)] * 2, [(F(1, 2), 1, None), (F(1, 4), 0, None)] * 2),
    ],
)
def test_usual_rhythms_are_written_as_a_copyist_writes_them(lengths, written):
    assert values(row(*lengths)) == written


def test_a_note_over_the_beat_is_tied_so_that_the_beat_shows():
    slots = slots_of([(F(1, 2), F(5, 4))], F(1))

    assert [(s.onset, s.length, s.first, s.last) for s in slots] == [
        (F(1, 2), F(1, 2), True, False), (F(1), F(1, 4), False, True)
    ]  # fmt: skip


@pytest.mark.parametrize("held", [F(11, 6), F(4, 3), F(5, 6), F(17, 6)])
def test_a_quick_grace_before_a_long_note_takes_the_shortest_tuplet(held):
    """Three notes, two of a twelfth of a quarter: one triplet of thirty-seconds, the rest plain and tied."""
    slots = slots_of(row(F(1, 12), F(1, 12), held), F(1))

    assert {(slot.tuplet.onset, slot.tuplet.end) for slot in slots if slot.tuplet} == {(F(0), F(1, 4))}


shares = st.builds(F, st.integers(1, 12), st.sampled_from([1, 2, 3, 4, 5, 6, 7, 8, 12, 16, 24]))


@settings(deadline=None, max_examples=60)
@given(st.lists(shares, min_size=1, max_size=9))
def test_slots_lie_end_to_end_and_every_one_can_be_printed(lengths):
    slots = slots_of(row(*lengths), F(1))

    for before, after in pairwise(slots):
        assert before.onset + before.length <= after.onset
    for slot in slots:
        factor = F(slot.tuplet.num, slot.tuplet.base) if slot.tuplet else F(1)
        shown = slot.value * (2 - F(1, 2**slot.dots)) / factor

        assert abs(shown - slot.length) <= F(1, 64)


@settings(deadline=None, max_examples=60)
@given(st.lists(st.integers(1, 16), min_size=1, max_size=12))
def test_binary_rhythms_keep_every_onset_exactly(sixteenths):
    spans = row(*(F(n, 4) for n in sixteenths))
    slots = slots_of(spans, F(1))

    assert [(slot.onset) for slot in slots if slot.first] == [a for a, _ in spans]
    assert sum(slot.length for slot in slots) == spans[-1][1]
