"""A student's score set beside the plain one."""

from fractions import Fraction as F

import pytest
from click.testing import CliRunner

from gracewright.cli.review import command
from gracewright.errors import BadInput
from gracewright.review import review, student_version

SOLO = "G5:1 A5:1 B5:1 C6:1 | D6:2 E6:2 | C6:2 B5:2 | C6:4"
BASS = "C4:2 G3:1 A3:1 | B3:2 C4:2 | F3:2 G3:2 | C3:4"


@pytest.fixture(scope="module")
def plain(written):
    return written(SOLO, BASS)


def version(plain, written, solo):
    theirs = written(solo, BASS)
    return student_version(plain.piece, plain.study, theirs.piece, plain.alto, "advanced")


def test_the_plain_line_given_back_is_the_plain_version(plain, written):
    same = version(plain, written, SOLO)

    assert [(n.part, n.onset, n.length, n.pitch, n.host) for n in same.notes] == [
        (n.part, n.onset, n.length, n.pitch, n.host) for n in plain.plain.notes
    ]


def test_written_out_graces_belong_to_the_note_they_stand_for(plain, written):
    graced = version(plain, written, "G5:1 A5:1 B5:1 C6:1 | E6:1 D6:1 E6:2 | C6:2 C6:1/2 B5:3/2 | C6:4")
    hosts = {}
    for note in graced.notes:
        if note.part == "P1":
            hosts.setdefault(note.host, []).append(str(note.pitch))

    assert hosts[plain.tones[4].id] == ["E6", "D6"]
    assert hosts[plain.tones[7].id] == ["C6", "B5"]
    assert review(plain.piece, plain.study, graced, plain.alto, "advanced").faults == ()


def test_a_fault_of_the_student_is_found_in_its_bar(plain, written):
    graced = version(plain, written, "G5:1 A5:1 B5:1 C6:1 | D6:2 E6:2 | C6:2 D6:1 B5:1 | C6:4")
    faults = review(plain.piece, plain.study, graced, plain.alto, "advanced").faults

    assert [(one.rule, one.bar) for one in faults] == [("fifths", "3")]


def test_scores_with_other_bars_are_refused_in_one_sentence(plain, written):
    theirs = written("G5:4 | D6:4 | C6:4", "C4:4 | B3:4 | C3:4")

    with pytest.raises(BadInput, match=r"the played version has 3 bars; it should have the bars of the plain piece: 4"):
        student_version(plain.piece, plain.study, theirs.piece, plain.alto)


def test_the_command_tells_faults_and_gives_exit_code_1(tmp_path, written):
    plain = written("E5:2 A5:2 | G5:4", "C4:2 D4:2 | E3:4")
    good = written("E5:2 B5:1 A5:1 | G5:4", "C4:2 D4:2 | E3:4")
    bad = written("E5:1 G5:1 A5:2 | G5:4", "C4:2 D4:2 | E3:4")
    paths = []
    for name, one in (("plain", plain), ("good", good), ("bad", bad)):
        path = tmp_path / f"{name}.musicxml"
        path.write_bytes(one.data)
        paths.append(str(path))
    fine = CliRunner().invoke(command, [paths[0], paths[1], "--tempo", "60"])
    told = CliRunner().invoke(command, [paths[0], paths[2], "--tempo", "60"])

    assert fine.exit_code == 0
    assert told.exit_code == 1
    assert "bar 1, beat 3: The graces make parallel fifths with the bass: G5 to A5 over C4 to D4." in told.output


def test_time_values_are_exact(plain, written):
    graced = version(plain, written, "G5:1 A5:1 B5:1 C6:1 | D6:1/2 E6:1/4 D6:5/4 E6:2 | C6:2 B5:2 | C6:4")

    assert sum((note.length for note in graced.notes if note.part == "P1"), F(0)) == 16
