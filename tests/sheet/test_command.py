"""``gracewright sheet``: what it writes, and what it says when it cannot."""

import pytest
from click.testing import CliRunner

from gracewright.cli.sheet import KINDS, command
from gracewright.errors import BadInput


def run(*words):
    return CliRunner().invoke(command, [str(word) for word in words], catch_exceptions=True)


@pytest.mark.parametrize("kind", ["part", "ladder"])
def test_a_sheet_of_the_demo_is_written_where_asked(tmp_path, kind):
    target = tmp_path / "sheet.pdf"
    result = run(kind, "--demo", "--paper", "letter", "--out", target)

    assert result.exit_code == 0
    assert target.read_bytes().startswith(b"%PDF")
    assert [path.name for path in tmp_path.iterdir()] == ["sheet.pdf"]
    assert str(target) in result.output


def test_a_table_needs_its_source(tmp_path):
    assert isinstance(run("table").exception, BadInput)
    assert isinstance(run("table", "--signs-by", "nobody1700").exception, BadInput)
    target = tmp_path / "table.pdf"
    assert run("table", "--signs-by", "jsbach1720", "--out", target).exit_code == 0
    assert target.read_bytes().startswith(b"%PDF")


def test_a_piece_is_needed_once():
    assert isinstance(run("part").exception, BadInput)


def test_a_phrase_that_is_not_there_is_named(tmp_path):
    fault = run("graded", "--demo", "--phrase", "99", "--out", tmp_path / "x.pdf").exception

    assert isinstance(fault, BadInput)
    assert "phrases, not 99" in str(fault)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_told_in_a_sentence(tmp_path):
    (tmp_path / "no").write_text("a file, not a folder", encoding="utf-8")
    fault = run("table", "--signs-by", "jsbach1720", "--out", tmp_path / "no" / "x.pdf").exception

    assert isinstance(fault, BadInput)
    assert "cannot be written" in str(fault)


def test_help_names_every_kind():
    told = run("--help").output

    assert all(kind in told for kind in KINDS)
