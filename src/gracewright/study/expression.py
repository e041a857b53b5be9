"""Cues for expression and the tension curve.

Conventions: weights of cues and tension lie in [0, 1]. Common practice, no source: long notes, high points, chromatic
steps, leaps, falling seconds on strong places (sighs), notes over a diminished seventh or a Neapolitan chord.

Public: find_cues, tension_curve.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.score import Tone
from gracewright.study.material import Material
from gracewright.study.model import Cue, Harmony, NoteRole, Phrase
from gracewright.study.numerals import place_of

DIMINISHED: Final = frozenset({(3, 6), (4, 6), (6, 9), (3, 4)})
"""Leaps in staff places and semitones: tritones, the diminished seventh and the diminished fourth."""


def find_cues(
    material: Material, harmony: Sequence[Harmony], roles: Sequence[NoteRole], phrases: Sequence[Phrase]
) -> tuple[Cue, ...]:
    """Candidates for expression, in order of the notes."""
    melody, weights = material.melody, material.melody_weights
    lengths = (material.melody_ends - material.melody_onsets).tolist()
    beats = [max(1, material.line.ticks(bar.meter.beat)) for bar in material.piece.bars]
    peaks = _peaks(material, phrases)
    found = []
    for index, (tone, role) in enumerate(zip(melody, roles, strict=True)):
        long = lengths[index] / beats[tone.bar]
        if long >= 2:
            found.append(Cue(tone.id, "long", min(1.0, long / 4)))
        if index in peaks:
            found.append(Cue(tone.id, "high point", 0.8))
        if index and not tone.rest_before:
            found += _approach(melody[index - 1], tone)
        if index + 1 < len(melody) and tone.pitch.diatonic - melody[index + 1].pitch.diatonic == 1:
            ends = melody[index + 1].rest_after or tone.marks.slur_starts
            leans = ends or role.role in ("appoggiatura", "suspension")
            if leans and role.metre_weight > weights[index + 1]:
                found.append(Cue(tone.id, "sigh", 0.6))
        chord = harmony[role.harmony] if 0 <= role.harmony < len(harmony) else None
        if chord is not None and role.metre_weight >= 0.25:
            if chord.quality == "diminished seventh":
                found.append(Cue(tone.id, "diminished seventh", 0.7))
            if chord.quality == "major" and place_of(chord.root) - chord.key.tonic_fifths == -5:
                found.append(Cue(tone.id, "Neapolitan", 0.9))
    return tuple(found)


def _approach(before: Tone, tone: Tone) -> list[Cue]:
    """Cues in the interval that leads to a tone."""
    step = tone.pitch.diatonic - before.pitch.diatonic
    half = tone.pitch.midi - before.pitch.midi
    found = []
    if step == 0 and half:
        found.append(Cue(tone.id, "chromatic step", 0.7))
    if abs(step) >= 5 and abs(half) != 12:
        found.append(Cue(tone.id, "leap", min(1.0, abs(step) / 8)))
    if (abs(step), abs(half)) in DIMINISHED:
        found.append(Cue(tone.id, "diminished leap", 0.8))
    return found


def _peaks(material: Material, phrases: Sequence[Phrase]) -> set[int]:
    """Indices of the highest tone of each phrase, where it is heard once."""
    onsets = material.melody_onsets
    peaks = set()
    for phrase in phrases:
        first, stop = np.searchsorted(onsets, [material.line.ticks(phrase.start), material.line.ticks(phrase.end)])
        heights = [tone.pitch.midi for tone in material.melody[first:stop]]
        if len(heights) >= 4 and heights.count(max(heights)) == 1:
            peaks.add(int(first) + heights.index(max(heights)))
    return peaks


def tension_curve(
    material: Material, harmony: Sequence[Harmony], roles: Sequence[NoteRole], home_fifths: int
) -> tuple[tuple[Fraction, float], ...]:
    """Tension at each bar: dissonance, register, distance from home and pace of the harmony, in equal shares."""
    bars = material.piece.bars
    rough: list[list[float]] = [[] for _ in bars]
    height: list[list[float]] = [[] for _ in bars]
    for tone, role in zip(material.melody, roles, strict=True):
        rough[tone.bar].append(role.dissonance)
        height[tone.bar].append(float(tone.pitch.midi))
    starts = material.ticks_of(chord.onset for chord in harmony)
    edges = material.line.bar_start
    firsts = np.searchsorted(starts, edges[:-1], side="right") - 1
    stops = np.searchsorted(starts, edges[1:])
    everything = [pitch for row in height for pitch in row]
    low, span = min(everything), max(1.0, max(everything) - min(everything))
    curve = []
    for bar in bars:
        inside = harmony[max(0, int(firsts[bar.index])) : int(stops[bar.index])]
        far = max((abs(chord.key.signature - home_fifths) for chord in inside), default=0)
        pace = len(inside) / max(1.0, float(bar.meter.length / bar.meter.beat))
        dissonant = sum(rough[bar.index]) / max(1, len(rough[bar.index]))
        register = (sum(height[bar.index]) / len(height[bar.index]) - low) / span if height[bar.index] else 0.0
        seventh = any(chord.quality in ("diminished seventh", "half-diminished seventh") for chord in inside)
        value = 0.25 * (min(1.0, 2.5 * dissonant) + register + min(1.0, far / 4) + min(1.0, pace / 2)) + 0.1 * seventh
        curve.append((bar.onset, round(min(1.0, value), 3)))
    return tuple(curve)
