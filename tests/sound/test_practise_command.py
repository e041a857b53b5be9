"""The practise command as a player meets it."""

import pytest
import soundfile
from click.testing import CliRunner

from gracewright.cli.practise import command
from gracewright.errors import BadInput
from gracewright.job import demo_piece


@pytest.fixture
def run():
    def call(*words):
        return CliRunner().invoke(command, [str(word) for word in words])

    return call


def test_it_writes_four_tracks_and_says_what_is_heard_when(run, tmp_path):
    found = run(demo_piece("menuet"), "--out", tmp_path, "--steps", "50,100", "--times", "1")

    assert found.exit_code == 0, found.output
    assert sorted(path.name for path in tmp_path.iterdir()) == ["continuo.ogg", "graces.ogg", "in-turn.ogg", "slow.ogg"]
    assert "0:00  at 50 % of the tempo" in found.output
    assert all(soundfile.info(path).frames > 44100 for path in tmp_path.iterdir())


def test_it_warns_of_hearing_and_strain(run, tmp_path):
    found = run(demo_piece("menuet"), "--out", tmp_path, "--only", "slow", "--bars", "1-2", "--quiet")

    assert "Take care: Begin with the volume low" in found.output
    assert "Take care: Practise shakes slowly" in found.output


def test_bars_are_those_printed(run, tmp_path):
    found = run(demo_piece("menuet"), "--out", tmp_path, "--only", "slow", "--bars", "5-8", "--time", "1")

    assert "Practised: bars 5-8, time 1" in found.output


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--bars", "900-901"), "there are no bars '900-901'"),
        (("--phrase", "99"), "there are only"),
        (("--steps", "half"), "the steps 'half' are no percentages"),
        (("--time", "9"), "not played one after the other"),
    ],
)
def test_what_cannot_be_practised_is_told_in_one_sentence(run, tmp_path, words, says):
    found = run(demo_piece("menuet"), "--out", tmp_path / "new", *words)

    assert isinstance(found.exception, BadInput)
    assert says in str(found.exception)
    assert not (tmp_path / "new").exists()
