"""Graces read out of a written-out line are those that were written into it."""

import re
from importlib.resources import files

import pytest

from gracewright.errors import BadInput
from gracewright.job import Wishes, result, work_on
from gracewright.review.written import graces_written
from gracewright.score import read
from gracewright.taste.learning import kind_of

DEMO = files("gracewright") / "data" / "demo"


@pytest.mark.parametrize("manner", ["french", "italian", "german", "english"])
@pytest.mark.parametrize("name", ["adagio", "menuet"])
def test_what_was_played_is_read_back(name, manner):
    piece = read(DEMO / f"{name}.musicxml")
    wishes = Wishes(manner=manner, richness=8, signs="ignore", instrument="violin", level="advanced")
    work = work_on(piece, wishes)
    written = read("played.musicxml", result(work, "played.musicxml"))
    found, times = graces_written(piece, work.study, written, work.instrument)

    planned = {(c.time_through, c.note): kind_of(c.grace) for c in work.plan.choices
               if c.grace and c.grace.id != "finger-vibrato"}  # fmt: skip
    assert times == (1, 2)
    assert len(planned) > 12
    assert {name: kind_of(grace) for name, grace in found.items() if grace} == planned


def test_scores_of_two_tunes_do_not_go_together():
    piece = read(DEMO / "menuet.musicxml")
    bars = (DEMO / "menuet.musicxml").read_text(encoding="utf-8")
    moved = re.sub("<step>(.)</step>", lambda step: f"<step>{'CDEFGABCD'['CDEFGAB'.index(step[1]) + 2]}</step>", bars)
    other = read("other.musicxml", moved.encode())
    work = work_on(piece, Wishes(instrument="violin"))
    with pytest.raises(BadInput, match="do not have one tune"):
        graces_written(piece, work.study, other, work.instrument)
