"""The annotated score: all that the study found stands on it, and nothing lies on anything else."""

import re
from dataclasses import replace
from fractions import Fraction as F

import pytest
from click.testing import CliRunner

from gracewright.cli.study import command
from gracewright.errors import BadInput
from gracewright.job import demo_piece
from gracewright.pitch import Key
from gracewright.score import FigureItem, read
from gracewright.sheet import faults_of, study_sheet, study_systems
from gracewright.sheet.ink import figures_ink, key_ink, numeral_ink, words
from gracewright.sheet.study_marks import CADENCES, COLOUR, bar_edges
from gracewright.sheet.study_sheet import MARKS, study_staves
from gracewright.study import Imitation, study
from gracewright.study.continuo import propose_figures

ABC = """X:1
T:Alone
M:3/4
L:1/8
K:G
D2|G2 B2 d2|c B A G A2|B2 d2 g2|f e d c B A|G2 A2 B2|c2 B2 A2|B A G2 F2|G4:|
"""


SPACE = "\u00a0"


@pytest.fixture(scope="module")
def tune(tmp_path_factory):
    path = tmp_path_factory.mktemp("tune") / "alone.abc"
    path.write_text(ABC)
    piece = read(path)
    return piece, study(piece)


@pytest.mark.parametrize("name", ["adagio", "menuet"])
@pytest.mark.parametrize("width", [1860, 1919, 1000])
def test_no_text_of_the_engraver_or_of_ours_overlaps_or_leaves_the_page(name, width):
    piece = read(demo_piece(name))
    systems = study_systems(piece, study(piece), width=width)

    assert [fault for system in systems for fault in faults_of(system)] == []
    assert sum(name.startswith(("study-", "over-study-")) for system in systems for name in system.boxes) > 20


def test_the_finder_sees_the_texts_that_are_drawn_about_a_system(menuet):
    system = study_systems(menuet.piece, menuet.study)[0]
    own = {name: box for name, box in system.boxes.items() if name.startswith("study-")}
    one, other = list(own)[:2]
    system.boxes[one] = system.boxes[other]

    assert any(fault.kind == "overlap" for fault in faults_of(system))


def test_each_numeral_and_cadence_is_written_where_it_begins(menuet):
    drawn = "".join(system.svg for system in study_systems(menuet.piece, menuet.study))
    plain = [chord for chord in menuet.study.harmony if chord.numeral == "V" and chord.confidence >= 0.5]

    assert drawn.count(">V</text>") >= len(plain) > 0
    for kind, named in CADENCES.items():
        label = f'fill="#000">{named.replace(" ", SPACE)},{SPACE}</text>'
        assert drawn.count(label) == sum(cadence.kind == kind for cadence in menuet.study.cadences)


def test_a_numeral_stands_under_the_note_it_begins_with(menuet):
    first = menuet.study.harmony[0]
    system = study_systems(menuet.piece, menuet.study)[0]
    note = next(note for note in menuet.piece.notes if note.onset == first.onset and note.pitch)
    (x,) = re.findall(rf'<text x="([\d.]+)"[^>]*>{first.numeral}</text>', system.svg)[:1]

    assert abs(float(x) - system.boxes[note.id].left) < 3


def test_notes_foreign_to_the_chord_are_coloured_and_lettered(menuet):
    foreign = [role for role in menuet.study.roles if role.role != "chord"]
    drawn = "".join(system.svg for system in study_systems(menuet.piece, menuet.study))

    assert foreign
    assert len(re.findall(r'class="notehead" color=', drawn)) == len(foreign)
    staff = next(staff for staff in study_staves(menuet.piece, menuet.study) if staff.fingerings)
    assert staff.fingerings == {role.note: MARKS[role.role][0] for role in foreign}


def test_figures_are_proposed_in_brackets_only_where_none_are_printed(menuet):
    bare = replace(menuet.piece, figures=())
    proposed = propose_figures(bare, menuet.study)
    drawn = "".join(system.svg for system in study_systems(bare, menuet.study))
    printed = "".join(system.svg for system in study_systems(menuet.piece, menuet.study))
    bracket = f'stroke="{COLOUR}" stroke-width="1.6"'

    assert proposed
    assert drawn.count(bracket) == 2 * len(proposed)
    assert printed.count(bracket) == 0
    assert printed.count('class="harm') == len(menuet.piece.figures)


def test_an_answer_in_the_bass_is_bracketed_where_it_enters(menuet):
    answer = Imitation("solo", menuet.piece.bars[0].onset, menuet.piece.bars[2].onset, F(6), -7)
    study_with_one = replace(menuet.study, imitations=(answer,))
    drawn = study_systems(menuet.piece, study_with_one)[0].svg

    assert f"the{SPACE}bass{SPACE}answers,{SPACE}bar{SPACE}1<" in drawn


def test_a_lone_melody_has_a_sheet_too(tune):
    piece, found = tune
    systems = study_systems(piece, found)

    assert study_sheet(piece, found).startswith(b"%PDF")
    assert [fault for system in systems for fault in faults_of(system)] == []


def test_an_unknown_paper_is_refused(tune):
    with pytest.raises(BadInput, match="paper"):
        study_sheet(*tune, paper="b7")


def test_the_same_piece_gives_the_same_bytes(tune):
    assert study_sheet(*tune) == study_sheet(*tune)


def test_every_bar_has_its_place(menuet):
    edges = {}
    for system in study_systems(menuet.piece, menuet.study):
        edges |= bar_edges(system)

    assert sorted(edges) == list(range(len(menuet.piece.bars)))
    assert all(left < right for left, right in edges.values())


@pytest.mark.parametrize("numeral", ["I", "V65/V", "#viio7", "bII6", "Ger65", "ii%65", "viio6/bVI", "IM7", "VII+", "?"])
def test_a_numeral_keeps_all_its_letters(numeral):
    plain = "".join(run.letters for run in numeral_ink(numeral).runs)
    back = plain.translate({0xE260: "b", 0xE262: "#", ord("°"): "o", ord("ø"): "%"})

    assert back == numeral


def test_texts_are_measured_in_the_font_they_are_set_in():
    assert words("WW").width > 2 * words("il").width
    assert key_ink(Key.parse("Bb minor")).width > key_ink(Key.parse("B minor")).width
    assert figures_ink([FigureItem(6), FigureItem(5)]).below > figures_ink([FigureItem(6)]).below


def test_the_command_writes_sheet_and_picture(tmp_path):
    sheet, picture = tmp_path / "s.pdf", tmp_path / "p.svg"
    done = CliRunner().invoke(
        command, ["--demo", "--sheet", str(sheet), "--picture", str(picture), "--paper", "letter"]
    )

    assert done.exit_code == 0
    assert sheet.read_bytes().startswith(b"%PDF")
    assert picture.read_text().startswith("<svg")
