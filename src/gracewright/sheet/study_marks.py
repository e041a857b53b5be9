"""The study drawn about a system of engraved music, in lanes of its own above and below, so that nothing is covered.

Conventions: lengths are tenths of a millimetre from the system's top left, as :class:`gracewright.sheet.systems.Box`.
Above, from the music outwards: phrases, sequences, imitations, repeats, hemiolas; below: proposed figures, Roman
numerals, keys, cadences. Every text drawn here gets a box, so that overlaps can be looked for.

Public: annotated, Across, bar_edges, COLOUR.
"""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from typing import Final

from gracewright.score import Figure, Piece
from gracewright.sheet.ink import Ink, beside, figures_ink, key_ink, numeral_ink, words
from gracewright.sheet.layer import drawn_id
from gracewright.sheet.systems import Box, System
from gracewright.study import Cadence, Repeat, Study
from gracewright.study import Sequence as Pattern

COLOUR: Final = "#1f4e8c"
"""Of what the study proposes or marks; told by brackets and letters as well."""

GAP: Final = 9.0
UNSURE: Final = 0.5
"""A chord less sure than this bears a query."""

CADENCES: Final = {
    "authentic-perfect": "perfect authentic", "authentic-imperfect": "imperfect authentic", "half": "half",
    "phrygian": "Phrygian", "deceptive": "deceptive", "evaded": "evaded",
}  # fmt: skip
EXTENTS: Final = {1: "a step", 2: "a third", 3: "a fourth", 4: "a fifth", 5: "a sixth", 6: "a seventh", 7: "an octave"}
ON_THE_PAGE: Final = frozenset({"sign", "da capo", "dal segno"})

_BAR: Final = re.compile(r'<g id="bar-(\d+)" class="measure">.*?<path d="M(-?\d+) -?\d+ L(-?\d+) ', re.S)
_MARGIN: Final = re.compile(r'class="page-margin" transform="translate\((-?\d+), ')
_HEAD: Final = re.compile(r'<g id="([^"]+)" class="note"[^>]*>\s*<g class="notehead"')
_VIEW: Final = re.compile(r'viewBox="0 0 \d+ \d+"')


def bar_edges(system: System) -> dict[int, tuple[float, float]]:
    """Bar index → left and right end of its staff lines."""
    margin = _MARGIN.search(system.svg)
    dx = int(margin[1]) if margin else 0
    return {int(bar): ((int(left) + dx) / 10, (int(right) + dx) / 10) for bar, left, right in _BAR.findall(system.svg)}


class Across:
    """Where a time stands in a system: at the notes that begin then, between notes in proportion."""

    def __init__(self, system: System, piece: Piece) -> None:
        edges = bar_edges(system)
        self._bars = [bar for bar in piece.bars[system.first_bar : system.last_bar + 1] if bar.index in edges]
        self._edges = edges
        places: dict[int, dict[Fraction, float]] = {bar.index: {} for bar in self._bars}
        for note in piece.notes:
            box = system.boxes.get(drawn_id(note.id)) if note.bar in places else None
            if box is None or note.whole_bar or (note.pitch is None and note.length == piece.bars[note.bar].length):
                continue
            here = places[note.bar]
            here[note.onset] = min(here.get(note.onset, box.left), box.left)
        self._points = {bar.index: self._of_bar(bar.index, places[bar.index], bar.onset, bar.end) for bar in self._bars}
        self._starts = [bar.onset for bar in self._bars]
        self.start, self.end = self._bars[0].onset, self._bars[-1].end

    def _of_bar(self, bar: int, places: dict[Fraction, float], start: Fraction,
                end: Fraction) -> list[tuple[Fraction, float]]:  # fmt: skip
        left, right = self._edges[bar]
        points = [(start, places.pop(start, left + 25))]
        for time in sorted(places):
            if start < time < end and places[time] > points[-1][1]:
                points.append((time, places[time]))
        return [*points, (end, right)]

    def x(self, time: Fraction, *, ending: bool = False) -> float:
        """``ending``: where something stops that lasts until this time."""
        at = bisect_right(self._starts, time) - 1
        if ending and at > 0 and self._starts[at] == time:
            at -= 1
        points = self._points[self._bars[max(0, at)].index]
        for (a, left), (b, right) in pairwise(points):
            if a <= time <= b and b > a:
                return left + (right - left) * float((time - a) / (b - a))
        return points[-1][1] if time >= points[-1][0] else points[0][1]

    def cut(self, start: Fraction, end: Fraction) -> tuple[float, float, bool, bool] | None:
        """The part of a span inside the system: its ends, and whether each end is the span's own; None if outside."""
        if end <= self.start or start >= self.end:
            return None
        left = self.x(start) if start >= self.start else self.x(self.start) - 6
        right = self.x(end, ending=True) if end <= self.end else self.x(self.end, ending=True)
        return left, max(left + 12, right), start >= self.start, end <= self.end


@dataclass
class _Drawing:
    """What has been drawn so far: shapes and the boxes of texts."""

    shapes: list[str] = field(default_factory=list)
    boxes: dict[str, Box] = field(default_factory=dict)

    def text(self, ink: Ink, x: float, base: float, colour: str = "#000") -> None:
        self.shapes.append(ink.svg(x, base, colour))
        name = f"study-{len(self.boxes)}"
        self.boxes[name] = Box(x, base - ink.above, x + ink.width, base + ink.below, "text")

    def line(self, path: str, colour: str = "#000", *, dashed: bool = False, width: float = 2.2) -> None:
        dash = ' stroke-dasharray="9 6"' if dashed else ""
        self.shapes.append(f'<path d="{path}" fill="none" stroke="{colour}" stroke-width="{width:g}"{dash}/>')


@dataclass(frozen=True, slots=True)
class _Item:
    """Something in a lane between two places; ``draw`` gets the top of its row."""

    left: float
    right: float
    height: float
    draw: Callable[[float], None]


def _rows(items: Iterable[_Item], top: float) -> float:
    """Draw items in as few rows as keep them apart, each as high up as it fits; the bottom of the last row."""
    rows: list[list[_Item]] = []
    for item in sorted(items, key=lambda item: item.left):
        row = next((row for row in rows if item.left >= row[-1].right + GAP), None)
        if row is None:
            rows.append([item])
        else:
            row.append(item)
    for row in rows:
        for item in row:
            item.draw(top)
        top += max(item.height for item in row)
    return top


def annotated(system: System, piece: Piece, study: Study, figures: Sequence[Figure] = ()) -> System:
    """The system with the study about it; engraved with boxes. ``figures`` are proposed ones to set under the bass."""
    across = Across(system, piece)
    drawing = _Drawing()
    bottom = float(system.height) - 10
    bottom = _figures(drawing, across, system, figures, bottom)
    bottom = _numerals(drawing, across, system, study, bottom)
    bottom = _keys(drawing, across, system, study, bottom)
    bottom = _cadences(drawing, across, system, study, bottom)
    overhead = _Drawing()
    height = 0.0
    for lane in (_hemiolas, _repeats, _answers, _sequences, _phrases):
        height = lane(overhead, across, system, piece, study, height)
    shift = height + 4 if height else 0.0
    total = round(bottom + shift + 6)
    shapes = f'<g transform="translate(0, {-shift:.1f})">{"".join(overhead.shapes)}</g>{"".join(drawing.shapes)}'
    svg = _VIEW.sub(f'viewBox="0 {-shift:.1f} {system.width} {total}"', system.svg, count=1)
    svg = svg.replace("<svg class=", f'<svg x="0" y="0" width="{system.width}" height="{system.height}" class=', 1)
    svg = svg.rstrip().removesuffix("</svg>") + shapes + "</svg>\n"
    moved = {name: _moved(box, shift) for name, box in {**system.boxes, **drawing.boxes}.items()}
    over = {f"over-{name}": box for name, box in overhead.boxes.items()}
    return replace(system, svg=_coloured(system, svg, study), height=total, boxes={**moved, **over})


def _moved(box: Box, down: float) -> Box:
    return box._replace(top=box.top + down, bottom=box.bottom + down)


def _coloured(system: System, svg: str, study: Study) -> str:
    """Heads of the notes that are no chord notes, and the letters below them, in our colour."""
    marks = {drawn_id(role.note) for role in study.roles if role.role != "chord"} & system.boxes.keys()
    look = f' color="{COLOUR}" fill="{COLOUR}"'

    def painted(found: re.Match[str]) -> str:
        return found[0] + look if found[1] in marks else found[0]

    return _HEAD.sub(painted, svg).replace('class="dir fingering"', f'class="dir fingering"{look}')


# ---- below the music -------------------------------------------------------------------------------------------


def _placed(drawing: _Drawing, ink: Ink, x: float, system: System, fall: float, colour: str = "#000") -> _Item:
    """A text in a lane; ``fall`` is how far below the top of its row its base line lies. Kept inside the page."""
    left = max(0.0, min(x, system.width - ink.width))
    return _Item(left, left + ink.width, 38, lambda top: drawing.text(ink, left, top + fall, colour))


def _figures(drawing: _Drawing, across: Across, system: System, figures: Sequence[Figure], top: float) -> float:
    """Proposed figures in square brackets."""
    columns = []
    for figure in figures:
        ink = figures_ink(figure.items)
        if across.start <= figure.onset < across.end and ink.runs:
            columns.append((across.x(figure.onset), ink))
    if not columns:
        return top
    items = [_bracketed(drawing, ink, x, system) for x, ink in columns]
    return _rows(items, top) + 2


def _bracketed(drawing: _Drawing, ink: Ink, x: float, system: System) -> _Item:
    left = max(0.0, min(x - 5, system.width - ink.width - 16))
    right = left + ink.width + 14

    def draw(top: float) -> None:
        low = top + ink.below + 2
        drawing.text(ink, left + 7, top, COLOUR)
        drawing.line(f"M{left + 5:.1f} {top:.1f} H{left:.1f} V{low:.1f} H{left + 5:.1f}", COLOUR, width=1.6)
        drawing.line(f"M{right - 5:.1f} {top:.1f} H{right:.1f} V{low:.1f} H{right - 5:.1f}", COLOUR, width=1.6)

    return _Item(left, right, ink.below + 9, draw)


def _numerals(drawing: _Drawing, across: Across, system: System, study: Study, top: float) -> float:
    items = []
    for chord in study.harmony:
        if across.start <= chord.onset < across.end:
            ink = numeral_ink(chord.numeral, unsure=chord.confidence < UNSURE)
            items.append(_placed(drawing, ink, across.x(chord.onset), system, 28))
    return _rows(items, top) + 4 if items else top


def _keys(drawing: _Drawing, across: Across, system: System, study: Study, top: float) -> float:
    """Each key under a line as long as it holds; at the head of a system the key that goes on is named again."""
    items = []
    for span in study.keys:
        found = across.cut(span.onset, span.onset + span.length)
        if found is None:
            continue
        left, right, begins, ends = found
        doubt = span.margin < 0.7 and begins
        ink = key_ink(span.key, 24) if begins else key_ink(span.key, 24, weight="", style="italic")
        if doubt:
            ink = beside(ink, words(" (or ", 21), key_ink(span.runner_up, 21, weight=""), words(")", 21))
        at = max(0.0, min(left, system.width - ink.width))
        items.append(_Item(at, max(at + ink.width, right), 36, _key(drawing, ink, at, (left, right), begins, ends)))
    return _rows(items, top) + 4


def _key(drawing: _Drawing, ink: Ink, at: float, line: tuple[float, float], begins: bool,
         ends: bool) -> Callable[[float], None]:  # fmt: skip
    def draw(top: float) -> None:
        base = top + 24
        drawing.text(ink, at, base)
        left, right = at + ink.width + 6, line[1] - (6 if ends else 0)
        if right - left > 8:
            tail = " v-9" if ends else ""
            drawing.line(f"M{left:.1f} {base - 8:.1f} H{right:.1f}{tail}", "#777", width=1.6)

    return draw


def _cadences(drawing: _Drawing, across: Across, system: System, study: Study, top: float) -> float:
    items = [
        _cadence(drawing, across, system, cadence)
        for cadence in study.cadences
        if across.start <= cadence.onset < across.end
    ]
    return _rows(items, top) if items else top


def _cadence(drawing: _Drawing, across: Across, system: System, cadence: Cadence) -> _Item:
    """A bracket from the dominant to the arrival, with the kind of the close; thick where it is strong."""
    right = min(system.width - 4.0, across.x(cadence.onset) + 20)
    begins = cadence.dominant_onset >= across.start
    left = max(2.0, min(across.x(max(cadence.dominant_onset, across.start)), right - 20))
    where = key_ink(cadence.key, 22, weight="")
    ink = beside(words(f"{CADENCES[cadence.kind]}, ", 22, weight="bold"), where)
    at = max(2.0, min(right - ink.width, system.width - ink.width))
    thick = 1.6 + 3.0 * cadence.strength

    def draw(top: float) -> None:
        head = f"M{left:.1f} {top + 2:.1f} V{top + 13:.1f}" if begins else f"M{left:.1f} {top + 13:.1f}"
        drawing.line(f"{head} H{right:.1f} V{top + 2:.1f}", width=thick)
        drawing.text(ink, at, top + 36)

    return _Item(min(left, at), max(right, at + ink.width), 46, draw)


# ---- above the music -------------------------------------------------------------------------------------------


def _arc(drawing: _Drawing, span: tuple[float, float, bool, bool], low: float, rise: float, *, colour: str = "#000",
         dashed: bool = False) -> None:  # fmt: skip
    """A flat arc; an end that lies in another system stays open."""
    left, right, begins, ends = span
    bend = min(26.0, (right - left) / 2)
    high = low - rise
    start = f"M{left:.1f} {low:.1f} Q{left:.1f} {high:.1f} {left + bend:.1f} {high:.1f}" if begins else (
        f"M{left:.1f} {high:.1f}"
    )
    end = f" H{right - bend:.1f} Q{right:.1f} {high:.1f} {right:.1f} {low:.1f}" if ends else f" H{right:.1f}"
    drawing.line(start + end, colour, dashed=dashed)


def _phrases(drawing: _Drawing, across: Across, system: System, piece: Piece, study: Study, top: float) -> float:
    spans = [(p, found) for p in study.phrases if (found := across.cut(p.start, p.end))]
    for _, (left, right, begins, ends) in spans:
        _arc(drawing, (left, right - (8 if ends else 0), begins, ends), top + 24, 20)
    return top + 28 if spans else top


def _sequences(drawing: _Drawing, across: Across, system: System, piece: Piece, study: Study, top: float) -> float:
    """Legs as numbered arcs, told above the first."""
    items = []
    for pattern in study.sequences:
        legs = [(n, found) for n, leg in enumerate(pattern.legs, 1) if (found := across.cut(leg.start, leg.end))]
        if legs:
            ink = words(_told(pattern) if legs[0][0] == 1 else f"sequence, leg {legs[0][0]} on", 22, style="italic")
            items.append(_legs(drawing, system, ink, legs))
    return _rows(items, top) if items else top


def _told(pattern: Pattern) -> str:
    direction = "up" if pattern.step > 0 else "down"
    extent = EXTENTS.get(abs(pattern.step), f"{abs(pattern.step)} steps")
    more = ("" if pattern.exact else ", varied") + (", bass too" if pattern.with_bass else "")
    return f"sequence {direction} {extent}{more}"


def _legs(drawing: _Drawing, system: System, ink: Ink,
          legs: Sequence[tuple[int, tuple[float, float, bool, bool]]]) -> _Item:  # fmt: skip
    left, right = legs[0][1][0], legs[-1][1][1]
    at = max(0.0, min(left, system.width - ink.width))

    def draw(top: float) -> None:
        drawing.text(ink, at, top + 18, COLOUR)
        for number, (start, end, begins, ends) in legs:
            _arc(drawing, (start + 2, end - 5, begins, ends), top + 52, 26, colour=COLOUR, dashed=True)
            figure = words(str(number), 20)
            if end - start > figure.width + 12 and begins:
                drawing.text(figure, (start + end - figure.width) / 2, top + 48, COLOUR)

    return _Item(at, max(right, at + ink.width), 58, draw)


def _repeats(drawing: _Drawing, across: Across, system: System, piece: Piece, study: Study, top: float) -> float:
    """What comes again written out, bracketed where it returns."""
    items = []
    for repeat in study.repeats:
        found = across.cut(*repeat.again)
        if repeat.kind not in ON_THE_PAGE and found is not None:
            ink = words(_again(repeat, piece) if found[2] else f"{repeat.kind}, goes on", 22, style="italic")
            items.append(_bracket(drawing, system, ink, found, "#6b4a12"))
    return _rows(items, top) if items else top


def _answers(drawing: _Drawing, across: Across, system: System, piece: Piece, study: Study, top: float) -> float:
    """Where a line takes up what the other had."""
    items = []
    for one in study.imitations:
        found = across.cut(one.entry, one.entry + one.length)
        if found is not None:
            who = "the bass answers" if one.leader == "solo" else "answers the bass"
            told = f"{who}, bar {piece.bar_at(one.start).number}" if found[2] else "answer, goes on"
            items.append(_bracket(drawing, system, words(told, 22, style="italic"), found, "#1d5c3a"))
    return _rows(items, top) if items else top


def _again(repeat: Repeat, piece: Piece) -> str:
    first = piece.bar_at(repeat.first[0]).number
    last = next((bar.number for bar in reversed(piece.bars) if bar.onset < repeat.first[1]), first)
    where = f"bar {first}" if first == last else f"bars {first}–{last}"
    name = {"written": "again", "varied": "again, varied"}.get(repeat.kind, repeat.kind)
    return f"{name}: {where}"


def _bracket(drawing: _Drawing, system: System, ink: Ink, span: tuple[float, float, bool, bool],
             colour: str) -> _Item:  # fmt: skip
    left, right, begins, ends = span
    at = max(0.0, min(left + 6, system.width - ink.width))

    def draw(top: float) -> None:
        drawing.text(ink, at, top + 17, colour)
        down = f"M{left:.1f} {top + 36:.1f} V{top + 25:.1f}" if begins else f"M{left:.1f} {top + 25:.1f}"
        drawing.line(f"{down} H{right - 6:.1f}{' v11' if ends else ''}", colour)

    return _Item(min(left, at), max(right, at + ink.width), 42, draw)


def _hemiolas(drawing: _Drawing, across: Across, system: System, piece: Piece, study: Study, top: float) -> float:
    """Two bars bracketed in three."""
    items = []
    for hemiola in study.hemiolas:
        third = (hemiola.end - hemiola.start) / 3
        parts = [across.cut(hemiola.start + n * third, hemiola.start + (n + 1) * third) for n in range(3)]
        spans = [part for part in parts if part is not None]
        if spans:
            items.append(_threes(drawing, system, spans))
    return _rows(items, top) if items else top


def _threes(drawing: _Drawing, system: System, spans: Sequence[tuple[float, float, bool, bool]]) -> _Item:
    ink = words("hemiola: three twos", 22, style="italic")
    at = max(0.0, min(spans[0][0], system.width - ink.width))

    def draw(top: float) -> None:
        drawing.text(ink, at, top + 17)
        for left, right, _, _ in spans:
            drawing.line(f"M{left:.1f} {top + 36:.1f} V{top + 25:.1f} H{right - 7:.1f} v11")

    return _Item(at, max(spans[-1][1], at + ink.width), 42, draw)
