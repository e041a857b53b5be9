"""The annotated score of open scores of all textures: no text of ours lies on another or leaves the page."""

import os
from pathlib import Path

import pytest

from gracewright.score import read
from gracewright.sheet import faults_of, study_systems
from gracewright.study import study

ROOT = Path(__file__).resolve().parents[2]
OPEN = Path(os.environ.get("GRACEWRIGHT_SHARED", ROOT.parent / "shared")) / "data" / "open"
SCORES = (
    "dcml_bach_en_fr_suites/musicxml/BWV808_04_Sarabande.musicxml",  # keyboard, four voices on two staves
    "dcml_bach_solo/musicxml/BWV1013_04_BourreeAnglaise.musicxml",  # a lone melody
    "figured_bass_chorales/musicxml/BWV_121.06_FB.musicxml",  # five parts, printed figures
    "mei_samples/Praetorius_PuerNobisNascitur.mei",  # nine parts: only solo and bass are drawn
    "scarlatti_kern/L345K113.krn",  # 122 bars
)

pytestmark = pytest.mark.skipif(not OPEN.exists(), reason="the open scores are not here")


@pytest.mark.parametrize("name", SCORES, ids=lambda name: Path(name).stem)
def test_no_text_about_the_systems_overlaps_another(name):
    piece = read(OPEN / name)
    systems = study_systems(piece, study(piece))
    ours = [fault for system in systems for fault in faults_of(system) if "study-" in fault.what]

    assert ours == []
    assert (systems[0].first_bar, systems[-1].last_bar) == (0, len(piece.bars) - 1)
    assert all(any(name.startswith("study-") for name in system.boxes) for system in systems)
