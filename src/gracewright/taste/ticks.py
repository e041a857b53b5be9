"""Times of a piece as whole numbers, so that many can be compared at once.

Conventions: a tick is the largest part of a quarter of which all times are multiples. Where that would be absurdly
small (tuplets of many large primes), times are cut down to a fine grid: equal times stay equal.

Public: Ticks.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.score import Piece, Tone
from gracewright.study.model import Study
from gracewright.taste.beside import Voice

Ints = NDArray[np.int64]
FINEST: Final = 2**34
"""Ticks of a quarter at most; 2^28 quarters still fit a 64-bit number."""


@dataclass(frozen=True, eq=False)
class Ticks:
    """``quarter`` ticks make a quarter. The solo line's onsets, lengths and ends; for every other voice the starts and
    ends of its notes."""

    quarter: int
    onsets: Ints
    lengths: Ints
    ends: Ints
    voices: tuple[tuple[Ints, Ints], ...]

    @staticmethod
    def of(piece: Piece, study: Study, line: Sequence[Tone], voices: Sequence[Voice]) -> Ticks:
        """For all the times that occur in a piece and its study."""
        found = {tone.onset.denominator for tone in line} | {tone.length.denominator for tone in line}
        found |= {tone.rest_before.denominator for tone in line}
        for voice in voices:
            found |= {time.denominator for time in voice.starts} | {time.denominator for time in voice.ends}
        for bar in piece.bars:
            found |= {bar.onset.denominator, bar.length.denominator, bar.meter.beat.denominator}
            found.add(bar.meter.length.denominator)
        found |= {one.onset.denominator for one in study.harmony} | {one.end.denominator for one in study.harmony}
        quarter = min(math.lcm(*found), FINEST)
        none = np.zeros(0, dtype=np.int64)
        made = Ticks(quarter, none, none, none, ())
        onsets, lengths = made.many(tone.onset for tone in line), made.many(tone.length for tone in line)
        both = tuple((made.many(voice.starts), made.many(voice.ends)) for voice in voices)
        exact = quarter < FINEST  # else the sum of two times cut down is not the time of the sum cut down
        ends = onsets + lengths if exact else made.many(tone.end for tone in line)
        return Ticks(quarter, onsets, lengths, ends, both)

    def one(self, time: Fraction) -> int:
        """A time in ticks, cut down where it lies between two."""
        return time.numerator * self.quarter // time.denominator

    def many(self, times: Iterable[Fraction]) -> Ints:
        """Many times in ticks."""
        quarter = self.quarter
        return np.array([time.numerator * quarter // time.denominator for time in times], dtype=np.int64)
