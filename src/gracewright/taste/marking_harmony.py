"""Marking, continued: what every tone is in its key, in its chord and against the other voices.

Conventions: as in :mod:`gracewright.taste.marking`. Pitch classes are places on the line of fifths.

Public: mark_harmony, mark_bass.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from numpy.typing import NDArray

from gracewright.graces import chord_of
from gracewright.pitch import FIFTHS, Key, fifths_of
from gracewright.study.model import Harmony
from gracewright.taste.features import COLUMN

if TYPE_CHECKING:
    from gracewright.taste.marking import Plane

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

FOREIGN: Final = 0.6
"""How far a neighbour clashes that is foreign to the chord, yet consonant with the bass: six to five (own choice)."""
CONSONANT: Final = (0, 2, 4, 5)
"""Staff places above the bass, octaves apart, that are consonant: unison, third, fifth, sixth (common practice)."""
WIDE: Final = 40
"""Places on the line of fifths on either side of C that a chord may touch."""
STEP: Final = np.array(FIFTHS, dtype=np.int64)


def mark_harmony(rows: Floats, plane: Plane) -> None:
    """Degrees of the key, tones of the chord, and what the study says each tone does."""
    study, ticks = plane.study, plane.ticks
    fifths = np.array([tone.pitch.fifths for tone in plane.line], dtype=np.int64)
    keys = [span.key for span in study.keys] or [study.home]
    spans = ticks.many(span.onset for span in study.keys)
    at_key = np.searchsorted(spans, ticks.onsets, "right") - 1
    if study.keys:
        keys = [*keys, study.home]  # where no span has begun, index -1 finds the home key
    _mark_degrees(rows, fifths, keys, at_key if study.keys else np.zeros(len(fifths), dtype=np.int64))
    _mark_roles(rows, plane)
    if study.harmony:
        _mark_chords(rows, plane, fifths, keys, at_key)


def _mark_degrees(rows: Floats, fifths: Ints, keys: Sequence[Key], at: Ints) -> None:
    tonic = np.array([key.tonic_fifths for key in keys], dtype=np.int64)[at]
    minor = np.array([key.mode == "minor" for key in keys])[at]
    away = fifths - tonic
    for name, major_place, minor_place in (
        ("leading-note", 5, 5), ("second-degree", 2, 2), ("third-degree", 4, -3), ("tonic", 0, 0),
        ("fourth-degree", -1, -1), ("fifth-degree", 1, 1), ("sixth-degree", 3, -4),
    ):  # fmt: skip
        rows[:, COLUMN[name]] = away == np.where(minor, minor_place, major_place)
    rows[:, COLUMN["minor"]] = minor
    rows[:, COLUMN["raised"]] = away > 5
    rows[:, COLUMN["lowered"]] = away < np.where(minor, -4, -1)


def _mark_roles(rows: Floats, plane: Plane) -> None:
    dissonant = np.zeros(len(rows), dtype=bool)
    for role in plane.study.roles:
        at = plane.index.get(role.note)
        if at is None:
            continue
        row, name = rows[at], role.role
        dissonant[at] = name in ("suspension", "appoggiatura") or role.dissonance >= 0.5
        row[COLUMN["passing"]] = name in ("passing", "neighbour", "escape", "anticipation")
        row[COLUMN["suspended"]] = name == "suspension"
        row[COLUMN["neighbouring"]] = name == "neighbour"
    rows[:, COLUMN["dissonant"]] = dissonant
    rows[:, COLUMN["resolves"]] = np.r_[False, dissonant[:-1]] & (plane.before == -1)


def _mark_chords(rows: Floats, plane: Plane, fifths: Ints, keys: Sequence[Key], at_key: Ints) -> None:
    chords, ticks = plane.study.harmony, plane.ticks
    starts, ends = ticks.many(one.onset for one in chords), ticks.many(one.end for one in chords)
    at = np.searchsorted(starts, ticks.onsets, "right") - 1
    inside = (at >= 0) & (ends[at] > ticks.onsets)

    def put(name: str, values: Bools) -> None:
        rows[:, COLUMN[name]] = inside & values

    away = fifths - np.array([fifths_of(one.root) for one in chords], dtype=np.int64)[at]
    put("chord-root", away == 0)
    put("chord-third", (away == 4) | (away == -3))
    put("chord-fifth", away == 1)
    put("chord-seventh", (away == -2) | (away == 5))
    tonic, before, dominant = (np.array(found) for found in zip(*map(_function, chords), strict=True))
    put("over-dominant", dominant[at])
    put("over-tonic", tonic[at])
    put("over-predominant", before[at])
    put("inverted", np.array([one.inversion > 0 for one in chords])[at])
    put("new-harmony", starts[at] == ticks.onsets)
    then = np.searchsorted(starts, ticks.ends, "right") - 1
    moves = (then != at) & (then >= 0)
    put("to-harmony", moves)
    put("to-tonic", moves & tonic[then])
    put("to-dominant", moves & dominant[then])
    _mark_implied(rows, plane, fifths, keys, at_key, np.where(inside, at, -1))


def _function(chord: Harmony) -> tuple[bool, bool, bool]:
    """Is it the tonic, does it prepare the dominant, is it the dominant?"""
    numeral = chord.numeral
    dominant = (numeral[:1] == "V" and numeral[:2] != "VI") or numeral[:3] == "vii"
    plain = numeral.rstrip("0123456789+o%")
    return plain in ("I", "i"), plain in ("ii", "IV", "iv"), dominant


def _mark_implied(rows: Floats, plane: Plane, fifths: Ints, keys: Sequence[Key], at_key: Ints, at: Ints) -> None:
    """Neighbours that are foreign to the studied chord, of which the note itself is one."""
    chords = plane.study.harmony
    member = np.zeros((len(chords) + 1, 2 * WIDE + 1), dtype=bool)  # the last row: no chord
    for number, chord in enumerate(chords):
        for name in chord_of(chord):
            member[number, min(max(fifths_of(name), -WIDE), WIDE) + WIDE] = True
    scale = np.array([[key.alter_of(step) for step in range(7)] for key in keys], dtype=np.int64)
    clash = FOREIGN if plane.study.bass else 1.0
    inside = member[at, np.clip(fifths, -WIDE, WIDE) + WIDE]
    key = at_key if plane.study.keys else np.zeros(len(fifths), dtype=np.int64)
    for name, move in (("upper-bites", 1), ("lower-bites", -1)):
        step = (plane.places + move) % 7
        beside = STEP[step] + 7 * scale[key, step]
        rows[:, COLUMN[name]] = clash * (inside & ~member[at, np.clip(beside, -WIDE, WIDE) + WIDE] & (at >= 0))


def mark_bass(rows: Floats, plane: Plane) -> None:
    """Intervals against the bass, how it moves, and what else is struck."""
    _mark_strokes(rows, plane)
    if not plane.study.bass or not len(plane.others):
        return
    bass = plane.others[0]
    silent = bass[:, 1, 0] < 0
    above = (plane.places - bass[:, 1, 0]) % 7
    half = (plane.midi - bass[:, 1, 1]) % 12
    rows[silent, COLUMN["bass-rests"]] = 1

    def put(name: str, values: Bools) -> None:
        rows[:, COLUMN[name]] = ~silent & values

    put("bass-moves", bass[:, 2, 1] != bass[:, 1, 1])
    for name, steps in (
        ("octave", 0), ("second", 1), ("third", 2), ("fourth", 3), ("fifth", 4), ("sixth", 5), ("seventh", 6),
    ):  # fmt: skip
        put(f"{name}-over-bass", above == steps)
    put("tritone-over-bass", half == 6)
    for name, one, two in (("from", 0, 1), ("to", 1, 3)):
        known = (bass[:, one, 0] >= 0) & (bass[:, two, 0] >= 0)
        moved = bass[:, two, 0] - bass[:, one, 0]
        put(f"bass-{name}-fifth", known & ((moved == 3) | (moved == -4)))
        put(f"bass-{name}-step", known & (np.abs(moved) == 1))
    rests_well = np.isin(above, CONSONANT) & (half != 6)
    for name, move in (("upper-bites", 1), ("lower-bites", -1)):
        column = rows[:, COLUMN[name]]
        column[~silent & ~rests_well] = 0
        column[~silent & rests_well & ~np.isin((above + move) % 7, CONSONANT)] = 1
    keys, spans = plane.study.keys, plane.ticks.many(span.onset for span in plane.study.keys)
    leading = np.array([fifths_of(key.leading) for key in [*(span.key for span in keys), plane.study.home]])
    at = np.searchsorted(spans, plane.ticks.onsets, "right") - 1
    fifths = np.array([tone.pitch.fifths for tone in plane.line], dtype=np.int64)
    put("doubles-bass-leading", (fifths == leading[at]) & (above == 0))


def _mark_strokes(rows: Floats, plane: Plane) -> None:
    """What the other voices do when a tone is struck and while it sounds."""
    onsets, ends = plane.ticks.onsets, plane.ticks.ends
    struck, held, moves = (np.zeros(len(onsets), dtype=np.int64) for _ in range(3))
    for number, (starts, stops) in enumerate(plane.ticks.voices):
        at, inside = np.searchsorted(starts, onsets), np.searchsorted(starts, onsets, "right")
        later = np.searchsorted(starts, ends) - inside
        struck += at < inside
        held += (at == inside) & (inside > 0) & (np.r_[stops, 0][inside - 1] > onsets)
        moves += later
        if number == 0:
            rows[:, COLUMN["bass-struck"]] = at < inside
            rows[:, COLUMN["bass-runs"]] = later >= 2
    rows[:, COLUMN["alone"]] = struck == 0
    rows[:, COLUMN["many-struck"]] = struck >= 2
    rows[:, COLUMN["others-hold"]] = held > 0
    rows[:, COLUMN["others-still"]] = moves == 0
    rows[:, COLUMN["others-run"]] = moves >= 2
