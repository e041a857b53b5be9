"""Break music into systems of our own choosing, each engraved as an SVG of its own height.

Conventions: lengths are tenths of a millimetre. A system's ``boxes`` lead from the id of anything drawn to its place,
measured from the system's top left. Bars are named by index.

Public: System, Box, as_system, systems_of, break_evenly, natural_widths, BASE.
"""

from __future__ import annotations

import re
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from gracewright.graces import Version
from gracewright.score import Piece
from gracewright.sheet.engrave import engrave
from gracewright.sheet.mei import Staff, mei_of

BASE: Final[Mapping[str, object]] = {
    "adjustPageHeight": True, "pageHeight": 9000, "pageMarginTop": 15, "pageMarginBottom": 15, "pageMarginLeft": 25,
    "pageMarginRight": 0, "lyricSize": 5.4, "spacingSystem": 4, "spacingStaff": 12, "justificationVertical": False,
    "minLastJustification": 0.65,
}  # fmt: skip
"""Options for one system a page."""

_BARS: Final = re.compile(r'<g id="bar-(\d+)" class="measure">.*?<path d="M(-?\d+) -?\d+ L(-?\d+) ', re.S)
_BOX: Final = re.compile(
    r'<g id="bbox-([^"]+)" class="(\w+)[^"]*"[^>]*>\s*'
    r'<rect x="(-?[\d.]+)" y="(-?[\d.]+)" height="(-?[\d.]+)" width="(-?[\d.]+)"[^>]*/>'
)
_BOXES: Final = re.compile(
    r'<g id="bbox-[^>]*/>\s*|<g id="bbox-[^>]*[^/]>\s*(?:<rect [^>]*/>\s*)*</g>\s*'
)
_SIZE: Final = re.compile(r'viewBox="0 0 (\d+) (\d+)"')
_MARGIN: Final = re.compile(r'class="page-margin" transform="translate\((-?\d+), (-?\d+)\)"')


class Box(NamedTuple):
    """Where something is drawn, in tenths of a millimetre from the top left of its system, and what it is."""

    left: float
    top: float
    right: float
    bottom: float
    kind: str = ""


@dataclass(frozen=True)
class System:
    """A line of music. ``svg`` is ``width`` by ``height``; ``boxes`` is empty unless asked for."""

    first_bar: int
    last_bar: int
    svg: str
    width: int
    height: int
    boxes: Mapping[str, Box]


def natural_widths(piece: Piece, staves: Sequence[Staff], version: Version | None = None) -> tuple[int, ...]:
    """How wide each bar wants to be; the first includes clef, signature and names."""
    mei = mei_of(piece, staves, version=version)
    drawn = engrave(mei, options={**BASE, "breaks": "none", "adjustPageWidth": True})
    edges = {int(bar): (int(left), int(right)) for bar, left, right in _BARS.findall(drawn.pages[0])}
    return tuple((edges[bar][1] - edges[bar][0]) // 10 if bar in edges else 200 for bar in range(len(piece.bars)))


def break_evenly(widths: Sequence[int], available: int, opening: int = 150, *, most: int = 0) -> tuple[int, ...]:
    """Where systems begin, so that all are about equally full; never more than ``available``, nor ``most`` bars.

    Solved exactly: the sum of squares of what stays empty is least. ``opening`` is what clef and signature take.

    >>> break_evenly([500, 300, 300, 300, 300, 300], 1000)
    (0, 2, 4)
    """
    count = len(widths)
    best: list[tuple[float, int]] = [(0.0, 0)]
    for end in range(1, count + 1):
        options = []
        full = 0
        for start in range(end - 1, -1, -1):
            full += widths[start]
            taken = full + (opening if start else 0)
            if end - start > 1 and (taken > available or (most and end - start > most)):
                break
            empty = max(0.0, (available - taken) / available)
            cost = empty * empty * (0.9 if end == count else 1.0) + (4.0 if taken > available else 0.0) + 0.02
            options.append((best[start][0] + cost, start))
        best.append(min(options))
    starts = []
    at = count
    while at:
        at = best[at][1]
        starts.append(at)
    return tuple(reversed(starts))


def systems_of(
    piece: Piece, staves: Sequence[Staff], *, version: Version | None = None, width: int = 1860,
    breaks: Sequence[int] = (), only: Collection[int] = (), boxes: bool = False, first: int = 0,
    last: int | None = None, options: Mapping[str, object] | None = None,
) -> tuple[System, ...]:
    """Engrave a piece, one SVG a system.

    ``breaks`` (bar indexes that begin systems) are worked out when not given; give them again to redraw quickly with
    the same layout. ``only`` names the systems wanted, by their place in ``breaks``; the rest is not even engraved,
    apart from a neighbour on each side so that ties and slurs run on.
    """  # fmt: skip
    until = len(piece.bars) - 1 if last is None else last
    starts = [start for start in breaks if first <= start <= until]
    if not starts:
        widths = natural_widths(piece, staves, version)[first : until + 1]
        starts = [first + at for at in break_evenly(widths, width)]
    ends = [*(start - 1 for start in starts[1:]), until]
    wanted = sorted(only) if only else range(len(starts))
    low, high = max(0, min(wanted) - 1), min(len(starts) - 1, max(wanted) + 1)
    mei = mei_of(piece, staves, version=version, first=starts[low], last=ends[high], breaks=starts)
    pages = [number - low + 1 for number in wanted]
    asked = {**BASE, "pageWidth": width, "svgBoundingBoxes": boxes, **(options or {})}
    drawn = engrave(mei, options=asked, pages=pages)
    return tuple(
        as_system(starts[number], ends[number], svg, boxes) for number, svg in zip(wanted, drawn.pages, strict=True)
    )


def as_system(first: int, last: int, svg: str, boxes: bool = False) -> System:
    """A system from the engraver's SVG of bars ``first`` to ``last``; the invisible boxes are read and taken out."""
    size = _SIZE.search(svg)
    assert size is not None, "the engraver gives a view box"
    found: dict[str, Box] = {}
    if boxes:
        margin = _MARGIN.search(svg)
        dx, dy = (int(margin[1]), int(margin[2])) if margin else (0, 0)
        for drawn, kind, x, y, height, width in _BOX.findall(svg):
            left, top = (float(x) + dx) / 10, (float(y) + dy) / 10
            found[drawn] = Box(left, top, left + float(width) / 10, top + float(height) / 10, kind)
        svg = _BOXES.sub("", svg)
    return System(first, last, svg, int(size[1]), int(size[2]), found)
