"""Cadences: where a dominant arrives, of which kind, how strongly, and the notes that carry it.

Conventions: the arrival is the onset of the goal chord. Perfect means tonic in the top voice over the tonic in the
bass; imperfect another chord note on top; half stops on the dominant; Phrygian is iv6 to V in minor; deceptive puts
another chord in the tonic's place.

Public: find_cadences.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Sequence
from fractions import Fraction

from gracewright.pitch import fifths_of
from gracewright.score import Tone
from gracewright.study.material import Material
from gracewright.study.model import Cadence, CadenceKind, Harmony, Hemiola

DOMINANT = ("major", "dominant seventh")


def find_cadences(material: Material, harmony: Sequence[Harmony], hemiolas: Sequence[Hemiola]) -> tuple[Cadence, ...]:
    """Cadences in order of arrival."""
    onsets = [tone.onset for tone in material.melody]
    found: list[Cadence] = []
    for index in range(1, len(harmony)):
        before, here = harmony[index - 1], harmony[index]
        at = bisect_right(onsets, here.onset) - 1
        top = material.melody[at] if at >= 0 else None
        kind = _kind(before, here, top)
        weight = material.weight(here.onset)
        if not kind or top is None or weight < 0.2:
            continue
        rest = _stillness(material, at, here.onset)
        strength = min(1.0, 0.25 * weight + 0.75 * rest)
        if strength < (0.5 if kind.startswith("authentic") else 0.75):
            continue
        carrier = material.melody[at - 1] if at else top
        flag = any(h.end in (here.onset, here.onset + material.bar_at(here.onset).length) for h in hemiolas)
        reason = f"{before.numeral} to {here.numeral} in {here.key}"
        found.append(
            Cadence(here.onset, kind, round(strength, 3), here.key, before.onset, carrier.id, top.id, flag, reason)
        )
    return tuple(found)


def _kind(before: Harmony, here: Harmony, top: Tone | None) -> CadenceKind | None:
    tonic = here.key.tonic_fifths
    root, last = fifths_of(here.root) - tonic, fifths_of(before.root) - tonic
    if last == 1 and before.quality in DOMINANT and before.inversion == 0:
        if root == 0 and here.inversion == 0:
            perfect = top is not None and top.pitch.fifths == tonic
            return "authentic-perfect" if perfect else "authentic-imperfect"
        if root in (3, -4) and here.inversion == 0:
            return "deceptive"
    if root == 1 and here.quality == "major" and here.inversion == 0 and last != 1:
        phrygian = here.key.mode == "minor" and last == -1 and before.inversion == 1
        return "phrygian" if phrygian else "half"
    return None


def _stillness(material: Material, at: int, onset: Fraction) -> float:
    """How much the melody comes to rest at a time: 1 for a long note, a rest after it, or the end of a section."""
    tone = material.melody[at]
    bar = material.bar_at(onset)
    beat = bar.meter.beat
    value = 0.0
    if tone.onset == onset:
        value = min(1.0, float(tone.length / beat) * 0.5)
    if tone.rest_after or tone.marks.fermata or tone.marks.breath or at + 1 == len(material.melody):
        value = max(value, 0.9)
    if bar.repeat_end or bar.final_bar or bar.double_bar:
        value = max(value, 0.9)
    return value
