"""Phrases: where a player breathes, from learned phrase ends, rests, fermatas and breath signs.

Public: find_phrases.
"""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Sequence
from fractions import Fraction
from typing import Final

import numpy as np

from gracewright.study.breaths import breathing
from gracewright.study.cadences import peaks
from gracewright.study.closes import Closes
from gracewright.study.frames import Floats
from gracewright.study.material import Material
from gracewright.study.model import Cadence, Phrase
from gracewright.study.model import Sequence as Pattern
from gracewright.study.tables import weights

SURE: Final = 2.0  # a breath sign or fermata: above any chance
UNLIKELY: Final = 0.02
LEAST: Final = 2  # beats
PAUSE: Final = 0.3  # a rest of a beat


def find_phrases(
    material: Material, closes: Closes, cadences: Sequence[Cadence], tempo: Fraction,
    patterns: Sequence[Pattern] = (),
) -> tuple[Phrase, ...]:  # fmt: skip
    """Phrases that cover the melody from its first note to its last; ``patterns`` are the sequences in it."""
    melody = material.melody
    cuts = _cuts(material, closes)
    beats = np.maximum(np.searchsorted(closes.start, material.melody_onsets, side="right") - 1, 0)
    breaths = breathing(material, cadences, patterns, closes.phrase[beats], tempo)
    phrases = []
    begin = 0
    for cut in sorted(cuts):
        start, end = melody[begin].onset, melody[cut].end
        seconds = round(float((end - start) * 60 / tempo), 2)
        onset = material.line.time(cuts[cut])
        reason = _reason(material, cut, onset, cadences)
        inside = breaths.within(begin, cut)
        phrases.append(Phrase(start, end, seconds, melody[cut].id, reason, onset, inside))
        begin = cut + 1
    return tuple(phrases)


def _cuts(material: Material, closes: Closes) -> dict[int, int]:
    """Last tones of the phrases, each with the time at which its closing harmony arrives."""
    numbers = weights().numbers
    apart = numbers["closes.phrase_apart"] * material.line.quarter
    found: dict[int, int] = {}
    for beat in peaks(closes.apart, _with_marks(material, closes), numbers["closes.phrase"], apart):
        last = _last_tone(material, int(closes.start[beat]))
        if last >= 0:
            found.setdefault(last, int(closes.start[beat]))
    for stop, bar in _section_ends(material):
        last = int(np.searchsorted(material.melody_onsets, stop)) - 1
        within = [cut for cut in found if stop - bar <= found[cut] < stop]
        if last < 0:
            continue
        goal = found[max(within)] if within else _likeliest(closes, stop - bar, stop, int(material.melody_onsets[last]))
        found = {cut: time for cut, time in found.items() if cut not in within} | {last: goal}
    return _long_enough(material, found)


def _long_enough(material: Material, found: dict[int, int]) -> dict[int, int]:
    """The cuts without those that would leave a phrase of a beat or two: of two, the one that ends a section stays."""
    stops = {int(np.searchsorted(material.melody_onsets, stop)) - 1 for stop, _ in _section_ends(material)}
    kept: list[int] = []
    for cut in sorted(found):
        begin = material.melody[kept[-1] + 1 if kept else 0]
        short = material.melody[cut].end - begin.onset <= LEAST * material.piece.bars[begin.bar].meter.beat
        marked = any(material.melody[at].marks.breath or material.melody[at].marks.fermata for at in (cut, *kept[-1:]))
        if not short or marked:
            kept.append(cut)
        elif cut in stops and kept and kept[-1] not in stops:
            kept[-1] = cut
        elif cut in stops:
            kept.append(cut)
    return {cut: found[cut] for cut in kept}


def _section_ends(material: Material) -> list[tuple[int, int]]:
    """Where the player stops or turns back, in ticks, and the length of a bar there."""
    quarter, ends = material.line.quarter, material.line.bar_start[1:].tolist()
    closing = [bar for bar in material.piece.bars if bar.repeat_end or bar.index == len(material.piece.bars) - 1]
    return [(ends[bar.index], int(bar.meter.length * quarter)) for bar in closing]


def _likeliest(closes: Closes, begin: int, end: int, last: int) -> int:
    """The beat between two times on which a phrase most likely comes to rest, or the time of the ``last`` note."""
    first, stop = np.searchsorted(closes.start, begin), np.searchsorted(closes.start, end)
    if first == stop or closes.phrase[first:stop].max() < UNLIKELY:
        return last
    return int(closes.start[first + int(closes.phrase[first:stop].argmax())])


def _with_marks(material: Material, closes: Closes) -> Floats:
    """Chances of a phrase end, raised where the page shows a breath, a fermata or a rest."""
    score = closes.phrase.copy()
    for index, tone in enumerate(material.melody[:-1]):
        raised = SURE if tone.marks.breath or tone.marks.fermata else 0.0
        if tone.rest_after and tone.rest_after >= material.piece.bars[tone.bar].meter.beat:
            raised = max(raised, PAUSE)
        if raised:
            at = int(np.searchsorted(closes.start, material.melody_onsets[index], side="right")) - 1
            score[max(0, at)] = max(float(score[max(0, at)]), raised)
    return score


def _last_tone(material: Material, start: int) -> int:
    """Index of the last tone of a phrase whose final harmony arrives at ``start``.

    Usually the tone that sounds there; a resolution that follows within two beats and is longer or goes into a rest
    belongs to the phrase.
    """
    at = int(np.searchsorted(material.melody_onsets, start, side="right")) - 1
    if at < 0:
        return -1
    melody = material.melody
    beat = material.piece.bars[melody[at].bar].meter.beat
    begin = material.line.time(start)
    best = at
    for index in range(at, min(at + 4, len(melody))):
        tone = melody[index]
        if tone.onset >= begin + 2 * beat:
            break
        if tone.rest_after or tone.marks.breath or tone.marks.fermata:
            return index
        if tone.length > melody[best].length and tone.length >= beat:
            best = index
    return best


def _reason(material: Material, cut: int, onset: Fraction, arrivals: Sequence[Cadence]) -> str:
    tone = material.melody[cut]
    beat = material.piece.bars[tone.bar].meter.beat
    at = bisect_left(arrivals, onset, key=lambda cadence: cadence.onset)
    near = [cadence for cadence in arrivals[max(0, at - 1) : at + 1] if abs(cadence.onset - onset) <= beat]
    if near:
        return f"{min(near, key=lambda cadence: abs(cadence.onset - onset)).kind} cadence"
    if tone.marks.breath or tone.marks.fermata:
        return "a breath sign" if tone.marks.breath else "a fermata"
    if tone.rest_after:
        return "a rest"
    if cut == len(material.melody) - 1:
        return "the end of the piece"
    return "a long note" if tone.length >= beat else "the harmony closes here"
