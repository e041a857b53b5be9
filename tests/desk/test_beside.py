"""The plan file beside the score: written at every change, read when the player changes it, never lost."""

import shutil

import pytest

from gracewright.desk import Desk, Keeping, Stale
from gracewright.desk.decisions import Decision
from gracewright.graces import Grace
from gracewright.job import demo_piece
from gracewright.taste.plan_file import read_plan


@pytest.fixture
def score(tmp_path):
    return shutil.copy(demo_piece(), tmp_path / "adagio.musicxml")


@pytest.fixture
def session(keeping, score):
    return Desk.open(keeping, score, beside=True).there


def on_disk(session):
    plan = read_plan(session.beside.path.read_text(), session.draft.piece, session.draft.study)
    return {(c.note, c.time_through): (c.grace, c.lock) for c in plan.choices}


def planned(session):
    return {(c.note, c.time_through): (c.grace, c.lock) for c in session.draft.plan.choices}


def test_every_change_is_in_the_file(session, score):
    assert session.beside.path == score.with_name("adagio.plan.txt")
    assert on_disk(session) == planned(session)
    session.turn({"richness": 8})
    session.decide(Decision(session.draft.plan.choices[0].note, 1, "keep", Grace("mordent", size="single")), "")
    assert on_disk(session) == planned(session)
    session.undo()
    assert on_disk(session) == planned(session)


def test_a_plan_changed_by_hand_is_taken_in_and_undo_takes_it_back(session):
    before, path = planned(session), session.beside.path
    lines = path.read_text().splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("bar ") and "shake" in line)
    place = lines[at].partition(":")[0]
    lines[at] = f"# too loud here\n{place}: nothing"
    path.write_text("\n".join(lines))

    with pytest.raises(Stale, match="has been taken in"):
        session.expect(session.revision)
    changed = {key for key in before if planned(session).get(key) != before[key]}
    assert [planned(session)[key] for key in changed if planned(session).get(key, (1,))[0] is None] == [(None, "never")]
    assert "# too loud here\nnever bar" in path.read_text()

    session.undo()
    assert planned(session) == before


def test_a_line_taken_out_by_hand_leaves_the_note_bare(session):
    path = session.beside.path
    gone = next(line for line in path.read_text().splitlines() if line.startswith("bar ") and "shake" in line)
    choice = next(c for c in session.draft.plan.choices if c.grace and c.grace.id == "shake")
    path.write_text(path.read_text().replace(gone + "\n", ""))
    assert session.take_in()
    assert planned(session)[choice.note, choice.time_through] == (None, "never")


def test_a_text_that_is_no_plan_is_left_as_it_is(keeping, score):
    notes = score.with_name("adagio.plan.txt")
    notes.write_text("bring reeds on Monday\n")
    session = Desk.open(keeping, score, beside=True).there
    session.turn({"richness": 7})
    assert notes.read_text() == "bring reeds on Monday\n"
    assert "left as it is" in session.told


def test_work_goes_on_with_the_file_after_a_restart_and_on_another_machine(session, score, tmp_path):
    session.turn({"manner": "italian"})
    session.decide(Decision(session.draft.plan.choices[0].note, 1, "never"), "")
    again = Desk.open(Keeping(session.keeping.folder), None).there
    assert again.beside is not None
    assert planned(again) == planned(session)

    elsewhere = Desk.open(Keeping(tmp_path / "other"), score, beside=True).there
    assert planned(elsewhere) == planned(session)


def test_a_changed_score_does_not_get_the_plan_of_the_old_one(session, score):
    text = session.beside.path.read_text()
    score.write_bytes(score.read_bytes().replace(b"Adagio", b"Largo"))
    again = Desk.open(Keeping(session.keeping.folder), None).there
    again.turn({"richness": 9})
    assert again.beside is None
    assert session.beside.path.read_text() == text


def test_a_file_that_is_no_utf8_text_is_left_as_it_is(keeping, score):
    theirs = score.with_name("adagio.plan.txt")
    theirs.write_bytes("Übung für Montag".encode("latin-1"))
    session = Desk.open(keeping, score, beside=True).there
    session.turn({"richness": 7})
    assert theirs.read_bytes() == "Übung für Montag".encode("latin-1")
    assert "left as it is" in session.told
