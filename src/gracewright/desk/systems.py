"""The music as the page shows it: one drawing for each system, so that only what is in view is engraved and fetched.

Where systems break is settled once for a view; after that a change redraws only the systems that it alters. A drawing
is named by a digest of what stands in it, so the page knows what it holds already without having seen the new one.

Conventions: widths and heights are tenths of a millimetre of a stave 7.2 mm high; the page shows them smaller. A note's
drawn id leads back to its tone (:func:`gracewright.sheet.layer.tone_of`); the second row of a view of both times has
``again.`` before the note's id.

Public: System, View, Leaf, view_from, played_small.
"""

from __future__ import annotations

import hashlib
import re
from bisect import bisect_right
from collections import OrderedDict
from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any, Final, Literal, cast

from gracewright import sheet
from gracewright.desk.draft import Draft
from gracewright.errors import BadInput, EngravingFailed
from gracewright.graces import Notated
from gracewright.job import Work
from gracewright.score import Note, Part, Piece, Tone, part_of
from gracewright.sheet import Staff, engrave, mei_of, systems_of
from gracewright.sheet.systems import break_evenly, natural_widths

AGAIN: Final = "again."
OPTIONS: Final[Mapping[str, object]] = {
    "pageMarginTop": 50, "pageMarginBottom": 25, "pageMarginLeft": 28, "pageMarginRight": 10, "svgHtml5": True,
    "svgFormatRaw": True, "minLastJustification": 0.6,
}  # fmt: skip
SMALL: Final[Mapping[str, object]] = {
    **OPTIONS, "breaks": "none", "pageHeight": 100, "adjustPageHeight": True, "adjustPageWidth": True,
    "pageMarginTop": 20,
}  # fmt: skip
NARROWEST: Final = 600
WIDEST: Final = 4200
REMEMBERED: Final = 400
GUESS: Final = 500
"""Height of a system that has not been drawn yet, where no neighbour tells a better one."""
ROW: Final = {"first": 1, "again": -1}
_DESC: Final = re.compile(r"<desc>[^<]*</desc>\s*")
_STYLE: Final = re.compile(r"<style[^>]*>.*?</style>\s*", re.S)


@dataclass(frozen=True, slots=True)
class System:
    """A system as the page needs it; ``svg`` is empty until it is drawn."""

    key: str
    width: int
    height: int
    bars: tuple[int, int]
    svg: str = ""


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


@dataclass
class Leaf:
    """The music of one piece as drawn so far: where systems break in each view, and the drawings by key."""

    breaks: dict[tuple[tuple[str, ...], View], tuple[int, ...]] = field(default_factory=dict)
    drawings: OrderedDict[str, System] = field(default_factory=OrderedDict)
    heights: dict[tuple[View, int], int] = field(default_factory=dict)

    def systems(self, draft: Draft, view: View, wanted: Iterable[int] | None = None) -> tuple[System, ...]:
        """Every system of a view; those ``wanted`` (by place; None for all) with their drawings."""
        piece, staves = staves_of(draft, view)
        starts = self._starts(draft, view, piece, staves)
        ends = [*(start - 1 for start in starts[1:]), len(piece.bars) - 1]
        keys = keys_of(draft, view, staves, list(zip(starts, ends, strict=True)))
        asked = set(range(len(starts)) if wanted is None else wanted)
        missing = [n for n, key in enumerate(keys) if n in asked and key not in self.drawings]
        if missing:
            self._draw(draft, view, piece, staves, starts, missing, keys)
        return tuple(
            self._known(view, n, key, (first, last), drawn=n in asked)
            for n, (key, first, last) in enumerate(zip(keys, starts, ends, strict=True))
        )

    def _starts(self, draft: Draft, view: View, piece: Piece, staves: list[Staff]) -> tuple[int, ...]:
        key = (draft.look, view)
        if key not in self.breaks:
            widths = natural_widths(piece, staves, version_of(draft, view))
            self.breaks[key] = break_evenly(widths, view.width)
        return self.breaks[key]

    def _draw(self, draft: Draft, view: View, piece: Piece, staves: list[Staff], starts: tuple[int, ...],
              wanted: list[int], keys: list[str]) -> None:  # fmt: skip
        """Engrave some systems, each run of neighbours in one go."""
        for run in runs(wanted):
            found = systems_of(piece, staves, version=version_of(draft, view), width=view.width, breaks=starts,
                               only=run, options=OPTIONS)  # fmt: skip
            for number, system in zip(run, found, strict=True):
                self._hold(view, number, keys[number], system)

    def _hold(self, view: View, number: int, key: str, system: sheet.System) -> None:
        bars = (system.first_bar, system.last_bar)
        self.drawings[key] = System(key, system.width, system.height, bars, inlined(system.svg))
        self.heights[view, number] = system.height
        while len(self.drawings) > REMEMBERED:
            self.drawings.popitem(last=False)

    def _known(self, view: View, number: int, key: str, bars: tuple[int, int], *, drawn: bool) -> System:
        found = self.drawings.get(key)
        if found is None:
            return System(key, view.width, self.heights.get((view, number), GUESS), bars)
        return found if drawn else replace(found, svg="")


def runs(numbers: Collection[int]) -> list[list[int]]:
    """Neighbouring numbers together.

    >>> runs([1, 2, 5])
    [[1, 2], [5]]
    """
    found: list[list[int]] = []
    for number in sorted(numbers):
        if found and found[-1][-1] == number - 1:
            found[-1].append(number)
        else:
            found.append([number])
    return found


def keys_of(draft: Draft, view: View, staves: list[Staff], spans: list[tuple[int, int]]) -> list[str]:
    """For each span of bars a digest of all that can differ in its drawing."""
    piece = draft.piece
    by_bar: dict[int, list[object]] = {}
    for number, staff in enumerate(staves):
        for note, what in staff.added.items():
            by_bar.setdefault(piece.by_id[bare(note)].bar, []).append((number, note, what))
    version = version_of(draft, view)
    if version is not None:
        onsets = [bar.onset for bar in piece.bars]
        for note in version.notes:
            if note.part == version.solo:
                bar = bisect_right(onsets, note.page_onset) - 1
                by_bar.setdefault(bar, []).append((note.onset, note.length, note.pitch, note.slurred))
    same = (draft.look, draft.study.bass, view)
    inside = [[by_bar.get(bar) for bar in range(first, last + 1)] for first, last in spans]
    told = [repr((same, span, bars)) for span, bars in zip(spans, inside, strict=True)]
    return [hashlib.sha256(text.encode()).hexdigest()[:16] for text in told]


def bare(note: str) -> str:
    return note.removeprefix(AGAIN)


def version_of(draft: Draft, view: View) -> Any:
    return draft.work.version if view.written else None


def inlined(svg: str) -> str:
    """Without what a strict page refuses: style elements and the engraver's signature."""
    svg = _STYLE.sub("", _DESC.sub("", svg))
    return svg.replace("<svg ", '<svg class="drawn" aria-hidden="true" focusable="false" ', 1)


def staves_of(draft: Draft, view: View) -> tuple[Piece, list[Staff]]:
    """The staves of a view, top first, and the piece they are drawn from."""
    study, piece = draft.study, draft.drawn
    solo = study.solo
    upper: dict[str, Notated] = draft.added(2 if view.rows == "again" else 1)
    rows = [Staff("written", solo, added=upper, words=True, lyrics=True)]
    if view.written:
        rows += [Staff("played", solo, row=row) for row in ((1, -1) if view.rows == "both" else (ROW[view.rows],))]
    elif view.rows == "both":
        again = {AGAIN + note: what for note, what in draft.added(2).items()}
        piece, line = draft.ground.keep(("doubled", *draft.look), lambda: doubled(piece, solo))
        rows += [Staff("written", line, added=again)]
    others = [Staff("written", line, figures=line == study.bass) for line in lines_of(draft.piece) if line != solo]
    return piece, rows + others


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
    """What is played on one note, engraved small: the bars of the note, with the plain line above.

    Empty where the engraver refuses, since the card is of use without it.
    """
    last = next((bar.index for bar in reversed(work.piece.bars) if bar.onset < tone.end), tone.bar)
    row = time_through if time_through == 1 else -1
    staves = [Staff("written", work.study.solo, scale=75), Staff("played", work.study.solo, row=row)]
    mei = mei_of(work.piece, staves, version=work.version, first=tone.bar, last=last, bar_numbers=False)
    try:
        return inlined(engrave(mei, options=SMALL).pages[0])
    except EngravingFailed:
        return ""
