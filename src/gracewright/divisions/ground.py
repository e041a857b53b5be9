"""What sounds under each written note of the solo line: bass and chord as they change, and those under the next note.

Public: grounds.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Mapping, Sequence
from fractions import Fraction
from itertools import pairwise
from typing import Final

from gracewright.divisions.model import Ground
from gracewright.graces import chord_of
from gracewright.pitch import Pitch
from gracewright.score import Note, Piece, Tone, tones
from gracewright.study.model import Harmony, Study

BREATH: Final = Fraction(1, 2)
"""A silence of up to so many quarters inside a voice is taken as a breath, not as a rest."""


def grounds(piece: Piece, study: Study) -> Mapping[str, tuple[Ground, ...]]:
    """Tone id → its ground, for :func:`divisions_for`; the last one lies at the note's end."""
    line = tones(piece, study.solo)
    bass = tones(piece, study.bass, lowest=True) if study.bass else ()
    starts = [tone.onset for tone in bass]
    chords = [harmony.onset for harmony in study.harmony]
    motions = _motions(piece, {note_id for tone in (*line, *bass) for note_id in tone.ids})
    moments = sorted(motions)
    found: dict[str, tuple[Ground, ...]] = {}
    for tone in line:
        inside = {tone.onset, tone.end}
        for onsets in (starts, chords, moments):
            inside.update(onsets[bisect_right(onsets, tone.onset) : bisect_right(onsets, tone.end)])
        found[tone.id] = tuple(
            Ground(
                at - tone.onset, _bass_at(bass, starts, at), _chord_at(study.harmony, chords, at), motions.get(at, ())
            )
            for at in sorted(inside)
        )
    return found


def _motions(piece: Piece, left_out: set[str]) -> dict[Fraction, tuple[tuple[Pitch, Pitch], ...]]:
    """Moment → the steps and leaps of all other voices there; of chords, the outer notes."""
    voices: dict[tuple[str, int, str], dict[Fraction, list[Note]]] = {}
    for note in piece.notes:
        if note.pitch is not None and note.length and not note.cue and note.id not in left_out:
            voices.setdefault((note.part, note.staff, note.voice), {}).setdefault(note.onset, []).append(note)
    found: dict[Fraction, set[tuple[Pitch, Pitch]]] = {}
    for columns in voices.values():
        rows = [sorted(column, key=_height) for _, column in sorted(columns.items())]
        for before, after in pairwise(rows):
            if before[-1].end + BREATH < after[0].onset or after[0].tie_in:
                continue
            for one, two in ((before[0], after[0]), (before[-1], after[-1])):
                if one.pitch is not None and two.pitch is not None and one.pitch != two.pitch:
                    found.setdefault(after[0].onset, set()).add((one.pitch, two.pitch))
    return {at: tuple(sorted(pairs)) for at, pairs in found.items()}


def _height(note: Note) -> int:
    return note.pitch.midi if note.pitch is not None else 0


def _bass_at(bass: Sequence[Tone], starts: Sequence[Fraction], at: Fraction) -> Pitch | None:
    index = bisect_right(starts, at) - 1
    return bass[index].pitch if index >= 0 and bass[index].end > at else None


def _chord_at(chords: Sequence[Harmony], starts: Sequence[Fraction], at: Fraction) -> tuple[str, ...]:
    index = bisect_right(starts, at) - 1
    return chord_of(chords[index]) if index >= 0 and chords[index].end > at else ()
