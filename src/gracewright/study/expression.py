"""Cues for expression and the tension curve.

Conventions: weights of cues and tension lie in [0, 1]. Common practice, no source: long notes, high points, chromatic
steps, leaps, falling seconds on strong places (sighs), notes over a diminished seventh or a Neapolitan chord.

Public: find_cues, tension_curve.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from gracewright.pitch import fifths_of
from gracewright.study.material import Material
from gracewright.study.model import Cue, Harmony, NoteRole, Phrase


def find_cues(
    material: Material, harmony: Sequence[Harmony], roles: Sequence[NoteRole], phrases: Sequence[Phrase]
) -> tuple[Cue, ...]:
    """Candidates for expression, in order of the notes."""
    melody = material.melody
    peaks = _peaks(material, phrases)
    found = []
    for index, (tone, role) in enumerate(zip(melody, roles, strict=True)):
        beat = material.bar_at(tone.onset).meter.beat
        if tone.length >= 2 * beat:
            found.append(Cue(tone.id, "long", min(1.0, float(tone.length / beat) / 4)))
        if tone.id in peaks:
            found.append(Cue(tone.id, "high point", 0.8))
        before = melody[index - 1] if index and not tone.rest_before else None
        if before is not None:
            step = tone.pitch.diatonic - before.pitch.diatonic
            half = tone.pitch.midi - before.pitch.midi
            if step == 0 and half:
                found.append(Cue(tone.id, "chromatic step", 0.7))
            if abs(step) >= 5 and abs(half) != 12:
                found.append(Cue(tone.id, "leap", min(1.0, abs(step) / 8)))
            if (abs(step), abs(half)) in ((3, 6), (4, 6), (6, 9), (3, 4)):
                found.append(Cue(tone.id, "diminished leap", 0.8))
        if index + 1 < len(melody) and tone.pitch.diatonic - melody[index + 1].pitch.diatonic == 1:
            later = melody[index + 1]
            ends = later.rest_after or "slur" in "".join(tone.marks.slur_starts)
            leans = ends or role.role in ("appoggiatura", "suspension")
            if leans and role.metre_weight > material.weight(later.onset):
                found.append(Cue(tone.id, "sigh", 0.6))
        chord = harmony[role.harmony] if 0 <= role.harmony < len(harmony) else None
        if chord is not None and role.metre_weight >= 0.25:
            if chord.quality == "diminished seventh":
                found.append(Cue(tone.id, "diminished seventh", 0.7))
            if chord.quality == "major" and fifths_of(chord.root) - chord.key.tonic_fifths == -5:
                found.append(Cue(tone.id, "Neapolitan", 0.9))
    return tuple(found)


def _peaks(material: Material, phrases: Sequence[Phrase]) -> set[str]:
    """The highest tone of each phrase, where it is heard once."""
    onsets = [tone.onset for tone in material.melody]
    peaks = set()
    for phrase in phrases:
        first, stop = bisect_right(onsets, phrase.start) - 1, bisect_right(onsets, phrase.end - Fraction(1, 64))
        inside = material.melody[max(0, first) : stop]
        if len(inside) < 4:
            continue
        highest = max(tone.pitch.midi for tone in inside)
        top = [tone for tone in inside if tone.pitch.midi == highest]
        if len(top) == 1:
            peaks.add(top[0].id)
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
    starts = [chord.onset for chord in harmony]
    everything = [pitch for row in height for pitch in row]
    low, span = min(everything), max(1.0, max(everything) - min(everything))
    curve = []
    for bar in bars:
        first, stop = bisect_right(starts, bar.onset) - 1, bisect_right(starts, bar.end - Fraction(1, 64))
        inside = harmony[max(0, first) : stop]
        far = max((abs(chord.key.signature - home_fifths) for chord in inside), default=0)
        pace = len(inside) / max(1.0, float(bar.meter.length / bar.meter.beat))
        dissonant = sum(rough[bar.index]) / max(1, len(rough[bar.index]))
        register = (sum(height[bar.index]) / len(height[bar.index]) - low) / span if height[bar.index] else 0.0
        seventh = any(chord.quality in ("diminished seventh", "half-diminished seventh") for chord in inside)
        value = 0.25 * (min(1.0, 2.5 * dissonant) + register + min(1.0, far / 4) + min(1.0, pace / 2)) + 0.1 * seventh
        curve.append((bar.onset, round(min(1.0, value), 3)))
    return tuple(curve)
