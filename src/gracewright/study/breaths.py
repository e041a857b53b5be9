"""Places to breathe inside a phrase that is longer than a breath.

Conventions: common practice, no source. Good places follow a long note, stand before a leap, after the first note of
a strong beat, or between the legs of a sequence, and take their time from the note before; bad ones tear a slur, or
fall before a downbeat; none stands between a cadence's dominant and its arrival. The set of places with the least
cost is found by dynamic programming over the phrase. A player who needs no breath may read them as commas.

Public: find_breaths.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

from gracewright.score import Tone
from gracewright.study.material import Material
from gracewright.study.model import Breath

LONGEST: Final = 8.0  # seconds played in one breath without thinking of it
SHORTEST: Final = 3.0  # seconds between two breaths that nobody wants closer
EACH: Final = 3.0  # cost of any breath
TOO_LONG: Final = 6.0  # cost of a second beyond these
TOO_SHORT: Final = 2.0
NEVER: Final = 1e6
LEAP: Final = 3  # staff places: a fourth


@dataclass(frozen=True)
class _Place:
    """After a tone: what a breath costs there, and what speaks for it."""

    cost: float
    reason: str


def find_breaths(
    material: Material, first: int, last: int, tempo: Fraction, closing: Sequence[tuple[Fraction, Fraction]],
    legs: frozenset[Fraction], ends: Sequence[float],
) -> tuple[Breath, ...]:  # fmt: skip
    """Breaths within the phrase of melody tones ``first`` to ``last``; none where it lasts one breath.

    ``closing`` are spans in which no breath falls, ``legs`` beginnings of a sequence's legs, ``ends`` how likely a
    phrase ends with each of these tones.
    """
    melody = material.melody[first : last + 1]
    second = 60 / float(tempo)
    if float(melody[-1].end - melody[0].onset) * second <= LONGEST:
        return ()
    slurred = _slurred(melody)
    places = [
        _place(material, tone, melody[index + 1], slurred[index], closing, legs, ends[index])
        for index, tone in enumerate(melody[:-1])
    ]
    begins = [float(tone.onset) * second for tone in melody] + [float(melody[-1].end) * second]
    return tuple(
        Breath(melody[at].id, melody[at].end, round(begins[at + 1] - begins[begin], 2), places[at].reason)
        for begin, at in _chosen(places, begins)
    )


def _chosen(places: Sequence[_Place], begins: Sequence[float]) -> list[tuple[int, int]]:
    """The cheapest breaths: of each the tone with which its span begins and the tone after which it is taken."""
    best, back = [0.0], [0]
    for stop in range(1, len(begins)):
        least, chosen = NEVER * NEVER, 0
        for begin in range(stop - 1, -1, -1):
            span = begins[stop] - begins[begin]
            cost = best[begin] + TOO_LONG * max(0.0, span - LONGEST) + TOO_SHORT * max(0.0, SHORTEST - span)
            if cost < least:
                least, chosen = cost, begin
            if span > 4 * LONGEST:
                break
        best.append(least + (places[stop - 1].cost if stop <= len(places) else 0.0))
        back.append(chosen)
    found: list[tuple[int, int]] = []
    stop = back[-1]
    while stop > 0:
        found.append((back[stop], stop - 1))
        stop = back[stop]
    return found[::-1]


def _slurred(melody: Sequence[Tone]) -> list[bool]:
    """Whether each tone is bound to the next by a slur."""
    open_slurs: set[str] = set()
    bound = []
    for tone in melody:
        open_slurs = (open_slurs - set(tone.marks.slur_stops)) | set(tone.marks.slur_starts)
        bound.append(bool(open_slurs))
    return bound


def _place(
    material: Material, tone: Tone, ahead: Tone, slurred: bool, closing: Sequence[tuple[Fraction, Fraction]],
    legs: frozenset[Fraction], end: float,
) -> _Place:  # fmt: skip
    if any(begin < ahead.onset <= arrival for begin, arrival in closing):
        return _Place(NEVER, "")
    beat = material.piece.bars[tone.bar].meter.beat
    here, there = material.weight(tone.onset), material.weight(ahead.onset)
    favours = [
        (3.0, "a rest", bool(tone.rest_after)),
        (1.5, "a leg of the sequence ends", ahead.onset in legs),
        (1.5, "a long note", tone.length >= beat and tone.length > ahead.length),
        (0.7, "a leap follows", abs(ahead.pitch.diatonic - tone.pitch.diatonic) >= LEAP),
        (0.7, "the strong beat is over", here > there and here >= 0.5),
    ]
    cost = EACH - sum(worth for worth, _, holds in favours if holds) - 2 * end
    cost += 4.0 * slurred + 0.8 * (there == 1.0) + 0.6 * (tone.length < beat / 2)
    reason = next((words for _, words, holds in favours if holds), "the line divides here more easily than elsewhere")
    return _Place(max(cost, 0.1), reason)
