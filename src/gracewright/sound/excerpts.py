"""A stretch of a version, cut out so that it can be heard or practised by itself.

Conventions: times are quarters as played unless a name says page. Of the solo, whole notes are cut out: a grace that
comes before the beat of the first note belongs to the stretch, the tail of an earlier note does not.

Public: excerpt, played_span.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction
from itertools import groupby

from gracewright.errors import BadInput
from gracewright.graces.model import Pass, PlayedNote, Version

EARLY = Fraction(1, 2)
"""Quarters before the cut in which a first note's grace may begin."""


def excerpt(version: Version, start: Fraction, end: Fraction, *, lead: Fraction = Fraction(0)) -> Version:
    """The version from ``start`` to ``end``, moved so that ``start`` falls at ``lead``.

    Notes of the other parts are cut at both edges. With a ``lead`` the version begins with that much silence, in
    which a grace before the first beat may sound; without, such notes are cut.
    """
    kept = [*_solo(version, start, end), *_others(version, start, end)]
    moved = []
    for note in kept:
        cut = max(start - lead - note.onset, Fraction(0))
        if cut < note.length:
            onset, page = note.onset + cut - start + lead, note.page_onset + cut
            moved.append(replace(note, onset=onset, length=note.length - cut, page_onset=page))
    moved.sort(key=lambda note: (note.onset, note.part, -note.pitch.midi))
    passes = []
    for passed in version.passes:
        left, right = max(passed.onset, start), min(passed.onset + passed.length, end)
        if left < right:
            page = passed.page_onset + left - passed.onset
            passes.append(replace(passed, page_onset=page, onset=left - start + lead, length=right - left))
    if lead and passes:
        first = passes[0]
        passes[0] = Pass(first.first_bar, first.last_bar, first.time_through, first.page_onset - lead, Fraction(0),
                         first.length + lead)  # fmt: skip
    return replace(version, passes=tuple(passes), notes=tuple(moved))


def played_span(
    version: Version, page_start: Fraction, page_end: Fraction, time_through: int = 1
) -> tuple[Fraction, Fraction]:
    """Where a stretch of the page lies in the order as played, in one time through. Raises BadInput where it does not.

    The stretch may run over several passes so long as they follow each other on the page and in the playing.
    """
    start: Fraction | None = None
    reached = page_start
    for passed in version.passes:
        last = passed.page_onset + passed.length
        if start is None:
            if passed.time_through != time_through or not passed.page_onset <= page_start < last:
                continue
            start = passed.onset + page_start - passed.page_onset
        elif passed.page_onset != reached:
            break
        if page_end <= last:
            return start, passed.onset + page_end - passed.page_onset
        reached = last
    what = "these bars are not played one after the other in that time through"
    raise BadInput(what, remedy="choose bars of one section, or another time")


def _solo(version: Version, start: Fraction, end: Fraction) -> Iterator[PlayedNote]:
    line = [note for note in version.notes if note.part == version.solo]
    for _, group in groupby(line, key=lambda note: (note.host, note.time_through)):
        notes = list(group)
        if _belongs(notes, start, end):
            for note in notes:
                if note.onset < end:
                    yield replace(note, length=min(note.length, end - note.onset))


def _belongs(notes: Sequence[PlayedNote], start: Fraction, end: Fraction) -> bool:
    """Do the notes of one host begin within the stretch, give or take a grace before its beat?"""
    if notes[0].onset >= start:
        within = sum((max(min(note.end, end) - note.onset, Fraction(0)) for note in notes), Fraction(0))
        return notes[0].onset < end and 2 * within > min(sum((note.length for note in notes), Fraction(0)), 2 * EARLY)
    after = sum((note.length for note in notes if note.onset >= start), Fraction(0))
    return notes[0].onset > start - EARLY and 2 * after > sum((note.length for note in notes), Fraction(0))


def _others(version: Version, start: Fraction, end: Fraction) -> Iterator[PlayedNote]:
    for note in version.notes:
        if note.part != version.solo and note.onset < end and note.end > start:
            onset = max(note.onset, start)
            page = note.page_onset + onset - note.onset
            yield replace(note, onset=onset, length=min(note.end, end) - onset, page_onset=page)
