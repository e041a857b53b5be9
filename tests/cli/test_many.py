"""A folder at once: good files are done, bad ones named, and a stopped run goes on."""

import shutil

from gracewright.cli.many import Outcome, pieces_of, run_many
from gracewright.job import demo_piece


def length_of(path):
    """A job: how many bytes, but one file is refused and one kills its process."""
    if path.stem == "deadly":
        import os

        os._exit(3)
    if path.stem == "bad":
        raise ValueError("no good")
    return f"{path.stat().st_size} bytes"


def test_a_crash_costs_one_piece_only(tmp_path):
    for name in ("a", "bad", "deadly", "z"):
        (tmp_path / f"{name}.abc").write_text("four", encoding="utf-8")

    outcomes = run_many(pieces_of([tmp_path]), length_of, lambda _: False, quiet=True)

    assert [(outcome.path.stem, outcome.state) for outcome in outcomes] == [
        ("a", "done"), ("bad", "failed"), ("deadly", "failed"), ("z", "done"),
    ]  # fmt: skip
    assert outcomes[0].words == "4 bytes"


def test_what_is_done_is_passed_over(tmp_path):
    (tmp_path / "a.abc").write_text("four", encoding="utf-8")
    path = tmp_path / "a.abc"

    assert run_many([path], length_of, lambda _: True, quiet=True) == [Outcome(path, "passed over", "was done before")]


def test_a_folder_of_scores(run, tmp_path):
    """One good score, one broken: exit code 1, the good one's results are there, the bad one leaves nothing."""
    shutil.copy(demo_piece("menuet"), tmp_path / "good.musicxml")
    (tmp_path / "broken.musicxml").write_text("<score-partwise>", encoding="utf-8")

    code, out, err = run("ornament", tmp_path, "--out", tmp_path / "out", "--only", "plan.txt")

    assert code == 1
    assert "refused" in out
    assert "Traceback" not in out + err
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["good-french"]

    code, out, _ = run("ornament", tmp_path / "good.musicxml", tmp_path / "good.musicxml", tmp_path, "--out",
                       tmp_path / "out", "--only", "plan.txt")  # fmt: skip
    assert "passed over" in out


def test_two_pieces_of_one_name_are_not_written_over_one_another(run, tmp_path):
    for folder in ("a", "b"):
        (tmp_path / folder).mkdir()
        shutil.copy(demo_piece("menuet"), tmp_path / folder / "x.musicxml")

    code, _, err = run("ornament", tmp_path, "--out", tmp_path / "out", "--only", "plan.txt")

    assert code == 2
    assert "several pieces would leave their results" in err
    assert not (tmp_path / "out").exists()
