"""Sites: every tone of the solo line with the features a choice of grace depends on, as one numeric table.

Conventions: one row a tone, in page order; one column a feature, 0 or 1 unless it is a degree between them. Lengths
are judged in seconds at the study's tempo (the only place where seconds enter a decision). Intervals are counted in
staff places.

Public: Sites, sites_of, with_voices, strong, FEATURES.
"""

from __future__ import annotations

import weakref
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from gracewright.score import Piece, Tone, tones
from gracewright.study.model import Cadence, Study
from gracewright.taste.beside import Voice, under, voices_beside
from gracewright.taste.features import COLUMN, FEATURES
from gracewright.taste.marking import Plane, mark
from gracewright.taste.ticks import Ticks

__all__ = ["COLUMN", "FEATURES", "Floats", "Ints", "Sites", "sites_of", "strong", "with_voices"]

T = TypeVar("T")
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


@dataclass(frozen=True, eq=False)
class Sites:
    """The table. ``values`` is (tones, features); ``others`` holds the other lines, the bass first, at four moments of
    each tone (before its onset, at its onset, just before its end, at its end) as (tones, 4, 2): staff place and MIDI
    number, -1 where silent. One such block for every other sounding line."""

    tones: tuple[Tone, ...]
    values: Floats
    seconds: Floats
    gap: Floats  # seconds since the onset of the tone before
    places: Ints  # staff place of each tone
    midi: Ints
    step_before: Ints  # staff places from the tone before; 99 where none (rest or start)
    step_after: Ints
    others: NDArray[np.int64]  # (lines, tones, 4, 2)
    voices: tuple[Voice, ...]  # the same lines note by note
    phrase: Ints  # phrase number of each tone
    motif: Ints  # tones alike in their surroundings share a number
    rhythm: Ints  # tones alike in beat and in the lengths around them share a number
    index: dict[str, int]
    ticks: Ticks
    kept: dict[Hashable, Any] = field(default_factory=dict)  # what was reckoned from this table, to be used again

    def keep(self, name: Hashable, make: Callable[[], T]) -> T:
        """What was kept under a name, made now if it was not."""
        if name not in self.kept:
            self.kept[name] = make()
        found: T = self.kept[name]
        return found

    def on(self, feature: str) -> Floats:
        """One column."""
        column: Floats = self.values[:, COLUMN[feature]]
        return column


Kept = tuple[weakref.ref[Piece], weakref.ref[Study], "Sites"]
_cache: dict[tuple[int, int, Fraction | None], Kept] = {}


def sites_of(piece: Piece, study: Study, tempo: Fraction | None = None) -> Sites:
    """The table for a piece and its study; kept while both live, so that a new plan of the same study is quick.

    ``tempo`` in quarters a minute holds throughout; without it the page's tempos do, else the study's.
    """
    name = id(piece), id(study), tempo
    kept = _cache.get(name)
    if kept is not None and kept[0]() is piece and kept[1]() is study:
        return kept[2]
    made = _make(piece, study, tempo)
    _cache[name] = weakref.ref(piece, lambda _: _cache.pop(name, None)), weakref.ref(study), made
    return made


def with_voices(piece: Piece, study: Study, sites: Sites, voices: Sequence[Voice]) -> Sites:
    """The table with further voices beside the line; kept with the table."""
    if not voices:
        return sites

    def make() -> Sites:
        ticks = Ticks.of(piece, study, sites.tones, voices)
        blocks = [under(starts, ends, voice.pitches, ticks.onsets, ticks.ends)
                  for voice, (starts, ends) in zip(voices, ticks.voices, strict=True)]  # fmt: skip
        others = np.concatenate([sites.others, np.stack(blocks)])
        return replace(sites, voices=(*sites.voices, *voices), others=others, kept={})

    return sites.keep(("beside", tuple(voices)), make)


def _quarters(piece: Piece, study: Study, onsets: Floats, tempo: Fraction | None) -> Floats:
    """Seconds of a quarter note at each tone."""
    changes = [] if tempo else sorted((float(words.onset), float(words.tempo)) for words in piece.words if words.tempo)
    quarter = np.full(len(onsets), 60.0 / float(tempo or study.tempo))
    for start, speed in changes:
        quarter[onsets >= start] = 60.0 / speed
    return quarter


def _make(piece: Piece, study: Study, tempo: Fraction | None) -> Sites:
    line = tones(piece, study.solo)
    count = len(line)
    voices = voices_beside(piece, study, line)
    ticks = Ticks.of(piece, study, line, voices)
    onsets, lengths = ticks.onsets / ticks.quarter, ticks.lengths / ticks.quarter
    quarter = _quarters(piece, study, onsets, tempo)
    gap = np.full(count, 99.0)
    if count > 1:
        gap[1:] = np.diff(onsets) * quarter[:-1]
    places = np.array([tone.pitch.diatonic for tone in line], dtype=np.int64)
    midi = np.array([tone.pitch.midi for tone in line], dtype=np.int64)
    before, after = _steps(line, ticks, places)
    blocks = [under(starts, ends, voice.pitches, ticks.onsets, ticks.ends)
              for voice, (starts, ends) in zip(voices, ticks.voices, strict=True)]  # fmt: skip
    others = np.stack(blocks or [np.full((count, 4, 2), -1, dtype=np.int64)])
    phrase = np.searchsorted(ticks.many(phrase.start for phrase in study.phrases), ticks.onsets, "right")
    index = {tone.id: number for number, tone in enumerate(line)}
    plane = Plane(piece, study, line, ticks, index, lengths * quarter, places, midi, before, after, others, phrase)
    values, motif, rhythm = mark(plane)
    return Sites(
        line, values, plane.seconds, gap, places, midi, before, after, others, voices, phrase, motif, rhythm, index,
        ticks,
    )  # fmt: skip


def _steps(line: Sequence[Tone], ticks: Ticks, places: Ints) -> tuple[Ints, Ints]:
    """Staff places from the tone before and to the next; 99 across a rest that parts them."""
    before = np.full(len(line), 99, dtype=np.int64)
    after = np.full(len(line), 99, dtype=np.int64)
    rests = np.array([ticks.one(tone.rest_before) if tone.rest_before else 0 for tone in line], dtype=np.int64)
    joined = (2 * rests <= ticks.lengths) & (2 * rests <= ticks.quarter)
    if len(line):
        joined[0] = False
        before[joined] = np.diff(places, prepend=places[:1])[joined]
        after[:-1] = before[1:]
    return before, after


def strong(cadence: Cadence) -> bool:
    """Whether the study's cadence is one at which a shake is expected.

    Evaded and deceptive closes are prepared like true ones (common practice), so they count when strong.
    """
    return cadence.strength >= 0.5
