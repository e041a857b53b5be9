"""Plans for open pieces, judged from outside the planner: by the review room, and voice leading by music21.

The pieces are read from the shared data folder (``GRACEWRIGHT_SHARED``, default ``../shared``) and are not shipped.
"""

import os
from collections import Counter
from functools import cache
from itertools import pairwise
from pathlib import Path

import music21
import pytest

from gracewright.graces import perform
from gracewright.instruments import load_instrument
from gracewright.review import review
from gracewright.score import read, tones
from gracewright.study import study
from gracewright.taste import load_manner, make_plan, placed, read_plan, write_plan

ROOT = Path(__file__).parents[2]
OPEN = Path(os.environ.get("GRACEWRIGHT_SHARED", ROOT.parent / "shared")) / "data" / "open"
PIECES = {
    "french": "dcml_bach_en_fr_suites/musicxml/BWV808_04_Sarabande.musicxml",
    "german": "dcml_wf_bach_sonatas/musicxml/F001_n08b.musicxml",
    "italian-slow": "dcml_bach_en_fr_suites/musicxml/BWV806_07_Sarabande.musicxml",
    "english": "roman_text/purcell_sonata_Z807.musicxml",
    "french-1730": "dcml_bach_en_fr_suites/musicxml/BWV812_03_Sarabande.musicxml",
}
pytestmark = pytest.mark.skipif(not OPEN.is_dir(), reason="the shared data folder is absent")


@cache
def studied(name):
    path = OPEN / PIECES[name]
    if not path.is_file():
        pytest.skip(f"{path.name} is not in the shared data")
    piece = read(path)
    return piece, study(piece)


def played(piece, found, plan, violin):
    return perform(piece, found, placed(plan), violin, source=plan.signs_by)


@pytest.mark.parametrize("name", PIECES)
def test_the_review_finds_no_fault_that_the_page_has_not(name):
    """Common practice: no new fifths or octaves, nothing too quick, no two shakes running, nothing doubled."""
    piece, found = studied(name)
    violin = load_instrument("violin")
    plain = make_plan(piece, found, load_manner(name), violin, richness=0)
    version = played(piece, found, plain, violin)
    before = Counter(fault.rule for fault in review(piece, found, version, violin, "intermediate").faults)
    for richness in (5, 10):
        plan = make_plan(piece, found, load_manner(name), violin, richness=richness)
        version = played(piece, found, plan, violin)
        after = Counter(fault.rule for fault in review(piece, found, version, violin, "intermediate").faults)
        assert len(plan.choices) > len(plain.choices)
        assert any(note.choice >= 0 and plan.choices[note.choice].origin == "ours" for note in version.notes)
        assert after - before == Counter()


def parallels(line, bass):
    """Moments at which two voices move in parallel fifths or octaves, by music21's voice-leading module."""
    found = set()
    starts = {note.onset: note for note in line}
    previous = {two.onset: one for one, two in pairwise(line)}
    for low, next_low in pairwise(bass):
        here, before = starts.get(next_low.onset), previous.get(next_low.onset)
        if here is None or before is None or low.end < next_low.onset or before.end < here.onset:
            continue
        four = [str(note.pitch).replace("b", "-") for note in (before, here, low, next_low)]
        quartet = music21.voiceLeading.VoiceLeadingQuartet(*(music21.note.Note(name) for name in four))
        if quartet.parallelFifth() or quartet.parallelOctave() or quartet.parallelUnison():
            found.add(here.onset)
    return found


@pytest.mark.parametrize("name", PIECES)
def test_no_parallels_are_added_by_an_independent_count(name):
    piece, found = studied(name)
    violin = load_instrument("violin")
    if not found.bass:
        pytest.skip("no bass")

    solo = {tone.id for tone in tones(piece, found.solo)}
    lowest = {tone.id for tone in tones(piece, found.bass, lowest=True)}

    def count(richness):
        plan = make_plan(piece, found, load_manner(name), violin, richness=richness, signs="ignore")
        version = perform(piece, found, placed(plan), violin, signs=False, source=plan.signs_by)
        line = [note for note in version.notes if note.host in solo]
        bass = [note for note in version.notes if note.host in lowest]
        return parallels(line, bass), len(plan.choices)

    plain, none = count(0)
    graced, many = count(9)
    assert none == 0 < many
    assert graced <= plain


@pytest.mark.parametrize("name", PIECES)
def test_a_plan_for_an_open_piece_is_read_back_exactly(name):
    piece, found = studied(name)
    plan = make_plan(piece, found, load_manner(name), load_instrument("violin"), richness=7)

    assert read_plan(write_plan(plan), piece, found) == plan
