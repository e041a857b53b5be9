"""A plucked string: a short shape goes round a loop as long as one period and loses its edge.

Conventions: the loop is a whole number of samples, a six-tap filter that softens, and a fractional delay by
interpolation between the four nearest samples, chosen so that the loop's delay at the note's own frequency is exactly
one period. Every gain in the loop is below 1 at all frequencies, so it cannot grow.
The method is that of Karplus and Strong, Digital Synthesis of Plucked-String and Drum Timbres (1983), with the tuning
of Jaffe and Smith (1983).

Public: pluck.
"""

from __future__ import annotations

import cmath
from functools import lru_cache
from math import ceil, pi
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.sound.files import SAMPLE_RATE

Samples = NDArray[np.float64]
SOFTENING: Final = 0.06
"""Share of each neighbour that the loop mixes in per turn at A 220; more for low notes, whose turns are fewer."""
PLACE: Final = 0.13
"""Where the string is plucked, as a share of its length."""
HEARD: Final = 0.37
"""Where its movement is taken up, as a share of its length."""


def pluck(frequency: float, seconds: float, *, ring: float = 1.0) -> Samples:
    """A plucked note of unit peak. ``ring`` lengthens (above 1) or shortens its decay.

    The damper falls after ``seconds``; the samples returned go on for the short time that it takes.
    """
    whole = _string(frequency, ceil(seconds * 2 + 0.5) / 2, ring)
    size = min(len(whole), round((seconds + 0.08) * SAMPLE_RATE))
    out = whole[:size].copy()
    damper = min(size, round(0.08 * SAMPLE_RATE))
    out[size - damper :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, damper + 1) / damper)
    return out


@lru_cache(maxsize=512)
def _string(frequency: float, seconds: float, ring: float) -> Samples:
    size = round(seconds * SAMPLE_RATE)
    period = SAMPLE_RATE / frequency
    soft = min(0.24, SOFTENING * (220 / frequency) ** 0.5)
    turn = 10 ** (-3 / (frequency * ring * 5.0 * (220 / frequency) ** 0.6))
    taps, whole = _loop(period, soft, 2 * pi / period)
    taps = taps * turn
    first = len(taps) + whole  # silence before the note for the taps to reach back to
    shape = _shape(period)
    step = whole  # no longer than the shortest way round, so that all a turn needs is known
    room = np.zeros(first + size)
    room[first : first + min(len(shape), size)] = shape[:size]
    for start in range(first, first + size, step):
        end = min(start + step, first + size)
        past = room[start - whole - len(taps) + 1 : end - whole]
        room[start:end] += np.convolve(past, taps, "valid")
    note = room[first:]
    note = note * np.minimum(1, np.arange(size) / (0.0015 * SAMPLE_RATE))
    result: Samples = note / np.max(np.abs(note))
    result.flags.writeable = False
    return result


def _loop(period: float, soft: float, omega: float) -> tuple[Samples, int]:
    """Taps, and the delay of the first of them, for a loop of exactly one period at ``omega`` radians a sample."""
    softener = np.array([soft, 1 - 2 * soft, soft])
    whole = int(period) - 2  # the softener delays by one sample, the interpolation by between one and two
    delay = period - whole - 1
    taps = softener
    for _ in range(3):  # the interpolation is exact only near 0 Hz: mend what it misses at the note itself
        taps = np.convolve(softener, _between(delay))
        response = sum(tap * cmath.exp(-1j * omega * k) for k, tap in enumerate(taps))
        delay += period - whole + cmath.phase(response) / omega
    return taps, whole


def _between(delay: float) -> Samples:
    """Four taps that delay by ``delay`` samples (between 1 and 2): Lagrange's interpolation."""
    return np.array([
        np.prod([(delay - other) / (tap - other) for other in range(4) if other != tap]) for tap in range(4)
    ])  # fmt: skip


def _shape(period: float) -> Samples:
    """One period of a string pulled aside at ``PLACE``, let go, and heard at ``HEARD``; its corners rounded."""
    size = round(period)
    near = max(1, round(PLACE * size))
    shape = np.full(size, -near / max(1, size - near))
    shape[:near] = 1.0
    shape -= np.roll(shape, round(HEARD * size))
    rounding = np.hanning(5)[1:-1]
    return np.convolve(shape, rounding / rounding.sum(), "same")
