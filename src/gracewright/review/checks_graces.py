"""Checks on single graces: how shakes and small notes begin, what can be played, what lies inside a grace.

Conventions: a check takes the scene and gives hits: rule id, the written note concerned, values for its words.

Public: CHECKS, Hit, Check.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from itertools import pairwise
from typing import Final

from gracewright.pitch import Pitch, parse_class
from gracewright.review.scene import Heard, Scene

CLEAR: Final = 0.9
"""A note may be this share of the shortest clear one (the instrument tables are no finer than that)."""


@dataclass(frozen=True, slots=True)
class Hit:
    """A rule met at a written note. ``page_onset`` where it is not that note's own beginning."""

    rule: str
    at: Heard
    values: Mapping[str, object] = field(default_factory=dict)
    page_onset: Fraction | None = None


Check = Callable[[Scene], Iterator[Hit]]


def shake_starts(scene: Scene) -> Iterator[Hit]:
    """Shakes begin on the beat with the upper note, or after the note itself was held; one that is joined to the same
    upper note before it may begin with the main note."""
    for index, shake in scene.shakes.items():
        one = scene.heard[index]
        values = {"pitch": one.tone.pitch, "upper": shake.upper}
        first = scene.line[one.first + shake.at]
        if first.onset < one.start:
            yield Hit("shake-early", one, values)
        elif shake.at == 0 and not shake.from_above and not shake.held:
            before = scene.line[one.first - 1] if one.first else first
            joined = one.notes[0].slurred and before.pitch == shake.upper and before.end == first.onset
            if not joined:
                yield Hit("shake-start", one, values)


def small_notes_early(scene: Scene) -> Iterator[Hit]:
    """One small note before the beat, unless it passes between falling thirds or the page or its source has it so."""
    for index, one in enumerate(scene.heard):
        if not one.graced or index in scene.shakes or one.on_page or scene.line[one.first].onset >= one.start:
            continue
        early = [n for at, n in enumerate(one.notes, start=one.first) if scene.line[at].onset < one.start]
        if len(early) != 1:
            continue
        before = scene.heard[index - 1].tone.pitch if index else None
        falling_third = before is not None and before.diatonic - one.tone.pitch.diatonic == 2
        said = scene.version.explanations.get(early[0].choice, "")
        if not falling_third and "before the beat" not in said:
            yield Hit("appoggiatura-early", one, {"pitch": one.tone.pitch, "other": early[0].pitch})


def shakes_running(scene: Scene) -> Iterator[Hit]:
    """Shakes on neighbouring notes, unless the page asks for both."""
    for index in scene.shakes:
        if index - 1 in scene.shakes:
            before, one = scene.heard[index - 1], scene.heard[index]
            if before.tone.rest_after == 0 and before.passage == one.passage and not (before.on_page and one.on_page):
                yield Hit("two-shakes", one, {"pitch": one.tone.pitch, "other": before.tone.pitch})


def opening(scene: Scene) -> Iterator[Hit]:
    """A shake of ours on the first note."""
    if 0 in scene.shakes and not scene.heard[0].on_page:
        yield Hit("shake-opening", scene.heard[0], {"pitch": scene.heard[0].tone.pitch})


def too_quick(scene: Scene) -> Iterator[Hit]:
    """Notes of a grace shorter than this player can make clear; quick notes of the composer's own are left alone."""
    least = scene.instrument.least(scene.level) * CLEAR
    for one in scene.heard:
        if not one.graced:
            continue
        shortest = min(one.notes, key=lambda note: note.length)
        seconds = scene.seconds(shortest.length)
        if seconds < least and shortest.length < one.tone.length:
            values = {"pitch": shortest.pitch, "seconds": f"{seconds:.2f}"}
            yield Hit("quick-written" if one.as_written else "too-quick", one, values)


def in_range(scene: Scene) -> Iterator[Hit]:
    """Added notes off the instrument are faults; what the page itself asks for is told once."""
    written: dict[str, tuple[Heard, Pitch]] = {}
    for one in scene.heard:
        outside = [note.pitch for note in one.notes if not scene.instrument.has(note.pitch)]
        added = [pitch for pitch in outside if pitch != one.tone.pitch]
        if added and not one.as_written:
            yield Hit("range", one, {"pitch": added[0], "where": scene.instrument.name})
        elif outside:
            written.setdefault(one.tone.id, (one, outside[0]))
    if written:
        first, pitch = next(iter(written.values()))
        yield Hit("range-written", first, {"number": len(written), "pitch": pitch, "where": scene.instrument.name})


def augmented_seconds(scene: Scene) -> Iterator[Hit]:
    """Steps of three semitones inside a grace."""
    for one in scene.heard:
        for first, second in pairwise(one.notes if one.graced else ()):
            steps = abs(second.pitch.diatonic - first.pitch.diatonic)
            if steps == 1 and abs(second.pitch.midi - first.pitch.midi) == 3:
                yield Hit("augmented-second", one, {"pitch": second.pitch, "other": first.pitch})
                break


def leading_note_doubled(scene: Scene) -> Iterator[Hit]:
    """An added leading note struck with the leading note in the bass, or held a half beat against it."""
    bass = scene.voices.get("bass", ())
    starts = [row.onset for row in bass]
    for one in scene.heard:
        if not one.graced:
            continue
        leading = parse_class(scene.study.key_at(one.tone.onset).leading)
        for index, note in enumerate(one.notes, start=one.first):
            if (note.pitch.step, note.pitch.alter) != leading or note.pitch == one.tone.pitch:
                continue
            row = scene.line[index]
            at = bisect_right(starts, row.onset) - 1
            if at < 0 or bass[at].end <= row.onset or (bass[at].pitch.step, bass[at].pitch.alter) != leading:
                continue
            if row.onset == bass[at].onset or 2 * (row.end - row.onset) >= scene.ticks:
                yield Hit("leading-doubled", one, {"pitch": note.pitch})
                break


def vibrato_often(scene: Scene) -> Iterator[Hit]:
    """Finger vibrato on more than a third of the long notes."""
    long = [one for one in scene.heard if scene.seconds(one.tone.length) >= 1 and one.notes]
    waved = [one for one in long if any(note.bend for note in one.notes)]
    if len(waved) >= 4 and len(waved) * 3 > len(long):
        yield Hit("vibrato-often", waved[0], {"number": len(waved), "other": len(long)})


CHECKS: Final[tuple[Check, ...]] = (
    shake_starts, small_notes_early, shakes_running, opening, too_quick, in_range, augmented_seconds,
    leading_note_doubled, vibrato_often,
)  # fmt: skip
