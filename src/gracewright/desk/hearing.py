"""What is heard: the version cut into stretches, each rendered when it is asked for.

A stretch is a phrase in one time through. It begins to sound as soon as its own few seconds are rendered, and can be
heard plain or ornamented, slower, or again and again. Stretches are laid end to end by the page at their exact lengths;
what rings on after a stretch sounds into the next.

Conventions: times are quarters as played until they leave as seconds; a stretch's cursor map is the sound room's own
time map of the same excerpt.

Public: Stretch, stretches, excerpt, sounding, stretches_json, around, tempo_of.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Any, Final

import numpy as np

from gracewright.graces import Pass, PlayedNote, Version
from gracewright.job import Wishes
from gracewright.score import Piece
from gracewright.sound import render, time_map
from gracewright.study import Study

EDGE: Final = 1e-6
"""Seconds within which a note counts as standing on the edge of a stretch."""


@dataclass(frozen=True, slots=True)
class Stretch:
    """``onset`` and ``length`` as played; ``start`` and ``end`` on the page."""

    index: int
    time_through: int
    start: Fraction
    end: Fraction
    onset: Fraction

    @property
    def length(self) -> Fraction:
        return self.end - self.start


def stretches(study: Study, version: Version) -> tuple[Stretch, ...]:
    """The order as played, cut where phrases begin; the rest after a phrase belongs to it."""
    cuts = sorted({phrase.start for phrase in study.phrases})
    found: list[Stretch] = []
    for passed in version.passes:
        start, end = passed.page_onset, passed.page_onset + passed.length
        edges = [start, *(cut for cut in cuts if start < cut < end), end]
        for left, right in pairwise(edges):
            onset = passed.onset + left - passed.page_onset
            found.append(Stretch(len(found), passed.time_through, left, right, onset))
    return tuple(found)


def excerpt(version: Version, onset: Fraction, end: Fraction) -> Version:
    """The version from ``onset`` to ``end`` (quarters as played), moved to begin at 0; notes are cut at both edges.

    A note that began before the excerpt belongs to it only in the bass and the other parts, never in the solo line:
    there its grace has been heard.
    """
    notes: list[PlayedNote] = []
    for note in version.notes:
        if note.end <= onset or note.onset >= end or (note.onset < onset and note.part == version.solo):
            continue
        left, right = max(note.onset, onset), min(note.end, end)
        page = note.page_onset + left - note.onset
        notes.append(replace(note, onset=left - onset, length=right - left, page_onset=page))
    passes: list[Pass] = []
    for passed in version.passes:
        left, right = max(passed.onset, onset), min(passed.onset + passed.length, end)
        if left < right:
            page = passed.page_onset + left - passed.onset
            passes.append(replace(passed, onset=left - onset, length=right - left, page_onset=page))
    return replace(version, notes=tuple(notes), passes=tuple(passes))


def tempo_of(wishes: Wishes, study: Study, slower: Fraction) -> Fraction:
    """Quarters a minute: the dial's or the study's, times ``slower`` (1 as it is, 1/2 at half speed)."""
    return (wishes.tempo or study.tempo) * slower


def sounding(part: Version, wishes: Wishes, study: Study, tempo: Fraction, *, continuo: bool) -> np.ndarray:
    """Mono samples of an excerpt."""
    return render(part, tempo=tempo, a=wishes.a, temperament=wishes.temperament, instrument=wishes.instrument,
                  bass=study.bass, continuo=continuo, study=study)  # fmt: skip


def stretches_json(study: Study, version: Version, piece: Piece, tempo: Fraction) -> list[dict[str, Any]]:
    """Every stretch, each with its part of the one time map of the whole."""
    marks = [(float(seconds), host, float(page)) for seconds, host, page, _ in time_map(version, tempo=tempo) if host]
    found, at = [], 0
    for stretch in stretches(study, version):
        start, end = (float(onset * 60 / tempo) for onset in (stretch.onset, stretch.onset + stretch.length))
        notes = []
        while at < len(marks) and marks[at][0] < end - EDGE:
            seconds, host, page = marks[at]
            notes.append({"at": round(max(0.0, seconds - start), 4), "note": host, "page": page})
            at += 1
        found.append({**stretch_json(stretch, piece, tempo), "notes": notes})
    return found


def stretch_json(stretch: Stretch, piece: Piece, tempo: Fraction) -> dict[str, Any]:
    """A stretch with its length in seconds; ``beats`` are for the count-in."""
    bar = next(bar for bar in reversed(piece.bars) if bar.onset <= stretch.start)
    beat = bar.meter.beat
    return {
        "index": stretch.index, "time": stretch.time_through, "start": float(stretch.start), "end": float(stretch.end),
        "seconds": float(stretch.length * 60 / tempo), "bar": bar.number,
        "beat": float(beat * 60 / tempo), "beats": max(1, round(bar.meter.length / beat)),
    }  # fmt: skip


def around(version: Version, note: str, time_through: int, lead: Fraction) -> tuple[Fraction, Fraction] | None:
    """The excerpt about one written note: from ``lead`` quarters before it to its end and as much again; None where
    the note does not sound in that time through."""
    sounding_notes = [n for n in version.notes if n.host == note and n.time_through == time_through]
    if not sounding_notes:
        return None
    start, end = sounding_notes[0].onset, max(n.end for n in sounding_notes)
    return max(Fraction(0), start - lead), min(version.length, end + lead)
