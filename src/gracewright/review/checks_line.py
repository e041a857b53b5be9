"""Checks on the whole line: time kept, the tune heard, the other voices, cadences, repeats, breath.

Conventions: as in :mod:`gracewright.review.checks_graces`.

Public: CHECKS.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise
from typing import Final

from gracewright.graces import chord_of
from gracewright.review.checks_graces import Check, Hit
from gracewright.review.parallels import beat_parallels, new_parallels
from gracewright.review.scene import Heard, Scene

STRONG: Final = 0.6
"""Cadences from this strength on want their shake."""


def parallels(scene: Scene) -> Iterator[Hit]:
    for name, voice in scene.voices.items():
        for found in new_parallels(scene.plain, scene.line, voice):
            yield Hit(found.kind, _at(scene, found.onset), {"where": name, "notes": found.words})
        for found in beat_parallels(scene.plain, scene.line, voice):
            values = {"where": name, "notes": found.words, "number": found.kind}
            yield Hit("beats-parallel", _at(scene, found.onset), values)


def time_kept(scene: Scene) -> Iterator[Hit]:
    """No note sounds into the next, no grace past its bar, no written note is mostly silent."""
    for first, second in pairwise(scene.line):
        if first.end > second.onset > first.onset:
            one = _at(scene, second.onset)
            yield Hit("overlap", one, {"pitch": second.pitch, "other": first.pitch})
    for one in scene.heard:
        if not one.notes:
            continue
        last = one.notes[-1]
        inside = scene.piece.bars[_bar_at(scene, one.tone.end)]
        if one.graced and last.page_onset + last.length > max(inside.end, one.tone.end):
            yield Hit("spills", one, {"pitch": one.tone.pitch})
    yield from _lost_time(scene)


def _lost_time(scene: Scene) -> Iterator[Hit]:
    onsets = [note.onset for note in scene.line]
    for one in scene.heard:
        start, end = one.start, min(one.start + one.tone.length, one.passage.onset + one.passage.length)
        at = max(0, bisect_right(onsets, start) - 1)
        sounding = Fraction(0)
        while at < len(scene.line) and scene.line[at].onset < end:
            note = scene.line[at]
            sounding += max(Fraction(0), min(note.end, end) - max(note.onset, start))
            at += 1
        if sounding * 2 < end - start:
            yield Hit("time-lost", one, {"pitch": one.tone.pitch})


def tune_heard(scene: Scene) -> Iterator[Hit]:
    """The written note sounds somewhere in what was played for it (an octave counts)."""
    for one in scene.heard:
        wanted = one.tone.pitch.pitch_class
        if one.notes and all(note.pitch.pitch_class != wanted for note in one.notes):
            yield Hit("tune-lost", one, {"pitch": one.tone.pitch})


def leapt_dissonances(scene: Scene) -> Iterator[Hit]:
    """An added note on the beat, foreign to the chord, that leaps away."""
    index = {id(note): at for at, note in enumerate(scene.line)}
    for one in scene.heard:
        if not one.graced:
            continue
        for note in one.notes:
            in_bar = note.page_onset - scene.piece.bars[one.tone.bar].onset
            if note.pitch == one.tone.pitch or in_bar.denominator != 1:
                continue
            harmony = scene.study.harmony_at(note.page_onset)
            at = index[id(note)]
            after = scene.line[at + 1].pitch if at + 1 < len(scene.line) else None
            if harmony is None or after is None or note.pitch.pitch_class in chord_of(harmony):
                continue
            if abs(after.diatonic - note.pitch.diatonic) > 1 and harmony.confidence >= 0.5:
                yield Hit("leapt-dissonance", one, {"pitch": note.pitch, "other": after}, note.page_onset)
                break


def cadences(scene: Scene) -> Iterator[Hit]:
    """Strong cadences without a shake on the notes before the arrival, where one could be played."""
    before_a_close = {cadence.penultimate for cadence in scene.study.cadences}
    for cadence in scene.study.cadences:
        if cadence.strength < STRONG or not cadence.penultimate or cadence.arrival in before_a_close:
            continue
        for index, one in enumerate(scene.heard):
            if one.tone.id != cadence.penultimate:
                continue
            span = [index] if cadence.dominant_onset >= one.tone.onset else [
                at for at in range(max(0, index - 8), index + 1)
                if scene.heard[at].tone.onset >= cadence.dominant_onset and scene.heard[at].passage == one.passage
            ]  # fmt: skip
            if any(at in scene.shakes or len(scene.heard[at].notes) > 3 for at in span):
                continue
            upper = one.tone.pitch.transposed(1, 2)
            rate = scene.instrument.rate(scene.level, one.tone.pitch, upper)
            if rate and scene.seconds(one.tone.length) * rate >= 2:
                words = f"{cadence.kind} cadence in {cadence.key}"
                yield Hit("cadence-bare", one, {"where": words, "upper": "the note above", "pitch": one.tone.pitch})


def repeats(scene: Scene) -> Iterator[Hit]:
    """A later time through with fewer notes than the one before, over the bars they share."""
    times: dict[tuple[int, int], list[Heard]] = {}
    for one in scene.heard:
        times.setdefault((one.tone.bar, one.passage.time_through), []).append(one)
    seen: set[int] = set()
    for passage in scene.version.passes:
        if passage.time_through < 2:
            continue
        bars = [bar for bar in range(passage.first_bar, passage.last_bar + 1) if (bar, passage.time_through) in times]
        shared = [bar for bar in bars if (bar, passage.time_through - 1) in times]
        now = sum(len(one.notes) for bar in shared for one in times[bar, passage.time_through])
        before = sum(len(one.notes) for bar in shared for one in times[bar, passage.time_through - 1])
        if now < before and passage.first_bar not in seen:
            seen.add(passage.first_bar)
            yield Hit("repeat-poorer", times[shared[0], passage.time_through][0], {"number": now, "other": before})


def breath(scene: Scene) -> Iterator[Hit]:
    """Stretches too long for one breath; graces that leave no time to breathe."""
    if scene.instrument.breath is None:
        return
    longest = scene.instrument.breath[1]
    places = {phrase.breath_after for phrase in scene.study.phrases if phrase.breath_after}
    places -= {cadence.penultimate for cadence in scene.study.cadences}
    begun: Heard | None = None
    for one, after in pairwise([*scene.heard, None]):
        assert one is not None
        begun = begun or one
        breathes = one.tone.id in places or one.tone.rest_after > 0 or one.tone.marks.breath or one.tone.marks.fermata
        filled = one.tone.id in places and len(one.notes) > 3 and not one.tone.rest_after
        if filled and scene.seconds(one.notes[-1].length) < 0.25:
            yield Hit("breath-filled", one, {"pitch": one.tone.pitch})
        if breathes or after is None:
            seconds = scene.seconds(one.start + one.tone.length - begun.start)
            if seconds > longest:
                yield Hit("no-breath", begun, {"seconds": round(seconds), "number": round(longest)})
            begun = None


def _at(scene: Scene, onset: Fraction) -> Heard:
    """The written note under way at a moment as played."""
    starts = [one.start for one in scene.heard]
    return scene.heard[max(0, bisect_right(starts, onset) - 1)]


def _bar_at(scene: Scene, page_end: Fraction) -> int:
    """The bar in which a note that ends here still sounds."""
    ends = [bar.end for bar in scene.piece.bars]
    return min(bisect_right(ends, page_end - Fraction(1, 1024)), len(ends) - 1)


CHECKS: Final[tuple[Check, ...]] = (
    parallels, time_kept, tune_heard, leapt_dissonances, cadences, repeats, breath,
)  # fmt: skip
