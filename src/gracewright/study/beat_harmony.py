"""What sounds on every beat and around it: chords in the key in force, notes above the bass, outer voices.

Conventions: one row for each beat; degrees are fifths from the tonic of the key in force, or from the lowest note of
the beat. Internal to the study; the order of the columns is the order in which weights were learned.

Public: chord_facts, voice_facts, note_facts.
"""

from __future__ import annotations

from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gracewright.study.beats import Beats, hot
from gracewright.study.frames import HIGH, PLACES, Floats, Ints

CHORDS: Final = (0, 1, 3, -4, -1, 2, 5, -3, 6, 7)
"""Roots told apart: tonic, dominant, sixth (major and minor), subdominant, second, leading note, mediant, and the
roots of V/V and vii/V."""
DEGREES: Final = (0, 2, 4, -3, -1, 1, 3, -4, 5, -2, 6)
FAMILY: Final = np.array([0, 1, 3, 0, 2, 1, 0, 1, 3, 3, 4])
STEPS: Final = (-7, 5, -5, 7, -12, 12, 0, 1, 2, -1, -2)
NEAR: Final = np.arange(-6, 7)
EARLIER: Final = (-4, -2)
WINDOWS: Final = ((0, 1, 1), (-1, 0, 1), (-2, 0, 2), (*EARLIER, 2), (1, 3, 2))
"""Beats from and to which notes are heard, and by how much they are divided."""


def chord_facts(beats: Beats) -> Floats:
    """The chord of arrival, the one before it and the one before that, in the key of arrival."""
    frames, chords, first = beats.material.frames, beats.chords, beats.first
    columns = beats.reading.columns
    chord = chords.root * 16 + chords.quality
    fresh = np.ones(len(frames), dtype=bool)
    fresh[1:] = chord[1:] != chord[:-1]
    run = np.cumsum(fresh) - 1
    begin = np.flatnonzero(fresh)
    stop = np.append(begin[1:], len(frames))
    starts, ends = frames.start[begin], frames.end[stop - 1]
    tonic = beats.tonic
    arrival = run[first]
    is_new = (begin[arrival] == first).astype(np.float32)
    parts: list[NDArray[Any]] = [(columns[first] % 2).astype(np.float32)[:, None]]
    for at in (arrival, arrival - 1, arrival - 2):
        there = np.maximum(at, 0)
        frame = begin[there]
        parts += [
            hot(chords.root[frame] - tonic, CHORDS), np.eye(5, dtype=np.float32)[FAMILY[chords.quality[frame]]],
            np.eye(4, dtype=np.float32)[chords.inversion[np.where(at == arrival, first, stop[there] - 1)]],
            np.minimum((ends[there] - starts[there]) / beats.beat, 4)[:, None] / 4, (at < 0)[:, None],
        ]  # fmt: skip
    last = np.maximum(first - 1, 0)
    parts += [
        is_new[:, None], np.minimum((ends[arrival] - frames.start[first]) / beats.beat, 4)[:, None] / 4,
        hot(chords.root[last] - tonic, CHORDS), np.eye(5, dtype=np.float32)[FAMILY[chords.quality[last]]],
        np.eye(4, dtype=np.float32)[chords.inversion[last]], chords.sure[first][:, None],
        (columns[first] != columns[np.maximum(first - 8, 0)])[:, None],
        (columns[first] != columns[np.minimum(first + 4, len(frames) - 1)])[:, None],
        *_ahead(beats, begin[np.minimum(arrival + 1, len(begin) - 1)]),
    ]  # fmt: skip
    return np.concatenate([np.asarray(part, dtype=np.float32) for part in parts], axis=1)


def _ahead(beats: Beats, following: Ints) -> list[NDArray[Any]]:
    """The next chord; and whether root and bass are the same a beat, two beats and a bar away."""
    chords, frames, first = beats.chords, beats.material.frames, beats.first
    root, base = chords.root[first], beats.base
    parts: list[NDArray[Any]] = [
        hot(chords.root[following] - root, (0, 1, -1, 2, -2, 3, -3, 4, -4, 5, -5, 6)),
        hot(chords.root[following] - beats.tonic, (0, 1, 2, 3, -1, -3, -4, 5)),
    ]
    for span in (beats.beat, 2 * beats.beat, beats.full):
        later, earlier = beats.frame_at(beats.start + span), beats.frame_at(beats.start - span)
        low = frames.low[later]
        parts.append(np.stack(
            [chords.root[later] == root, (low % 64 == base) & (low < HIGH), low // 64 == frames.low[first] // 64,
             chords.root[earlier] == root, frames.low[earlier] % 64 == base], axis=1
        ))  # fmt: skip
    return parts


def voice_facts(beats: Beats) -> Floats:
    """Bass and top note at the arrival and just before, as degrees; the bass step."""
    material, first, tonic = beats.material, beats.first, beats.tonic
    frames = material.frames
    last = np.maximum(first - 1, 0)
    onset, top, low = beats.attacks
    at = np.maximum(np.searchsorted(onset, beats.start, side="right") - 1, 0)
    before = np.maximum(at - 1, 0)
    lows, lows_before = frames.low[first], frames.low[last]
    silent = lows >= HIGH
    step = np.where(silent | (lows_before >= HIGH), 99, lows // 64 - lows_before // 64)
    places = material.melody_places
    here = np.searchsorted(material.melody_onsets, beats.start, side="right") - 1
    melody = [places[np.clip(here + shift, 0, len(places) - 1)] for shift in (0, -1, 1)]
    parts = [
        hot(np.where(silent, 99, lows % 64 - tonic), DEGREES), hot(lows_before % 64 - tonic, DEGREES),
        hot(top[at] % 64 - tonic, DEGREES), hot(top[before] % 64 - tonic, DEGREES),
        hot(low[at] % 64 - tonic, DEGREES), hot(step, STEPS), *(hot(place - tonic, DEGREES) for place in melody),
        hot(melody[0] - beats.base, (0, 4, -3, 1, -1, 2, 3, 5, -2)),
    ]  # fmt: skip
    return np.concatenate(parts, axis=1)


def note_facts(beats: Beats) -> Floats:
    """How long each note sounds on the beat, before and after it: above the lowest note, and in the key."""
    frames, start, beat = beats.material.frames, beats.start, beats.beat
    total = np.zeros((len(frames) + 1, PLACES))
    np.cumsum(frames.now * frames.length[:, None], axis=0, out=total[1:])
    edges = np.append(frames.start, frames.end[-1])

    def heard(begin: Ints, end: Ints) -> Floats:
        first, stop = (np.minimum(np.searchsorted(edges, time), len(frames)) for time in (begin, end))
        return np.asarray((total[stop] - total[first]) / beat[:, None])

    rows = np.arange(len(beats))[:, None]
    over_bass = np.clip(beats.base[:, None] + NEAR, 0, PLACES - 1)
    in_key = np.clip(beats.tonic[:, None] + NEAR, 0, PLACES - 1)
    parts: list[NDArray[Any]] = []
    keyed: list[NDArray[Any]] = []
    for begin, end, span in WINDOWS:
        seen = (heard(start + begin * beat, start + end * beat) / span).astype(np.float32)
        parts.append(seen[rows, over_bass])
        if (begin, end) != EARLIER:
            keyed.append(seen[rows, in_key])
    parts += [*keyed, frames.begin[beats.first][rows, over_bass], (beats.bottom >= HIGH)[:, None]]
    return np.concatenate([np.asarray(part, dtype=np.float32) for part in parts], axis=1)
