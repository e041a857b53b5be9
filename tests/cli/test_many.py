"""A folder at once: good files are done, bad ones named, and a stopped run goes on."""

import os
import shutil
import signal
import subprocess
import sys
import time
from fractions import Fraction as F

import pytest

from gracewright.cli.many import Outcome, pieces_of, run_many
from gracewright.job import demo_piece
from gracewright.pitch import Pitch
from gracewright.score import MidiPart, Sounded, canonical, write_midi


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

    shutil.copy(demo_piece("adagio"), tmp_path / "b" / "y.musicxml")

    code, out, _ = run("ornament", tmp_path, "--out", tmp_path / "out", "--only", "plan.txt")

    assert code == 1
    assert "2 done, 1 refused." in out
    assert "lie over those of" in " ".join(out.split())
    assert files_in(tmp_path / "out") == ["plan.txt", "plan.txt"]


def test_two_formats_of_a_piece_cost_no_other(run, tmp_path):
    """air.abc comes before air.musicxml, so the plan is that of its two bars; the sonata is done all the same."""
    (tmp_path / "air.abc").write_text("X:1\nT:Air\nM:3/4\nL:1/4\nK:C\nc d e|c3|]\n", encoding="utf-8")
    for name in ("air", "sonata"):
        shutil.copy(demo_piece("menuet"), tmp_path / f"{name}.musicxml")

    code, _, err = run("ornament", tmp_path, "--only", "plan.txt", "--quiet")

    assert code == 1
    assert [line.split(": ")[0] for line in err.splitlines() if "lie over" in line] == [str(tmp_path / "air.musicxml")]
    assert sorted(path.parent.name for path in tmp_path.glob("*/plan.txt")) == ["air-ornamented", "sonata-ornamented"]
    assert "bar 3" not in (tmp_path / "air-ornamented" / "plan.txt").read_text(encoding="utf-8")


def test_our_signs_are_taken_out_of_a_folder(run, tmp_path):
    """What is no MusicXML, or no score, is named and refused; the others are done, and nothing else is left."""
    signed = tmp_path / "signed"
    run("ornament", demo_piece("menuet"), "--out", signed, "--only", "signs.musicxml", "--quiet")
    (signed / "air.abc").write_text("X:1\nT:Air\nM:3/4\nL:1/4\nK:C\nc d e|c3|]\n", encoding="utf-8")
    (signed / "broken.musicxml").write_text("<score-partwise>", encoding="utf-8")
    (signed / "empty.musicxml").write_text("<score-partwise/>", encoding="utf-8")

    code, _, err = run("ornament", signed, "--strip-ours", "--quiet")

    assert code == 1
    assert [line.split(":")[0] for line in err.splitlines()] == ["air.abc", "broken.musicxml", "empty.musicxml"]
    assert "only MusicXML carries our signs" in err.splitlines()[0]
    assert [name for name in files_in(signed) if "-plain" in name] == ["signs-plain.musicxml"]
    assert canonical((signed / "signs-plain.musicxml").read_bytes()) == canonical(demo_piece("menuet").read_bytes())


@pytest.mark.parametrize("name", ["air.abc", "air.mid", "empty.musicxml"])
def test_one_file_without_our_signs_to_take_out_is_refused_by_name(run, tmp_path, name):
    tune = [MidiPart("Flute", (Sounded(F(0), F(1), Pitch.parse("A4")),))]
    (tmp_path / "air.abc").write_text("X:1\nT:Air\nM:3/4\nL:1/4\nK:C\nc d e|c3|]\n", encoding="utf-8")
    (tmp_path / "air.mid").write_bytes(write_midi(tune, F(60)))
    (tmp_path / "empty.musicxml").write_text("<score-partwise/>", encoding="utf-8")

    code, _, err = run("ornament", tmp_path / name, "--strip-ours")

    assert code == 2
    assert err.startswith(f"{name}: ")
    assert "well-formed" not in err
    assert not list(tmp_path.glob("*-plain*"))


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
