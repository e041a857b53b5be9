"""Harmony as a player reads it: keys and chords of the frames, joined into chords with numeral, bass and figures.

Long pieces are read in stretches of ``STRETCH`` frames with ``OVERLAP`` on either side, so that memory stays small.

Public: Reading, read_harmony, confirm_keys, harmonies.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.pitch import class_from_fifths
from gracewright.score import Piece
from gracewright.study.chords import (
    ChordPath,
    chord_path,
    first_scores,
    in_the_running,
    inversion_scores,
    roots_of,
    second_scores,
    smooth_inversions,
    top_roots,
)
from gracewright.study.evidence import (
    bass_windows,
    chord_field,
    chord_windows,
    field_windows,
    frame_facts,
    key_field_windows,
    key_windows,
    progressions,
    whole_piece,
)
from gracewright.study.figures import figure_evidence, figured_places, figured_spans
from gracewright.study.frames import SHIFT, Floats, Frames, Ints, Timeline
from gracewright.study.heard import heard
from gracewright.study.keys import KeyPath, KeyView, confirmed, key_at, key_path, key_scores, log_softmax
from gracewright.study.model import Cadence, Harmony
from gracewright.study.numerals import MEMBERS, figures_of, member_fifths, numeral
from gracewright.study.pauses import Pauses, line_view, pauses_of
from gracewright.study.tables import QUALITIES

STRETCH: Final = 1024
OVERLAP: Final = 64
SURE: Final = 0.3  # strength from which a cadence confirms its key


@dataclass(frozen=True)
class Reading:
    """Keys of the beats, chords of the frames, and the key column and printed signature of each frame."""

    keys: KeyPath
    chords: ChordPath
    columns: Ints
    signatures: Ints


def read_harmony(piece: Piece, line: Timeline, frames: Frames) -> Reading:
    """Keys, then chords in their keys; endings are read as they are heard."""
    spans = figured_spans(piece, line, frames)
    roots = roots_of(frames, figured_places(spans))
    figured = figure_evidence(spans, len(frames), roots)
    pauses = pauses_of(piece, line, frames)
    order = heard(piece, frames)
    place = order.place
    if figured is not None:
        figured = figured[order.source]
    signatures = np.array([bar.fifths for bar in piece.bars])[order.frames.bar]
    reading = _read(order.frames, roots, figured, pauses.moved(place), signatures, whole_piece(frames))
    if len(order.source) == len(place):
        return reading
    starts = np.searchsorted(frames.beat, np.arange(int(frames.beat[-1]) + 1))
    keys, chords, beats = reading.keys, reading.chords, order.frames.beat[place[starts]]
    path = ChordPath(chords.root[place], chords.quality[place], chords.inversion[place], chords.sure[place])
    keyed = KeyPath(starts, keys.path[beats], keys.score[beats], keys.chorale)
    return Reading(keyed, path, reading.columns[place], signatures[place])


def _read(
    frames: Frames, roots: Ints, figured: Floats | None, pauses: Pauses, signatures: Ints,
    whole: tuple[Floats, Floats, Floats],
) -> Reading:  # fmt: skip
    starts = np.searchsorted(frames.beat, np.arange(int(frames.beat[-1]) + 1))
    firsts, fields, keyed = [], [], []
    for part, core, at in _stretches(frames):
        facts = frame_facts(part)
        score = first_scores(chord_windows(part), facts, roots)
        seen = score if figured is None else score + figured[at : at + len(part)]
        field = chord_field(seen, roots)
        beats = starts[(starts >= at + core.start) & (starts < at + core.stop)] - at
        lines = line_view(part, beats, field, pauses.inside(at, at + len(part)))
        view = KeyView(
            key_windows(part, beats, *whole), key_field_windows(part, beats, field), progressions(part, beats, field),
            signatures[at + beats], facts[beats, -1:], lines,
        )  # fmt: skip
        keyed.append(key_scores(view, roots))
        firsts.append(score[core])
        fields.append(field[core].astype(np.float16))
    first, field = np.concatenate(firsts), np.concatenate(fields)
    keys = key_path(frames, starts, np.concatenate(keyed), signatures[starts], pauses.chorale)
    columns = keys.of_frames(frames)
    return Reading(keys, _chords_in_keys(frames, roots, first, field, columns, figured), columns, signatures)


def _chords_in_keys(
    frames: Frames, roots: Ints, first: Floats, field: Floats, columns: Ints, figured: Floats | None
) -> ChordPath:
    seen = first if figured is None else first + figured
    top = top_roots(seen, roots)
    running = in_the_running(seen, roots, top)
    scores = []
    for part, core, at in _stretches(frames):
        here = slice(at, at + len(part))
        windows = chord_windows(part)[core]
        around = field_windows(part, field[here].astype(np.float32))[core]
        inside = slice(at + core.start, at + core.stop)
        scores.append(
            second_scores(windows, frame_facts(part)[core], around, columns[inside], first[inside], roots, top[inside],
                          running[inside])
        )  # fmt: skip
    score = np.concatenate(scores)
    if figured is not None:
        by_root = figured.reshape(len(frames), len(roots), -1)
        score = log_softmax(score + by_root[np.arange(len(frames))[:, None], top].reshape(score.shape))
    root, quality, sure = chord_path(frames, score, top, roots)
    inversions = []
    for part, core, at in _stretches(frames):
        inside = slice(at + core.start, at + core.stop)
        inversions.append(
            inversion_scores(bass_windows(part)[core], frame_facts(part)[core], root[inside], quality[inside])
        )
    turns = smooth_inversions(np.concatenate(inversions), root, quality)
    if figured is not None:
        printed = np.asarray(np.abs(figured).sum(axis=1) > 0)
        turns = _by_figures(frames, root, quality, turns, printed)
    return ChordPath(root, quality, turns, sure)


def _by_figures(
    frames: Frames, root: Ints, quality: Ints, turns: Ints, printed: NDArray[np.bool_]
) -> Ints:
    """Where figures stand, the bass note itself tells the inversion."""
    members = np.full((len(QUALITIES), 4), 99)
    for row, name in enumerate(QUALITIES):
        members[row, : len(MEMBERS[name])] = MEMBERS[name]
    hit = members[quality] == (frames.low % 64 - root)[:, None]
    return np.where(printed & hit.any(axis=1), hit.argmax(axis=1), turns)


def _stretches(frames: Frames) -> Iterator[tuple[Frames, slice, int]]:
    """Parts of the frames with overlap: the part, its core within it, and where the part begins.

    Cores begin with a group, so that beats and half bars stay whole.
    """
    fresh = np.flatnonzero(np.diff(frames.group, prepend=-1))
    cuts = [0]
    while len(frames) - cuts[-1] > STRETCH + STRETCH // 2:
        cuts.append(int(fresh[np.searchsorted(fresh, cuts[-1] + STRETCH)]) if fresh[-1] > cuts[-1] + STRETCH else 0)
        if not cuts[-1]:
            cuts.pop()
            break
    cuts.append(len(frames))
    for begin, end in pairwise(cuts):
        first = int(fresh[max(0, int(np.searchsorted(fresh, begin - OVERLAP, side="right")) - 1)]) if begin else 0
        stop = int(fresh[min(len(fresh) - 1, int(np.searchsorted(fresh, end + OVERLAP)))]) if end < len(frames) else end
        stop = max(stop, end)
        yield frames.part(first, stop), slice(begin - first, end - first), first


def confirm_keys(reading: Reading, line: Timeline, frames: Frames, cadences: Sequence[Cadence]) -> Reading:
    """The reading with its keys confirmed by the authentic cadences; itself where they say nothing new."""
    closes = [
        (line.ticks(cadence.dominant_onset), line.ticks(cadence.onset), cadence.key)
        for cadence in cadences if cadence.kind.startswith("authentic") and cadence.strength >= SURE
    ]  # fmt: skip
    keys = confirmed(frames, reading.keys, closes)
    return reading if keys is reading.keys else replace(reading, keys=keys, columns=keys.of_frames(frames))


def harmonies(line: Timeline, frames: Frames, reading: Reading) -> tuple[Harmony, ...]:
    """Runs of frames with the same chord, bass and key."""
    chords = reading.chords
    rows = np.stack([chords.root, chords.quality, chords.inversion, reading.columns])
    fresh = np.ones(len(frames), dtype=bool)
    fresh[1:] = (rows[:, 1:] != rows[:, :-1]).any(axis=0)
    edges = np.nonzero(fresh)[0]
    starts, stops = frames.start[edges].tolist(), np.append(frames.start[edges[1:]], frames.end[-1]).tolist()
    sure = np.add.reduceat(chords.sure * frames.length, edges)
    printed = reading.signatures[edges].tolist()
    found = []
    for at, (root, kind, turn, column) in enumerate(rows[:, edges].T.tolist()):
        quality = QUALITIES[kind]
        members = member_fifths(root - SHIFT, quality)
        inversion = min(turn, len(members) - 1)
        key = key_at(column)
        bass = members[inversion]
        length = stops[at] - starts[at]
        found.append(
            Harmony(
                line.time(starts[at]), line.time(length), class_from_fifths(root - SHIFT), quality,
                class_from_fifths(bass), inversion, key, numeral(root - SHIFT, quality, inversion, key),
                figures_of(bass, members, printed[at]), round(float(sure[at]) / max(1, length), 3),
            )
        )  # fmt: skip
    return tuple(found)
