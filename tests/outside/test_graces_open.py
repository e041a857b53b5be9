"""Laws of the played result on open scores (Bach and Scarlatti movements with their own signs; skipped when absent)."""

import os
from fractions import Fraction as F
from pathlib import Path

import pytest

from gracewright.graces import Grace, Placed, contexts, page_graces, perform, realise, unread_signs
from gracewright.score import part_of, read, tones
from gracewright.study import study

SHARED = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2].parent / "shared"))
OPEN = SHARED / "data" / "open"
NAMES = [
    "dcml_bach_en_fr_suites/musicxml/BWV808_04_Sarabande.musicxml",
    "dcml_bach_en_fr_suites/musicxml/BWV814_02_Courante.musicxml",
    "dcml_bach_solo/musicxml/BWV1011_02_Allemande.musicxml",
    "dcml_scarlatti_sonatas/musicxml/K023.musicxml",
    "dcml_wf_bach_sonatas/musicxml/F001_n08c.musicxml",
]
FILES = [OPEN / name for name in NAMES if (OPEN / name).is_file()]

pytestmark = pytest.mark.skipif(not FILES, reason="the open scores are not beside the project")


class Fingers:
    def rate(self, level, lower, upper):
        return 5.0

    def least(self, level):
        return 0.06


@pytest.fixture(scope="module", params=FILES, ids=lambda path: path.stem)
def movement(request):
    piece = read(request.param)
    return piece, study(piece)


def test_the_solo_line_keeps_its_time_to_the_last_tick(movement):
    piece, found = movement
    version = perform(piece, found, (), Fingers())
    solo = [note for note in version.notes if note.part == found.solo]
    line = {tone.id: tone for tone in tones(piece, found.solo)}
    sums: dict[tuple[str, int], F] = {}
    for note in solo:
        if note.host in line:
            sums[note.host, note.time_through] = sums.get((note.host, note.time_through), F(0)) + note.length

    assert sums
    early = {grace.note for grace in page_graces(piece, found) if grace.grace.size == "passing"}
    for (host, _), length in sums.items():
        if host not in early:
            assert length <= line[host].length
    played = sum(entry.length for entry in version.passes)
    assert version.length == played
    assert all(note.onset >= 0 and note.end <= played for note in version.notes)


def test_signs_leave_the_other_parts_alone(movement):
    piece, found = movement
    with_signs = perform(piece, found, (), Fingers())
    without = perform(piece, found, (), Fingers(), signs=False)
    solo_part = part_of(found.solo)[0]

    def others(version):
        return [note for note in version.notes if part_of(note.part)[0] != solo_part]

    assert others(with_signs) == others(without)
    assert len(with_signs.notes) > len(without.notes)


def test_every_sign_on_the_solo_line_is_read(movement):
    piece, found = movement
    signed = [tone for tone in tones(piece, found.solo) if tone.marks.signs]

    assert signed
    assert unread_signs(piece, found) == ()


def test_neighbours_never_make_an_augmented_second(movement):
    piece, found = movement
    places = contexts(piece, found, Fingers(), "intermediate")
    for context in places.values():
        for grace in (Grace("shake"), Grace("mordent"), Grace("turn")):
            for note in realise(grace, context).notes:
                if note.pitch.diatonic != context.pitch.diatonic:
                    assert 1 <= abs(note.pitch.midi - context.pitch.midi) <= 2


def test_a_shake_on_every_note_still_keeps_time(movement):
    piece, found = movement
    line = tones(piece, found.solo)
    placed = [Placed(1, tone.id, Grace("shake", ending="turned"), i) for i, tone in enumerate(line)]
    version = perform(piece, found, placed, Fingers())
    first = {tone.id: F(0) for tone in line}
    for note in version.notes:
        if note.host in first and note.time_through == 1:
            first[note.host] += note.length

    assert all(first[tone.id] in (0, tone.length) for tone in line)
