"""Phrases: where a player breathes, from cadences, rests, breath signs and long notes, with a liking for even lengths.

Public: find_phrases.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from gracewright.study.material import Material
from gracewright.study.model import Cadence, Phrase

USUAL: Final = 4  # bars, common practice


def find_phrases(material: Material, cadences: Sequence[Cadence], tempo: Fraction) -> tuple[Phrase, ...]:
    """Phrases that cover the melody from its first note to its last."""
    melody = material.melody
    if not melody:
        return ()
    scores = _boundary_scores(material, cadences)
    cuts = _best_cuts(material, scores)
    phrases = []
    begin = 0
    for cut in cuts:
        start, end = melody[begin].onset, melody[cut].end
        seconds = round(float((end - start) * 60 / tempo), 2)
        phrases.append(Phrase(start, end, seconds, melody[cut].id, scores[cut][1] or "the line runs on"))
        begin = cut + 1
    return tuple(phrases)


def _boundary_scores(material: Material, cadences: Sequence[Cadence]) -> list[tuple[float, str]]:
    """For each tone: how well a phrase could end after it, and why."""
    arrivals = {cadence.arrival: cadence for cadence in cadences}
    scores = []
    for tone in material.melody:
        bar = material.bar_at(tone.onset)
        beat = bar.meter.beat
        score, reason = 0.0, ""
        cadence = arrivals.get(tone.id)
        if cadence is not None:
            score, reason = 1.5 * cadence.strength + 0.3, f"{cadence.kind} cadence"
        if tone.marks.breath or tone.marks.fermata:
            score, reason = score + 2, reason or "a breath sign"
        if tone.rest_after:
            score, reason = score + min(1.5, float(tone.rest_after / beat)), reason or "a rest"
        if tone.length >= 2 * beat:
            score, reason = score + 0.5, reason or "a long note"
        if tone.end == bar.end and (bar.repeat_end or bar.double_bar or bar.final_bar):
            score, reason = score + 1.5, reason or "the end of a section"
        scores.append((score, reason))
    return scores


def _best_cuts(material: Material, scores: Sequence[tuple[float, str]]) -> list[int]:
    """Last tones of the phrases: the best sum of boundary scores and length prior (dynamic programming)."""
    melody = material.melody
    last = len(melody) - 1
    choices = [index for index, (score, _) in enumerate(scores) if score >= 0.5 and index < last] + [last]
    bar = float(material.piece.bars[min(1, len(material.piece.bars) - 1)].length) or 4.0
    best: dict[int, tuple[float, int]] = {-1: (0.0, -1)}
    earlier = [-1]
    for index in choices:
        options = []
        for before in earlier[-24:]:
            bars = float(melody[index].end - melody[before + 1].onset) / bar
            long = abs(bars - USUAL) / USUAL if bars < USUAL else min(2.0, (bars - USUAL) / (2 * USUAL))
            options.append((best[before][0] + scores[index][0] - 0.6 - 0.4 * long, before))
        best[index] = max(options)
        earlier.append(index)
    cuts, at = [], last
    while at >= 0:
        cuts.append(at)
        at = best[at][1]
    return cuts[::-1]
