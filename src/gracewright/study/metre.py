"""Metrical weight: how strong a place in the bar is.

Conventions: level 0 is the downbeat, each further level one division finer (half bar, beat, half beat …); the weight
of a level is a power of two (1, 0.5, 0.25 …). A pickup bar is counted from the end of the notional full bar.

Public: levels_of, level_at, weight_at, offset_in.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cache
from typing import Final

from gracewright.score import Bar, Meter

FINEST: Final = 7


@cache
def levels_of(meter: Meter) -> tuple[Fraction, ...]:
    """Spans in quarters of each metrical level, the bar first.

    >>> [str(span) for span in levels_of(Meter(4, 4))][:4], [str(span) for span in levels_of(Meter(6, 8))][:4]
    (['4', '2', '1', '1/2'], ['3', '3/2', '1/2', '1/4'])
    """
    spans = [meter.length]
    while spans[-1] > meter.beat:
        beats = spans[-1] / meter.beat
        spans.append(spans[-1] / (2 if beats % 2 == 0 else beats))
    if meter.beat * meter.unit == 12:
        spans.append(meter.beat / 3)
    while len(spans) <= FINEST:
        spans.append(spans[-1] / 2)
    return tuple(spans)


def offset_in(bar: Bar, onset: Fraction) -> Fraction:
    """Distance from the notional downbeat."""
    offset = onset - bar.onset
    if bar.pickup and bar.length < bar.meter.length:
        offset += bar.meter.length - bar.length
    return offset


def level_at(bar: Bar, onset: Fraction) -> int:
    """Metrical level of a time: 0 downbeat, 1 next …"""
    offset = offset_in(bar, onset)
    for level, span in enumerate(levels_of(bar.meter)):
        if offset % span == 0:
            return level
    return FINEST + 1


def weight_at(bar: Bar, onset: Fraction) -> float:
    """Metrical weight of a time: 1 on the downbeat, then powers of two.

    >>> bar = Bar(0, "1", Fraction(0), Fraction(4), Meter(4, 4), 0)
    >>> [weight_at(bar, Fraction(beat)) for beat in range(4)]
    [1.0, 0.25, 0.5, 0.25]
    """
    return 0.5 ** level_at(bar, onset)
