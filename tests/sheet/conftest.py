"""The demo movements, planned and played once for all tests of this room."""

from dataclasses import dataclass

import pytest

from gracewright.graces import Version, perform
from gracewright.instruments import Instrument, load_instrument
from gracewright.job import demo_piece
from gracewright.score import Piece, read
from gracewright.study import Study, study
from gracewright.taste import Manner, Plan, load_manner, make_plan, placed


@dataclass(frozen=True)
class Made:
    piece: Piece
    study: Study
    plan: Plan
    version: Version
    manner: Manner
    instrument: Instrument


def made(path, manner="french", richness=6.0):
    piece = read(path)
    found = study(piece)
    how, who = load_manner(manner), load_instrument("alto-recorder")
    plan = make_plan(piece, found, how, who, richness=richness)
    return Made(piece, found, plan, perform(piece, found, placed(plan), who, source=plan.signs_by), how, who)


@pytest.fixture(scope="session")
def adagio():
    return made(demo_piece("adagio"))


@pytest.fixture(scope="session")
def menuet():
    return made(demo_piece("menuet"))
