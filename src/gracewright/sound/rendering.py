"""A version made to sound, and where each note of the solo lies in it.

Conventions: mono float32 samples at SAMPLE_RATE; time 0 is the first moment of the version as played; after its end the
sound rings on for ``TAIL`` seconds. Levels are fixed, so that excerpts of one version are equally loud; a moment that
would be louder than ``PEAK`` is turned down by itself, gently before and after.

Public: render, time_map, held_down, PEAK, TAIL.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from fractions import Fraction
from functools import cache
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.graces.model import PlayedNote, Version
from gracewright.instruments import load_instrument
from gracewright.sound.continuo import chords
from gracewright.sound.files import SAMPLE_RATE
from gracewright.sound.pluck import pluck
from gracewright.sound.temperaments import A_415, Temperament, load_temperament
from gracewright.sound.tone import Samples, Step, Stroke, Tone, level_of, load_tone, sound_of
from gracewright.study.model import Study

PEAK: Final = 10 ** (-1 / 20)
"""The highest sample there may be: 1 dB under full scale."""
FRAME: Final = 441
"""Samples over which loudness is judged where a moment is turned down."""
BLOCK: Final = 1 << 17
TAIL: Final = 1.0
SOLO, BASS, CHORD, OTHER = level_of(-15), level_of(-12), level_of(-21), level_of(-14)
ROOM: Final = level_of(-17)
"""How loud the room answers, against the sound itself."""
SPREAD: Final = 0.018
"""Seconds between two notes of a chord, rolled from below."""
GAP: Final = (Fraction(1, 40), Fraction(1, 5))
"""Silence of the tongue before a tongued note: seconds, and at most this share of the note before it. Before a strong
beat it is twice as long: good notes are set off from bad ones (common practice)."""
ACCENT: Final = 1.5
"""dB between a note on the strongest beat of the bar and one on the weakest place."""


def render(
    version: Version,
    *,
    tempo: Fraction,
    a: float = A_415,
    temperament: str = "vallotti",
    instrument: str = "alto-recorder",
    bass: str = "",
    continuo: bool = True,
    study: Study | None = None,
    solo: bool = True,
    others: bool = True,
) -> NDArray[np.float32]:
    """The sound of a version at ``tempo`` quarters a minute.

    The solo line sounds as ``instrument``; the part called ``bass`` (the study's, if not named) is plucked, and with a
    ``study`` bears a chord for each harmony; all other parts are played plain. ``solo``, ``continuo`` and ``others``
    say which of them sound. Raises BadInput for an unknown temperament or instrument.
    """
    tuning = load_temperament(temperament)
    second = SAMPLE_RATE * 60 / tempo  # samples a quarter, exact
    weights = {role.note: role.metre_weight for role in study.roles} if study else {}
    out = np.zeros(round(version.length * second) + round(TAIL * SAMPLE_RATE))
    parts: dict[str, list[PlayedNote]] = {}
    for note in version.notes:
        parts.setdefault(note.part, []).append(note)
    named = bass or (study.bass if study else "")
    bass = named if named in parts else named.partition("/")[0]  # a keyboard part whose lower staff is the bass
    if continuo and bass in parts and bass != version.solo:
        _add_bass(out, parts[bass], second, tuning, a)
        if study is not None and study.harmony and bass == named:
            _add_chords(out, version, study, bass, second, tuning, a)
    for part, notes in parts.items():
        if part == version.solo and solo:
            _add_line(out, notes, load_tone(load_instrument(instrument).tone), SOLO, second, tuning, a, weights)
        elif part not in (version.solo, bass) and others:
            _add_line(out, notes, load_tone("plain"), OTHER, second, tuning, a, {})
    out += ROOM * in_room(out)
    fade = round(0.2 * SAMPLE_RATE)
    out[-fade:] *= np.linspace(1, 0, fade)
    return held_down(out).astype(np.float32)


def held_down(samples: Samples) -> Samples:
    """The samples with every moment louder than ``PEAK`` turned down, over some hundredths of a second about it."""
    if np.max(np.abs(samples), initial=0.0) <= PEAK:
        return samples
    frames = -(-len(samples) // FRAME)
    padded = np.zeros(frames * FRAME)
    padded[: len(samples)] = np.abs(samples)
    gain = np.minimum(1.0, PEAK / np.maximum(padded.reshape(frames, FRAME).max(axis=1), 1e-9))
    around = np.lib.stride_tricks.sliding_window_view(np.pad(gain, 3, mode="edge"), 7)
    lowest = around.min(axis=1)  # three frames to each side: two are smoothed over, one interpolated
    smooth = np.convolve(np.pad(lowest, 2, mode="edge"), np.ones(5) / 5, "valid")
    places = (np.arange(len(samples)) - FRAME / 2) / FRAME
    return samples * np.interp(places, np.arange(frames), smooth)


def time_map(version: Version, *, tempo: Fraction) -> tuple[tuple[float, str, Fraction, int], ...]:
    """Where each note of the solo begins: seconds, its host's id, the place on the page in quarters, time through."""
    return tuple(
        (float(note.onset * 60 / tempo), note.host, note.page_onset, note.time_through)
        for note in version.notes
        if note.part == version.solo
    )


def strokes(
    notes: Sequence[PlayedNote], second: Fraction, tuning: Temperament, a: float, weights: Mapping[str, float]
) -> list[Stroke]:
    """A part's notes gathered into strokes; ``second`` is samples a quarter, ``weights`` metre weights by host's id.
    Notes that sound together go apart."""
    rows: list[list[PlayedNote]] = []
    for note in sorted(notes, key=lambda note: (note.onset, -note.pitch.midi)):
        joined = next((row for row in reversed(rows[-4:]) if row[-1].end == note.onset), None) if note.slurred else None
        if joined is None:
            rows.append([note])
        else:
            joined.append(note)
    weight_at = {row[0].onset: weights.get(row[0].host, 0.5) for row in rows}
    return [_stroke(row, weight_at.get(row[-1].end), second, tuning, a, weight_at[row[0].onset]) for row in rows]


def _stroke(row: Sequence[PlayedNote], next_weight: float | None, second: Fraction, tuning: Temperament, a: float,
            weight: float) -> Stroke:  # fmt: skip
    """One stroke; ``next_weight`` is the metre weight of what is tongued right after it, None where nothing is."""
    first = round(row[0].onset * second)
    edges = [round(note.onset * second) - first for note in row]
    last = round(row[-1].end * second) - first
    if next_weight is not None:
        gap = GAP[0] * SAMPLE_RATE * (2 if next_weight >= 0.5 else 1)
        last -= round(min(gap, row[-1].length * second * GAP[1]))
    steps = [
        Step(start, max(end, start + 1), tuning.frequency(note.pitch, a), note.bend, note.swell)
        for note, start, end in zip(row, edges, [*edges[1:], last], strict=True)
    ]
    return Stroke(first, tuple(steps), level_of(ACCENT * (weight - 0.5)))


def _add_line(out: Samples, notes: Sequence[PlayedNote], tone: Tone, level: float, second: Fraction,
              tuning: Temperament, a: float, weights: Mapping[str, float]) -> None:  # fmt: skip
    for stroke in strokes(notes, second, tuning, a, weights):
        _add(out, stroke.start, level * sound_of(stroke, tone))


def _add_bass(out: Samples, notes: Iterable[PlayedNote], second: Fraction, tuning: Temperament, a: float) -> None:
    for note in notes:
        seconds = float(note.length * second) / SAMPLE_RATE
        _add(out, round(note.onset * second), BASS * pluck(tuning.frequency(note.pitch, a), seconds, ring=1.3))


def _add_chords(out: Samples, version: Version, study: Study, bass: str, second: Fraction, tuning: Temperament,
                a: float) -> None:  # fmt: skip
    for struck in chords(version, study, bass):
        seconds = float(struck.length * second) / SAMPLE_RATE
        for place, pitch in enumerate(struck.pitches):
            late = SPREAD * (place + 1) if seconds > 0.3 else 0.0
            sound = CHORD * pluck(tuning.frequency(pitch, a), max(0.05, seconds - late), ring=0.8)
            _add(out, round(struck.onset * second) + round(late * SAMPLE_RATE), sound)


def _add(out: Samples, start: int, sound: Samples) -> None:
    if start < 0:
        sound, start = sound[-start:], 0
    end = min(len(out), start + len(sound))
    if end > start:
        out[start:end] += sound[: end - start]


def in_room(samples: Samples) -> Samples:
    """What the room answers: the samples convolved with its answer, block by block."""
    response = np.fft.rfft(_room(), BLOCK)
    step = BLOCK - len(_room()) + 1
    out = np.zeros(len(samples) + BLOCK)
    for start in range(0, len(samples), step):
        block = samples[start : start + step]
        if np.any(block):
            out[start : start + BLOCK] += np.fft.irfft(np.fft.rfft(block, BLOCK) * response, BLOCK)
    return out[: len(samples)]


@cache
def _room() -> Samples:
    """The answer of a small wooden room: noise that dies away within half a second, after a short silence."""
    size = round(0.5 * SAMPLE_RATE)
    seconds = np.arange(size) / SAMPLE_RATE
    answer = np.random.default_rng(415).standard_normal(size) * 10 ** (-3 * seconds / 0.45)
    answer[: round(0.009 * SAMPLE_RATE)] = 0
    answer = np.convolve(answer, np.hanning(9)[1:-1], "same")
    result: Samples = answer / np.sqrt(np.sum(answer**2))
    return result
