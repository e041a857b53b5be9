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
from typing import Final

from gracewright.pitch import FIFTHS, fifths_of
from gracewright.score import Tone
from gracewright.study.material import Material
from gracewright.study.model import Harmony, NoteRole, Role
from gracewright.study.numerals import member_fifths

HARSHNESS: Final[dict[Role, float]] = {
    "chord": 0.0, "passing": 0.5, "neighbour": 0.5, "suspension": 1.0, "appoggiatura": 1.0, "escape": 0.6,
    "anticipation": 0.5, "pedal": 0.4, "free": 0.8,
}  # fmt: skip


def note_roles(material: Material, harmony: Sequence[Harmony]) -> tuple[NoteRole, ...]:
    """One role for each solo tone, in order."""
    starts = [chord.onset for chord in harmony]
    members = [frozenset(member_fifths(fifths_of(chord.root), chord.quality)) for chord in harmony]
    grounds = [tone.onset for tone in material.ground]
    found = []
    for index, tone in enumerate(material.melody):
        first = max(0, bisect_right(starts, tone.onset) - 1)
        weight = material.weight(tone.onset)
        place = tone.pitch.fifths
        role: Role = "chord"
        at, prepared = first, False
        if place not in members[first]:
            role, prepared = _foreign(material, index, weight, members, starts)
        else:
            held = _suspended(material.melody, index, first, starts, members)
            if held >= 0:
                role, at, prepared = "suspension", held, True
        later = material.melody[index + 1] if index + 1 < len(material.melody) else None
        step = later.pitch.diatonic - tone.pitch.diatonic if later else 99
        resolved = role == "chord" or (abs(step) == 1) or (role == "anticipation" and step == 0)
        share = min(1.0, float(tone.length))
        dissonance = HARSHNESS[role] * (0.35 + 0.65 * weight) * (0.5 + 0.5 * share) if role != "chord" else 0.0
        dissonance *= (0.8 if prepared else 1.0) * (0.9 if resolved else 1.1)
        low = bisect_right(grounds, tone.onset) - 1
        key = harmony[at].key
        found.append(
            NoteRole(
                tone.id, tone.onset, tone.pitch, role, weight, round(min(1.0, dissonance), 3), prepared, resolved,
                _interval(tone, material.ground[low] if low >= 0 else None, step), at,
                _degree(place, tone.pitch.step, key.tonic, key.alter_of(tone.pitch.step), tone.pitch.alter, key.mode),
            )
        )  # fmt: skip
    return tuple(found)


def _suspended(
    melody: Sequence[Tone], index: int, first: int, starts: Sequence[object], members: Sequence[frozenset[int]]
) -> int:
    """Index of a later chord against which a held tone is suspended, or -1."""
    tone = melody[index]
    if index + 1 >= len(melody) or melody[index + 1].pitch.diatonic != tone.pitch.diatonic - 1:
        return -1
    at = first + 1
    while at < len(starts) and starts[at] < tone.end:  # type: ignore[operator]
        if tone.pitch.fifths not in members[at]:
            return at
        at += 1
    return -1


def _foreign(
    material: Material, index: int, weight: float, members: Sequence[frozenset[int]], starts: Sequence[object]
) -> tuple[Role, bool]:
    """Kind of a tone foreign to its chord, and whether it was prepared."""
    melody = material.melody
    tone = melody[index]
    before = melody[index - 1] if index and not tone.rest_before else None
    after = melody[index + 1] if index + 1 < len(melody) and not tone.rest_after else None
    into = tone.pitch.diatonic - before.pitch.diatonic if before else 99
    out = after.pitch.diatonic - tone.pitch.diatonic if after else 99
    strong = after is not None and weight > material.weight(after.onset)
    if into == 0 and before and before.pitch == tone.pitch and out == -1 and strong:
        return "suspension", True
    if after and out == 0 and after.pitch == tone.pitch and not strong:
        later = bisect_right(starts, after.onset) - 1  # type: ignore[type-var]
        if tone.pitch.fifths in members[max(0, later)]:
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
    if abs(into) == 1 and abs(out) > 1 and out != 99 and (out > 0) != (into > 0):
        return "escape", False
    return "free", into == 0


def _interval(tone: Tone, ground: Tone | None, step: int) -> int:
    """As figures count: 1 to 8, and 9 for a second above the octave that falls."""
    if ground is None or ground.end <= tone.onset:
        return 0
    gap = tone.pitch.diatonic - ground.pitch.diatonic
    number = gap % 7 + 1
    if number == 1 and gap >= 7:
        return 8
    return 9 if number == 2 and gap >= 8 and step == -1 else number


def _degree(place: int, step: int, tonic: str, plain: int, alter: int, mode: str) -> int:
    """Scale degree, minor with both sixths and sevenths; 0 for a note foreign to the key."""
    degree = (step - (fifths_of(tonic) * 4) % 7) % 7 + 1
    assert FIFTHS[step] + 7 * alter == place, "spelling and place agree"
    return degree if alter == plain or (mode == "minor" and degree in (6, 7) and alter == plain + 1) else 0
