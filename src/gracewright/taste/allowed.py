"""Rules that hold always: what may stand on a tone at all, whatever the manner says.

A grace must be playable on the instrument at the tempo; an appoggiatura makes a dissonance and resolves it; no grace
makes fifths or octaves with another part that the plain line lacks, nor doubles the bass's leading note.

Conventions: the answer for a tone and kind is a code, 0 where it may stand; ``WHY`` says the others in words. Voice
leading is judged here from the first and last note of the kind (``kinds.toml``); the exact notes are judged again once
they are known (``realising.py``).

Public: Allowed, allowed_of, WHY, perfect_parallel.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Final

import numpy as np
from numpy.typing import NDArray

from gracewright.graces import shortest_shake
from gracewright.instruments import Instrument
from gracewright.pitch import Key, Pitch, fifths_of
from gracewright.study.model import Study
from gracewright.taste.manner import Kind, Manner, kinds
from gracewright.taste.sites import Floats, Ints, Sites

WHY: Final = (
    "",
    "the note is too short for it at this tempo",
    "it cannot be fingered, or leaves the compass",
    "the note leaned on would not clash with the bass, so there would be nothing to resolve",
    "it would make fifths or octaves with another part",
    "it would double the bass's leading note",
    "the line around the note does not suit it",
    "its exact notes would break a rule",
)
SHORT, FINGERS, NO_CLASH, PARALLEL, LEADING, LINE, EXACT = range(1, 8)
Bools = NDArray[np.bool_]
FAMILY: Final = {"shake": "mordent", "leaning": "appoggiatura", "small": "mordent", "division": "division"}
"""Our families → those of the instrument tables."""


@dataclass(frozen=True, eq=False)
class Allowed:
    """``codes`` (tones, kinds of the manner). ``upper`` and ``lower`` neighbours as (tones, 2): staff place, MIDI;
    ``rate`` full strokes a second of a shake on each tone. ``codes`` may gain the code EXACT as notes become known."""

    codes: NDArray[np.int8]
    upper: Ints
    lower: Ints
    rate: Floats


def allowed_of(sites: Sites, study: Study, manner: Manner, instrument: Instrument, level: str) -> Allowed:
    """The codes; kept with the table of sites."""
    name = "allowed", id(manner), id(instrument), level
    found, *_ = sites.keep(name, lambda: (_make(sites, study, manner, instrument, level), manner, instrument))
    return found


def _make(sites: Sites, study: Study, manner: Manner, instrument: Instrument, level: str) -> Allowed:
    count = len(sites.tones)
    upper, lower, rate, fits = _neighbours(sites, study, instrument, level)
    leading = _leading(sites, study)
    codes = np.zeros((count, len(manner.kinds)), dtype=np.int8)
    parallel: dict[tuple[int, int], Bools] = {}
    for column, name in enumerate(manner.kinds):
        kind = kinds()[name]
        code = codes[:, column]
        _ban(code, LINE, _line_forbids(sites, kind))
        if kind.family == "leaning" and kind.size == "long":
            _ban(code, NO_CLASH, sites.on("upper-bites" if kind.direction == "above" else "lower-bites") <= 0)
        first = _note(sites, upper, lower, kind.first)
        _ban(code, LEADING, _doubles_leading(sites, study, first, leading))
        ends = kind.first, kind.last
        if ends not in parallel:
            parallel[ends] = _parallels(sites, first, _note(sites, upper, lower, kind.last))
        _ban(code, PARALLEL, parallel[ends])
        _ban(code, FINGERS, ~fits[0] & (kind.first > 0) | ~fits[1] & (kind.first < 0))
        needed = np.maximum(kind.seconds, kind.notes * instrument.least(level, FAMILY[kind.family]))
        _ban(code, SHORT, sites.seconds < needed)
        if kind.family == "shake":
            _ban(code, SHORT, sites.seconds < _briefest(rate, instrument.least(level)))
            _ban(code, FINGERS, rate <= 0)
    return Allowed(codes, upper, lower, rate)


def _briefest(rate: Floats, least: float) -> Floats:
    """Seconds of the shortest shake on each tone; where no shake is possible that is told elsewhere."""
    found = np.zeros(len(rate))
    for one in np.unique(rate[rate > 0]):
        found[rate == one] = shortest_shake(float(one), least)
    return found


def _ban(code: NDArray[np.int8], why: int, where: Bools) -> None:
    code[where] = why


def _neighbours(
    sites: Sites, study: Study, instrument: Instrument, level: str
) -> tuple[Ints, Ints, Floats, Bools]:
    """Upper and lower neighbours by the local key, shake rates, and whether the instrument has those notes."""
    count = len(sites.tones)
    upper, lower = np.zeros((count, 2), dtype=np.int64), np.zeros((count, 2), dtype=np.int64)
    rate, fits = np.zeros(count), np.zeros((2, count), dtype=bool)
    keys, at = _keys(sites, study)
    known: dict[tuple[int, int, int], tuple[Pitch, Pitch, float, bool, bool]] = {}
    for index, (place, midi, number) in enumerate(
        zip(sites.places.tolist(), sites.midi.tolist(), at.tolist(), strict=True)
    ):
        found = known.get((place, midi, number))
        if found is None:
            pitch, key = sites.tones[index].pitch, keys[number]
            above = Pitch.at(place + 1, key.alter_of((place + 1) % 7))
            below = Pitch.at(place - 1, key.alter_of((place - 1) % 7))
            if pitch.fifths == key.tonic_fifths:  # below the tonic lies the leading note
                below = Pitch.at(below.diatonic, fifths_alter(fifths_of(key.leading), below.step))
            speed = instrument.rate(level, pitch, above) if above.midi > pitch.midi else 0.0
            found = above, below, speed, instrument.has(above), instrument.has(below)
            known[place, midi, number] = found
        upper[index] = found[0].diatonic, found[0].midi
        lower[index] = found[1].diatonic, found[1].midi
        rate[index], fits[0, index], fits[1, index] = found[2:]
    return upper, lower, rate, fits


def _keys(sites: Sites, study: Study) -> tuple[list[Key], Ints]:
    """The keys of the study, the home key last, and for each tone which holds (-1: home)."""
    spans = sites.ticks.many(span.onset for span in study.keys)
    at: Ints = np.searchsorted(spans, sites.ticks.onsets, "right") - 1
    return [*(span.key for span in study.keys), study.home], at


def fifths_alter(fifths: int, step: int) -> int:
    """Alteration of a letter that stands at a place on the line of fifths.

    >>> fifths_alter(fifths_of("F#"), 3)
    1
    """
    return (fifths - (0, 2, 4, -1, 1, 3, 5)[step]) // 7


def _note(sites: Sites, upper: Ints, lower: Ints, step: int) -> Ints:
    """(tones, 2) of a scale step; a third away is never the first note on the beat against a moving bass by
    more than the neighbour, so the neighbour's fifth or octave is what counts there."""
    if step == 0:
        return np.stack([sites.places, sites.midi], axis=1)
    if step > 0:
        return upper
    return lower if step == -1 else lower - np.array([1, 2])


def _line_forbids(sites: Sites, kind: Kind) -> Bools:
    """Where the melody forbids a kind whatever the manner, by the table ``line_bans.toml``."""
    found = np.zeros(len(sites.tones), dtype=bool)
    for names, where in _line_bans():
        if kind.id in names or kind.family in names:
            found |= np.logical_and.reduce([_holds(sites, feature) for feature in where])
    return found


def _holds(sites: Sites, feature: str) -> Bools:
    bare = feature.removeprefix("not ")
    there: Bools = sites.on(bare) > 0
    return ~there if bare != feature else there


@cache
def _line_bans() -> tuple[tuple[tuple[str, ...], tuple[str, ...]], ...]:
    """Kinds or families, and the features that together forbid them."""
    text = files("gracewright.taste").joinpath("line_bans.toml").read_text(encoding="utf-8")
    return tuple((tuple(ban["kinds"]), tuple(ban["where"])) for ban in tomllib.loads(text)["ban"])


def _leading(sites: Sites, study: Study) -> Ints:
    """The leading note of the key at each tone, in semitones above C."""
    keys, at = _keys(sites, study)
    found: Ints = (np.array([key.tonic_fifths for key in keys], dtype=np.int64)[at] + 5) * 7 % 12
    return found


def _doubles_leading(sites: Sites, study: Study, first: Ints, leading: Ints) -> Bools:
    """The note added on the beat is the leading note that the bass has already."""
    if not study.bass or not len(sites.others):
        return np.zeros(len(sites.tones), dtype=bool)
    bass = sites.others[0, :, 1]
    same = (first[:, 0] - bass[:, 0]) % 7 == 0
    same &= (first[:, 1] - bass[:, 1]) % 12 == 0
    doubled: Bools = same & (bass[:, 0] >= 0) & (bass[:, 1] % 12 == leading) & (first[:, 1] != sites.midi)
    return doubled


def perfect_parallel(upper_from: Ints, upper_to: Ints, lower_from: Ints, lower_to: Ints) -> Bools:
    """Two voices moving in fifths, octaves or unisons: arrays (…, 2) of staff place and MIDI number.

    Both voices must move, and both sound (common practice). A step from a diminished to a perfect fifth does not count.

    >>> c, d, g, a = (np.array([[place, midi]]) for place, midi in ((28, 60), (29, 62), (32, 67), (33, 69)))
    >>> bool(perfect_parallel(g, a, c, d)[0]), bool(perfect_parallel(g, a, c, c)[0])
    (True, False)
    """
    there = (upper_from[..., 0] >= 0) & (upper_to[..., 0] >= 0) & (lower_from[..., 0] >= 0) & (lower_to[..., 0] >= 0)
    move = (upper_from[..., 1] != upper_to[..., 1]) & (lower_from[..., 1] != lower_to[..., 1])
    one, two = _interval(upper_from, lower_from), _interval(upper_to, lower_to)
    fifths = (one[0] == 4) & (one[1] == 7) & (two[0] == 4) & (two[1] == 7)
    octaves = (one[0] == 0) & (one[1] == 0) & (two[0] == 0) & (two[1] == 0)
    found: Bools = there & move & (fifths | octaves)
    return found


def _interval(one: Ints, two: Ints) -> tuple[Ints, Ints]:
    """Places and semitones within the octave, the lower note first whichever voice has it."""
    away = one - two
    sign = np.where((away[..., 0] < 0) | ((away[..., 0] == 0) & (away[..., 1] < 0)), -1, 1)
    return sign * away[..., 0] % 7, sign * away[..., 1] % 12


def _parallels(sites: Sites, first: Ints, last: Ints) -> Bools:
    """Would the first or last note of a kind run in fifths or octaves with any other line? All lines at once."""
    count = len(sites.tones)
    main = np.stack([sites.places, sites.midi], axis=1)
    before, after = np.full((count, 2), -1, dtype=np.int64), np.full((count, 2), -1, dtype=np.int64)
    before[1:], after[:-1] = main[:-1], main[1:]
    was, now, ending, then = (sites.others[:, :, moment] for moment in range(4))
    beats = np.roll(now, 1, axis=1)  # the other line at the onset of the tone before
    beats[:, 0] = -1
    plain = sites.keep("plain parallels", lambda: (
        perfect_parallel(before, main, was, now), perfect_parallel(before, main, beats, now),
        perfect_parallel(main, after, now, then), perfect_parallel(main, after, ending, then),
    ))  # fmt: skip
    found = perfect_parallel(before, first, was, now) & ~plain[0]
    found |= perfect_parallel(before, first, beats, now) & ~plain[1]
    found |= perfect_parallel(first, after, now, then) & ~plain[2]
    found |= perfect_parallel(last, after, ending, then) & ~plain[3]
    found |= perfect_parallel(first, last, now, ending)
    with_any: Bools = np.logical_or.reduce(found, axis=0)
    return with_any
