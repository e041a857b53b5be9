"""Graces read from a master's written-out version beside his plain one, against a reading of the page by eye.

J. S. Bach, English suite in G minor, Sarabande and "Les agréments de la même Sarabande". The pieces are read from the
shared data folder (``GRACEWRIGHT_SHARED``, default ``../shared``) and are not shipped.
"""

import os
from pathlib import Path

import pytest

from gracewright.instruments import load_instrument
from gracewright.review.written import graces_written
from gracewright.score import read
from gracewright.study import study

ROOT = Path(__file__).parents[2]
OPEN = Path(os.environ.get("GRACEWRIGHT_SHARED", ROOT.parent / "shared")) / "data" / "open"
SUITES = OPEN / "dcml_bach_en_fr_suites" / "musicxml"
pytestmark = pytest.mark.skipif(not SUITES.is_dir(), reason="the shared data folder is absent")

BY_EYE = {
    # bar, beat: what stands there in small notes written large
    ("4", "1"): "shake", ("4", "3"): "appoggiatura", ("6", "1"): "appoggiatura", ("7", "2"): "shake",
    ("8", "1"): "appoggiatura", ("10", "2"): "appoggiatura", ("12", "1"): "shake", ("12", "3"): "appoggiatura",
    ("20", "3"): "shake", ("23", "3"): "shake",
}  # fmt: skip


def test_the_graces_of_the_sarabande_are_read():
    plain = read(SUITES / "BWV808_04_Sarabande.musicxml")
    found = study(plain)
    graces, _ = graces_written(plain, found, read(SUITES / "BWV808_04a_Agrements_de_la_Sarabande.musicxml"),
                               load_instrument("violin"))  # fmt: skip
    read_back = {}
    for (time_through, name), grace in graces.items():
        note = plain.by_id[name]
        if time_through == 1 and grace is not None:
            read_back[plain.bars[note.bar].number, str(plain.beat_of(note.onset, note.bar))] = grace.id

    assert {place: read_back.get(place) for place in BY_EYE} == BY_EYE
