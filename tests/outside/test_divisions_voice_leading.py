"""Divisions on open scores, judged by music21's voice-leading module: no fifths or octaves with any voice that the
plain line lacks. And the finder of the review room beside the same module, on lines that are full of them."""

import os
import random
from fractions import Fraction as F
from functools import cache
from itertools import pairwise
from pathlib import Path

import pytest
from music21 import interval, note, voiceLeading

from gracewright.divisions import divisions_for, grounds, styles
from gracewright.graces import Placed, contexts, perform
from gracewright.instruments import load_instrument
from gracewright.pitch import Pitch
from gracewright.review import new_parallels
from gracewright.review.scene import scene_of
from gracewright.score import read
from gracewright.study import study

SHARED = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2].parent / "shared"))
OPEN = SHARED / "data" / "open"
DEMO = Path(__file__).parents[2] / "src" / "gracewright" / "data" / "demo"
NAMES = [
    "dcml_kleine_geistliche_konzerte/musicxml/swv308_O_Jesu__nomen_dulce.musicxml",
    "dcml_kleine_geistliche_konzerte/musicxml/swv284_Ich_danke_dem_Herrn_von_ganzem_Herzen.musicxml",
    "dcml_bach_en_fr_suites/musicxml/BWV808_04_Sarabande.musicxml",
    "dcml_bach_en_fr_suites/musicxml/BWV814_06_Trio.musicxml",
    "dcml_cpe_bach_keyboard/musicxml/wq117n11.musicxml",
    "dcml_scarlatti_sonatas/musicxml/K087.musicxml",
    "dcml_wf_bach_sonatas/musicxml/F001_n08c.musicxml",
]
FILES = sorted(DEMO.glob("*.musicxml")) + [OPEN / name for name in NAMES if (OPEN / name).is_file()]


@cache
def named(pitch):
    """A note of music21 (flats are minus signs there)."""
    return note.Note(str(pitch).replace("b", "-"))


@cache
def parallel(one, two, three, four):
    """What music21 says of one → two over three → four: fifths, octaves or nothing."""
    quartet = voiceLeading.VoiceLeadingQuartet(named(one), named(two), named(three), named(four))
    if quartet.parallelFifth():
        return "fifths"
    return "octaves" if quartet.parallelOctave() or quartet.parallelUnison() else ""


def heard(upper, lower):
    """Parallels between two rows of (onset, end, pitch) where both strike: {(onset, kind)}."""
    starts = {row[0]: i for i, row in enumerate(upper)}
    found = set()
    for before, after in pairwise(lower):
        at = starts.get(after[0], 0)
        if not at or before[1] < after[0] or upper[at - 1][1] < after[0]:
            continue
        kind = parallel(upper[at - 1][2], upper[at][2], before[2], after[2])
        if kind:
            found.add((after[0], kind))
    return found


def rows(voice):
    return [(row.onset, row.end, row.pitch) for row in voice]


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_divisions_on_every_long_note_make_no_parallels_with_any_voice(path):
    piece = read(path)
    found = study(piece)
    alto = load_instrument("alto-recorder")
    places, under = contexts(piece, found, alto, "advanced"), grounds(piece, found)
    made = 0
    for style in styles():
        placed = []
        for tone, place in places.items():
            if place.length * place.quarter < F(1, 2):
                continue
            choice = divisions_for(place, manner=style, richness=8, ground=under[tone])
            placed += [Placed(time, tone, choice[0].grace) for time in (1, 2) if choice]
        version = perform(piece, found, placed, alto, "advanced", signs=False)
        scene = scene_of(piece, found, version, alto, "advanced", None)
        made += len(version.notes)
        for voice in scene.voices.values():
            assert heard(rows(scene.line), rows(voice)) - heard(rows(scene.plain), rows(voice)) == set()
    assert made


class Struck:
    """A note of a random voice."""

    def __init__(self, onset, length, pitch):
        self.onset, self.length, self.pitch = onset, length, pitch
        self.end = onset + length


def test_the_finder_agrees_with_music21_on_random_lines():
    chance = random.Random(1738)
    white = [Pitch.at(place) for place in range(28, 40)] + [Pitch.parse(name) for name in ("F#4", "Bb4", "Eb5", "C#5")]
    low = [pitch.transposed(-7, -12) for pitch in white]
    kinds = set()
    for _ in range(200):
        upper = [Struck(F(i, 2), F(1, 2), chance.choice(white)) for i in range(12)]
        lower = [Struck(F(i), F(1), chance.choice(low)) for i in range(6)]
        ours = {(one.onset, one.kind) for one in new_parallels([], upper, lower)}
        theirs = heard([(n.onset, n.end, n.pitch) for n in upper], [(n.onset, n.end, n.pitch) for n in lower])
        kinds |= {kind for _, kind in theirs}
        # music21 keeps octave to unison apart; for us both are octaves
        extra = {(at, kind) for at, kind in ours - theirs if kind == "octaves" and unlike(upper, lower, at)}
        assert ours - extra == theirs
    assert kinds == {"fifths", "octaves"}


def unlike(upper, lower, at):
    """Do the two octaves at this moment have unlike sizes (unison, octave, fifteenth)?"""
    i, k = next(i for i, n in enumerate(upper) if n.onset == at), next(k for k, n in enumerate(lower) if n.onset == at)
    sizes = [
        interval.Interval(named(lower[k - 1].pitch), named(upper[i - 1].pitch)).name,
        interval.Interval(named(lower[k].pitch), named(upper[i].pitch)).name,
    ]
    return sizes[0] != sizes[1]
