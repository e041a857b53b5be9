"""Any exact length as printed notes: types, dots, ties, tuplets, beams.

Conventions: times are quarters from the start of the bar. A length that no single note can show becomes several tied
ones, split at the strongest place inside it; lengths that do not divide in two are tuplets of ``q`` in the time of the
power of two below, gathered up to the place where the beat is met again.

Public: Span, Printed, print_bar.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import lru_cache
from typing import Final, Literal

from gracewright.score.model import Meter
from gracewright.score.notation import type_of

FLAGS: Final = {"eighth": 1, "16th": 2, "32nd": 3, "64th": 4, "128th": 5, "256th": 6, "512th": 7, "1024th": 8}


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the bar: ``what`` indexes the note sounding in it, -1 for silence."""

    onset: Fraction
    length: Fraction
    what: int

    @property
    def end(self) -> Fraction:
        return self.onset + self.length


@dataclass(frozen=True, slots=True)
class Printed:
    """One printed note or rest. ``kind`` is empty where no note type is short enough.

    ``tied_in``/``tied_out`` join the pieces of one span; ``beams`` are the beam words from the first level down.
    """

    onset: Fraction
    length: Fraction
    what: int
    kind: str
    dots: int = 0
    ratio: tuple[int, int] | None = None
    bracket: tuple[Literal["start", "stop"], ...] = ()
    tied_in: bool = False
    tied_out: bool = False
    beams: tuple[str, ...] = ()


def print_bar(spans: Sequence[Span], meter: Meter, start: Fraction = Fraction(0)) -> list[Printed]:
    """Spans that fill a bar as printed notes. ``start`` is where in the full bar a pickup begins.

    >>> F = Fraction
    >>> [(p.kind, p.dots, p.ratio, p.tied_out) for p in print_bar([Span(F(0), F(5, 4), 0)], Meter(4, 4))]
    [('quarter', 0, None, True), ('16th', 0, None, False)]
    >>> [(p.kind, p.ratio) for p in print_bar([Span(F(i, 3), F(1, 3), i) for i in range(3)], Meter(1, 4))]
    [('eighth', (3, 2)), ('eighth', (3, 2)), ('eighth', (3, 2))]
    """
    return list(_print_bar(tuple(spans), meter, start))


@lru_cache(maxsize=4096)
def _print_bar(spans: tuple[Span, ...], meter: Meter, start: Fraction) -> tuple[Printed, ...]:
    """Rhythms come back: in repeats, and when a piece is written again after a small change."""
    pieces: list[Printed] = []
    for group in _groups([part for span in spans for part in _at_joints(span)]):
        pieces += _print_group(group, start)
    return tuple(_beamed(_tied(pieces), meter, start))


def _odd(value: Fraction) -> int:
    """The odd part of a denominator: 1 for lengths that divide in two."""
    below = value.denominator
    return below // (below & -below)


def _unit(place: Fraction) -> Fraction:
    """The length whose tuplet meets a place: 1/2 for 1/6, 1 for 2/3."""
    below = place.denominator
    return Fraction(1, below & -below)


def _at_joints(span: Span) -> list[Span]:
    """Cut a span where a tuplet it begins or ends in meets the beat again."""
    end = span.end
    if _odd(span.onset) == 1 == _odd(end):
        return [span]
    cuts = set()
    if _odd(span.onset) > 1:
        unit = _unit(span.onset)
        cuts.add((span.onset // unit + 1) * unit)
    if _odd(end) > 1:
        unit = _unit(end)
        cuts.add(end // unit * unit)
    places = [span.onset, *sorted(cut for cut in cuts if span.onset < cut < end), end]
    return [Span(left, right - left, span.what) for left, right in itertools.pairwise(places)]


def _groups(spans: Sequence[Span]) -> list[list[Span]]:
    """Single plain spans, and runs that form a tuplet."""
    groups: list[list[Span]] = []
    inside = False
    for span in spans:
        if inside:
            groups[-1].append(span)
        else:
            groups.append([span])
        inside = _odd(span.end) > 1
    return groups


def _print_group(group: Sequence[Span], start: Fraction) -> list[Printed]:
    actual = math.lcm(*(_odd(value) for span in group for value in (span.length, span.end)))
    if actual == 1:
        return [piece for span in group for piece in _split(span, start)]
    normal = 1 << (actual.bit_length() - 1)
    factor, first = Fraction(actual, normal), group[0].onset
    pieces: list[Printed] = []
    for span in group:
        for part in _split(Span((span.onset - first) * factor, span.length * factor, span.what), Fraction(0)):
            onset, length = first + part.onset / factor, part.length / factor
            pieces.append(replace(part, onset=onset, length=length, ratio=(actual, normal)))
    if len(pieces) > 1 and _odd(group[-1].end) == 1:
        pieces[0] = replace(pieces[0], bracket=("start",))
        pieces[-1] = replace(pieces[-1], bracket=("stop",))
    return pieces


def _split(span: Span, start: Fraction) -> list[Printed]:
    """One note where it reads well, else two at the strongest place inside."""
    kind = type_of(span.length)
    if kind is not None:
        base = span.length / (2 - Fraction(1, 2 ** kind[1]))
        if (span.onset + start) % (base / 2) == 0:
            return [Printed(span.onset, span.length, span.what, kind[0], kind[1])]
    if span.length < Fraction(1, 256):
        return [Printed(span.onset, span.length, span.what, "")]
    cut = _strongest(span.onset + start, span.end + start) - start
    left, right = Span(span.onset, cut - span.onset, span.what), Span(cut, span.end - cut, span.what)
    return [*_split(left, start), *_split(right, start)]


def _strongest(left: Fraction, right: Fraction) -> Fraction:
    """The place strictly between two that is a multiple of the largest power of two; the middle at worst."""
    unit = Fraction(64)
    while unit > Fraction(1, 4096):
        place = (left // unit + 1) * unit
        if place < right:
            return place
        unit /= 2
    return (left + right) / 2


def _tied(pieces: Sequence[Printed]) -> list[Printed]:
    return [
        replace(
            piece,
            tied_in=index > 0 and pieces[index - 1].what == piece.what and piece.what >= 0,
            tied_out=index + 1 < len(pieces) and pieces[index + 1].what == piece.what and piece.what >= 0,
        )
        for index, piece in enumerate(pieces)
    ]


def _beam_span(meter: Meter) -> Fraction:
    """Notes within this length of the bar share a beam."""
    if (meter.beats, meter.unit) == (3, 8):
        return Fraction(3, 2)
    return meter.beat if meter.unit >= 8 and meter.beat > 1 else Fraction(1)


def _beamed(pieces: Sequence[Printed], meter: Meter, start: Fraction) -> list[Printed]:
    span = _beam_span(meter)
    groups: list[list[int]] = []
    previous: int | None = None
    for index, piece in enumerate(pieces):
        if piece.what < 0 or piece.kind not in FLAGS:
            previous = None
            continue
        beat = (piece.onset + start) // span
        if previous is not None and previous == beat:
            groups[-1].append(index)
        else:
            groups.append([index])
        previous = beat
    result = list(pieces)
    for group in groups:
        if len(group) > 1:
            levels = [FLAGS[pieces[index].kind] for index in group]
            for at, index in enumerate(group):
                result[index] = replace(pieces[index], beams=tuple(_beams(levels, at)))
    return result


def _beams(levels: Sequence[int], at: int) -> list[str]:
    words = []
    for level in range(1, levels[at] + 1):
        left = at > 0 and levels[at - 1] >= level
        right = at + 1 < len(levels) and levels[at + 1] >= level
        if left and right:
            words.append("continue")
        elif right:
            words.append("begin")
        elif left:
            words.append("end")
        else:
            words.append("forward hook" if at == 0 else "backward hook")
    return words
