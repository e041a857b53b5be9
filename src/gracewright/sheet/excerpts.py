"""A few bars cut out of a piece and engraved as one system, and the choices that belong to them.

Public: excerpt, phrase_bars, richest_phrase, place_words.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from gracewright.graces import Version
from gracewright.score import Piece
from gracewright.sheet.engrave import engrave
from gracewright.sheet.mei import Staff, mei_of
from gracewright.sheet.systems import BASE, System, as_system
from gracewright.study import Study
from gracewright.taste import Plan


def excerpt(piece: Piece, staves: Sequence[Staff], first: int, last: int, *, version: Version | None = None,
            options: Mapping[str, object] | None = None) -> System:
    """Bars ``first`` to ``last`` as one system, as wide as they want to be."""
    mei = mei_of(piece, staves, version=version, first=first, last=last)
    asked = {**BASE, "breaks": "none", "adjustPageWidth": True, "unit": 8.0, "svgBoundingBoxes": True}
    asked |= options or {}
    return as_system(first, last, engrave(mei, options=asked).pages[0], boxes=True)


def phrase_bars(piece: Piece, study: Study, phrase: int) -> tuple[int, int]:
    """First and last bar of a phrase; of the whole piece where there is no such phrase."""
    if not 0 <= phrase < len(study.phrases):
        return 0, len(piece.bars) - 1
    span = study.phrases[phrase]
    inside = [bar.index for bar in piece.bars if bar.onset < span.end and bar.end > span.start]
    return inside[0], inside[-1]


def richest_phrase(study: Study, *plans: Plan) -> int:
    """The phrase with the most different choices to the quarter over these plans, of those that are not very short;
    0 where there are none."""
    best, most = 0, -1.0
    longest = max((phrase.end - phrase.start for phrase in study.phrases), default=0)
    for index, phrase in enumerate(study.phrases):
        length = phrase.end - phrase.start
        if length * 2 < longest:
            continue
        inside = [[(c.note, c.time_through, c.grace.words) for c in plan.choices
                   if phrase.start <= c.onset < phrase.end and c.grace is not None] for plan in plans]  # fmt: skip
        different = len({choice for choices in inside for choice in choices})
        count = different + min(map(len, inside), default=0)  # each should have something to show
        if count / float(length) > most:
            best, most = index, count / float(length)
    return best


def place_words(bars: Sequence[str]) -> str:
    """Bars as a player says them.

    >>> place_words(["3"]), place_words(["3", "7", "7", "9"])
    ('bar 3', 'bars 3, 7, 9')
    """
    names = list(dict.fromkeys(bars))
    return f"bar {names[0]}" if len(names) == 1 else f"bars {', '.join(names)}"
