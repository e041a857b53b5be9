"""What sounds under each written note of the solo line: bass and chord as they change, and those under the next note.

Public: grounds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from fractions import Fraction

from gracewright.divisions.model import Ground
from gracewright.graces import chord_of
from gracewright.pitch import Pitch
from gracewright.score import Piece, Tone, tones
from gracewright.study.model import Harmony, Study


def grounds(piece: Piece, study: Study) -> Mapping[str, tuple[Ground, ...]]:
    """Tone id → its ground, for :func:`divisions_for`; the last one lies at the note's end."""
    bass = tones(piece, study.bass, lowest=True) if study.bass else ()
    starts = [tone.onset for tone in bass]
    chords = [harmony.onset for harmony in study.harmony]
    found: dict[str, tuple[Ground, ...]] = {}
    for tone in tones(piece, study.solo):
        inside = {tone.onset, tone.end}
        for onsets in (starts, chords):
            inside.update(onsets[bisect_right(onsets, tone.onset) : bisect_right(onsets, tone.end)])
        found[tone.id] = tuple(
            Ground(at - tone.onset, _bass_at(bass, starts, at), _chord_at(study.harmony, chords, at))
            for at in sorted(inside)
        )
    return found


def _bass_at(bass: Sequence[Tone], starts: Sequence[Fraction], at: Fraction) -> Pitch | None:
    index = bisect_right(starts, at) - 1
    return bass[index].pitch if index >= 0 and bass[index].end > at else None


def _chord_at(chords: Sequence[Harmony], starts: Sequence[Fraction], at: Fraction) -> tuple[str, ...]:
    index = bisect_right(starts, at) - 1
    return chord_of(chords[index]) if index >= 0 and chords[index].end > at else ()
