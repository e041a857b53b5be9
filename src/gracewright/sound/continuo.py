"""A simple continuo: the bass line, and above it a chord for each harmony, three notes close together.

Conventions: times are quarters as played. The chords are spelled (a seventh on C has b flat, not a sharp), lie between
``LOW`` and ``HIGH``, move as little as may be, double no leading note and make no fifths or octaves in a row with the
bass. Common practice of accompanying; the choice among voicings is our own.

Public: chords, Struck.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import product
from typing import Final

from gracewright.graces import chord_of
from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.pitch import Pitch, parse_class
from gracewright.study.model import Harmony, Study

LOW, HIGH = Pitch.parse("E3"), Pitch.parse("D5")
"""The chord's compass: under most solo notes, above most bass notes."""
SPREAD: Final = 12
"""Semitones that the three upper notes span at most."""
ROOM: Final = 16
"""Semitones above a high bass that the chord may use though they lie above ``HIGH``."""
MOST: Final = 24
"""Voicings of a chord that are compared."""
Voicing = tuple[Pitch, ...]


@dataclass(frozen=True, slots=True)
class Struck:
    """A chord struck at a time and held for a length, lowest note first."""

    onset: Fraction
    length: Fraction
    pitches: Voicing


def chords(version: Version, study: Study, bass: str) -> tuple[Struck, ...]:
    """The chords of a version: one at each change of harmony, and again where a new bar finds it still sounding."""
    spans = [span for passed in version.passes for span in _spans(passed, study)]
    notes = sorted((note for note in version.notes if note.part == bass), key=lambda note: note.onset)
    lowest = [_sounding(notes, onset) for onset, _, _ in spans]
    kept = [(span, low) for span, low in zip(spans, lowest, strict=True) if low is not None]
    voicings = _lead([(harmony, low) for (_, _, harmony), low in kept])
    return tuple(
        Struck(onset, end - onset, voicing)
        for ((onset, end, _), _), voicing in zip(kept, voicings, strict=True)
        if voicing
    )


def _spans(passed: Pass, study: Study) -> Iterator[tuple[Fraction, Fraction, Harmony]]:
    start, end = passed.page_onset, passed.page_onset + passed.length
    shift = passed.onset - start
    for harmony in study.harmony:
        left, right = max(start, harmony.onset), min(end, harmony.end)
        if left < right:
            yield left + shift, right + shift, harmony


def _sounding(notes: Sequence[PlayedNote], onset: Fraction) -> Pitch | None:
    """The lowest bass note that sounds at a time; None in a rest."""
    return min((n.pitch for n in notes if n.onset <= onset < n.end), key=lambda pitch: pitch.midi, default=None)


def _lead(places: Sequence[tuple[Harmony, Pitch]]) -> list[Voicing]:
    """One voicing for each chord, the whole row as smooth as can be (dynamic programming)."""
    best: list[dict[Voicing, tuple[float, Voicing]]] = []
    for at, (harmony, low) in enumerate(places):
        options = voicings(chord_of(harmony), low, harmony.key.leading)
        row: dict[Voicing, tuple[float, Voicing]] = {}
        for option, own in options:
            if at == 0:
                row[option] = (own, ())
                continue
            before = places[at - 1][1]
            cost, source = min(
                ((cost + _step(voicing, before, option, low), voicing) for voicing, (cost, _) in best[-1].items()),
                key=lambda pair: pair[0],
            )
            row[option] = (cost + own, source)
        best.append(row)
    if not best:
        return []
    voicing = min(best[-1], key=lambda option: best[-1][option][0])
    chosen = [voicing]
    for row in reversed(best[1:]):
        voicing = row[voicing][1]
        chosen.append(voicing)
    return chosen[::-1]


@cache
def voicings(chord: tuple[str, ...], low: Pitch, leading: str) -> tuple[tuple[Voicing, float], ...]:
    """Close positions of three notes for a chord over a bass note, each with its cost; an empty one where none fits."""
    found: dict[Voicing, float] = {}
    places = [_places(name, low) for name in chord]
    for picks in _choices(chord, low):
        for notes in product(*(places[pick] for pick in picks)):
            voicing = tuple(sorted(notes, key=lambda pitch: pitch.midi))
            heights = [pitch.midi for pitch in voicing]
            if len(set(heights)) < len(heights) or heights[-1] - heights[0] > SPREAD:
                continue
            cost = abs(heights[-1] - 69) * 0.15 + (heights[-1] - heights[0]) * 0.05
            cost += 6.0 * max(0, [pitch.pitch_class for pitch in (*voicing, low)].count(leading) - 1)
            cost += 2.5 * (low.pitch_class == chord[1] and chord[1] in [pitch.pitch_class for pitch in voicing])
            cost += 0.8 * [pitch.pitch_class for pitch in voicing].count(low.pitch_class)
            found[voicing] = cost
    best = sorted(found.items(), key=lambda pair: pair[1])[:MOST]
    return tuple(best) or (((), 0.0),)


def _choices(chord: tuple[str, ...], low: Pitch) -> tuple[tuple[int, ...], ...]:
    """Which members of the chord the three upper notes are: the third always, the seventh if there is one."""
    size = len(chord)
    if size == 4:
        missing = next((at for at, name in enumerate(chord) if name == low.pitch_class), None)
        full = tuple(at for at in range(4) if at != missing)
        return (full,) if missing is not None else ((0, 1, 3), (1, 2, 3))
    doublings = ((0, 1, 2), (0, 0, 1), (0, 1, 1), (1, 2, 2))
    bass = next((at for at, name in enumerate(chord) if name == low.pitch_class), None)
    if bass == 1:  # a sixth: the third lies in the bass, the upper notes double root or fifth
        return ((0, 0, 2), (0, 2, 2), (0, 1, 2))
    return doublings[:1] if bass is None else doublings


@cache
def _places(name: str, low: Pitch) -> tuple[Pitch, ...]:
    step, alter = parse_class(name)
    every = (Pitch(octave, step, alter) for octave in range(2, 7))
    return tuple(p for p in every if max(LOW.midi, low.midi + 3) <= p.midi <= max(HIGH.midi, low.midi + ROOM))


def _step(before: Voicing, low_before: Pitch, after: Voicing, low_after: Pitch) -> float:
    """How far the hand moves, and what the rules hold against the step."""
    if not before or not after:
        return 0.0
    cost = float(sum(abs(b.midi - a.midi) for a, b in zip(before, after, strict=False))) * 0.5
    lines = [(low_before, low_after), *zip(before, after, strict=False)]
    for (a, b), (c, d) in ((x, y) for i, x in enumerate(lines) for y in lines[i + 1 :]):
        if a != b and c != d and (c.midi - a.midi) % 12 == (d.midi - b.midi) % 12 in (0, 7):
            cost += 16.0
    return cost
