"""What a close looks like: features of every beat on which a cadence could arrive or a phrase could end.

Conventions: one row for each beat. Degrees are fifths from the tonic of the key in force; lengths are in beats, capped
and scaled to at most 1. Internal to the study; the order of the columns is the order in which weights were learned.

Public: Closes, read_closes, close_features, ARRIVALS.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from gracewright.study.chords import ChordPath
from gracewright.study.frames import HIGH, Floats, Ints
from gracewright.study.harmony import Reading
from gracewright.study.keys import FIRST_TONIC, log_softmax
from gracewright.study.material import Material
from gracewright.study.model import CadenceKind, Sequence
from gracewright.study.tables import weights

ARRIVALS: Final[tuple[CadenceKind | None, ...]] = (
    None, "authentic-perfect", "authentic-imperfect", "half", "deceptive", "evaded",
)  # fmt: skip
CHORDS: Final = (0, 1, 3, -4, -1, 2, 5, -3, 6, 7)
"""Roots told apart: tonic, dominant, sixth (major and minor), subdominant, second, leading note, mediant, and the
roots of V/V and vii/V."""
DEGREES: Final = (0, 2, 4, -3, -1, 1, 3, -4, 5, -2, 6)
FAMILY: Final = np.array([0, 1, 3, 0, 2, 1, 0, 1, 3, 3, 4])


@dataclass(frozen=True)
class Closes:
    """Of each beat: its start in ticks, the probability of each arrival (as ARRIVALS) and of a phrase end."""

    start: Ints
    arrival: Floats
    phrase: Floats


def read_closes(material: Material, reading: Reading, sequences: tuple[Sequence, ...]) -> Closes:
    """How likely every beat is a cadence of each kind, and the end of a phrase."""
    first = reading.keys.first
    seen = close_features(material, reading.chords, reading.columns, first, sequences)
    chance = np.exp(log_softmax(weights().layers["close"].scores(seen)))
    return Closes(material.frames.start[first], chance[:, 0::2] + chance[:, 1::2], chance[:, 1::2].sum(axis=1))


def close_features(material: Material, chords: ChordPath, columns: Ints, first: Ints,
                   sequences: tuple[Sequence, ...]) -> Floats:  # fmt: skip
    """Features of the beats whose first frames are ``first``, shape (beats, features)."""
    return np.concatenate(
        [_harmony(material, chords, columns, first), _voices(material, columns, first), _rhythm(material, first),
         _form(material, first, sequences)], axis=1
    ).astype(np.float32)  # fmt: skip


def _hot(values: Ints, known: tuple[int, ...]) -> NDArray[Any]:
    return np.asarray(values[:, None] == np.array(known)[None, :], dtype=np.float32)


def _harmony(material: Material, chords: ChordPath, columns: Ints, first: Ints) -> NDArray[Any]:
    """The chord of arrival, the one before it and the one before that, in the key of arrival."""
    frames = material.frames
    chord = chords.root * 16 + chords.quality
    fresh = np.ones(len(frames), dtype=bool)
    fresh[1:] = chord[1:] != chord[:-1]
    run = np.cumsum(fresh) - 1
    begin = np.flatnonzero(fresh)
    stop = np.append(begin[1:], len(frames))
    starts, ends = frames.start[begin], frames.end[stop - 1]
    tonic = FIRST_TONIC + columns[first] // 2
    minor = (columns[first] % 2).astype(np.float32)
    beat = _beat_ticks(material, first)
    parts: list[NDArray[Any]] = [minor[:, None]]
    arrival = run[first]
    is_new = (begin[arrival] == first).astype(np.float32)
    back = np.where(is_new > 0, arrival - 1, arrival)
    for at in (arrival, arrival - 1, arrival - 2):
        there = np.maximum(at, 0)
        frame = begin[there]
        parts += [
            _hot(chords.root[frame] - tonic, CHORDS), np.eye(5, dtype=np.float32)[FAMILY[chords.quality[frame]]],
            np.eye(4, dtype=np.float32)[chords.inversion[np.where(at == arrival, first, stop[there] - 1)]],
            np.minimum((ends[there] - starts[there]) / beat, 4)[:, None] / 4, (at < 0).astype(np.float32)[:, None],
        ]  # fmt: skip
    last = np.maximum(first - 1, 0)
    parts += [
        is_new[:, None], (back != arrival - 1).astype(np.float32)[:, None],
        np.minimum((ends[arrival] - frames.start[first]) / beat, 4)[:, None] / 4,
        _hot(chords.root[last] - tonic, CHORDS), np.eye(5, dtype=np.float32)[FAMILY[chords.quality[last]]],
        np.eye(4, dtype=np.float32)[chords.inversion[last]], chords.sure[first][:, None],
        (columns[first] != columns[np.maximum(first - 8, 0)]).astype(np.float32)[:, None],
        (columns[first] != columns[np.minimum(first + 4, len(frames) - 1)]).astype(np.float32)[:, None],
    ]  # fmt: skip
    return np.concatenate(parts, axis=1)


def _voices(material: Material, columns: Ints, first: Ints) -> NDArray[Any]:
    """Bass and top note at the arrival and just before, as degrees; the bass step."""
    frames = material.frames
    tonic = FIRST_TONIC + columns[first] // 2
    last = np.maximum(first - 1, 0)
    onset, top, low = _attacks(material)
    at = np.maximum(np.searchsorted(onset, frames.start[first], side="right") - 1, 0)
    before = np.maximum(at - 1, 0)
    lows, lows_before = frames.low[first], frames.low[last]
    low_midi, before_midi = lows // 64, lows_before // 64
    silent = lows >= HIGH
    step = np.where(silent | (lows_before >= HIGH), 99, low_midi - before_midi)
    melody = _melody_places(material, first)
    parts = [
        _hot(np.where(silent, 99, lows % 64 - tonic), DEGREES), _hot(lows_before % 64 - tonic, DEGREES),
        _hot(top[at] % 64 - tonic, DEGREES), _hot(top[before] % 64 - tonic, DEGREES),
        _hot(low[at] % 64 - tonic, DEGREES), _hot(step, (-7, 5, -5, 7, -12, 12, 0, 1, 2, -1, -2)),
        *(_hot(place - tonic, DEGREES) for place in melody),
    ]  # fmt: skip
    return np.concatenate(parts, axis=1)


def _attacks(material: Material) -> tuple[Ints, Ints, Ints]:
    """Times at which something begins, with the highest and lowest note (midi * 64 + place) beginning there."""
    line = material.line
    struck = ~line.held
    onset, code = line.onset[struck], (line.midi * 64 + line.place)[struck]
    times, index = np.unique(onset, return_index=True)
    if not len(times):
        return np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64), np.zeros(1, dtype=np.int64)
    return times, np.maximum.reduceat(code, index), np.minimum.reduceat(code, index)


def _melody_places(material: Material, first: Ints) -> tuple[Ints, Ints, Ints]:
    """Places of the melody note at the arrival, the one before and the one after it."""
    places = material.melody_places
    at = np.searchsorted(material.melody_onsets, material.frames.start[first], side="right") - 1
    return tuple(places[np.clip(at + shift, 0, len(places) - 1)] for shift in (0, -1, 1))  # type: ignore[return-value]


def _beat_ticks(material: Material, first: Ints) -> NDArray[Any]:
    beats = np.array([max(1, int(bar.meter.beat * material.line.quarter)) for bar in material.piece.bars])
    return np.asarray(beats[material.frames.bar[first]], dtype=np.float64)


def _rhythm(material: Material, first: Ints) -> NDArray[Any]:
    """Stillness after the arrival, motion before it, in all parts and in the melody."""
    frames, line = material.frames, material.line
    start = frames.start[first]
    beat = _beat_ticks(material, first)
    times, _, _ = _attacks(material)
    struck = np.sort(line.onset[~line.held])

    def gap(onsets: Ints) -> NDArray[Any]:
        at = np.searchsorted(onsets, start, side="right")
        following = np.append(onsets, frames.end[-1])[at]
        return np.asarray((following - start) / beat)

    def count(begin: NDArray[Any], end: NDArray[Any]) -> NDArray[Any]:
        return np.asarray(np.searchsorted(times, end) - np.searchsorted(times, begin))

    melody, ends = material.melody_onsets, material.melody_ends
    at = np.searchsorted(melody, start, side="right") - 1
    held = np.maximum(at, 0)
    struck_here = (melody[held] == start) & (at >= 0)
    length = np.where(struck_here, (ends[held] - melody[held]) / beat, 0)
    silence = np.clip((np.append(melody, frames.end[-1])[held + 1] - ends[held]) / beat, 0, 4)
    ground = gap(material.ground_onsets) if len(material.ground_onsets) else np.zeros(len(first))
    inside = count(start + 1, start + beat)
    columns = [
        np.minimum(gap(times), 4) / 4, np.minimum(gap(times), 1), np.minimum(gap(melody), 4) / 4,
        np.minimum(gap(melody), 1), np.minimum(ground, 4) / 4, np.minimum(ground, 1),
        np.minimum(length, 4) / 4, np.minimum(length, 1), struck_here.astype(np.float64),
        np.minimum(silence, 2) / 2, (silence > 0).astype(np.float64), np.minimum(inside, 4) / 4,
        np.minimum(count(start + beat, start + 2 * beat), 6) / 6, np.minimum(count(start - beat, start), 6) / 6,
        np.minimum(count(start - 2 * beat, start - beat), 6) / 6,
        np.minimum(np.searchsorted(struck, start, side="right") - np.searchsorted(struck, start), 5) / 5,
        np.clip((count(start - 4 * beat, start) / 4 - count(start, start + 2 * beat) / 2) / 3, -1, 1),
        (inside == 0).astype(np.float64), beat / line.quarter / 2,
    ]  # fmt: skip
    longest = np.zeros(len(first))
    slot = np.searchsorted(start, line.onset)
    fits = (slot < len(start)) & ~line.held
    fits[fits] &= start[slot[fits]] == line.onset[fits]
    np.maximum.at(longest, slot[fits], (line.end - line.onset)[fits] / beat[slot[fits]])
    columns += [np.minimum(longest, 4) / 4, np.minimum(longest, 1)]
    return np.stack(columns, axis=1)


def _form(material: Material, first: Ints, sequences: tuple[Sequence, ...]) -> NDArray[Any]:
    """Metre, place in the section, bar lines, fermatas, trills before, and whether a sequence runs on."""
    frames, line, bars = material.frames, material.line, material.piece.bars
    bar = frames.bar[first]
    closing = np.array([bool(b.repeat_end or b.double_bar or b.final_bar) for b in bars] + [True])
    closing[len(bars) - 1] = True
    opening = np.array([bool(b.repeat_start) for b in bars] + [False])
    section = np.zeros(len(bars), dtype=np.int64)
    begin = 1 if bars[0].pickup else 0
    for index in range(len(bars)):
        if index and (closing[index - 1] or opening[index]):
            begin = index
        section[index] = index - begin
    place = np.maximum(section[bar], 0)
    start = frames.start[first]
    marked = _marked(material)
    early = start - 2 * _beat_ticks(material, first)
    trill = np.searchsorted(marked["trill"], start) - np.searchsorted(marked["trill"], early)
    hold = np.isin(start, marked["fermata"])
    inside = np.zeros(len(first))
    for sequence in sequences:
        inside[(start >= line.ticks(sequence.legs[1].start)) & (start < line.ticks(sequence.end))] = 1
    end = np.array([int(b.end * line.quarter) for b in bars])[bar]
    beat = _beat_ticks(material, first)
    columns = [
        np.minimum(trill, 1), hold, inside, closing[bar], closing[bar] & (bar == len(bars) - 1),
        closing[np.maximum(bar - 1, 0)], opening[bar + 1], np.minimum((end - start) / beat, 4) / 4,
        np.minimum(place, 16) / 16, (frames.end[-1] - start) / beat < 3,
    ]  # fmt: skip
    return np.concatenate(
        [np.stack([np.asarray(column, dtype=np.float64) for column in columns], axis=1),
         np.eye(6)[np.minimum(frames.level[first], 5)], np.eye(4)[place % 4], np.eye(2)[(place % 8 >= 4).astype(int)]],
        axis=1,
    )  # fmt: skip


def _marked(material: Material) -> dict[str, Ints]:
    """Times of trills and fermatas, sorted."""
    found: dict[str, list[int]] = {"trill": [], "fermata": []}
    for note in material.piece.notes:
        if note.marks.signs and any("trill" in sign.element or "wavy" in sign.element for sign in note.marks.signs):
            found["trill"].append(material.line.ticks(note.onset))
        if note.marks.fermata:
            found["fermata"].append(material.line.ticks(note.onset))
    return {name: np.array(sorted(times), dtype=np.int64) for name, times in found.items()}
