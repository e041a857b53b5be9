"""Hemiola: two triple bars heard as three groups of two beats, as before a close. Common practice, no source.

Public: find_hemiolas.
"""

from __future__ import annotations

from itertools import pairwise

from gracewright.study.material import Material
from gracewright.study.model import Hemiola


def find_hemiolas(material: Material) -> tuple[Hemiola, ...]:
    """Pairs of triple bars whose bass moves in twos: new on beats 1 and 3, then 2, and not on the second downbeat."""
    onsets: dict[int, set[object]] = {}
    for tone in material.ground or material.melody:
        onsets.setdefault(tone.bar, set()).add(tone.onset)
    found: list[Hemiola] = []
    bars = material.piece.bars
    for first, second in pairwise(bars):
        beat = first.meter.length / 3
        triple = first.meter.beats in (3, 6) and first.meter == second.meter
        if not triple or first.length != first.meter.length or second.length != first.length:
            continue
        if found and found[-1].end > first.onset:
            continue
        places = onsets.get(first.index, set()) | onsets.get(second.index, set())
        wanted = {first.onset, first.onset + 2 * beat, first.onset + 4 * beat}
        against = {second.onset, first.onset + beat, second.onset + 2 * beat}
        if wanted <= places and second.onset not in places and len(against & places) <= 1:
            found.append(Hemiola(first.onset, second.end))
    return tuple(found)
