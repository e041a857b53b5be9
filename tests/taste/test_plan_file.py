"""The plan as a text: what is written can be read, edited, and told apart from another score."""

import re
from fractions import Fraction

import pytest

from gracewright.errors import BadInput, PlanMismatch
from gracewright.graces import Grace
from gracewright.pitch import Pitch
from gracewright.score import tones
from gracewright.taste import (
    grace_words,
    load_manner,
    make_plan,
    manners,
    plan_json,
    read_grace,
    read_plan,
    write_plan,
)


@pytest.mark.parametrize("name", manners())
@pytest.mark.parametrize("richness", [0, 5, 10])
def test_an_unedited_plan_gives_itself_back(movement, alto, name, richness):
    piece, found = movement
    plan = make_plan(piece, found, load_manner(name), alto, richness=richness, curve=((piece.bars[1].onset, 1.5),))

    assert read_plan(write_plan(plan), piece, found) == plan


def test_a_player_may_write_a_line(menuet):
    piece, found = menuet
    tone = next(tone for tone in tones(piece, found.solo) if tone.bar == 3)
    bar, beat = piece.bars[tone.bar].number, piece.beat_of(tone.onset, tone.bar)
    plan = read_plan(f"manner: french\n# mine\nkeep bar {bar} beat {beat} 2nd time: mordent, double\n", piece, found)
    (choice,) = plan.choices

    assert (choice.note, choice.time_through, choice.lock, choice.origin) == (tone.id, 2, "keep", "player")
    assert choice.grace == Grace("mordent", size="double")


def test_a_line_without_a_time_holds_every_time(menuet):
    piece, found = menuet
    tone = next(tone for tone in tones(piece, found.solo) if tone.bar == 3)
    plan = read_plan(f"never bar {piece.bars[3].number} beat {piece.beat_of(tone.onset, 3)}", piece, found)

    assert [(choice.time_through, choice.lock, choice.grace) for choice in plan.choices] == [
        (1, "never", None), (2, "never", None),
    ]  # fmt: skip


def test_beats_are_written_as_the_summary_says_them_and_older_plans_still_read(adagio, alto):
    """Half a beat after the third is 3½; earlier versions wrote 7/2."""
    piece, found = adagio
    plan = make_plan(piece, found, load_manner("italian"), alto, richness=8)
    text = write_plan(plan)
    old = re.sub(r"beat (\d)½", lambda beat: f"beat {2 * int(beat[1]) + 1}/2", text)

    assert re.search(r"beat \d½ \[", text)
    assert not re.search(r"beat \d/2", text)
    assert old != text
    assert read_plan(old, piece, found) == plan


def test_a_passage_of_very_low_notes_is_read_back():
    """C, is the C below the bass staff's: its comma parts no words."""
    low = Grace("division", notes=tuple((Pitch.parse(name), Fraction(1, 4)) for name in ("C2", "Bb1", "C1", "D2")))

    assert grace_words(low) == "division, notes C*1/4 Bb,*1/4 C,*1/4 D*1/4"
    assert read_grace(grace_words(low)) == low
    assert read_grace("shake,turned ending") == Grace("shake", ending="turned")


def test_a_changed_score_is_told(adagio, menuet, alto):
    piece, found = adagio
    text = write_plan(make_plan(piece, found, load_manner("french"), alto))
    lines = text.splitlines()
    where = next(i for i, line in enumerate(lines) if line.startswith("bar "))
    lines[where] = lines[where].replace("bar ", "bar 9", 1)
    plan = read_plan("\n".join(lines), piece, found)

    assert len([remark for remark in plan.remarks if "no such bar" in remark]) == 1


def test_a_plan_for_another_piece_is_refused(compose, adagio, alto):
    piece, found = adagio
    text = write_plan(make_plan(piece, found, load_manner("french"), alto))
    other, study = compose("C5:4 | C5:4", "C3:4 | C3:4")
    with pytest.raises(PlanMismatch, match="none of the plan's"):
        read_plan(text, other, study)


@pytest.mark.parametrize(
    ("line", "told"),
    [
        ("bar 2 beat 1: wobble", "no grace is called 'wobble'"),
        ("bar 2 beat 1: shake, sideways", "'sideways' is no form of a grace"),
        ("bar 2 beat one: shake", "'one' is not a beat"),
        ("bar 2 beat 1 [h'']: shake", "is not a note"),
        ("play it nicely", "it begins with 'play it nicely'"),
        ("richness: lots", "not a number"),
    ],
)
def test_a_line_that_is_not_understood_is_told_with_its_number(menuet, line, told):
    piece, found = menuet
    with pytest.raises(BadInput, match=told):
        read_plan(f"manner: french\n{line}\n", piece, found)


def test_json_holds_every_choice(menuet, alto):
    piece, found = menuet
    plan = make_plan(piece, found, load_manner("french"), alto)
    told = plan_json(plan)

    assert len(told["choices"]) == len(plan.choices)
    named = {"pass", "part", "bar", "onset", "pitch", "grace", "reasons", "source", "strength", "alternatives"}
    assert named <= set(told["choices"][0])
