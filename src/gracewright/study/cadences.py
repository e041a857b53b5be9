"""Cadences: where a dominant arrives, of which kind, how strongly, and the notes that carry it.

Which beats are arrivals is learned (:mod:`gracewright.study.closes`); deceptive and evaded cadences, too rare to be
learned, are found by rule (:mod:`gracewright.study.broken`); the carrying notes are read from harmony and melody
(:mod:`gracewright.study.carriers`).

Conventions: the arrival is the onset of the goal chord. Perfect means tonic in the top voice over the tonic in the
bass; imperfect another chord note on top; half stops on the dominant; Phrygian is iv6 to V in minor; deceptive puts
another chord in the tonic's place; evaded breaks off.

Public: find_cadences, peaks.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Sequence
from dataclasses import replace
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.pitch import Key
from gracewright.score import Bar, Tone
from gracewright.study.broken import find_broken
from gracewright.study.carriers import carriers
from gracewright.study.closes import ARRIVALS, Closes
from gracewright.study.frames import Floats, Ints
from gracewright.study.material import Material
from gracewright.study.model import Cadence, CadenceKind, Harmony, Hemiola
from gracewright.study.numerals import numeral, place_of
from gracewright.study.tables import weights

DOMINANTS: Final = (1, 5)  # fifths from the tonic: V, vii
SECTION_END: Final = 0.7  # least strength of a cadence in the bar that ends a section
BROKEN: Final = 0.45  # of a deceptive or evaded cadence: no close, so never a strong one
LEAST_WEIGHT: Final = 0.25
HALF: Final = 3  # its column in ARRIVALS
NEIGHBOURS: Final = 2  # beats on either side
NEAR: Final = 12  # chords
SHARED: Final = 0.6  # of what was thought of them


def find_cadences(
    material: Material, harmony: Sequence[Harmony], closes: Closes, hemiolas: Sequence[Hemiola]
) -> tuple[Cadence, ...]:
    """Cadences in order of arrival."""
    numbers = weights().numbers
    starts = [chord.onset for chord in harmony]
    least, apart = numbers["closes.cadence"], numbers["closes.apart"]
    chance = closes.arrival.copy()
    chance[:, HALF] *= np.where(_on_the_dominant(material, harmony, starts, closes), 1, numbers["closes.doubt"])
    easier = least / numbers["closes.half"]  # halves are kept at a lower chance
    chance[:, HALF] = _within_a_quarter(material, closes.start, chance[:, HALF]) * easier
    score = np.maximum(chance[:, 1] + chance[:, 2], chance[:, HALF])
    found = []
    kept = peaks(closes.apart, score, least, apart * material.line.quarter)
    for beat in _one_of_each(kept, score, closes, material.ticks_of(starts), [chord.root for chord in harmony]):
        kind = ARRIVALS[1 + int(chance[beat, 1:].argmax())]
        assert kind is not None, "a kept beat arrives somewhere"
        onset = material.line.time(int(closes.start[beat]))
        alone = min(1.0, float(score[beat]) / (easier if kind == "half" else 1.0))
        strength = max(alone, (alone + float(closes.phrase[beat])) / 2)  # heard the more where a phrase ends
        found.append(_cadence(material, harmony, starts, onset, kind, strength, hemiolas))
    for onset, kind in _section_ends(material, harmony, starts, closes, found):
        found.append(_cadence(material, harmony, starts, onset, kind, SECTION_END, hemiolas))
    for onset, kind in find_broken(material, harmony, closes):
        if all(abs(onset - cadence.onset) >= Fraction(apart) for cadence in found):
            found.append(_cadence(material, harmony, starts, onset, kind, BROKEN, hemiolas))
    closing = [(bar.onset, bar.end) for bar in material.piece.bars if _closes(material, bar)]
    found = [_surer(cadence, closing) for cadence in sorted(found, key=lambda cadence: cadence.onset)]
    return tuple(found)


def _closes(material: Material, bar: Bar) -> bool:
    return bool(bar.repeat_end or bar.double_bar or bar.final_bar or bar.index == len(material.piece.bars) - 1)


def _surer(cadence: Cadence, closing: Sequence[tuple[Fraction, Fraction]]) -> Cadence:
    """A cadence in the bar that ends a section is a strong one, however it was read."""
    at = bisect_right(closing, cadence.onset, key=lambda span: span[0]) - 1
    last = at >= 0 and cadence.onset < closing[at][1]
    if last and cadence.kind not in ("deceptive", "evaded") and cadence.strength < SECTION_END:
        return replace(cadence, strength=SECTION_END)
    return cadence


def _one_of_each(kept: list[int], score: Floats, closes: Closes, starts: Ints, roots: Sequence[str]) -> list[int]:
    """Of arrivals between which no other chord is heard, the likeliest: a goal that lasts arrives once."""
    chord = np.maximum(np.searchsorted(starts, closes.start, side="right") - 1, 0)
    ending = closes.apart - closes.start
    single: list[int] = []
    for beat in kept:
        before = single[-1] if single else beat
        lasts = len(set(roots[chord[before] : chord[beat] + 1])) == 1 and ending[before] == ending[beat]
        if single and lasts:
            single[-1] = max(before, beat, key=lambda at: float(score[at]))
        else:
            single.append(beat)
    return single


def _within_a_quarter(material: Material, start: Ints, chance: Floats) -> Floats:
    """Chances with those of neighbours a quarter away or nearer: a stop on the dominant has no sure moment."""
    total = chance.copy()
    for shift in range(1, NEIGHBOURS + 1):
        near = start[shift:] - start[:-shift] <= material.line.quarter
        total[shift:] += SHARED * np.where(near, chance[:-shift], 0)
        total[:-shift] += SHARED * np.where(near, chance[shift:], 0)
    return total


def _section_ends(
    material: Material, harmony: Sequence[Harmony], starts: Sequence[Fraction], closes: Closes,
    found: Sequence[Cadence],
) -> list[tuple[Fraction, CadenceKind]]:  # fmt: skip
    """The likeliest authentic cadence in the last two bars of every section that was left without any."""
    missed: list[tuple[Fraction, CadenceKind]] = []
    bars = material.piece.bars
    likely = closes.arrival[:, 1] + closes.arrival[:, 2] + closes.phrase
    for bar in bars:
        begin = bars[max(0, bar.index - 1)].onset
        if not _closes(material, bar) or any(begin <= cadence.onset < bar.end for cadence in found):
            continue
        fitting = [
            (float(likely[_beat_at(material, closes, chord.onset)]), chord.onset)
            for at in range(max(1, bisect_left(starts, begin)), bisect_left(starts, bar.end))
            if (chord := harmony[at]).quality in ("major", "minor") and chord.inversion == 0
            and _leads(harmony[at - 1], place_of(chord.root)) and material.weight(chord.onset) >= LEAST_WEIGHT
        ]  # fmt: skip
        if fitting:
            missed.append((max(fitting)[1], "authentic-perfect"))
    return missed


def _beat_at(material: Material, closes: Closes, onset: Fraction) -> int:
    return max(0, int(np.searchsorted(closes.start, material.line.ticks(onset), side="right")) - 1)


def _on_the_dominant(
    material: Material, harmony: Sequence[Harmony], starts: Sequence[Fraction], closes: Closes
) -> NDArray[np.bool_]:
    """For each beat: whether the dominant of the key sounds there, or within an eighth, with its root in the bass."""
    fits = np.array([
        chord.quality in ("major", "dominant seventh") and chord.inversion == 0
        and place_of(chord.root) - chord.key.tonic_fifths == 1 for chord in harmony
    ])  # fmt: skip
    ticks = material.ticks_of(starts)
    at = np.searchsorted(ticks, closes.start, side="right") - 1
    ahead = np.minimum(at + 1, len(harmony) - 1)
    near = np.where(ticks[ahead] - closes.start <= material.line.quarter // 2, ahead, at)
    return np.asarray(fits[at] | fits[near])


def _leads(chord: Harmony, goal: int) -> bool:
    """Whether a chord is the dominant (or its leading-note chord) of a root."""
    apart = place_of(chord.root) - goal
    if chord.quality in ("major", "dominant seventh"):
        return apart == 1
    return apart == 5 and chord.quality in ("diminished", "diminished seventh", "half-diminished seventh")


def peaks(place: Ints, score: Floats, least: float, apart: float) -> list[int]:
    """Indices of the best scores above ``least`` that lie farther than ``apart`` from a better one, in order."""
    free = np.ones(len(score), dtype=bool)
    first = np.searchsorted(place, place - apart, side="right")
    stop = np.searchsorted(place, place + apart, side="left")
    kept: list[int] = []
    for index in np.argsort(-score, kind="stable").tolist():
        if score[index] < least:
            break
        if free[index]:
            kept.append(index)
            free[first[index] : stop[index]] = False
    return sorted(kept)


def _cadence(
    material: Material, harmony: Sequence[Harmony], starts: Sequence[Fraction], onset: Fraction, kind: CadenceKind,
    strength: float, hemiolas: Sequence[Hemiola],
) -> Cadence:  # fmt: skip
    at = max(0, bisect_right(starts, onset) - 1)
    here, key = harmony[at], harmony[at].key
    before = max(0, bisect_left(starts, onset) - 1)
    while before > 0 and harmony[before].root == here.root:
        before -= 1  # the goal chord was there already: what led to it stands earlier
    if kind == "half":
        key = _half_key(harmony, at)
        kind = "phrygian" if key.mode == "minor" and _is_phrygian(harmony[before], here, key) else kind
    if kind.startswith("authentic") and place_of(here.root) != key.tonic_fifths:
        key = Key(place_of(here.root), "minor" if here.quality == "minor" else "major")
    first = before if kind in ("half", "phrygian") else _dominant(harmony, before, key.tonic_fifths)
    arrival, penultimate = carriers(material, onset, harmony[first].onset, here)
    if kind.startswith("authentic") and arrival is not None:
        perfect = arrival.pitch.fifths == key.tonic_fifths and here.inversion == 0
        kind = "authentic-perfect" if perfect else "authentic-imperfect"
    span = material.bar_at(onset).length
    flag = any(onset - span <= hemiola.end <= onset + span / 2 for hemiola in hemiolas)
    reason = _reason(material, _told(harmony[before], key), _told(here, key), key, arrival, penultimate)
    return Cadence(
        onset, kind, round(strength, 3), key, harmony[first].onset, penultimate.id if penultimate else "",
        arrival.id if arrival else "", flag, reason,
    )  # fmt: skip


def _is_phrygian(before: Harmony, here: Harmony, key: Key) -> bool:
    return place_of(before.bass) - key.tonic_fifths == -4 and place_of(here.root) - key.tonic_fifths == 1


def _half_key(harmony: Sequence[Harmony], at: int) -> Key:
    """The key whose dominant a half cadence stops on: the one in force, or the nearest with that tonic."""
    tonic = place_of(harmony[at].root) - 1
    near = sorted(range(max(0, at - NEAR), min(len(harmony), at + NEAR)), key=lambda index: (abs(index - at), index))
    return next((harmony[index].key for index in near if harmony[index].key.tonic_fifths == tonic), harmony[at].key)


def _dominant(harmony: Sequence[Harmony], before: int, tonic: int) -> int:
    """Index of the chord with which the penultimate dominant begins."""
    first = before
    while first > 0 and before - first < 4 and place_of(harmony[first - 1].root) - tonic in DOMINANTS:
        first -= 1
    return first


def _told(chord: Harmony, key: Key) -> str:
    """The numeral of a chord in the key of the cadence."""
    return numeral(place_of(chord.root), chord.quality, chord.inversion, key)


def _reason(
    material: Material, before: str, here: str, key: Key, arrival: Tone | None, early: Tone | None
) -> str:
    parts = [f"{before} to {here} in {key}"]
    if arrival is not None and early is not None:
        names = {0: "the same note", 1: "a step up", -1: "a step down"}
        step = arrival.pitch.diatonic - early.pitch.diatonic
        parts.append(f"the melody goes {early.pitch.pitch_class}–{arrival.pitch.pitch_class}, {names[step]}"
                     if step in names else f"the melody leaps {early.pitch.pitch_class}–{arrival.pitch.pitch_class}")
        if any("trill" in sign.element for sign in early.marks.signs):
            parts.append("a shake on the way")
    if arrival is not None:
        beat = material.bar_at(arrival.onset).meter.beat
        if arrival.rest_after:
            parts.append("then a rest")
        elif arrival.length >= beat:
            parts.append("a long note")
        if arrival.marks.fermata:
            parts.append("a fermata")
    return ", ".join(parts)
