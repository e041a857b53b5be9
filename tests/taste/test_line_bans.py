"""The table of what a melody forbids: every name in it is known, and what the sources say holds on a page."""

import tomllib
from importlib.resources import files

import pytest

from gracewright.taste.features import FEATURES
from gracewright.taste.manner import kinds

BANS = tomllib.loads(files("gracewright.taste").joinpath("line_bans.toml").read_text(encoding="utf-8"))["ban"]
KNOWN = {*kinds(), *(kind.family for kind in kinds().values())}


@pytest.mark.parametrize("ban", BANS, ids=lambda ban: f"{ban['kinds'][0]}: {', '.join(ban['where'])}")
def test_every_word_of_the_table_is_known(ban):
    assert set(ban["kinds"]) <= KNOWN
    assert {feature.removeprefix("not ") for feature in ban["where"]} <= set(FEATURES)
    assert ban["why"]
    assert ban["source"]
