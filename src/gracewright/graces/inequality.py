"""Notes written equal and played long-short, and dotted notes played longer: printed and played length are two facts.

Conventions: pairs are found by their place in the beat, never by counting; a pair is two notes of the unequal value
of the metre that move by step, without a rest or a quicker note in their bar at that level. Dots, strokes, slurs over
more than two notes, leaps, repeated notes, syncopations and the word for equal cancel (``inequality.toml``). Bars keep
their length and pairs their span, so everything else stays where it is.

Public: Inequality, Span, uneven, unequal_value.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from importlib.resources import files
from itertools import pairwise
from typing import Any, NamedTuple

from gracewright.score import Meter, Piece, Tone


@dataclass(frozen=True, slots=True)
class Inequality:
    """How uneven: ``ratio`` of the first note to the second (2: two to one); ``overdot`` lengthens dotted notes."""

    ratio: Fraction = Fraction(2)
    overdot: bool = False


class Span(NamedTuple):
    """When a tone is played, in quarters of the page."""

    onset: Fraction
    length: Fraction


@cache
def _table() -> Mapping[str, Any]:
    return tomllib.loads(files("gracewright.graces").joinpath("inequality.toml").read_text(encoding="utf-8"))


@cache
def unequal_value(meter: Meter) -> Fraction | None:
    """The value, in quarters, that is unequal in a metre by the usual French rule; None where no rule is known.

    >>> unequal_value(Meter(3, 4)), unequal_value(Meter(4, 4)), unequal_value(Meter(2, 2, "cut"))
    (Fraction(1, 2), Fraction(1, 4), Fraction(1, 2))
    """
    names = {f"{meter.beats}/{meter.unit}"}
    if meter.symbol == "cut":
        names.add("cut")
    for row in _table()["metre"]:
        if names & set(row["metres"]):
            return Fraction(row["unequal"])
    return None


def uneven(piece: Piece, line: Sequence[Tone], how: Inequality, quarter: Fraction) -> dict[str, Span]:
    """Tone id → when it is played, for the tones of a line whose time changes. ``quarter`` is in seconds."""
    changed: dict[str, Span] = {}
    slurs = _slur_sizes(line)
    equal = _told_equal(piece)
    quicker = _quickest(line)
    for i, (first, second) in enumerate(pairwise(line)):
        if first.id in changed or first.bar != second.bar or second.rest_before:
            continue
        bar = piece.bars[first.bar]
        lead = bar.meter.length - bar.length if bar.pickup and bar.length < bar.meter.length else Fraction(0)
        place = first.onset - bar.onset + lead
        value = unequal_value(bar.meter)
        if value is not None and _is_pair(first, second, place, value) and not any(
            span[0] <= first.onset < span[1] for span in equal
        ):  # fmt: skip
            fit = quicker[first.bar] >= value and slurs[i] <= 2 and slurs[i + 1] <= 2
            if fit and float(value * quarter) >= _table()["cancels"]["least_seconds"]:
                _share(changed, first, second, how.ratio / (how.ratio + 1))
                continue
        if how.overdot and _is_dotted(first, second):
            _share(changed, first, second, Fraction(_table()["overdotting"]["share"]))
    return changed


def _share(changed: dict[str, Span], first: Tone, second: Tone, share: Fraction) -> None:
    together = first.length + second.length
    longer = together * share
    changed[first.id] = Span(first.onset, longer)
    changed[second.id] = Span(first.onset + longer, together - longer)


def _is_pair(first: Tone, second: Tone, place: Fraction, value: Fraction) -> bool:
    if first.length != value or second.length != value or (place / (2 * value)).denominator != 1:
        return False
    if abs(second.pitch.diatonic - first.pitch.diatonic) != 1:
        return False
    if first.marks.tuplet or second.marks.tuplet:
        return False
    dotted = set(_table()["cancels"]["articulations"])
    return not dotted & {*first.marks.articulations, *second.marks.articulations}


def _is_dotted(first: Tone, second: Tone) -> bool:
    longest = Fraction(_table()["overdotting"]["longest"])
    return first.length == 3 * second.length and second.length <= longest and not first.marks.tuplet


def _quickest(line: Iterable[Tone]) -> dict[int, Fraction]:
    """Bar → its shortest tone."""
    found: dict[int, Fraction] = {}
    for tone in line:
        found[tone.bar] = min(tone.length, found.get(tone.bar, tone.length))
    return found


def _slur_sizes(line: Sequence[Tone]) -> list[int]:
    """For each tone, how many tones its slur holds together (1 without a slur)."""
    sizes = [1] * len(line)
    begins: dict[str, int] = {}
    for i, tone in enumerate(line):
        for number in tone.marks.slur_stops:
            start = begins.pop(number, i)
            for j in range(start, i + 1):
                sizes[j] = max(sizes[j], i - start + 1)
        begins |= dict.fromkeys(tone.marks.slur_starts, i)
    return sizes


def _told_equal(piece: Piece) -> list[tuple[Fraction, Fraction]]:
    """Spans in which a word on the page asks for equal notes."""
    cancels = _table()["cancels"]
    spans: list[tuple[Fraction, Fraction]] = []
    since: Fraction | None = None
    for words in sorted((w for w in piece.words if w.kind == "words"), key=lambda w: w.onset):
        told = {word.strip(".,;:!()").lower() for word in words.text.split()}
        if told & set(cancels["restores"]) and since is not None:
            spans.append((since, words.onset))
            since = None
        elif told & set(cancels["words"]) and since is None:
            since = words.onset
    return [*spans, (since, piece.length)] if since is not None else spans
