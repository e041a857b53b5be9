"""Checks on the whole line: time kept, the tune heard, the other voices, cadences, repeats, breath.

Conventions: as in :mod:`gracewright.review.checks_graces`.

Public: CHECKS.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from itertools import pairwise
from typing import Final

from gracewright.graces import chord_of
from gracewright.review.checks_graces import Check, Hit
from gracewright.review.parallels import new_direct, new_on_beats
from gracewright.review.scene import Heard, Scene

STRONG: Final = 0.6
"""Cadences from this strength on want their shake."""


def parallels(scene: Scene) -> Iterator[Hit]:
    """New fifths and octaves with every other voice; the same ones with two lines of a part are told once."""
    starts = [one.start for one in scene.heard]
    told: set[tuple[str, int]] = set()
    for name, voice in scene.voices.items():
        for found in new_direct(scene.plain, scene.line, voice, scene.ticks):
            if found[:2] not in told:
                told.add(found[:2])
                yield Hit(found.kind, _at(scene, starts, found.onset), {"where": name, "notes": found.words})
        for found in new_on_beats(scene.plain, scene.line, voice, scene.ticks, scene.ticks // 2):
            if found[:2] not in told:
                told.add(found[:2])
                values = {"where": name, "notes": found.words, "number": found.kind}
                yield Hit("beats-parallel", _at(scene, starts, found.onset), values)


def time_kept(scene: Scene) -> Iterator[Hit]:
    """No note sounds into the next, no grace past its bar, no written note is mostly silent."""
    starts = [one.start for one in scene.heard]
    for first, second in pairwise(scene.line):
        if first.end > second.onset > first.onset:
            values = {"pitch": second.pitch, "other": first.pitch}
            yield Hit("overlap", _at(scene, starts, second.onset), values)
    ends = [bar.end for bar in scene.piece.bars]
    for one in scene.heard:
        if one.graced:
            bar = min(bisect_right(ends, one.tone.onset), len(ends) - 1)
            last = one.notes[-1]
            if last.page_onset + last.length > max(ends[bar], one.tone.end):
                yield Hit("spills", one, {"pitch": one.tone.pitch})
    yield from _lost_time(scene)


def _lost_time(scene: Scene) -> Iterator[Hit]:
    line = scene.line
    onsets = [row.onset for row in line]
    for one in scene.heard:
        at = max(0, bisect_right(onsets, one.start) - 1)
        sounding = 0
        while at < len(line) and line[at].onset < one.end:
            sounding += max(0, min(line[at].end, one.end) - max(line[at].onset, one.start))
            at += 1
        if sounding * 2 < one.end - one.start:
            yield Hit("time-lost", one, {"pitch": one.tone.pitch})


def tune_heard(scene: Scene) -> Iterator[Hit]:
    """The written note sounds somewhere in what was played for it (an octave counts)."""
    for one in scene.heard:
        wanted = one.tone.pitch
        if one.notes and all((note.pitch.step, note.pitch.alter) != (wanted.step, wanted.alter) for note in one.notes):
            yield Hit("tune-lost", one, {"pitch": one.tone.pitch})


def leapt_dissonances(scene: Scene) -> Iterator[Hit]:
    """An added note on the beat, foreign to the chord, that leaps away."""
    for one in scene.heard:
        if not one.graced:
            continue
        for index, note in enumerate(one.notes, start=one.first):
            in_bar = note.page_onset - scene.piece.bars[one.tone.bar].onset
            if note.pitch == one.tone.pitch or in_bar.denominator != 1 or index + 1 >= len(scene.line):
                continue
            after = scene.line[index + 1]
            if abs(after.place - note.pitch.diatonic) < 2:
                continue
            harmony = scene.study.harmony_at(note.page_onset)
            if harmony is None or harmony.confidence < 0.5 or note.pitch.pitch_class in chord_of(harmony):
                continue
            yield Hit("leapt-dissonance", one, {"pitch": note.pitch, "other": after.pitch}, note.page_onset)
            break


def cadences(scene: Scene) -> Iterator[Hit]:
    """Strong cadences without a shake on the notes before the arrival, where one could be played."""
    before_a_close = {cadence.penultimate for cadence in scene.study.cadences}
    strong = {
        cadence.penultimate: cadence
        for cadence in scene.study.cadences
        if cadence.strength >= STRONG and cadence.penultimate and cadence.arrival not in before_a_close
    }
    for index, one in enumerate(scene.heard):
        cadence = strong.get(one.tone.id)
        if cadence is None:
            continue
        span = [index]
        while span[-1] and scene.heard[span[-1] - 1].tone.onset >= cadence.dominant_onset and len(span) < 8:
            span.append(span[-1] - 1)
        if any(at in scene.shakes or len(scene.heard[at].notes) > 3 for at in span):
            continue
        rate = scene.instrument.rate(scene.level, one.tone.pitch, one.tone.pitch.transposed(1, 2))
        if rate and scene.seconds(one.tone.length) * rate >= 2:
            words = f"{cadence.kind.replace('-', ' ')} cadence in {cadence.key}"
            yield Hit("cadence-bare", one, {"where": words, "upper": "the note above", "pitch": one.tone.pitch})


def repeats(scene: Scene) -> Iterator[Hit]:
    """A later time through with fewer notes than the one before, over the bars they share."""
    times: dict[tuple[int, int], list[Heard]] = {}
    for one in scene.heard:
        times.setdefault((one.tone.bar, one.passage.time_through), []).append(one)
    for passage in scene.version.passes:
        if passage.time_through < 2:
            continue
        bars = [bar for bar in range(passage.first_bar, passage.last_bar + 1) if (bar, passage.time_through) in times]
        shared = [bar for bar in bars if (bar, passage.time_through - 1) in times]
        now = sum(len(one.notes) for bar in shared for one in times[bar, passage.time_through])
        before = sum(len(one.notes) for bar in shared for one in times[bar, passage.time_through - 1])
        if now < before:
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
            seconds = (one.end - begun.start) * scene.tick
            if seconds > longest:
                advice = _where_to_breathe(scene, begun, one)
                yield Hit("no-breath", begun, {"seconds": round(seconds), "number": round(longest), "advice": advice})
            begun = None


def _where_to_breathe(scene: Scene, first: Heard, last: Heard) -> str:
    """The places that the study proposes between two notes, in words."""
    begin, end = first.tone.onset, last.tone.onset
    inside = {one.tone.id: one.tone for one in scene.heard if begin <= one.tone.onset < end}
    after = [inside[place.after] for phrase in scene.study.phrases for place in phrase.breaths if place.after in inside]
    if not after:
        return "shorten a note at a phrase end to breathe"
    notes = [f"after the {tone.pitch} in bar {scene.piece.bars[tone.bar].number}" for tone in after]
    return f"breathe {' or '.join(notes)}, shortening that note"


def _at(scene: Scene, starts: list[int], onset: int) -> Heard:
    """The written note under way at a moment as played."""
    return scene.heard[max(0, bisect_right(starts, onset) - 1)]


CHECKS: Final[tuple[Check, ...]] = (
    parallels, time_kept, tune_heard, leapt_dissonances, cadences, repeats, breath,
)  # fmt: skip
