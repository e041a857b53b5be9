"""Each ornament as its source prints it: exactly where notes and values were read, in kind where only words were.

The examples are those of the source tables (``graces/tables/``), each with its source named in the test id. Where the
shared fact sheet lies beside the project, the tables are first compared with it, entry by entry.

Grades: A and A2 give exact notes and lengths; B gives order, start, timing and the rule for the neighbour.
"""

import json
import os
from fractions import Fraction as F
from pathlib import Path

import pytest

from gracewright.graces import Context, Grace, load_source, neighbour, realise, sources
from gracewright.pitch import Key, Pitch

SHARED = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2].parent / "shared"))
FACTS = SHARED / "facts" / "signs.json"

CASES = [
    (entry, reading)
    for name in sources()
    for entry in load_source(name).entries
    for reading in entry.readings
    if reading.grade in ("A", "A2", "B")
]
EXACT = [case for case in CASES if case[1].grade != "B"]
KINDRED = [case for case in CASES if case[1].grade == "B"]


def name_of(case):
    return f"{case[0].key}.{case[1].number}"


def place(reading, pitch=None, length=None, key="C major", **more):
    """The source's own example note, one quarter to a second, with the neighbours that the example gives."""
    main = pitch or reading.pitch
    length = length or reading.value
    beside = {}
    if reading.previous is not None:
        beside |= {"previous": Pitch.at(main.diatonic + reading.previous), "previous_length": F(1)}
    if reading.following is not None:
        beside["following"] = Pitch.at(main.diatonic + reading.following)
    local = Key.parse(key)
    ternary = F(length).numerator % 3 == 0
    return Context(main, F(0), F(length), local, local.signature, ternary=ternary, **beside, **more)


def asked(entry, reading):
    grace = entry.means
    return Grace(grace.id, f"{entry.key}.{reading.number}", grace.start, ending=grace.ending, direction=grace.direction,
                 size=grace.size)  # fmt: skip


def test_the_counts_are_those_of_the_fact_sheet():
    assert (len(EXACT), len(KINDRED)) == (25, 43)


@pytest.mark.parametrize("case", EXACT, ids=name_of)
def test_exact_examples_are_reproduced(case):
    entry, reading = case
    context = place(reading)
    printed = [(reading.pitch.diatonic + mark.step, mark.share * reading.value) for mark in reading.notes]

    notes = realise(asked(entry, reading), context).notes

    assert [(note.pitch.diatonic, note.length) for note in notes] == printed
    assert all(note.pitch.alter == 0 for note in notes), "the examples stand in C major"


def _first_step(realised, pitch):
    return realised.notes[0].pitch.diatonic - pitch.diatonic


@pytest.mark.parametrize("case", KINDRED, ids=name_of)
@pytest.mark.parametrize("elsewhere", [False, True], ids=["as printed", "elsewhere"])
def test_examples_in_words_keep_start_order_timing_and_neighbour(case, elsewhere):
    entry, reading = case
    context = place(reading)
    if elsewhere:  # another length, key and degree: the fourth degree of G minor, half as long again
        context = place(reading, Pitch.parse("D5"), reading.value * F(3, 2), "G minor")
    pitch = context.pitch

    realised = realise(asked(entry, reading), context)

    steps = [note.pitch.diatonic - pitch.diatonic for note in realised.notes]
    printed = [mark.step for mark in reading.notes if mark.step is not None]
    assert steps[0] == printed[0], "start"
    assert steps[-1] == printed[-1], "end"
    assert list(dict.fromkeys(steps)) == list(dict.fromkeys(printed)), "order of the notes as they first come in"
    assert (realised.notes[0].onset == 0) == (reading.notes[0].step is not None)
    assert realised.from_previous == 0
    if reading.timing == "after":
        assert steps[0] == 0, "the main note comes first"
        assert realised.notes[0].length >= context.length / 2
    lower = neighbour(context, -1, rule=entry.neighbour)
    assert all(note.pitch == lower for note in realised.notes if note.pitch.diatonic == lower.diatonic)
    if entry.neighbour == "semitone below":
        assert pitch.midi - lower.midi == 1
    silence = realised.silence_after
    assert sum(note.length for note in realised.notes) + silence == context.length
    if not reading.flexible and reading.shape.stroke is None:
        assert steps == printed


@pytest.mark.skipif(not FACTS.is_file(), reason="the shared fact sheet is not beside the project")
@pytest.mark.parametrize("case", CASES, ids=name_of)
def test_the_tables_say_what_the_fact_sheet_says(case):
    entry, reading = case
    facts = json.loads(FACTS.read_text(encoding="utf-8"))
    source = next(s for s in facts["sources"] if s["id"] == entry.source)
    ornament = next(o for o in source["ornaments"] if o["id"] == entry.id)
    fact = ornament["realisations"][reading.number - 1]

    assert fact["grade"] == reading.grade
    assert F(fact["written"]["value"]) * 4 == reading.value
    assert fact["written"]["pitch"] == str(reading.pitch)
    assert [(n["step"], F(n["frac"])) for n in fact["notes"]] == [(m.step, m.share) for m in reading.notes]
    notes = [Pitch.parse(n["pitch"]).diatonic for n in fact["notes"] if n["step"] is not None]
    realised = realise(asked(entry, reading), place(reading))
    if reading.grade != "B":
        assert [note.pitch.diatonic for note in realised.notes] == notes
