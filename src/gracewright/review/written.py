"""Graces read out of a written-out line: what each note of the plain score became in an ornamented one.

Conventions: graces are told apart by time through and plain note. A figure that spells no grace of the vocabulary but
sets out from the written note with three notes or more is a division; what else was changed is no grace (None).

Public: graces_written, Changes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Final

from gracewright.errors import BadInput
from gracewright.graces import Context, Grace, GraceNote, PlayedNote, contexts, recognise
from gracewright.instruments import Instrument
from gracewright.review.student import student_version
from gracewright.score import Piece, Tone, tones
from gracewright.study.model import Study

Changes = Mapping[tuple[int, str], Grace | None]
"""(time through, plain note) → its grace; None where the note was changed in another way."""
KEPT: Final = 0.5
"""Two scores belong together where so many of the plain notes are still heard in their place."""


def graces_written(
    plain: Piece, study: Study, played: Piece, instrument: Instrument, *, line: str = ""
) -> tuple[Changes, tuple[int, ...]]:
    """The graces of the ornamented score, and which times through it has.

    ``line`` names the ornamented line where it is not found by itself. Raises BadInput where the scores do not belong
    together.
    """
    version = student_version(plain, study, played, instrument, "advanced", line=line)
    places = contexts(plain, study, instrument, "advanced")
    line_of = tones(plain, study.solo)
    by_id = {tone.id: tone for tone in line_of}
    after = {one.id: two for one, two in pairwise(line_of) if not two.rest_before}
    rows: dict[tuple[int, str], list[PlayedNote]] = {}
    for note in version.notes:
        if note.part == version.solo and note.host in by_id:
            rows.setdefault((note.time_through, note.host), []).append(note)
    kept = sum(any(note.pitch == by_id[host].pitch for note in notes) for (_, host), notes in rows.items())
    if kept < KEPT * len(rows):
        raise BadInput("the two scores do not have one tune", file=played.source,
                       remedy="give the ornamented score the name of its plain one and a hyphen")  # fmt: skip
    found: dict[tuple[int, str], Grace | None] = {}
    for (time, host), notes in rows.items():
        tone, following = by_id[host], after.get(host)
        if following is not None and _fills_third(tone, notes, following):
            found.setdefault((time, following.id), Grace("appoggiatura", direction="above", size="passing"))
        elif len(notes) > 1 or notes[0].pitch != tone.pitch:
            found[time, host] = _grace(tone, notes, places[host])
    return found, tuple(sorted({passage.time_through for passage in version.passes}))


def _fills_third(tone: Tone, notes: Sequence[PlayedNote], following: Tone) -> bool:
    """Is the note only shortened for a soft one on the way down a third?"""
    if len(notes) != 2 or notes[0].pitch != tone.pitch or notes[1].length >= notes[0].length:
        return False
    steps = notes[1].pitch.diatonic - tone.pitch.diatonic, following.pitch.diatonic - notes[1].pitch.diatonic
    return steps == (-1, -1)


def _grace(tone: Tone, notes: Sequence[PlayedNote], place: Context) -> Grace | None:
    heard = [
        GraceNote(note.pitch, note.page_onset - tone.onset, note.length, note.pitch == tone.pitch) for note in notes
    ]
    grace = recognise(heard, place)
    if (grace is None or grace.id == "passing-notes") and len(notes) > 2 and notes[0].pitch == tone.pitch:
        whole = sum(note.length for note in notes)
        return Grace("division", notes=tuple((note.pitch, note.length / whole) for note in notes))
    return grace
