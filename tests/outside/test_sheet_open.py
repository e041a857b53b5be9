"""Drawing measured against things outside the project: a reference reader, the SMuFL glyph table, open scores."""

import os
import re
import warnings
from collections import Counter
from dataclasses import replace
from pathlib import Path

import pytest

from gracewright.score import read
from gracewright.score.musicxml_note import SIGN_ELEMENTS
from gracewright.sheet import Staff, engrave, faults_of, mei_of, systems_of
from gracewright.sheet.figures import DIGITS, RAISED, SIGNS
from gracewright.sheet.glyphs import DRAWINGS, NAMED, SIGN_TABLE

SHARED = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[3] / "shared"))
OPEN = SHARED / "data" / "open"
GLYPHS = OPEN / "smufl" / "ornament_glyphs.tsv"

pytestmark = pytest.mark.skipif(not OPEN.is_dir(), reason="the folder of open data is not there")

SCORES = (
    "dcml_bach_solo/musicxml/BWV1009_03_Courante.musicxml",
    "dcml_bach_solo/musicxml/BWV1013_04_BourreeAnglaise.musicxml",
    "dcml_bach_en_fr_suites/musicxml/BWV812_06_Gigue.musicxml",
    "dcml_kleine_geistliche_konzerte/musicxml/swv308_O_Jesu__nomen_dulce.musicxml",
    "dcml_scarlatti_sonatas/musicxml/K097.musicxml",
)


def lines_of(piece):
    """Every staff of a score as a line."""
    found = []
    for part in piece.parts:
        staves = sorted({note.staff for note in piece.by_part[part.id]})
        found += [part.id] if len(staves) < 2 else [f"{part.id}/{staff}" for staff in staves]
    return found


def once_through(piece):
    """The piece without repeats, so that the time map of a drawing follows the page."""
    bars = tuple(replace(bar, repeat_start=False, repeat_end=0, endings=(), jumps=()) for bar in piece.bars)
    return replace(piece, bars=bars)


@pytest.mark.parametrize("name", SCORES)
def test_every_note_is_drawn_at_its_time(name):
    """Onsets of the drawing's own time map against those of partitura (notes without length, small ones, left out)."""
    partitura = pytest.importorskip("partitura")
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        score = partitura.load_musicxml(OPEN / name, force_note_ids=True)
        arrays = [part.note_array() for part in score.parts]
    start = min(float(array["onset_quarter"].min()) for array in arrays)
    theirs = Counter(
        round(float(row["onset_quarter"]) - start, 2)
        for array in arrays for row in array if row["duration_quarter"] > 0
    )  # fmt: skip
    piece = once_through(read(OPEN / name))
    if any(note.marks.before or note.marks.after for note in piece.notes):
        plain = tuple(replace(note, marks=replace(note.marks, before=(), after=())) for note in piece.notes)
        piece = replace(piece, notes=plain)
    mei = mei_of(piece, [Staff("written", line) for line in lines_of(piece)])
    drawn = engrave(mei, options={"breaks": "auto"}, timemap=True)
    tied = set(re.findall(r'<tie [^>]*endid="#([^"]+)"', mei))  # the time map has these as notes of their own
    first = min(event["qstamp"] for event in drawn.timemap if event.get("on"))
    ours = Counter()
    for event in drawn.timemap:
        ours[round(event["qstamp"] - first, 2)] += len(set(event.get("on", ())) - tied)

    assert +ours == theirs


def test_glyph_names_are_those_of_smufl():
    """The table of the SMuFL specification (ornaments and figured bass), as open data has it."""
    table = {}
    for line in GLYPHS.read_text(encoding="utf-8").splitlines()[1:]:
        _, _, name, code, _ = line.split("\t")
        table[name] = code.removeprefix("U+")
    wrong = {name: code for name, code in NAMED.items() if table.get(name) != code}

    assert wrong == {}
    assert all(table[drawing.name] == f"{drawing.code:X}" for drawing in DRAWINGS)
    for digit, code in DIGITS.items():
        assert table[f"figbass{digit}"] == f"{code:X}"
    for digit, code in RAISED.items():
        assert f"{code:X}" in {table.get(f"figbass{digit}Raised"), table.get(f"figbass{digit}Raised1")}
    names = {"flat": "figbassFlat", "natural": "figbassNatural", "sharp": "figbassSharp",
             "double-sharp": "figbassDoubleSharp", "flat-flat": "figbassDoubleFlat"}  # fmt: skip
    assert {sign: table[name] for sign, name in names.items()} == {sign: f"{SIGNS[sign]:X}" for sign in names}


@pytest.mark.parametrize("name", SCORES)
def test_open_scores_are_drawn_without_overlap_cut_or_missing_glyph(name):
    piece = read(OPEN / name)
    staves = [Staff("written", line, figures=True, words=True) for line in lines_of(piece)]
    systems = systems_of(piece, staves, boxes=True, last=min(len(piece.bars) - 1, 60))

    assert [fault for system in systems for fault in faults_of(system)] == []


def test_every_ornament_element_of_musicxml_has_a_sign():
    assert SIGN_ELEMENTS - {"other-ornament"} <= set(SIGN_TABLE)
