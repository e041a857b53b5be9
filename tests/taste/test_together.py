"""Two melody parts over a bass: answers take the same graces, closes are shaken together or by one, runs do not meet.

The little trio is made for this test: the second violin answers the first in bars 3 and 4 a fourth lower; bars 7 and 8
close in thirds. What two players agree on at a close is common practice, no source.
"""

from dataclasses import replace
from fractions import Fraction as F
from itertools import pairwise

import pytest

from gracewright.errors import BadInput
from gracewright.job import Wishes, result, work_on
from gracewright.score import read, tones
from gracewright.taste import plan_json, read_plan
from gracewright.taste.imitation import answers
from gracewright.taste.plan_file import plan_lines, write_plan

FIRST = (
    "g5:1 d5:1 e5:1/2 f#5:1/2 g5:1 | a5:1 f#5:1 g5:2 | b5:2 a5:2 | g5:2 f#5:2 | "
    "g5:2 e5:2 | c6:2 b5:2 | b5:1 c6:1 a5:2 | g5:4"
)
SECOND = (
    "r:4 | r:4 | d5:1 a4:1 b4:1/2 c#5:1/2 d5:1 | e5:1 c#5:1 d5:2 | "
    "b4:2 c5:2 | e5:2 d5:2 | g5:1 a5:1 f#5:2 | g5:4"
)
BASS = "g3:2 c3:2 | d3:2 g3:2 | g3:2 f#3:2 | e3:2 d3:2 | e3:2 c3:2 | a2:2 b2:2 | c3:2 d3:2 | g2:4"


def _bars(words):
    found = []
    for bar in words.split("|"):
        row = ""
        for word in bar.split():
            name, length = word.split(":")
            duration = int(F(length) * 2)
            if name == "r":
                row += f"<note><rest/><duration>{duration}</duration></note>"
                continue
            alter = "<alter>1</alter>" if "#" in name else ""
            row += (f"<note><pitch><step>{name[0].upper()}</step>{alter}<octave>{name[-1]}</octave></pitch>"
                    f"<duration>{duration}</duration></note>")  # fmt: skip
        found.append(row)
    return found


@pytest.fixture(scope="module")
def trio():
    names = {"P1": "Violin I", "P2": "Violin II", "P3": "Bass"}
    listed = "".join(f'<score-part id="{i}"><part-name>{name}</part-name></score-part>' for i, name in names.items())
    body = ""
    for name, words in zip(names, (FIRST, SECOND, BASS), strict=True):
        sign, line = ("F", 4) if name == "P3" else ("G", 2)
        head = (f"<attributes><divisions>2</divisions><key><fifths>1</fifths></key><time><beats>4</beats><beat-type>4"
                f"</beat-type></time><clef><sign>{sign}</sign><line>{line}</line></clef></attributes>"
                '<direction><direction-type><words>Adagio</words></direction-type><sound tempo="50"/></direction>'
                )  # fmt: skip
        rows = _bars(words)
        body += f'<part id="{name}">'
        for number, row in enumerate(rows, start=1):
            repeat = '<barline location="right"><repeat direction="backward"/></barline>' if number == len(rows) else ""
            body += f'<measure number="{number}">{head if number == 1 else ""}{row}{repeat}</measure>'
        body += "</part>"
    text = f'<score-partwise version="4.0"><part-list>{listed}</part-list>{body}</score-partwise>'
    return read("trio.musicxml", text.encode())


@pytest.fixture(scope="module", params=["english", "italian", "german"])
def work(request, trio):
    return work_on(trio, Wishes(manner=request.param, instrument="violin", richness=8, second="Violin II"))


def by_place(plan):
    return {(choice.time_through, choice.note): choice for choice in plan.choices if choice.grace}


def test_the_answer_is_found(trio):
    one, two = tones(trio, "P1"), tones(trio, "P2")
    found = {two[mine].onset: one[theirs].onset for mine, theirs in answers(one, two).items()}

    assert all(mine - theirs == 8 for mine, theirs in found.items())
    assert {F(8), F(9), F(10), F(21, 2), F(11), F(12), F(13)} <= set(found)


def test_an_answer_has_the_graces_of_what_it_answers_or_none(work):
    first, second = by_place(work.plan), by_place(work.partner.plan)
    one, two = tones(work.piece, "P1"), tones(work.piece, "P2")
    same = 0
    for mine, theirs in answers(one, two).items():
        for time in (1, 2):
            own, other = second.get((time, two[mine].id)), first.get((time, one[theirs].id))
            if own is not None and other is not None:
                assert own.grace.id == other.grace.id
                same += 1
            elif own is not None:
                assert "cadence" in own.reasons[0] or "close" in own.reasons[0]
    assert same or work.manner.id == "italian"


def test_both_shake_together_at_the_close_or_only_one_does(work):
    """Bar 7 beat 3: a'' over f#'' above the dominant, going on to g'' both."""
    shakes = [
        {c.time_through: c.grace for c in plan.choices if c.onset == 26 and c.grace and "shake" in c.grace.id}
        for plan in (work.plan, work.partner.plan)
    ]
    assert shakes[0]
    assert shakes[1] or work.manner.id != "german"
    for time in shakes[0].keys() & shakes[1].keys():
        one, two = shakes[0][time], shakes[1][time]
        assert (one.lean, one.ending) == (two.lean, two.ending)


def test_no_two_runs_sound_at_once(work):
    tone = {t.id: t for line in ("P1", "P2") for t in tones(work.piece, line)}
    runs = [[c for c in plan.choices if c.grace and (c.grace.id == "division" or "shake" in c.grace.id)]
            for plan in (work.plan, work.partner.plan)]  # fmt: skip
    assert all(runs)
    for one in runs[0]:
        for two in runs[1]:
            if one.time_through != two.time_through:
                continue
            a, b = tone[one.note], tone[two.note]
            if a.onset < b.end and b.onset < a.end:
                assert (a.onset, one.grace) == (b.onset, two.grace)
                assert abs(a.pitch.diatonic - b.pitch.diatonic) % 7 in (2, 5)


def test_both_parts_are_heard_and_nothing_is_at_fault(work):
    assert not work.review.faults
    for line, plan in (("P1", work.plan), ("P2", work.partner.plan)):
        heard = [note for note in work.version.notes if note.part == line]
        assert len(heard) > 2 * len(tones(work.piece, line))  # heard twice, and more notes than written
        assert {note.host for note in heard} == {tone.id for tone in tones(work.piece, line)}
        assert any(choice.grace for choice in plan.choices)


def test_the_second_part_makes_no_parallels_with_the_first_as_played(work):
    """Struck together, no fifth or octave follows another, unless the page has it (common practice, no source)."""
    rows = [{n.onset: n for n in work.version.notes if n.part == line} for line in ("P1", "P2")]
    moments = sorted(rows[0].keys() & rows[1].keys())
    assert any(row[at].choice >= 0 for row in rows for at in moments)
    for before, now in pairwise(moments):
        pairs = [(rows[0][at].pitch, rows[1][at].pitch) for at in (before, now)]
        gaps = [abs(one.midi - two.midi) % 12 for one, two in pairs]
        moved = pairs[0][0] != pairs[1][0] and pairs[0][1] != pairs[1][1]
        graced = any(rows[part][at].choice >= 0 for part in (0, 1) for at in (before, now))
        assert not (moved and graced and gaps[0] == gaps[1] and gaps[0] in (0, 7))


@pytest.mark.parametrize("name", ["signs.musicxml", "both.mei"])
def test_signs_of_both_parts_are_written_on_the_page(work, name):
    again = read(name, result(work, name))
    for line in ("P1", "P2"):
        ours = [t for t in tones(again, line) if t.marks.signs or t.marks.before]
        assert ours or work.manner.id == "italian"
    assert [(t.onset, t.length, t.pitch) for t in tones(again, "P2")] == [
        (t.onset, t.length, t.pitch) for t in tones(work.piece, "P2")
    ]


def test_both_parts_are_written_out_as_played(work):
    again = read("played.musicxml", result(work, "played.musicxml"))
    for line in ("P1", "P2"):
        heard = [(n.onset, n.length, n.pitch) for n in work.version.notes if n.part == line]
        assert [(t.onset, t.length, t.pitch) for t in tones(again, line)] == heard


def test_the_plan_file_holds_both_parts_and_gives_them_back(work, trio):
    text = write_plan(work.plan, work.partner.plan)
    again = work_on(trio, work.wishes, plan_text=text)

    assert [name for name, _ in plan_lines(text)] == ["P1", "P2"]
    assert again.plan == work.plan
    assert again.partner.plan == work.partner.plan
    assert again.version.notes == work.version.notes
    alone = work_on(trio, replace(work.wishes, second=""), plan_text=text)  # the plan itself names the second part
    assert alone.partner is not None


def test_who_plans_one_part_reads_its_own_lines_only(work, trio):
    text = write_plan(work.plan, work.partner.plan)

    assert read_plan(text, trio, work.study) == work.plan
    assert read_plan(text, trio, work.partner.study) == work.partner.plan


def test_a_lock_of_the_player_holds_in_the_second_part(work, trio):
    text = write_plan(work.plan, work.partner.plan) + "keep bar 5 beat 1 [b'] 2nd time: turn\n"
    edited = work_on(trio, work.wishes, plan_text=text)
    again = work_on(trio, work.wishes, locks=edited.plan, locks_second=edited.partner.plan)
    (kept,) = [c for c in again.partner.plan.choices if c.onset == 16 and c.time_through == 2]

    assert (kept.lock, kept.grace.id) == ("keep", "turn")


def test_an_agreed_grace_that_the_player_keeps_stays_kept(work, trio):
    text = write_plan(work.plan, work.partner.plan)
    lines = [f"keep {line}" if "c#''] 1st time" in line and line.startswith("bar 4") else line
             for line in text.splitlines()]  # fmt: skip
    edited = work_on(trio, work.wishes, plan_text="\n".join(lines))
    again = work_on(trio, work.wishes, locks=edited.plan, locks_second=edited.partner.plan)

    assert [c.onset for c in again.partner.plan.choices if c.lock] == [13]


def test_json_tells_whose_each_choice_is(work):
    told = plan_json(work.plan, work.partner.plan)

    assert {choice["part"] for choice in told["choices"]} == {"P1", "P2"}
    onsets = [F(choice["onset"]) for choice in told["choices"]]
    assert onsets == sorted(onsets)


def test_the_solo_cannot_be_its_own_partner(trio):
    with pytest.raises(BadInput, match="is the solo already"):
        work_on(trio, Wishes(second="Violin I"))
