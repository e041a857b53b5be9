"""``gracewright signs`` on the terminal."""

import json

import pytest
from click.testing import CliRunner

from gracewright.cli.signs import command
from gracewright.errors import BadInput


def run(*words):
    return CliRunner().invoke(command, words)


def test_the_command_tells_a_trap():
    told = run("+")

    assert told.exit_code == 0
    assert told.output.startswith("This sign means different things")
    assert "loulie1696" in told.output


def test_the_command_prints_json():
    data = json.loads(run("--source", "jsbach1720", "--json").output)

    assert len(data) == 13
    assert data[0]["readings"][0]["notes"][0][1] in ("1/8", "1/4", "1/2")


def test_the_command_lists_sources_and_open_questions():
    assert len(json.loads(run("--sources", "--json").output)) == 45
    asked = json.loads(run("--open", "--json").output)

    assert asked
    assert all(entry["open_question"] for entry in asked)


@pytest.mark.parametrize("words", [("nonsense",), ("--years", "long ago"), ("--source", "nobody")])
def test_the_command_refuses_in_one_sentence(words):
    refused = run(*words)

    assert isinstance(refused.exception, BadInput)


def test_the_command_prints_a_sheet(tmp_path):
    target = tmp_path / "signs.pdf"
    told = run("--source", "jsbach1720", "--sheet", str(target))

    assert told.exit_code == 0
    assert target.read_bytes().startswith(b"%PDF")
    assert [path.name for path in tmp_path.iterdir()] == ["signs.pdf"]


def test_an_open_question_is_shown_beside_common_practice():
    told = run("--source", "chambonnieres1670", "--open").output

    assert "open question" in told
    assert "or, as common practice" in told
