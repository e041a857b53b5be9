"""The music is drawn system by system, and only what a change alters is drawn again."""

import re
from itertools import pairwise

import pytest

from gracewright.desk.card import deciding
from gracewright.desk.systems import Leaf, View


def note_ids(svg):
    return set(re.findall(r'data-id="([^"]+)" data-class="note"', svg))


@pytest.mark.parametrize("rows", ["first", "again", "both"])
def test_every_note_of_the_line_stands_in_exactly_one_system(session, rows):
    found = Leaf().systems(session.draft, View(rows, width=1500))
    drawn = [note for system in found for note in note_ids(system.svg) if "--" not in note]
    line = {note for tone in session.draft.tones.values() for note in tone.ids}

    assert line <= set(drawn)
    assert len(drawn) == len(set(drawn))
    assert {"again." + note for note in line} <= set(drawn) or rows != "both"


def test_systems_name_their_bars_without_gap(session):
    found = Leaf().systems(session.draft, View(width=1200))

    assert found[0].bars[0] == 0
    assert all(a.bars[1] + 1 == b.bars[0] for a, b in pairwise(found))
    assert found[-1].bars[1] == len(session.piece.bars) - 1


def test_a_decision_redraws_only_its_own_system(session):
    leaf, view = Leaf(), View(width=1500)
    before = leaf.systems(session.draft, view)
    choice = next(c for c in session.draft.plan.choices if c.grace is not None and c.time_through == 1)
    session.decide(*deciding(session, choice.note, 1, "keep", -1))
    locked = {(c.note, c.time_through): c.grace for c in session.draft.plan.choices}
    after = leaf.systems(session.draft, view)
    changed = [a.bars for a, b in zip(before, after, strict=True) if a.key != b.key]

    assert locked[choice.note, 1] == choice.grace
    assert changed == []
    session.decide(*deciding(session, choice.note, 1, "never", -1))
    bar = session.piece.by_id[choice.note].bar
    changed = [b.bars for a, b in zip(before, leaf.systems(session.draft, view), strict=True) if a.key != b.key]
    assert any(first <= bar <= last for first, last in changed)


def test_only_what_is_wanted_is_drawn(session):
    leaf, view = Leaf(), View(width=1000)
    leaf.systems(session.draft, view)
    session.turn({"manner": "italian", "richness": 9})
    found = leaf.systems(session.draft, view, [0])

    assert found[0].svg
    assert not any(system.svg for system in found[1:])
    assert all(system.height > 0 for system in found)


def test_drawings_hold_nothing_that_a_strict_page_refuses(session):
    for system in Leaf().systems(session.draft, View("both", written=True, width=1500)):
        assert not re.search(r"<style|<script|@import|\son\w+=|style=|https?://(?!www\.w3\.org/)", system.svg)
