"""What each melody note does: chord note or which dissonance, how strong, prepared and resolved or not.

Conventions: the names are the trade's (common practice, no source): passing and neighbour notes move by step, a
suspension is held or struck again on a strong place and falls by step, an appoggiatura is struck on a strong place
without preparation and moves by step, an escape note leaves by leap against the step that led to it, an anticipation
is the next chord's note come early.

Public: note_roles.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from typing import Final

import numpy as np

from gracewright.pitch import Key
from gracewright.score import Tone
from gracewright.study.material import Material
from gracewright.study.model import Harmony, NoteRole, Role
from gracewright.study.numerals import member_fifths, place_of

HARSHNESS: Final[dict[Role, float]] = {
    "chord": 0.0, "passing": 0.5, "neighbour": 0.5, "suspension": 1.0, "appoggiatura": 1.0, "escape": 0.6,
    "anticipation": 0.5, "pedal": 0.4, "free": 0.8,
}  # fmt: skip


def note_roles(material: Material, harmony: Sequence[Harmony]) -> tuple[NoteRole, ...]:
    """One role for each solo tone, in order."""
    melody, line = material.melody, material.line
    onsets, ends = material.melody_onsets.tolist(), material.melody_ends.tolist()
    starts = material.ticks_of(chord.onset for chord in harmony)
    firsts = np.maximum(np.searchsorted(starts, onsets, side="right") - 1, 0).tolist()
    reading = _Reading(
        melody, onsets, ends, material.melody_weights, starts.tolist(),
        [frozenset(member_fifths(place_of(chord.root), chord.quality)) for chord in harmony],
        [*np.diff([tone.pitch.diatonic for tone in melody]).tolist(), 99],
    )  # fmt: skip
    lows = (np.searchsorted(material.ground_onsets, onsets, side="right") - 1).tolist() if material.ground else []
    low_ends = (material.ground_onsets + material.ticks_of(tone.length for tone in material.ground)).tolist()
    found = []
    for index, (tone, first) in enumerate(zip(melody, firsts, strict=True)):
        weight = reading.weights[index]
        place = tone.pitch.fifths
        role: Role = "chord"
        at, prepared = first, False
        if place not in reading.members[first]:
            role, prepared = _foreign(reading, index)
        else:
            held = _suspended(reading, index, first)
            if held >= 0:
                role, at, prepared = "suspension", held, True
        step = reading.steps[index]
        resolved = role == "chord" or abs(step) == 1 or (role == "anticipation" and step == 0)
        dissonance = 0.0
        if role != "chord":
            share = min(1.0, (ends[index] - onsets[index]) / line.quarter)
            dissonance = HARSHNESS[role] * (0.35 + 0.65 * weight) * (0.5 + 0.5 * share)
            dissonance *= (0.8 if prepared else 1.0) * (0.9 if resolved else 1.1)
        low = lows[index] if lows else -1
        ground = material.ground[low] if low >= 0 and low_ends[low] > onsets[index] else None
        found.append(
            NoteRole(
                tone.id, tone.onset, tone.pitch, role, weight, round(min(1.0, dissonance), 3), prepared, resolved,
                _interval(tone, ground, step), at, _degree(tone.pitch.step, tone.pitch.alter, harmony[at].key),
            )
        )  # fmt: skip
    return tuple(found)


@dataclass(frozen=True)
class _Reading:
    """The melody in ticks with its weights, and the chords under it."""

    melody: Sequence[Tone]
    onsets: list[int]
    ends: list[int]
    weights: list[float]
    starts: list[int]
    members: list[frozenset[int]]
    steps: list[int]  # staff places from each tone to the next; 99 at the end


def _suspended(reading: _Reading, index: int, first: int) -> int:
    """Index of a later chord against which a held tone is suspended, or -1."""
    if reading.steps[index] != -1:
        return -1
    at = first + 1
    while at < len(reading.starts) and reading.starts[at] < reading.ends[index]:
        if reading.melody[index].pitch.fifths not in reading.members[at]:
            return at
        at += 1
    return -1


def _foreign(reading: _Reading, index: int) -> tuple[Role, bool]:
    """Kind of a tone foreign to its chord, and whether it was prepared."""
    melody = reading.melody
    tone = melody[index]
    before = melody[index - 1] if index and not tone.rest_before else None
    after = melody[index + 1] if index + 1 < len(melody) and not tone.rest_after else None
    into = reading.steps[index - 1] if before else 99
    out = reading.steps[index] if after else 99
    strong = after is not None and reading.weights[index] > reading.weights[index + 1]
    if into == 0 and before and before.pitch == tone.pitch and out == -1 and strong:
        return "suspension", True
    if after and out == 0 and after.pitch == tone.pitch and not strong:
        later = bisect_right(reading.starts, reading.onsets[index + 1]) - 1
        if tone.pitch.fifths in reading.members[max(0, later)]:
            return "anticipation", abs(into) == 1
    if into == 0 and out == 0:
        return "pedal", True
    if abs(out) == 1 and strong and abs(into) != 1:
        return "appoggiatura", into == 0
    if abs(into) == 1 and out == into:
        return "passing", False
    if abs(into) == 1 and out == -into:
        return "neighbour", False
    if abs(out) == 1:
        return ("appoggiatura" if strong else "neighbour"), into == 0
    if abs(into) == 1 and 1 < abs(out) < 99 and (out > 0) != (into > 0):
        return "escape", False
    return "free", into == 0


def _interval(tone: Tone, ground: Tone | None, step: int) -> int:
    """As figures count: 1 to 8, and 9 for a second above the octave that falls."""
    if ground is None:
        return 0
    gap = tone.pitch.diatonic - ground.pitch.diatonic
    number = gap % 7 + 1
    if number == 1 and gap >= 7:
        return 8
    return 9 if number == 2 and gap >= 8 and step == -1 else number


@cache
def _degree(step: int, alter: int, key: Key) -> int:
    """Scale degree, minor with both sixths and sevenths; 0 for a note foreign to the key."""
    degree = (step - key.tonic_fifths * 4) % 7 + 1
    plain = key.alter_of(step)
    raised = key.mode == "minor" and degree in (6, 7) and alter == plain + 1
    return degree if alter == plain or raised else 0
