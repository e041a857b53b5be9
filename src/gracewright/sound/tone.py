"""A melodic tone: one breath, bow or tongue stroke at a time, with the notes slurred in it.

Conventions: samples are float64 at SAMPLE_RATE until they are mixed; frequencies in Hz, levels in dB. The phase runs on
through a slur, so that a legato step is a short glide and never a click.

Public: Tone, Stroke, Step, load_tone, sound_of, level_of.
"""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.errors import BadInput
from gracewright.sound.files import SAMPLE_RATE

Samples = NDArray[np.float64]
GLIDE: Final = 0.006
"""Seconds that a slurred step takes: fingers of good players close a hole in about 10 ms (arXiv 0903.4012)."""
CHIFF: Final = 0.030
"""Seconds of the noise at a tongued onset."""
VIBRATO_DELAY: Final = 0.12
"""Seconds before a finger vibrato begins, and that it takes to grow."""
LEAN: Final = (1.06, 0.86)
"""A slur leans on its beginning and lets its end go: an appoggiatura is louder than its note (common practice)."""
NOISE_SECONDS: Final = 6
HIGHEST: Final = 0.45
"""Partials above this share of the sample rate are left away."""


@dataclass(frozen=True, slots=True)
class Tone:
    """A kind of sound; levels in dB, times in seconds. See ``tones.toml``."""

    id: str
    partials: tuple[float, ...]
    low_rich: float
    formants: tuple[tuple[float, float, float], ...]
    breath: float
    chiff: float
    attack: float
    release: float
    bloom: float
    loud_high: float
    level: float


@dataclass(frozen=True, slots=True)
class Step:
    """One note within a stroke: ``start`` and ``end`` in samples from the stroke's first."""

    start: int
    end: int
    frequency: float
    bend: tuple[float, float] | None = None  # depth in cents (negative: below), rate in Hz
    swell: bool = False


@dataclass(frozen=True, slots=True)
class Stroke:
    """Notes on one stroke of the tongue: the first tongued, the others slurred to it. ``start`` in samples."""

    start: int
    steps: tuple[Step, ...]
    gain: float = 1.0

    @property
    def length(self) -> int:
        return self.steps[-1].end


@cache
def load_tone(name: str) -> Tone:
    """A tone by name. Raises BadInput."""
    table = tomllib.loads((resources.files("gracewright.sound") / "tones.toml").read_text(encoding="utf-8"))
    if name not in table:
        raise BadInput(f"no tone is called {name!r}", remedy=f"choose one of {', '.join(table)}")
    entry = table[name]
    return Tone(
        name, tuple(map(float, entry["partials"])), entry["low_rich"], tuple(map(tuple, entry["formants"])),
        entry["breath"], entry["chiff"], entry["attack"] / 1000, entry["release"] / 1000, entry["bloom"],
        entry["loud_high"], entry["level"],
    )  # fmt: skip


def sound_of(stroke: Stroke, tone: Tone) -> Samples:
    """The samples of one stroke, from its first to its last; ends in silence."""
    pitch = _pitch_curve(stroke)
    phase = np.cumsum(2 * np.pi / SAMPLE_RATE * pitch)
    cosine, sine = 2 * np.cos(phase), np.sin(phase)
    out = np.empty(stroke.length)
    glide = round(GLIDE * SAMPLE_RATE)
    before: NDArray[np.float64] | None = None
    for step in stroke.steps:
        weights = partial_weights(tone, step.frequency)
        span = slice(step.start, step.end)
        out[span] = _partials(cosine[span], sine[span], weights)
        if before is not None:
            joint = slice(step.start, min(step.start + glide, step.end))
            fade = np.linspace(0, 1, joint.stop - joint.start, endpoint=False)
            out[joint] = fade * out[joint] + (1 - fade) * _partials(cosine[joint], sine[joint], before)
        before = weights
    envelope = _envelope(stroke, tone)
    out *= envelope
    if tone.breath > -60:
        out += envelope * level_of(tone.breath) * _noise("air", stroke.length, stroke.start)
    size = min(round(CHIFF * SAMPLE_RATE), stroke.length)
    if tone.chiff > -60:
        burst = np.sin(np.pi * np.arange(size) / size) ** 2 * (1 - np.arange(size) / size)
        out[:size] += burst * 2 * level_of(tone.chiff) * _noise("tongue", size, stroke.start)
    return out * (stroke.gain * level_of(tone.level))


@cache
def partial_weights(tone: Tone, frequency: float) -> NDArray[np.float64]:
    """Amplitudes of the partials of a note; their root sum of squares is set by the height of the note."""
    octaves = np.log2(frequency / 415.0)
    number = np.arange(1, len(tone.partials) + 1)
    decibels = np.array(tone.partials) - np.where(number > 1, tone.low_rich * octaves, 0.0)
    for centre, width, gain in tone.formants:
        decibels = decibels + gain * np.exp(-(((number * frequency - centre) / width) ** 2))
    amplitudes = np.where(number * frequency < HIGHEST * SAMPLE_RATE, 10 ** (decibels / 20), 0.0)
    loud = level_of(tone.loud_high * float(np.clip(octaves, -1.5, 2)))
    weights: NDArray[np.float64] = amplitudes * loud / np.sqrt(np.sum(amplitudes**2))
    return weights


def level_of(decibels: float) -> float:
    """The factor on the amplitude."""
    return float(10 ** (decibels / 20))


def _pitch_curve(stroke: Stroke) -> Samples:
    """Hz at every sample: steps with a short glide, and the finger vibrato, which goes below the note only."""
    pitch = np.empty(stroke.length)
    glide = round(GLIDE * SAMPLE_RATE)
    before = 0.0
    for step in stroke.steps:
        pitch[step.start : step.end] = step.frequency
        if before:
            size = min(glide, step.end - step.start)
            ease = 0.5 - 0.5 * np.cos(np.pi * np.arange(size) / size)
            pitch[step.start : step.start + size] = before * (step.frequency / before) ** ease
        if step.bend is not None:
            depth, rate = step.bend
            seconds = np.arange(step.end - step.start) / SAMPLE_RATE
            grown = np.clip(seconds / VIBRATO_DELAY - 1, 0, 1)
            wave = 0.5 - 0.5 * np.cos(2 * np.pi * rate * np.maximum(seconds - VIBRATO_DELAY, 0))
            pitch[step.start : step.end] *= 2 ** (-abs(depth) * grown * wave / 1200)
        before = step.frequency
    return pitch


def _partials(cosine: Samples, sine: Samples, weights: NDArray[np.float64]) -> Samples:
    """Sum of sines by the recurrence sin(kx) = 2 cos x sin((k-1)x) - sin((k-2)x)."""
    out: Samples = weights[0] * sine
    lower, this = np.zeros_like(sine), sine
    for weight in weights[1:]:
        lower, this = this, cosine * this - lower
        if weight > 1e-5:
            out += weight * this
    return out


def _envelope(stroke: Stroke, tone: Tone) -> Samples:
    size = stroke.length
    attack = min(round(tone.attack * SAMPLE_RATE), max(1, size // 3))
    release = min(round(tone.release * SAMPLE_RATE), max(1, size // 3))
    envelope = np.ones(size)
    for step in stroke.steps:
        place = np.linspace(0, 1, step.end - step.start, endpoint=False)
        if step.swell:
            envelope[step.start : step.end] = 0.55 + 0.65 * np.sin(np.pi * place**0.9) ** 2
        elif step.end - step.start > SAMPLE_RATE // 5:
            envelope[step.start : step.end] = 1 + tone.bloom * (np.sin(np.pi * place) - 0.35 * place)
        if step.bend is not None:
            seconds = place * (step.end - step.start) / SAMPLE_RATE
            wave = 0.5 - 0.5 * np.cos(2 * np.pi * step.bend[1] * np.maximum(seconds - VIBRATO_DELAY, 0))
            envelope[step.start : step.end] *= 1 - 0.12 * wave
    _smooth_joints(envelope, stroke.steps)
    if len(stroke.steps) > 1:
        envelope *= np.linspace(*LEAN, size)
    envelope[:attack] *= 0.5 - 0.5 * np.cos(np.pi * np.arange(attack) / attack)
    envelope[size - release :] *= 0.5 + 0.5 * np.cos(np.pi * np.arange(1, release + 1) / release)
    return envelope


def _smooth_joints(envelope: Samples, steps: Sequence[Step]) -> None:
    """Where two notes of a slur meet, the later one begins at the level the earlier one ended with."""
    for before, step in pairwise(steps):
        size = min(round(0.02 * SAMPLE_RATE), (step.end - step.start) // 2)
        gap = envelope[before.end - 1] - envelope[step.start]
        envelope[step.start : step.start + size] += gap * (0.5 + 0.5 * np.cos(np.pi * np.arange(size) / size))


def _noise(kind: str, size: int, start: int) -> Samples:
    """A stretch of filtered noise of unit power; the same for the same place."""
    tape = _tape(kind)
    first = start % (len(tape) // 2)
    if first + size <= len(tape):
        return tape[first : first + size]
    return np.resize(np.roll(tape, -first), size)


@cache
def _tape(kind: str) -> Samples:
    low, high = (700.0, 6000.0) if kind == "air" else (1500.0, 9000.0)
    spectrum = np.fft.rfft(np.random.default_rng(1707).standard_normal(NOISE_SECONDS * SAMPLE_RATE))
    hertz = np.fft.rfftfreq(NOISE_SECONDS * SAMPLE_RATE, 1 / SAMPLE_RATE)
    slopes = 1 / ((1 + (low / np.maximum(hertz, 1.0)) ** 4) * (1 + (hertz / high) ** 4))
    tape = np.fft.irfft(spectrum * slopes)
    result: Samples = tape / np.sqrt(np.mean(tape**2))
    return result
