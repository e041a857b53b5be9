"""A study told: picture, notebook, command line."""

import json

import pytest
from click.testing import CliRunner
from lxml import etree

from gracewright.cli.study import command
from gracewright.study import overview_svg, study, study_json

LINES = {
    "P1": "G5:1 F5:1 E5:1 D5:1 C5:1 A5:1 D5:1/2 C5:1/2 B4:1 C5:4",
    "P2": "C4:1 B3:1 C4:1 G3:1 A3:1 F3:1 G3:2 C3:4",
}
SCORE = """<?xml version="1.0"?>
<score-partwise version="4.0"><part-list><score-part id="P1"><part-name>Flute</part-name></score-part></part-list>
<part id="P1"><measure number="1"><attributes><divisions>1</divisions><key><fifths>0</fifths></key>
<time><beats>4</beats><beat-type>4</beat-type></time></attributes>
<note><pitch><step>C</step><octave>5</octave></pitch><duration>2</duration><type>half</type></note>
<note><pitch><step>G</step><octave>4</octave></pitch><duration>2</duration><type>half</type></note></measure></part>
</score-partwise>"""
FIELDS = {"harmony", "keys", "cadences", "phrases", "sequences", "repeats", "notes"}


@pytest.fixture
def piece(make_piece):
    return make_piece(LINES)


def test_the_picture_is_well_formed_and_names_itself(piece):
    drawn = etree.fromstring(overview_svg(study(piece), piece))

    assert drawn.find("{*}title").text == "Untitled: C major"
    assert "1 key areas" in drawn.find("{*}desc").text


def test_a_title_with_markup_cannot_break_the_picture(piece):
    from dataclasses import replace

    named = replace(piece, title="<b>&")

    assert etree.fromstring(overview_svg(study(named), named)).find("{*}title").text.startswith("<b>&")


def test_a_notebook_shows_the_home_key(piece):
    assert "C major" in study(piece)._repr_html_()


def test_json_keeps_its_promise(piece):
    told = json.loads(json.dumps(study_json(study(piece), piece)))

    assert set(told) >= FIELDS
    assert set(told["harmony"][0]) >= {"onset", "length", "root", "quality", "bass", "key", "numeral", "confidence"}
    assert set(told["notes"][0]) >= {"onset", "bar", "beat", "pitch", "role"}


def test_all_confidences_lie_between_nothing_and_one(piece):
    found = study(piece)

    assert all(0 <= chord.confidence <= 1 for chord in found.harmony)
    assert all(0 <= cadence.strength <= 1 for cadence in found.cadences)
    assert all(0 <= role.dissonance <= 1 for role in found.roles)


def test_the_command_prints_words_or_json(tmp_path):
    score = tmp_path / "tune.musicxml"
    score.write_text(SCORE)
    words = CliRunner().invoke(command, [str(score)])
    told = CliRunner().invoke(command, [str(score), "--json"])

    assert words.exit_code == told.exit_code == 0
    assert "C major" in words.output
    assert set(json.loads(told.output)) >= FIELDS
