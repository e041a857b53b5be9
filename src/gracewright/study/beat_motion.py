"""How the music moves on every beat and around it: stillness and motion, the lines' steps and lengths, texture.

Conventions: one row for each beat; lengths are in beats, capped and scaled to at most 1. Internal to the study; the
order of the columns is the order in which weights were learned.

Public: rhythm_facts, line_facts.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from gracewright.study.beats import Beats
from gracewright.study.frames import Floats, Ints


def rhythm_facts(beats: Beats) -> Floats:
    """Stillness after the arrival, motion before it, in all parts and in the melody."""
    material, start, beat = beats.material, beats.start, beats.beat
    line, stop = material.line, material.frames.end[-1]
    times = beats.attacks[0]
    struck = np.sort(line.onset[~line.held])

    def gap(onsets: Ints) -> NDArray[Any]:
        at = np.searchsorted(onsets, start, side="right")
        return np.asarray((np.append(onsets, stop)[at] - start) / beat)

    def count(begin: NDArray[Any], end: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(np.searchsorted(times, end) - np.searchsorted(times, begin))

    melody, ends = material.melody_onsets, material.melody_ends
    held = np.maximum(np.searchsorted(melody, start, side="right") - 1, 0)
    struck_here = melody[held] == start
    length = np.where(struck_here, (ends[held] - melody[held]) / beat, 0)
    silence = np.clip((np.append(melody, stop)[held + 1] - ends[held]) / beat, 0, 4)
    ground = gap(material.ground_onsets) if len(material.ground_onsets) else np.zeros(len(beats))
    inside = count(start + 1, start + beat)
    every, sung, longest = gap(times), gap(melody), _longest(beats)
    columns = [
        np.minimum(every, 4) / 4, np.minimum(every, 1), np.minimum(sung, 4) / 4, np.minimum(sung, 1),
        np.minimum(ground, 4) / 4, np.minimum(ground, 1), np.minimum(length, 4) / 4, np.minimum(length, 1),
        struck_here, np.minimum(silence, 2) / 2, silence > 0, np.minimum(inside, 4) / 4,
        np.minimum(count(start + beat, start + 2 * beat), 6) / 6, np.minimum(count(start - beat, start), 6) / 6,
        np.minimum(count(start - 2 * beat, start - beat), 6) / 6,
        np.minimum(np.searchsorted(struck, start, side="right") - np.searchsorted(struck, start), 5) / 5,
        np.clip((count(start - 4 * beat, start) / 4 - count(start, start + 2 * beat) / 2) / 3, -1, 1),
        inside == 0, np.minimum(longest, 4) / 4, np.minimum(longest, 1),
    ]  # fmt: skip
    return _table(columns)


def _longest(beats: Beats) -> NDArray[Any]:
    """Length of the longest note struck on each beat, in beats."""
    line, start = beats.material.line, beats.start
    longest = np.zeros(len(start))
    slot = np.minimum(np.searchsorted(start, line.onset), len(start) - 1)
    fits = ~line.held & (start[slot] == line.onset)
    np.maximum.at(longest, slot[fits], (line.end - line.onset)[fits] / beats.beat[slot[fits]])
    return longest


def line_facts(beats: Beats) -> Floats:
    """Steps and lengths of melody and bass around the beat, how many notes sound, and how busy the piece is."""
    material, start, beat = beats.material, beats.start, beats.beat
    line = material.line
    begun, ended = np.sort(line.onset), np.sort(line.end)
    before, here, after, later = (
        np.searchsorted(begun, time, side="right") - np.searchsorted(ended, time, side="right")
        for time in (start - 1, start, start + beat, start + 2 * beat)
    )
    columns = [np.minimum(number, 6) / 6 for number in (before, here, after, later)]
    columns += [here == 0, after == 0, after > here, after < here, np.clip(here - before, -2, 2) / 2]
    high = np.array([tone.pitch.midi for tone in material.melody], dtype=np.float64)
    usual = np.convolve(high, np.ones(8) / 8, "same") if len(high) >= 8 else np.full(len(high), high.mean())
    at = np.clip(np.searchsorted(material.melody_onsets, start, side="right") - 1, 0, len(high) - 1)
    columns += _steps(beats, material.melody_onsets, _staff_places(material.melody), 4)
    columns += _lengths(beats, material.melody_onsets, material.melody_ends - material.melody_onsets, (-2, -1, 0, 1, 2))
    columns.append((high - usual)[at] / 12)
    if material.ground:
        spans = material.ticks_of([tone.length for tone in material.ground])
        columns += _steps(beats, material.ground_onsets, _staff_places(material.ground), 7)
        columns += _lengths(beats, material.ground_onsets, spans, (-2, -1, 0, 1))
    else:
        columns += [np.zeros(len(beats))] * (4 * 5 + 5)
    busy = len(np.unique(line.onset)) * float(np.median(beat)) / max(1, int(material.frames.end[-1])) / 4
    size = min(1.0, len(material.piece.bars) / 128)
    columns += [np.full(len(beats), fact) for fact in (busy, size, float(not material.ground))]
    return _table(columns)


def _staff_places(tones: Any) -> Ints:
    return np.array([tone.pitch.diatonic for tone in tones], dtype=np.int64)


def _steps(beats: Beats, onsets: Ints, places: Ints, leap: int) -> list[NDArray[Any]]:
    """Of the two steps into a beat and the two out of it: size, and whether none, one, or a leap."""
    at = np.searchsorted(onsets, beats.start, side="right") - 1
    columns: list[NDArray[Any]] = []
    for shift in (-2, -1, 0, 1):
        from_place, to_place = (places[np.clip(at + n, 0, len(places) - 1)] for n in (shift, shift + 1))
        step = np.clip(to_place - from_place, -8, 8)
        columns += [step / 8, np.abs(step) / 8, step == 0, np.abs(step) == 1, np.abs(step) >= leap]
    return columns


def _lengths(beats: Beats, onsets: Ints, lengths: Ints, shifts: tuple[int, ...]) -> list[NDArray[Any]]:
    at = np.clip(np.searchsorted(onsets, beats.start, side="right") - 1, 0, len(onsets) - 1)
    near = [np.minimum(lengths[np.clip(at + n, 0, len(onsets) - 1)] / beats.beat, 4) / 4 for n in shifts]
    return [*near, onsets[at] == beats.start]


def _table(columns: list[NDArray[Any]]) -> Floats:
    return np.stack([np.asarray(column, dtype=np.float32) for column in columns], axis=1)
