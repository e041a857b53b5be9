"""Sheets as a player gets them: nothing overlaps, nothing is cut, nothing is missing, and the words are there."""

import re
import zlib
from dataclasses import replace
from fractions import Fraction as F

import pytest

from gracewright.errors import BadInput
from gracewright.graces import look_up
from gracewright.job import demo_piece
from gracewright.pitch import Pitch
from gracewright.sheet import (
    Staff,
    Written,
    engraved_example,
    example_of,
    faults_of,
    graded_sheet,
    manners_sheet,
    parallel_sheet,
    parallel_staves,
    part_sheet,
    practice_ladder,
    reasons_of,
    signs_sheet,
    source_sheet,
    systems_of,
    worksheet,
)
from gracewright.sheet.faults import missing_glyphs
from gracewright.sheet.parallel import OPTIONS
from gracewright.sheet.systems import Box, System
from gracewright.sheet.turning import plan_pages

from .conftest import made

MM = 72 / 25.4


def pages(pdf):
    """Number of pages and the size of each in millimetres, read from the PDF's own objects."""
    objects = b"".join([pdf, *(_unpacked(stream) for stream in re.findall(rb"stream\r?\n(.*?)endstream", pdf, re.S))])
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)", objects)
    return [(round(float(w) / MM), round(float(h) / MM)) for w, h in boxes]


def _unpacked(stream):
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return b""


@pytest.mark.parametrize(("paper", "size"), [("a4", (210, 297)), ("letter", (216, 279))])
def test_sheets_have_the_paper_asked_for(adagio, paper, size):
    pdf = parallel_sheet(adagio.piece, adagio.study, adagio.plan, adagio.version, paper=paper)

    assert pdf.startswith(b"%PDF")
    assert set(pages(pdf)) == {size}


def test_an_unknown_paper_is_refused(adagio):
    with pytest.raises(BadInput, match="paper"):
        parallel_sheet(adagio.piece, adagio.study, adagio.plan, adagio.version, paper="b7")


@pytest.mark.parametrize("name", ["adagio", "menuet"])
@pytest.mark.parametrize("manner", ["french", "italian"])
def test_no_text_overlaps_nothing_is_cut_and_no_glyph_is_missing(name, manner):
    work = made(demo_piece(name), manner, 7.0)
    reasons = reasons_of(work.piece, work.study, work.plan, work.version)
    staves = parallel_staves(work.piece, work.study, work.plan, work.version, reasons)
    systems = systems_of(work.piece, staves, version=work.version, boxes=True, options=OPTIONS)

    assert [fault for system in systems for fault in faults_of(system)] == []


def test_the_finder_of_faults_finds_them():
    boxes = {"a": Box(0, 0, 50, 30, "text"), "b": Box(40, 10, 90, 40, "text"), "c": Box(280, 0, 320, 20, "note")}
    svg = '<svg><use xlink:href="#E0A4-x"/><tspan font-family="Gracewright">\u4e00</tspan></svg>'
    kinds = [fault.kind for fault in faults_of(System(0, 0, svg, 300, 100, boxes))]

    assert kinds == ["overlap", "cut", "missing", "missing"]
    assert [fault.kind for fault in missing_glyphs("<svg/>", ["E56D"])] == ["missing"]


def test_each_choice_has_a_number_on_the_staff_and_a_reason(menuet):
    reasons = reasons_of(menuet.piece, menuet.study, menuet.plan, menuet.version)
    staves = parallel_staves(menuet.piece, menuet.study, menuet.plan, menuet.version, reasons)
    numbered = {number for staff in staves for number in staff.numbers.values()}

    assert numbered == {reason.number for reason in reasons}
    assert all(reason.why and reason.source for reason in reasons)
    assert sum(len(reason.times) for reason in reasons) == sum(1 for c in menuet.plan.choices if c.grace is not None)


def test_systems_drawn_again_with_the_same_breaks_are_the_same(adagio):
    staves = [Staff("played", adagio.study.solo, row=-1), Staff("written", adagio.study.solo)]
    systems = systems_of(adagio.piece, staves, version=adagio.version)
    breaks = [system.first_bar for system in systems]
    (again,) = systems_of(adagio.piece, staves, version=adagio.version, breaks=breaks, only=[1])

    assert (again.first_bar, again.last_bar) == (systems[1].first_bar, systems[1].last_bar)
    assert again.svg.count('class="note"') == systems[1].svg.count('class="note"')


def test_boxes_lead_from_a_note_to_its_place(adagio):
    systems = systems_of(adagio.piece, [Staff("written", adagio.study.solo)], boxes=True)
    notes = [note for note in adagio.piece.by_part[adagio.study.solo] if note.pitch is not None]
    places = {name: box for system in systems for name, box in system.boxes.items()}

    assert all(note.id in places for note in notes)
    assert "bounding-box" not in "".join(system.svg for system in systems)
    lefts = [places[note.id].left for note in notes if note.bar == 0]
    assert lefts == sorted(lefts)


def test_pages_turn_in_rests():
    """Eight bars, two to a system, two systems a page; the only long rest is after the fourth bar."""
    rests = [0.0, 0.0, 0.0, 2.0, 0.0, 0.0, 0.0, 0.0]
    plans = plan_pages([450] * 8, rests, 1100, 3, 3)

    assert [plan.starts for plan in plans] == [(0, 2), (4, 6)]
    assert plans[0].rest == 2.0


def test_every_kind_of_sheet_is_made_without_a_repeat_or_bass_too(adagio):
    """A lone melody played once: the sheets that assume a second time or a bass must do without."""
    order = tuple(segment for segment in adagio.study.order if segment.time_through == 1)
    alone = replace(adagio.study, order=order, bass="")
    once = [run for run in adagio.version.passes if run.time_through == 1]
    notes = tuple(note for note in adagio.version.notes if note.time_through == 1)
    version = replace(adagio.version, passes=tuple(once), notes=notes)
    choices = tuple(choice for choice in adagio.plan.choices if choice.time_through == 1)
    plan = replace(adagio.plan, choices=choices)
    for make in (parallel_sheet, part_sheet, signs_sheet, worksheet, practice_ladder):
        assert make(adagio.piece, alone, plan, version).startswith(b"%PDF"), make


def test_teaching_sheets_of_the_demo(menuet):
    assert len(pages(graded_sheet(menuet.piece, menuet.study, menuet.manner, menuet.instrument))) == 1
    assert len(pages(manners_sheet(menuet.piece, menuet.study, menuet.instrument, phrase=0))) == 1
    key = pages(worksheet(menuet.piece, menuet.study, menuet.plan, menuet.version))
    bare = pages(worksheet(menuet.piece, menuet.study, menuet.plan, menuet.version, key=False))
    assert len(bare) < len(key)


def test_an_empty_plan_gives_every_sheet(adagio):
    plan = replace(adagio.plan, choices=())
    for make in (parallel_sheet, part_sheet, signs_sheet, worksheet, practice_ladder):
        assert make(adagio.piece, adagio.study, plan, adagio.version).startswith(b"%PDF"), make


def test_hostile_words_are_set_as_words(adagio):
    piece = replace(adagio.piece, title='#panic("x") $a$ <b> \\ "', composer="*_`@@#let x = 1")

    assert parallel_sheet(piece, adagio.study, adagio.plan, adagio.version, about=["#include \"/etc/passwd\""])


def test_the_same_plan_gives_the_same_bytes(menuet):
    once = practice_ladder(menuet.piece, menuet.study, menuet.plan, menuet.version)

    assert practice_ladder(menuet.piece, menuet.study, menuet.plan, menuet.version) == once


def test_a_table_of_signs_shows_every_entry():
    found = look_up(source="jsbach1720")

    assert source_sheet(found).startswith(b"%PDF")


def test_an_example_shows_what_a_note_becomes():
    c5, d5 = Pitch.parse("C5"), Pitch.parse("D5")
    host = Written(c5, F(1), played=((d5, F(0), F(1, 2)), (c5, F(1, 2), F(1, 2))))
    svg = engraved_example(example_of([[host]])).svg

    assert svg.count('class="note"') == 3
