"""The whole way: a piece is studied, a plan is made, realised, judged, and written out.

This is what the command line and the desk call. Nothing is decided here; every answer comes from a room.

Conventions: ``Wishes`` are the user's dials; a ``Work`` holds the five values made from them.

Public: Wishes, Work, work_on, write_results, additions, RESULTS.
"""

from __future__ import annotations

import os
import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path
from typing import Final, Literal

from gracewright.graces import Placed, Version, perform, sign_for
from gracewright.instruments import Instrument, load_instrument
from gracewright.review import Review, review
from gracewright.score import Addition, Piece, write_played, write_signs
from gracewright.sheet import parallel_sheet
from gracewright.sound import render, write_audio
from gracewright.study import Study, study
from gracewright.taste import Manner, Plan, load_manner, make_plan, read_plan, write_plan

RESULTS: Final = ("signs.musicxml", "played.musicxml", "plan.txt", "sheet.pdf", "sound.ogg")
"""What :func:`write_results` can leave in a folder, quick ones first."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """The user's dials. ``a`` is the pitch of A4 in Hz; ``tempo`` quarters a minute, None to take the page's or a guess."""

    manner: str = "french"
    instrument: str = "alto-recorder"
    level: str = "intermediate"
    richness: float = 5.0
    curve: tuple[tuple[Fraction, float], ...] = ()
    signs: Literal["read", "ignore"] = "read"
    signs_by: str = ""
    solo: str = ""
    bass: str = ""
    tempo: Fraction | None = None
    a: float = 415.0
    temperament: str = "vallotti"
    continuo: bool = True


@dataclass(frozen=True)
class Work:
    """A piece with all that was made of it."""

    wishes: Wishes
    piece: Piece
    manner: Manner
    instrument: Instrument
    study: Study
    plan: Plan
    version: Version
    review: Review


def work_on(piece: Piece, wishes: Wishes, *, plan_text: str = "", locks: Plan | None = None,
            studied: Study | None = None) -> Work:
    """From a piece to its review. ``plan_text`` is applied as it stands; ``locks`` is an earlier plan whose locked
    choices survive; ``studied`` spares the study when it has been made. Raises BadInput."""
    manner = load_manner(wishes.manner)
    instrument = load_instrument(wishes.instrument)
    found = studied or study(piece, solo=wishes.solo, bass=wishes.bass, tempo=wishes.tempo)
    if plan_text:
        plan = read_plan(plan_text, piece, found)
    else:
        plan = make_plan(
            piece, found, manner, instrument, level=wishes.level, richness=wishes.richness, curve=wishes.curve,
            locks=locks, signs=wishes.signs, signs_by=wishes.signs_by, tempo=wishes.tempo,
        )  # fmt: skip
    version = realise_plan(piece, found, plan, manner, instrument, wishes)
    judged = review(piece, found, version, instrument, wishes.level)
    return Work(wishes, piece, manner, instrument, found, plan, version, judged)
