"""The music as the page shows it: one drawing for each system, so that only what is in view is fetched and drawn.

The engraver is given a page too low for two systems; each page it turns out is a system. A drawing is named by a digest
of itself: what a change leaves alone keeps its name and is not sent again.

Conventions: widths and heights are tenths of a millimetre of a stave 7.2 mm high; the page shows them smaller. A note's
drawn id leads back to its tone (:func:`gracewright.sheet.layer.tone_of`); the second row of a view of both times has
``again.`` before the note's id.

Public: System, View, drawn, view_from, played_small.
"""

from __future__ import annotations

import hashlib
import re
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Final, Literal, cast

from gracewright.errors import BadInput, EngravingFailed
from gracewright.graces import Notated
from gracewright.job import Work, additions
from gracewright.score import Addition, Note, Part, Piece, Tone, part_of
from gracewright.sheet.engrave import engrave
from gracewright.sheet.mei import Staff, mei_of

AGAIN: Final = "again."
OPTIONS: Final[Mapping[str, object]] = {
    "breaks": "auto", "pageHeight": 100, "adjustPageHeight": True, "pageMarginTop": 50, "pageMarginBottom": 30,
    "pageMarginLeft": 10, "pageMarginRight": 10, "svgHtml5": True, "minLastJustification": 0.4,
}  # fmt: skip
NARROWEST: Final = 600
WIDEST: Final = 4200
REMEMBERED: Final = 12
_BOX: Final = re.compile(r'<svg[^>]*?viewBox="0 0 (\d+) (\d+)"')
_BAR: Final = re.compile(r'data-id="bar-(\d+)"')
_DESC: Final = re.compile(r"<desc>[^<]*</desc>\s*")
_STYLE: Final = re.compile(r"<style[^>]*>.*?</style>\s*", re.S)


@dataclass(frozen=True, slots=True)
class System:
    key: str
    svg: str
    width: int
    height: int
    bars: tuple[int, int]


@dataclass(frozen=True, slots=True)
class View:
    """What is shown: which times through, the played line too or not, and how wide a system is."""

    rows: Literal["first", "again", "both"] = "first"
    written: bool = False
    width: int = 2000


def view_from(query: Mapping[str, Any]) -> View:
    """A view as the page asks for it; the width is held within bounds."""
    rows = query.get("rows") or "first"
    if rows not in ("first", "again", "both"):
        raise BadInput(f"the music can be shown first, again or both, not {rows!r}")
    try:
        width = int(float(query.get("width") or 2000))
    except (TypeError, ValueError, OverflowError):
        width = 2000
    return View(cast(Literal["first", "again", "both"], rows), query.get("written") in (True, "1", "true"),
                max(NARROWEST, min(WIDEST, width)))  # fmt: skip


_memory: OrderedDict[tuple[int, View], tuple[Work, tuple[System, ...]]] = OrderedDict()


def drawn(work: Work, view: View) -> tuple[System, ...]:
    """Every system of a work in a view; the last few are remembered."""
    key = (id(work), view)
    found = _memory.get(key)
    if found is None:
        found = _memory[key] = (work, systems(work, view))  # the work is held, so its id stays its own
        while len(_memory) > REMEMBERED:
            _memory.popitem(last=False)
    _memory.move_to_end(key)
    return found[1]


def systems(work: Work, view: View) -> tuple[System, ...]:
    """Engrave. Raises EngravingFailed."""
    piece, staves = staves_of(work, view)
    mei = mei_of(piece, staves, version=work.version if view.written else None)
    engraved = engrave(mei, options={**OPTIONS, "pageWidth": view.width})
    return tuple(system(page) for page in engraved.pages)


def system(svg: str) -> System:
    box = _BOX.search(svg)
    if box is None:
        raise EngravingFailed("the engraver gave a drawing without a size")
    svg = inlined(svg)
    bars = [int(bar) for bar in _BAR.findall(svg)]
    key = hashlib.sha256(svg.encode()).hexdigest()[:16]
    return System(key, svg, int(box[1]), int(box[2]), (min(bars, default=0), max(bars, default=0)))


def inlined(svg: str) -> str:
    """Without what a strict page refuses: style elements and the engraver's signature."""
    svg = _STYLE.sub("", _DESC.sub("", svg))
    return svg.replace("<svg ", '<svg class="drawn" aria-hidden="true" focusable="false" ', 1)


def staves_of(work: Work, view: View) -> tuple[Piece, list[Staff]]:
    """The staves of a view, top first, and the piece they are drawn from."""
    study = work.study
    first, again = (notated(row) for row in additions(work))
    piece, solo = work.piece, study.solo
    upper = again if view.rows == "again" else first
    rows = [Staff("written", solo, added=upper, words=True, lyrics=True)]
    if view.written:
        rows += [Staff("played", solo, row=row) for row in ((1, -1) if view.rows == "both" else (ROW[view.rows],))]
    elif view.rows == "both":
        piece, line = doubled(piece, solo)
        rows += [Staff("written", line, added={AGAIN + note: what for note, what in again.items()})]
    others = [
        Staff("written", line, figures=line == study.bass) for line in lines_of(work.piece) if line != solo
    ]  # fmt: skip
    return piece, rows + others


ROW: Final = {"first": 1, "again": -1}


def notated(row: Sequence[Addition]) -> dict[str, Notated]:
    return {one.note: Notated(one.signs, one.before, one.after) for one in row}


def lines_of(piece: Piece) -> list[str]:
    """Every staff of the piece as a line."""
    found = []
    for part in piece.parts:
        found += [part.id] if part.staves == 1 else [f"{part.id}/{staff}" for staff in range(1, part.staves + 1)]
    return found


def doubled(piece: Piece, line: str) -> tuple[Piece, str]:
    """The piece with its solo line a second time, as a part whose ids begin with ``again.``."""
    part, staff = part_of(line)
    there = piece.part(part)
    clefs = tuple(replace(clef, staff=1) for clef in there.clefs if not staff or clef.staff == staff)
    copy: Part = replace(there, id=AGAIN + part, name="", staves=1, clefs=clefs)
    notes: list[Note] = [
        replace(note, id=AGAIN + note.id, part=copy.id, staff=1, marks=replace(note.marks, lyrics=()))
        for note in piece.by_part[part]
        if not staff or note.staff == staff
    ]
    return replace(piece, parts=(*piece.parts, copy), notes=(*piece.notes, *notes)), copy.id


def played_small(work: Work, tone: Tone, time_through: int) -> str:
    """What is played on one note, engraved small: the bars of the note with the plain line above. Empty where the
    engraver refuses, since the card is of use without it."""
    last = next((bar.index for bar in reversed(work.piece.bars) if bar.onset < tone.end), tone.bar)
    bar = work.piece.bars[tone.bar]
    row = time_through if time_through == 1 else -1
    staves = [Staff("written", work.study.solo, scale=70), Staff("played", work.study.solo, row=row)]
    mei = mei_of(work.piece, staves, version=work.version, first=tone.bar, last=last, bar_numbers=False)
    width = 700 + 170 * min(int(Fraction(last - tone.bar + 1) * bar.length), 8)
    try:
        page = engrave(mei, options={**OPTIONS, "breaks": "none", "pageWidth": width, "adjustPageWidth": True}).pages[0]
    except EngravingFailed:
        return ""
    return inlined(page)
