"""The command line as a player meets it: words, exit codes, files."""

import json
from importlib.resources import files

import pytest
from lxml import etree
from music21 import converter

from gracewright.cli import COMMANDS
from gracewright.job import RESULTS, demo_piece
from gracewright.score import canonical


@pytest.mark.parametrize("name", sorted(COMMANDS))
def test_every_command_explains_itself(run, name):
    code, out, _ = run(name, "--help")

    assert code == 0
    assert "Usage:" in out


def test_ornament_says_what_it_added_and_why(run, tmp_path):
    code, out, _ = run("ornament", demo_piece("menuet"), "--out", tmp_path, "--only", "plan.txt")

    assert code == 0
    assert "bar 24 authentic perfect in F major" in out
    assert "On the page:" in out
    assert "bar 7, beat 2, both times: shake" in out
    assert [path.name for path in tmp_path.iterdir()] == ["plan.txt"]


def test_ornament_leaves_all_results(run, tmp_path):
    code, _, _ = run("ornament", "--demo", "--manner", "italian", "--out", tmp_path, "--quiet")

    assert code == 0
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(RESULTS)


def test_ornament_as_json_writes_nothing(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    code, out, _ = run("ornament", demo_piece("menuet"), "--json")

    assert code == 0
    assert json.loads(out)["manner"] == "french"
    assert list(tmp_path.iterdir()) == []


def test_an_edited_plan_is_played(run, tmp_path):
    """Every line of ours struck out: only the composer's two signs are left."""
    run("ornament", demo_piece("menuet"), "--out", tmp_path, "--only", "plan.txt", "--quiet")
    plan = tmp_path / "plan.txt"
    kept = [line for line in plan.read_text(encoding="utf-8").splitlines()
            if not line.startswith("bar ") or line.startswith(("bar 7 ", "bar 17 "))]  # fmt: skip
    plan.write_text("\n".join(kept) + "\n", encoding="utf-8")

    code, out, _ = run("ornament", demo_piece("menuet"), "--plan", plan, "--json")

    assert code == 0
    assert {choice["bar"] for choice in json.loads(out)["choices"] if choice["grace"]} <= {"7", "17"}


@pytest.mark.parametrize("words", [("ornament",), ("ornament", "--demo", "x.musicxml"), ("study",)])
def test_wrong_words_are_one_sentence_and_exit_code_2(run, words):
    code, out, err = run(*words)

    assert code == 2
    assert "Traceback" not in out + err


def test_a_broken_score_is_one_sentence_and_nothing_is_written(run, tmp_path):
    broken = tmp_path / "broken.musicxml"
    broken.write_text("<score-partwise><part", encoding="utf-8")
    code, _, err = run("ornament", broken, "--out", tmp_path / "out")

    assert code == 2
    assert err.startswith("broken.musicxml")
    assert len(err.strip().splitlines()) == 1
    assert not (tmp_path / "out").exists()


def test_an_unknown_manner_is_named(run):
    code, _, err = run("ornament", "--demo", "--manner", "martian", "--json")

    assert code == 2
    assert "martian" in err


def test_study_prints_keys_and_cadences(run):
    code, out, _ = run("study", demo_piece("menuet"))

    assert code == 0
    assert "F major" in out
    assert "Hemiola: bars 22–23" in out


def test_our_signs_are_taken_out_again(run, tmp_path):
    """The composer's own document comes back, canonical XML equal."""
    run("ornament", demo_piece("menuet"), "--out", tmp_path, "--only", "signs.musicxml", "--quiet")
    code, out, _ = run("ornament", tmp_path / "signs.musicxml", "--strip-ours")

    assert code == 0
    assert "signs-plain.musicxml" in out
    assert canonical((tmp_path / "signs-plain.musicxml").read_bytes()) == canonical(demo_piece("menuet").read_bytes())


def test_midi_holds_the_played_notes(run, tmp_path):
    """Counted by music21: as many notes as the written-out score has for the solo."""
    run("ornament", demo_piece("menuet"), "--out", tmp_path, "--quiet", "--equal",
        "--only", "played.mid", "--only", "played.musicxml")  # fmt: skip
    heard = converter.parse(tmp_path / "played.mid", forceSource=True).parts[0].stripTies()
    written = converter.parse(tmp_path / "played.musicxml", forceSource=True).parts[0].stripTies()

    assert len(heard.flatten().notes) == len(written.flatten().notes)


def test_a_plan_made_anew_holds_to_its_locks(run, tmp_path):
    """A player's turn is kept and a place forbidden, while richness 9 adds more around them."""
    plan = tmp_path / "plan.txt"
    plan.write_text("manner: french\nkeep bar 23 beat 2 [g'']: turn\nnever bar 15 beat 2 [e'']\n", encoding="utf-8")
    code, out, _ = run("ornament", demo_piece("menuet"), "--plan", plan, "--anew", "--richness", "9", "--json")
    chosen = {(choice["bar"], str(choice["beat"])): choice for choice in json.loads(out)["choices"] if choice["grace"]}

    assert code == 0
    assert len(chosen) > 6
    assert chosen["23", "2"]["grace"].startswith("turn")
    assert ("15", "2") not in chosen


def test_without_out_the_demo_leaves_its_results_where_one_is(run, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    run("ornament", "--demo", "--only", "plan.txt", "--quiet")
    run("sheet", "part", "--demo")

    assert sorted(path.name for path in tmp_path.iterdir()) == ["adagio-ornamented", "adagio-part.pdf"]


def test_a_name_of_several_words_needs_no_quotes(run):
    code, out, _ = run("signs", "port", "de", "voix")

    assert code == 0
    assert "appoggiatura" in out


def test_mei_holds_page_and_played_line(run, tmp_path):
    """24 bars as written, 48 as played with both repeats."""
    run("ornament", demo_piece("menuet"), "--out", tmp_path, "--quiet", "--only", "both.mei")
    tree = etree.parse(tmp_path / "both.mei")
    name = "{http://www.music-encoding.org/ns/mei}"

    assert [len(division.findall(f".//{name}measure")) for division in tree.iter(f"{name}mdiv")] == [24, 48]


def test_a_plan_that_is_no_text_is_one_sentence(run, tmp_path):
    plan = tmp_path / "plan.txt"
    plan.write_bytes(b"\xff\xfe\x00\xd8bar")
    code, _, err = run("ornament", "--demo", "--plan", plan, "--json")

    assert code == 2
    assert err.startswith("plan.txt: this is not a plan")


@pytest.mark.parametrize("steps", ["0", "", "50,-20", "900"])
def test_steps_that_cannot_be_played_are_refused(run, tmp_path, steps):
    code, out, err = run("practise", "--demo", "--steps", steps, "--out", tmp_path / "x")

    assert code == 2
    assert out == ""
    assert err.count("\n") == 1
    assert not (tmp_path / "x").exists()


def test_review_takes_an_instrument_of_the_players_own(run, tmp_path):
    own = tmp_path / "mine.toml"
    tables = files("gracewright") / "instruments" / "tables"
    own.write_text((tables / "alto-recorder.toml").read_text(encoding="utf-8"), encoding="utf-8")
    words = ("review", demo_piece("menuet"), demo_piece("menuet"), "--instrument")

    assert run(*words, own) == run(*words, "alto-recorder")
