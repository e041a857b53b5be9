"""Measuring sound without the project's help: pitch by the peaks of a spectrum, and versions made by hand."""

from fractions import Fraction

import numpy as np
import pytest

from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.pitch import Pitch

RATE = 44100


@pytest.fixture(scope="session")
def measured():
    """Frequency in Hz near an expected one: peak of a Hann-windowed spectrum, parabola through its logarithms."""

    def frequency(samples, near):
        window = np.hanning(len(samples))
        size = 4 * len(samples)
        spectrum = np.abs(np.fft.rfft(samples * window, size))
        low, high = int(near * 0.97 * size / RATE), int(near * 1.03 * size / RATE)
        peak = low + int(np.argmax(spectrum[low:high]))
        a, b, c = np.log(spectrum[peak - 1 : peak + 2])
        return (peak + (a - c) / (2 * (a - 2 * b + c))) * RATE / size

    return frequency


@pytest.fixture(scope="session")
def version():
    """A version from rows ``(part, onset, length, name, …PlayedNote fields)``; the solo is P1."""

    def make(*rows, **fields):
        notes = tuple(
            PlayedNote(part, Fraction(onset), Fraction(length), Pitch.parse(name), f"{part}n{i}", Fraction(onset), 1,
                       **(more[0] if more else {}))
            for i, (part, onset, length, name, *more) in enumerate(rows)
        )  # fmt: skip
        end = max(note.end for note in notes)
        return Version("P1", (Pass(0, 0, 1, Fraction(0), Fraction(0), end),), notes, {}, **fields)

    return make
