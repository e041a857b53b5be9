"""What sounds beside the solo line: the bass, and every other voice of every part, chords by their outer notes.

Conventions: times in quarters as written; a note is (staff place, MIDI number), (-1, -1) for silence.

Public: Voice, voices_beside, under, BASS.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.score import Note, Piece, Tone, tones
from gracewright.study.model import Study

BASS: Final = "bass"
"""Name of the voice that is the bass."""
Ints = NDArray[np.int64]
Row = tuple[Fraction, Fraction, int, int]  # begins, ends, staff place, MIDI number


@dataclass(frozen=True, slots=True)
class Voice:
    """Another sounding line: when its notes begin and end, and what they are."""

    name: str
    starts: tuple[Fraction, ...]
    ends: tuple[Fraction, ...]
    pitches: tuple[tuple[int, int], ...]


def voices_beside(piece: Piece, study: Study, line: Sequence[Tone]) -> tuple[Voice, ...]:
    """The bass first (where there is one), then the other voices in the order of the page."""
    found = []
    taken = {name for tone in line for name in tone.ids}
    if study.bass:
        bass = tones(piece, study.bass, lowest=True)
        taken |= {name for tone in bass for name in tone.ids}
        found.append(_voice(BASS, [(t.onset, t.end, t.pitch.diatonic, t.pitch.midi) for t in bass]))
    by_voice: dict[tuple[str, int, str], list[Note]] = {}
    for note in piece.notes:
        if note.pitch is not None and note.length and not note.cue and note.id not in taken:
            by_voice.setdefault((note.part, note.staff, note.voice), []).append(note)
    for (part, staff, voice), notes in by_voice.items():
        columns: dict[Fraction, list[Row]] = {}
        for row in _joined(notes):
            columns.setdefault(row[0], []).append(row)
        name = f"{part} staff {staff} voice {voice}"
        lowest = [min(column, key=lambda row: row[3]) for column in columns.values()]
        found.append(_voice(name, lowest))
        if any(len(column) > 1 for column in columns.values()):
            found.append(_voice(f"{name} top", [max(column, key=lambda row: row[3]) for column in columns.values()]))
    return tuple(found)


def _joined(notes: Iterable[Note]) -> list[Row]:
    """Notes as rows, tied ones joined."""
    rows: list[Row] = []
    open_ties: dict[int, int] = {}
    for note in notes:
        assert note.pitch is not None
        before = open_ties.pop(note.pitch.midi, None) if note.tie_in else None
        if before is not None and rows[before][1] == note.onset:
            rows[before] = rows[before][0], note.end, *rows[before][2:]
        else:
            before = len(rows)
            rows.append((note.onset, note.end, note.pitch.diatonic, note.pitch.midi))
        if note.tie_out:
            open_ties[note.pitch.midi] = before
    return rows


def _voice(name: str, rows: Sequence[Row]) -> Voice:
    return Voice(name, tuple(row[0] for row in rows), tuple(row[1] for row in rows), tuple(row[2:] for row in rows))


def under(starts: Ints, ends: Ints, pitches: Sequence[tuple[int, int]], onsets: Ints, offs: Ints) -> Ints:
    """What sounds in a voice just before the onset of every tone, at it, just before its end, and at its end:
    (tones, 4, 2). ``starts`` and ``ends`` of the voice's notes, ``onsets`` and ``offs`` of the tones, all in ticks."""
    block = np.full((len(onsets), 4, 2), -1, dtype=np.int64)
    if not len(starts):
        return block
    heard = np.array(pitches, dtype=np.int64)
    for moment, times in enumerate((onsets - 1, onsets, offs - 1, offs)):
        at = np.searchsorted(starts, times, "right") - 1
        sounds = (at >= 0) & (ends[at] > times)
        block[sounds, moment] = heard[at[sounds]]
    return block
