"""A folder at once: good files are done, bad ones named, and a stopped run goes on."""

import os
import shutil
import signal
import subprocess
import sys
import time

import pytest

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

    outcomes = run_many([path], length_of, lambda _: True, quiet=True)

    assert outcomes == [Outcome(path, "passed over", "was done before with the same wishes")]


def test_a_folder_of_scores(run, tmp_path):
    """One good score, one broken: exit code 1, the good one's results are there, the bad one leaves nothing."""
    shutil.copy(demo_piece("menuet"), tmp_path / "good.musicxml")
    (tmp_path / "broken.musicxml").write_text("<score-partwise>", encoding="utf-8")

    code, out, err = run("ornament", tmp_path, "--out", tmp_path / "out", "--only", "plan.txt")

    assert code == 1
    assert "refused" in out
    assert "Traceback" not in out + err
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["good-ornamented"]

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


@pytest.fixture
def folder(tmp_path):
    """Two pieces that are the demo menuet, and one that is broken."""
    pieces = tmp_path / "pieces"
    pieces.mkdir()
    for name in ("one", "two"):
        shutil.copy(demo_piece("menuet"), pieces / f"{name}.musicxml")
    (pieces / "broken.musicxml").write_text("<score-partwise>", encoding="utf-8")
    return pieces


def files_in(folder):
    return sorted(path.name for path in folder.rglob("*") if path.is_file() and not path.name.startswith("."))


def test_other_wishes_and_a_changed_score_are_done_again(run, folder):
    """Dates of files say nothing: what was asked for and what stands in the score does."""
    words = ("ornament", folder / "one.musicxml", folder / "two.musicxml", "--only", "plan.txt")
    run(*words)
    _, again, _ = run(*words)
    _, richer, _ = run(*words, "--richness", "9")
    shutil.copy(demo_piece("adagio"), folder / "two.musicxml")
    os.utime(folder / "two.musicxml", (0, 0))
    _, changed, _ = run(*words, "--richness", "9")

    assert "2 passed over." in again
    assert "2 done." in richer
    assert "1 done, 1 passed over." in changed


def test_results_in_the_folder_are_no_pieces(run, folder):
    run("ornament", folder / "one.musicxml", "--only", "signs.musicxml")
    run("ornament", folder, "--only", "played.musicxml")
    _, out, _ = run("ornament", folder, "--only", "played.musicxml")

    assert "2 passed over, 1 refused." in out


def test_sheets_of_a_folder(run, folder):
    code, out, _ = run("sheet", "part", folder, "--out", folder / "pdf")

    assert code == 1
    assert "2 done, 1 refused." in out
    assert files_in(folder / "pdf") == ["one-part.pdf", "two-part.pdf"]


def test_tracks_of_a_folder(run, folder):
    (folder / "broken.musicxml").unlink()
    code, out, _ = run("practise", folder, "--only", "slow", "--bars", "1-2", "--steps", "100", "--times", "1")

    assert code == 0
    assert "Take care: " in out
    assert files_in(folder / "one-practise") == ["practise.txt", "slow.ogg"]


def test_a_class_and_its_piece(run, folder):
    """Each pupil's score is judged beside the one plain piece; the bad one costs nobody else anything."""
    code, out, _ = run("review", demo_piece("menuet"), folder, "--json")

    assert code == 1
    assert "2 done, 1 refused." in out
    assert files_in(folder) == ["broken.musicxml", "one-review.json", "one.musicxml", "two-review.json", "two.musicxml"]


def test_plain_and_played_belong_together_by_name(run, folder, tmp_path):
    (folder / "broken.musicxml").unlink()
    played = tmp_path / "played"
    played.mkdir()
    for name in ("one-anna", "three"):
        shutil.copy(demo_piece("menuet"), played / f"{name}.musicxml")

    _, out, _ = run("review", folder, played)

    assert "1 done, 1 refused." in out
    assert files_in(played) == ["one-anna-review.txt", "one-anna.musicxml", "three.musicxml"]


def test_ctrl_c_finishes_what_is_in_hand_and_goes_on_later(run, tmp_path):
    """Stopped after the first result, the same command does the rest; nothing half-written is left."""
    count = 4 * (os.cpu_count() or 1) + 4
    for number in range(count):
        shutil.copy(demo_piece("menuet"), tmp_path / f"{number}.musicxml")
    words = ["ornament", str(tmp_path), "--only", "plan.txt"]
    code = f"import sys; sys.argv = ['gracewright', *{words!r}]; from gracewright.cli import main; main()"
    process = subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
    while not list(tmp_path.glob("*-ornamented/plan.txt")) and process.poll() is None:
        time.sleep(0.02)
    process.send_signal(signal.SIGINT)
    told, said = process.communicate(timeout=60)
    finished = len(list(tmp_path.glob("*-ornamented/plan.txt")))
    half = [path for path in tmp_path.glob("*/.*") if path.name != ".gracewright-done"]

    assert process.returncode == 1
    assert "Traceback" not in said
    assert "not begun." in told
    assert 0 < finished < count
    assert half == []
    _, out, _ = run(*words)
    assert f"{count - finished} done, {finished} passed over." in out


def test_studies_of_a_folder(run, folder):
    code, out, _ = run("study", folder, "--json")

    assert code == 1
    assert "F major, 24 bars" in out
    assert files_in(folder) == ["broken.musicxml", "one-study.json", "one.musicxml", "two-study.json", "two.musicxml"]
