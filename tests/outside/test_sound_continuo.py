"""The chords over a bass, judged by another library's voice leading (music21).

Every pair of the four voices (bass and three notes above) between chords that follow each other, in both demos:
no parallel fifths or octaves; and each chord holds the third of its harmony somewhere (common practice).
"""

from itertools import combinations, pairwise

import pytest
from music21.note import Note
from music21.voiceLeading import VoiceLeadingQuartet

from gracewright.graces import chord_of, perform
from gracewright.instruments import load_instrument
from gracewright.job import demo_piece
from gracewright.score import read
from gracewright.sound.continuo import chords
from gracewright.study import study


def note(pitch):
    return Note(str(pitch).replace("b", "-"))


@pytest.fixture(scope="module", params=["adagio", "menuet"])
def accompanied(request):
    piece = read(demo_piece(request.param))
    found = study(piece)
    version = perform(piece, found, (), load_instrument("alto-recorder"))
    bass = [each for each in version.notes if each.part == found.bass]
    struck = chords(version, found, found.bass)
    lowest = [min((n.pitch for n in bass if n.onset <= s.onset < n.end), key=lambda p: p.midi) for s in struck]
    return found, version, struck, lowest


def test_no_fifths_or_octaves_in_a_row(accompanied):
    _, _, struck, lowest = accompanied
    found = []
    for (a, low_a), (b, low_b) in pairwise(zip(struck, lowest, strict=True)):
        before, after = [low_a, *a.pitches], [low_b, *b.pitches]
        for i, j in combinations(range(min(len(before), len(after))), 2):
            pair = VoiceLeadingQuartet(note(before[j]), note(after[j]), note(before[i]), note(after[i]))
            if pair.parallelFifth() or pair.parallelOctave():
                found.append((b.onset, str(before[i]), str(before[j]), str(after[i]), str(after[j])))

    assert len(struck) > 40
    assert found == []


def test_every_chord_has_its_third_and_stays_under_the_hand(accompanied):
    found, version, struck, lowest = accompanied
    for each, low in zip(struck, lowest, strict=True):
        page = next(p.page_onset + each.onset - p.onset for p in version.passes
                    if p.onset <= each.onset < p.onset + p.length)  # fmt: skip
        third = chord_of(found.harmony_at(page))[1]

        assert third in {pitch.pitch_class for pitch in (low, *each.pitches)}
        assert each.pitches[-1].midi - each.pitches[0].midi <= 12
