"""What is decided is kept, taken back, done again, and found on disk."""

import json
from dataclasses import replace
from fractions import Fraction

import pytest

from gracewright.desk import Session
from gracewright.desk.card import card_json, deciding, options
from gracewright.desk.decisions import Decision
from gracewright.desk.session import Stale
from gracewright.errors import BadInput
from gracewright.graces import Grace
from gracewright.job import demo_piece


def graces(session):
    return {(c.note, c.time_through): c.grace for c in session.draft.plan.choices}


def first_grace(session, time_through=1):
    return next(c for c in session.draft.plan.choices if c.grace is not None and c.time_through == time_through)


def test_undo_goes_back_and_redo_forward_through_fifteen_steps(session):
    plans = [graces(session)]
    for step in range(15):
        session.turn({"richness": 0.5 + step * 0.6})
        plans.append(graces(session))

    back = []
    for _ in range(15):
        session.undo()
        back.append(graces(session))

    assert back == plans[-2::-1]
    for expected in plans[1:]:
        session.redo()
        assert graces(session) == expected


def test_a_new_step_after_undo_leaves_no_way_forward(session):
    session.turn({"richness": 8})
    session.undo()
    session.turn({"richness": 2})
    session.redo()

    assert session.moment.wishes.richness == 2


def test_one_drag_is_one_step_of_undo(session):
    before = session.moment.wishes.richness
    for richness in (6, 7, 8):
        session.turn({"richness": richness}, gesture="drag-1")
    session.undo()

    assert session.moment.wishes.richness == before
    assert session.at == 0


def test_two_drags_are_two_steps(session):
    session.turn({"richness": 8}, gesture="drag-1")
    session.turn({"richness": 2}, gesture="drag-2")
    session.undo()

    assert session.moment.wishes.richness == 8


def test_a_kept_grace_survives_every_manner(session):
    choice = first_grace(session)
    session.decide(*deciding(session, choice.note, 1, "keep", -1))
    for manner in ("italian", "english", "german"):
        session.turn({"manner": manner})

        assert graces(session)[choice.note, 1] == choice.grace


def test_never_here_keeps_a_note_bare_at_the_greatest_richness(session):
    choice = first_grace(session)
    session.decide(*deciding(session, choice.note, 1, "never", -1))
    session.turn({"richness": 10})

    assert graces(session).get((choice.note, 1)) is None
    assert card_json(session, choice.note, 1)["lock"] == "never"


def test_a_lock_taken_off_lets_the_planner_choose_again(session):
    choice, before = first_grace(session), graces(session)
    session.decide(*deciding(session, choice.note, 1, "never", -1))
    session.release(choice.note, 1, "lock taken off")

    assert graces(session) == before


def test_every_option_on_a_card_can_be_taken(session):
    choice = first_grace(session)
    for number, option in enumerate(options(session, choice.note, 1)):
        session.decide(*deciding(session, choice.note, 1, "change", number))

        assert graces(session).get((choice.note, 1)) == option.grace
        session.undo()


def test_a_note_left_bare_can_be_asked_and_given_a_grace(session):
    taken = {c.note for c in session.draft.plan.choices}
    note = next(t.id for t in session.draft.tones.values() if t.id not in taken and t.length >= 1)
    found = options(session, note, 1)

    assert found
    session.decide(*deciding(session, note, 1, "change", 0))
    assert graces(session)[note, 1] == found[0].grace


def test_the_card_gives_harmony_reason_source_and_fingering(session):
    choice = first_grace(session)
    card = card_json(session, choice.note, 1)

    assert card["grace"]["reasons"]
    assert card["grace"]["source"]
    assert card["grace"]["played"]
    assert any(" in D minor" in sentence or "minor" in sentence or "major" in sentence for sentence in card["here"])
    assert card["fingering"]["note"] == session.draft.instrument.fingering(choice.pitch) != ""


def test_work_is_found_again_after_the_program_was_killed(session, keeping):
    choice = first_grace(session)
    session.decide(*deciding(session, choice.note, 1, "keep", -1))
    session.turn({"richness": 7.5, "curve": [["0", 0.5], ["63/2", 2]]})
    session.turn({"manner": "italian"})
    session.undo()
    kept = keeping.kept(session.digest)
    again = Session.resume(keeping, kept)

    assert again.moments == session.moments
    assert (again.at, again.revision) == (session.at, session.revision)
    assert again.moment.wishes.curve == ((Fraction(0), 0.5), (Fraction(63, 2), 2.0))
    assert graces(again) == graces(session)
    again.redo()
    assert again.moment.wishes.manner == "italian"


def test_a_write_cut_short_leaves_the_former_state(session, keeping, monkeypatch):
    session.turn({"richness": 3})
    monkeypatch.setattr("os.replace", lambda *_: (_ for _ in ()).throw(OSError("disk gone")))
    with pytest.raises(OSError, match="disk gone"):
        session.turn({"richness": 9})
    monkeypatch.undo()

    assert keeping.kept(session.digest).moments[-1].wishes.richness == 3
    assert not list((keeping.folder / "pieces" / session.digest).glob(".writing-*"))


def test_damaged_state_is_passed_over(session, keeping):
    (keeping.folder / "pieces" / session.digest / "work.json").write_text('{"moments": [')

    assert keeping.kept(session.digest) is None


def test_bringing_the_same_score_again_goes_on_with_its_work(session, keeping):
    session.turn({"richness": 9})
    again = Session.bring(keeping, session.name, demo_piece().read_bytes())

    assert again.moment.wishes.richness == 9


def test_a_bad_score_is_refused_and_nothing_is_kept(keeping):
    with pytest.raises(BadInput):
        Session.bring(keeping, "broken.musicxml", b"<score-partwise><part>")

    assert list((keeping.folder / "pieces").iterdir()) == []


def test_a_page_that_shows_an_older_revision_is_told(session):
    session.turn({"richness": 9})
    with pytest.raises(Stale, match="another page"):
        session.expect(0)


def test_a_dial_turned_too_far_is_refused_with_one_sentence_and_changes_nothing(session):
    for changes in (
        {"richness": 11}, {"richness": True}, {"richness": "5"}, {"manner": "../../etc/passwd"}, {"manner": 3},
        {"level": ""}, {"tempo": 0}, {"a": 4400}, {"curve": [["0", 5]]}, {"curve": [["x", 1]]}, {"curve": [[]]},
        {"curve": "1"}, {"curve": [["1/0", 1]]}, {"solo": "P2"}, {"continuo": "yes"}, {"temperament": "none"},
    ):  # fmt: skip
        with pytest.raises(BadInput) as refused:
            session.turn(changes)

        assert str(refused.value).endswith(".")
        assert session.revision == 0


def test_decisions_about_notes_that_are_gone_are_left_out(session):
    moment = replace(session.moment, decisions=(Decision("no such note", 1, "keep", Grace("shake")),))

    assert session.draft_of(moment).locks is None


def test_the_state_on_disk_is_plain_json(session, keeping):
    session.turn({"tempo": 66.5})
    found = json.loads((keeping.folder / "pieces" / session.digest / "work.json").read_text())

    assert found["moments"][-1]["wishes"]["tempo"] == "133/2"
