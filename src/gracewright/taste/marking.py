"""Marking: which features hold on every tone of the solo line, whole columns at a time.

Conventions: times are ticks. The *foundation* is the bass line, or the root of the studied harmony where there is no
bass. A dial without a source is our own choice.

Public: Plane, mark.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.score import Piece, Tone
from gracewright.study.model import Study
from gracewright.taste.features import COLUMN, FEATURES, PAIRS
from gracewright.taste.marking_harmony import mark_bass, mark_harmony
from gracewright.taste.ticks import Ticks

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SECONDS: Final = {"quick": 0.2, "short": 0.4, "middle": 0.75, "long": 1.5}
"""Upper limits of the classes of length in seconds (own choice); longer is ``very-long``."""


@dataclass(frozen=True, eq=False)
class Plane:
    """All that is known of the tones before their features are."""

    piece: Piece
    study: Study
    line: tuple[Tone, ...]
    ticks: Ticks
    index: dict[str, int]
    seconds: Floats
    places: Ints
    midi: Ints
    before: Ints
    after: Ints
    others: NDArray[np.int64]
    phrase: Ints


def mark(plane: Plane) -> tuple[Floats, Ints, Ints]:
    """The table of features (tones, FEATURES), and for each tone its motif's and its rhythm's number."""
    count = len(plane.line)
    rows = np.zeros((count, len(FEATURES)))
    rows[:, COLUMN["always"]] = 1
    if not count:
        return rows, np.zeros(0, dtype=np.int64), np.zeros(0, dtype=np.int64)
    bars = np.array([tone.bar for tone in plane.line], dtype=np.int64)
    _mark_intervals(rows, plane)
    offset = _mark_metre(rows, plane, bars)
    _mark_lengths(rows, plane, bars, offset)
    _mark_shape(rows, plane)
    _mark_form(rows, plane)
    mark_harmony(rows, plane)
    mark_bass(rows, plane)
    motif, rhythm = _motifs(rows, plane, offset)
    often = np.bincount(motif)[motif]
    put(rows, "lone-motif", often == 1)
    put(rows, "common-motif", often >= 4)
    for one, two in PAIRS:
        put(rows, f"{one} & {two}", rows[:, COLUMN[one]] * rows[:, COLUMN[two]])
    return rows, motif, rhythm


def put(rows: Floats, feature: str, values: NDArray[np.bool_] | Floats) -> None:
    """Fill one column."""
    rows[:, COLUMN[feature]] = values


def _mark_intervals(rows: Floats, plane: Plane) -> None:
    for prefix, steps, up, down in (("from", plane.before, "below", "above"), ("to", plane.after, "above", "below")):
        known = steps != 99
        put(rows, f"{prefix}-rest", ~known)
        put(rows, f"{prefix}-same", steps == 0)
        put(rows, f"{prefix}-step-{up}", steps == 1)
        put(rows, f"{prefix}-step-{down}", steps == -1)
        put(rows, f"{prefix}-third-{up}", steps == 2)
        put(rows, f"{prefix}-third-{down}", steps == -2)
        put(rows, f"{prefix}-leap-{up}", known & (steps > 2))
        put(rows, f"{prefix}-leap-{down}", steps < -2)
    rises = np.diff(plane.midi, prepend=plane.midi[:1])
    put(rows, "from-semitone-below", (plane.before == 1) & (rises == 1))
    earlier, later = np.r_[99, plane.before[:-1]], np.r_[plane.after[1:], 99]
    put(rows, "after-rise", (earlier > 0) & (earlier < 99))
    put(rows, "after-fall", earlier < 0)
    put(rows, "after-same", earlier == 0)
    put(rows, "before-rise", (later > 0) & (later < 99))
    put(rows, "before-fall", later < 0)
    put(rows, "before-same", later == 0)
    put(rows, "run-up-in", (plane.before == 1) & (earlier == 1))
    put(rows, "run-down-in", (plane.before == -1) & (earlier == -1))
    put(rows, "run-up-out", (plane.after == 1) & (later == 1))
    put(rows, "run-down-out", (plane.after == -1) & (later == -1))
    put(rows, "falls-through", (plane.before == -1) & (plane.after == -1))
    put(rows, "rises-through", (plane.before == 1) & (plane.after == 1))
    put(rows, "upper-corner", (plane.before == 1) & (plane.after == -1))
    put(rows, "lower-corner", (plane.before == -1) & (plane.after == 1))
    put(rows, "returns", np.r_[-1, plane.midi[:-1]] == np.r_[plane.midi[1:], -2])


def _mark_metre(rows: Floats, plane: Plane, bars: Ints) -> Ints:
    """The place in the bar; where each tone stands in its bar, in ticks."""
    ticks, each = plane.ticks, plane.piece.bars
    start, long = ticks.many(bar.onset for bar in each), ticks.many(bar.length for bar in each)
    full, beat = ticks.many(bar.meter.length for bar in each), ticks.many(bar.meter.beat for bar in each)
    missing = np.where(np.array([bar.pickup for bar in each]) & (long < full), full - long, 0)
    offset = ticks.onsets - (start - missing)[bars]
    end, beat, full = offset + ticks.lengths, beat[bars], full[bars]
    on_beat = offset % beat == 0
    weight = np.where(offset == 0, 1.0, np.where(on_beat, 0.5, 0.25))
    for role in plane.study.roles:
        at = plane.index.get(role.note)
        if at is not None:
            weight[at] = role.metre_weight
    put(rows, "downbeat", offset == 0)
    put(rows, "strong-beat", (weight >= 0.5) & on_beat)
    put(rows, "beat", on_beat)
    put(rows, "off-beat", ~on_beat)
    put(rows, "last-beat", (offset > 0) & (offset == full - beat))
    put(rows, "second-of-bar", (full == 3 * beat) & (offset == beat))
    put(rows, "syncopated", ~on_beat & (offset % beat + ticks.lengths > beat))
    put(rows, "to-beat", end % beat == 0)
    put(rows, "to-downbeat", (end >= full) | (end % full == 0))
    put(rows, "over-barline", end > full)
    meters = [bar.meter for bar in each]
    for name, holds in (
        ("ternary", [meter.beats % 3 == 0 for meter in meters]),
        ("triple-bar", [meter.beats == 3 and meter.unit <= 4 for meter in meters]),
        ("small-triple-bar", [meter.beats == 3 and meter.unit >= 8 for meter in meters]),
        ("four-bar", [meter.beats == 4 for meter in meters]),
        ("compound-bar", [meter.beats % 3 == 0 and meter.beats > 3 for meter in meters]),
    ):
        put(rows, name, np.array(holds)[bars])
    put(rows, "syllable", np.array([bool(tone.marks.lyrics) for tone in plane.line]))
    beats = ticks.lengths / beat
    for name, low, high in (
        ("half-beat", 0.4, 0.6), ("most-of-beat", 0.6, 0.95), ("one-beat", 1.0, 2.0), ("beat-and-half", 1.2, 1.9),
        ("two-beats", 2.0, 1e9),
    ):  # fmt: skip
        put(rows, name, (beats >= low) & (beats < high))
    places = np.unique(np.stack([offset, ticks.lengths], axis=1), axis=0, return_inverse=True)[1].ravel()
    share = np.bincount(places)[places] / len(each)
    put(rows, "place-usual", np.minimum(1.0, share))
    put(rows, "place-rare", share < 0.08)
    return offset


def _mark_lengths(rows: Floats, plane: Plane, bars: Ints, offset: Ints) -> None:
    lengths, low = plane.ticks.lengths, 0.0
    for name, high in SECONDS.items():
        put(rows, name, (plane.seconds >= low) & (plane.seconds < high))
        low = high
    put(rows, "very-long", plane.seconds >= low)
    put(rows, "seconds", np.clip(np.log2(np.maximum(plane.seconds, 0.05) / 0.1) / 4, 0, 1))
    before, after = np.r_[lengths[:1], lengths[:-1]], np.r_[lengths[1:], lengths[-1:]]
    put(rows, "longer-than-before", lengths > before)
    put(rows, "longer-than-next", lengths > after)
    twice, thrice = lengths >= 2 * before, lengths >= 3 * after
    twice[0] = thrice[-1] = False
    put(rows, "twice-before", twice)
    put(rows, "much-longer-than-next", thrice)
    put(rows, "twice-next", (lengths >= 2 * after) & ~(lengths >= 3 * after))
    put(rows, "half-of-next", 2 * lengths <= after)
    put(rows, "half-of-before", 2 * lengths <= before)
    put(rows, "like-before", lengths == before)
    put(rows, "like-next", lengths == after)
    middle = float(np.median(lengths))
    put(rows, "long-for-piece", lengths >= 2 * middle)
    put(rows, "usual-for-piece", (lengths > 0.7 * middle) & (lengths < 1.5 * middle))
    put(rows, "long-quarter", lengths > np.quantile(lengths, 0.75))
    put(rows, "long-tenth", lengths > np.quantile(lengths, 0.9))
    kinds = np.unique(lengths, return_inverse=True)[1].ravel()
    put(rows, "rare-length", np.bincount(kinds)[kinds] < 0.1 * len(lengths))
    longest = np.zeros(int(bars.max()) + 1, dtype=np.int64)
    np.maximum.at(longest, bars, lengths)
    put(rows, "longest-of-bar", lengths == longest[bars])
    put(rows, "calm", _calm(plane.ticks))
    notes = [plane.piece.by_id[tone.id] for tone in plane.line]
    put(rows, "dotted", np.array([note.dots > 0 for note in notes]))
    put(rows, "tied", np.array([len(tone.ids) > 1 for tone in plane.line]))
    put(rows, "triplet", np.array([tone.marks.tuplet is not None for tone in plane.line]))
    put(rows, "detached", np.array([bool(tone.marks.articulations) for tone in plane.line]))


def _calm(ticks: Ticks) -> Bools:
    """Whether at most six notes begin within two quarters before and after."""
    begin = np.searchsorted(ticks.onsets, ticks.onsets - 2 * ticks.quarter, "right")
    end = np.searchsorted(ticks.onsets, ticks.onsets + 2 * ticks.quarter, "left")
    calm: Bools = end - begin <= 6
    return calm


def _mark_shape(rows: Floats, plane: Plane) -> None:
    lengths, before, after = plane.ticks.lengths, plane.before, plane.after
    put(rows, "high-point", (before > 0) & (before < 99) & (after < 0))
    put(rows, "low-point", (before < 0) & (after > 0) & (after < 99))
    inner = np.zeros(len(lengths), dtype=bool)
    inner[1:-1] = (lengths[1:-1] == lengths[:-2]) & (lengths[1:-1] == lengths[2:])
    put(rows, "in-run", inner & (np.abs(before) <= 1) & (np.abs(after) <= 1))
    begins = np.zeros(len(lengths), dtype=bool)
    begins[1:-1] = (lengths[:-2] > lengths[1:-1]) & (lengths[1:-1] >= lengths[2:])
    put(rows, "leads-group", begins)
    order = np.sort(plane.midi)
    height = np.searchsorted(order, plane.midi) + np.searchsorted(order, plane.midi, "right")
    put(rows, "high", height > 1.7 * len(order))
    put(rows, "low", height < 0.3 * len(order))


def _mark_form(rows: Floats, plane: Plane) -> None:
    study, ticks, phrase = plane.study, plane.ticks, plane.phrase
    change = np.flatnonzero(np.diff(phrase)) + 1
    rows[0, COLUMN["phrase-first"]] = rows[0, COLUMN["piece-first"]] = 1
    rows[-1, COLUMN["phrase-last"]] = rows[-1, COLUMN["piece-last"]] = 1
    rows[change, COLUMN["phrase-first"]] = 1
    rows[change - 1, COLUMN["phrase-last"]] = 1
    _mark_closes(rows, plane)

    def between(start: Fraction, end: Fraction) -> slice:
        return slice(*(int(np.searchsorted(ticks.onsets, ticks.one(time))) for time in (start, end)))

    for repeat in study.repeats:
        if repeat.kind not in ("sign", "da capo", "dal segno"):
            rows[between(*repeat.again), COLUMN["again"]] = 1
    for sequence in study.sequences:
        for number, leg in enumerate(sequence.legs):
            part = between(leg.start, leg.end)
            rows[part, COLUMN["leg"]] = np.maximum(rows[part, COLUMN["leg"]], min(1.0, number / 3))
    for cue in study.cues:
        here = plane.index.get(cue.note)
        if here is not None:
            rows[here, COLUMN["expressive"]] = max(rows[here, COLUMN["expressive"]], min(1.0, cue.weight))
            if cue.kind == "sigh":
                rows[here, COLUMN["sigh"]] = 1
    put(rows, "slow", np.full(len(rows), float(study.slow)))
    put(rows, "lively", np.full(len(rows), float(not study.slow)))
    put(rows, "climax", _climax(plane))


def _mark_closes(rows: Floats, plane: Plane) -> None:
    """What prepares a cadence, the cadence itself, and how far the next one is."""
    study, ticks = plane.study, plane.ticks
    for cadence in study.cadences:
        here = plane.index.get(cadence.penultimate)
        if here is not None:
            rows[here, COLUMN["cadence-close"]] = 1
            rows[here, COLUMN["cadence-strong"]] = max(rows[here, COLUMN["cadence-strong"]], cadence.strength)
            rows[here, COLUMN["cadence-half"]] = cadence.kind in ("half", "phrygian")
        there = plane.index.get(cadence.arrival)
        if there is not None:
            rows[there, COLUMN["cadence-arrival"]] = 1
    quarter = ticks.quarter
    every = np.sort(ticks.many(cadence.onset for cadence in study.cadences))
    firm = np.sort(ticks.many(cadence.onset for cadence in study.cadences if cadence.strength >= 0.5))
    ahead, firmly = _ahead(every, ticks.onsets), _ahead(firm, ticks.onsets)
    put(rows, "close-next", ahead <= 1.1 * quarter)
    put(rows, "close-soon", (ahead > 1.1 * quarter) & (ahead <= 2.1 * quarter))
    put(rows, "close-ahead", (ahead > 2.1 * quarter) & (ahead <= 4.1 * quarter))
    put(rows, "strong-close-next", firmly <= 1.1 * quarter)
    put(rows, "strong-close-soon", (firmly > 1.1 * quarter) & (firmly <= 2.1 * quarter))
    since = -_ahead(np.sort(-every), -ticks.onsets)
    put(rows, "after-close", since >= -2.1 * quarter)
    ends = np.sort(ticks.many(phrase.end for phrase in study.phrases))
    starts = np.sort(ticks.many(phrase.start for phrase in study.phrases))
    put(rows, "phrase-ending", _ahead(ends, ticks.onsets) <= 2.1 * quarter)
    opening = _ahead(np.sort(-starts), -ticks.onsets)
    put(rows, "phrase-opening", opening <= 4.1 * quarter)


FAR: Final = 2**60


def _ahead(moments: Ints, onsets: Ints) -> Ints:
    """How far the next of the moments is from each onset; FAR where none comes."""
    found: Ints = np.r_[moments, FAR][np.searchsorted(moments, onsets, "right")] - onsets
    return found


def _climax(plane: Plane) -> Floats:
    """The highest long notes, and where the study's tension is greatest."""
    height = plane.midi + 2.0 * np.log2(np.maximum(plane.seconds, 0.05))
    found = (height >= np.quantile(height, 0.97)).astype(float)
    if plane.study.tension:
        peak = max(plane.study.tension, key=lambda point: point[1])[0]
        at = int(np.searchsorted(plane.ticks.onsets, plane.ticks.one(peak), "right")) - 1
        found[min(max(0, at), len(found) - 1)] = 1
    return found


def _motifs(rows: Floats, plane: Plane, offset: Ints) -> tuple[Ints, Ints]:
    """Tones alike in the two intervals around them, lengths and beat share a number: one motif, one treatment. Tones
    alike in place in the bar and in the lengths before, on and after them share a rhythm."""
    lengths, none = plane.ticks.lengths, np.array([99], dtype=np.int64)
    short = np.r_[0, lengths[:-1]], lengths, np.r_[lengths[1:], 0]
    around = np.r_[none, plane.before[:-1]], plane.before, plane.after, np.r_[plane.after[1:], none]
    beats = rows[:, COLUMN["downbeat"]].astype(np.int64), rows[:, COLUMN["beat"]].astype(np.int64)
    motif = np.unique(np.stack([*around, *short, *beats], axis=1), axis=0, return_inverse=True)[1]
    rhythm = np.unique(np.stack([*short, offset], axis=1), axis=0, return_inverse=True)[1]
    return motif.ravel().astype(np.int64), rhythm.ravel().astype(np.int64)
