"""Sites: every tone of the solo line with the features a choice of grace depends on, as one numeric table.

Conventions: one row a tone, in page order; one column a feature, 0 or 1 unless it is a degree between them. Lengths
are judged in seconds at the study's tempo (the only place where seconds enter a decision). Intervals are counted in
staff places. The *foundation* is the bass line, or the root of the studied harmony where there is no bass.

Public: Sites, sites_of, strong, FEATURES.
"""

from __future__ import annotations

import weakref
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any, Final, TypeVar

import numpy as np
from numpy.typing import NDArray

from gracewright.graces import chord_of
from gracewright.pitch import Key, Pitch, fifths_of
from gracewright.score import Piece, Tone, tones
from gracewright.study.model import Cadence, Harmony, Study
from gracewright.taste.beside import Voice, under, voices_beside

FEATURES: Final[dict[str, str]] = {
    "always": "any note",
    "from-rest": "the tune enters after a rest",
    "from-same": "the note is struck again",
    "from-step-above": "the note is reached by a falling step",
    "from-step-below": "the note is reached by a rising step",
    "from-semitone-below": "the note is reached by a rising semitone",
    "from-third-above": "the note is reached by a falling third",
    "from-third-below": "the note is reached by a rising third",
    "from-leap-above": "the note is reached by a falling leap",
    "from-leap-below": "the note is reached by a rising leap",
    "to-rest": "a rest follows",
    "to-same": "the same note follows",
    "to-step-below": "the tune then falls a step",
    "to-step-above": "the tune then rises a step",
    "to-third-below": "the tune then falls a third",
    "to-third-above": "the tune then rises a third",
    "to-leap-below": "the tune then leaps down",
    "to-leap-above": "the tune then leaps up",
    "quick": "the note is very short",
    "short": "the note is short",
    "middle": "the note is of middling length",
    "long": "the note is long",
    "very-long": "the note is very long",
    "seconds": "the note has time",
    "longer-than-before": "the note is longer than the one before",
    "longer-than-next": "the note is longer than the one after",
    "much-longer-than-next": "the note is three times the next or longer",
    "twice-before": "the note is twice the one before or longer",
    "long-for-piece": "the note is long in this piece",
    "usual-for-piece": "the note is of the usual length in this piece",
    "longest-of-bar": "it is the longest note of its bar",
    "calm": "few notes stand around it",
    "dotted": "the note is dotted",
    "one-beat": "the note fills a beat",
    "two-beats": "the note lasts two beats or more",
    "downbeat": "it stands on the first beat",
    "strong-beat": "it stands on a strong beat",
    "beat": "it stands on a beat",
    "off-beat": "it stands off the beat",
    "second-of-bar": "it stands on the second beat of three",
    "last-beat": "it stands on the last beat",
    "syncopated": "it is tied over the beat",
    "phrase-first": "the phrase begins here",
    "phrase-last": "the phrase ends here",
    "piece-first": "the piece begins here",
    "piece-last": "the piece ends here",
    "cadence-close": "the line makes ready for a cadence",
    "cadence-strong": "a strong cadence is prepared",
    "cadence-half": "a close on the dominant is prepared",
    "cadence-arrival": "a cadence arrives",
    "leading-note": "it is the leading note",
    "second-degree": "it is the second degree of the key",
    "third-degree": "it is the third of the key",
    "tonic": "it is the tonic",
    "raised": "it carries a sharp foreign to the key",
    "lowered": "it carries a flat foreign to the key",
    "chord-third": "it is the third of the chord",
    "chord-root": "it is the root of the chord",
    "chord-fifth": "it is the fifth of the chord",
    "over-dominant": "the harmony is the dominant",
    "new-harmony": "the harmony changes here",
    "upper-bites": "the note above would clash with the bass or its chord and this one resolves it",
    "lower-bites": "the note below would clash with the bass or its chord and this one resolves it",
    "dissonant": "it is itself a dissonance",
    "passing": "it only passes",
    "doubles-bass-leading": "the bass has the same leading note",
    "high-point": "the line turns down from here",
    "low-point": "the line turns up from here",
    "in-run": "it is one of a run of equal notes",
    "leads-group": "a group of quicker notes begins here",
    "sigh": "a sigh is written here",
    "expressive": "the place is expressive",
    "climax": "the line reaches its height",
    "again": "the passage was heard before",
    "leg": "the sequence grows",
    "slow": "the movement is slow",
    "lively": "the movement is lively",
    "ternary": "the beat or bar goes in three",
    "minor": "the key is minor",
    "syllable": "a syllable is sung",
    "bass-moves": "the bass moves under the note",
    "bass-rests": "the bass is silent",
    "bass-struck": "the bass strikes with it",
    "bass-runs": "the bass runs on under it",
    "third-over-bass": "it is a third above the bass",
    "fifth-over-bass": "it is a fifth above the bass",
    "sixth-over-bass": "it is a sixth above the bass",
    "octave-over-bass": "it is an octave above the bass",
    "lone-motif": "nothing in the piece is like it",
    "common-motif": "the figure comes often",
}
"""Feature → how a teacher would say it."""

COLUMN: Final = {name: index for index, name in enumerate(FEATURES)}
SECONDS: Final = {"quick": 0.2, "short": 0.4, "middle": 0.75, "long": 1.5}
"""Upper limits of the classes of length in seconds (own choice); longer is ``very-long``."""

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
    index: dict[str, int]
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
    values = np.zeros((count, len(FEATURES)))
    onsets = np.array([float(tone.onset) for tone in line])
    lengths = np.array([float(tone.length) for tone in line])
    quarter = _quarters(piece, study, onsets, tempo)
    seconds = lengths * quarter
    gap = np.full(count, 99.0)
    if count > 1:
        gap[1:] = np.diff(onsets) * quarter[:-1]
    places = np.array([tone.pitch.diatonic for tone in line], dtype=np.int64)
    midi = np.array([tone.pitch.midi for tone in line], dtype=np.int64)
    before, after = _steps(line, places)
    voices = voices_beside(piece, study, line)
    others = np.stack([under(voice, line) for voice in voices] or [np.full((count, 4, 2), -1, dtype=np.int64)])
    phrase = _phrases(study, line)
    table = Sites(
        line, values, seconds, gap, places, midi, before, after, others, voices, phrase,
        np.zeros(count, dtype=np.int64), {tone.id: index for index, tone in enumerate(line)},
    )  # fmt: skip
    values[:, COLUMN["always"]] = 1
    if count:
        _mark_intervals(table)
        _mark_lengths(table, piece, lengths)
        _mark_metre(table, piece, study)
        _mark_form(table, piece, study)
        _mark_harmony(table, piece, study)
        _mark_shape(table, lengths)
        _mark_bass_rhythm(table)
        table.motif[:] = _motifs(table, lengths)
        often = np.bincount(table.motif)[table.motif]
        values[:, COLUMN["lone-motif"]] = often == 1
        values[:, COLUMN["common-motif"]] = often >= 4
    return table


def _steps(line: Sequence[Tone], places: Ints) -> tuple[Ints, Ints]:
    before = np.full(len(line), 99, dtype=np.int64)
    after = np.full(len(line), 99, dtype=np.int64)
    for index in range(1, len(line)):
        if line[index].rest_before * 2 <= line[index].length and line[index].rest_before <= Fraction(1, 2):
            before[index] = places[index] - places[index - 1]
            after[index - 1] = before[index]
    return before, after


def _mark_intervals(table: Sites) -> None:
    rows = table.values
    for prefix, steps, up, down in (
        ("from", table.step_before, "below", "above"),
        ("to", table.step_after, "above", "below"),
    ):
        known = steps != 99
        rows[:, COLUMN[f"{prefix}-rest"]] = ~known
        rows[:, COLUMN[f"{prefix}-same"]] = steps == 0
        rows[:, COLUMN[f"{prefix}-step-{up}"]] = steps == 1
        rows[:, COLUMN[f"{prefix}-step-{down}"]] = steps == -1
        rows[:, COLUMN[f"{prefix}-third-{up}"]] = steps == 2
        rows[:, COLUMN[f"{prefix}-third-{down}"]] = steps == -2
        rows[:, COLUMN[f"{prefix}-leap-{up}"]] = known & (steps > 2)
        rows[:, COLUMN[f"{prefix}-leap-{down}"]] = steps < -2
    rises = np.diff(table.midi, prepend=table.midi[:1])
    rows[:, COLUMN["from-semitone-below"]] = (table.step_before == 1) & (rises == 1)


def _mark_lengths(table: Sites, piece: Piece, lengths: Floats) -> None:
    rows, low = table.values, 0.0
    for name, high in SECONDS.items():
        rows[:, COLUMN[name]] = (table.seconds >= low) & (table.seconds < high)
        low = high
    rows[:, COLUMN["very-long"]] = table.seconds >= low
    rows[:, COLUMN["seconds"]] = np.clip(np.log2(np.maximum(table.seconds, 0.05) / 0.1) / 4, 0, 1)
    rows[1:, COLUMN["longer-than-before"]] = lengths[1:] > lengths[:-1]
    rows[:-1, COLUMN["longer-than-next"]] = lengths[:-1] > lengths[1:]
    rows[1:, COLUMN["twice-before"]] = lengths[1:] >= 2 * lengths[:-1]
    rows[:-1, COLUMN["much-longer-than-next"]] = lengths[:-1] >= 3 * lengths[1:]
    middle = float(np.median(lengths))
    rows[:, COLUMN["long-for-piece"]] = lengths >= 2 * middle
    rows[:, COLUMN["usual-for-piece"]] = (lengths > 0.7 * middle) & (lengths < 1.5 * middle)
    bars = np.array([tone.bar for tone in table.tones])
    longest = np.zeros(len(piece.bars))
    np.maximum.at(longest, bars, lengths)
    rows[:, COLUMN["longest-of-bar"]] = lengths == longest[bars]
    rows[:, COLUMN["calm"]] = _calm(np.array([float(tone.onset) for tone in table.tones]))
    beats = np.array([float(piece.bars[tone.bar].meter.beat) for tone in table.tones])
    rows[:, COLUMN["one-beat"]] = (lengths >= beats) & (lengths < 2 * beats)
    rows[:, COLUMN["two-beats"]] = lengths >= 2 * beats
    rows[:, COLUMN["dotted"]] = [piece.by_id[tone.id].dots > 0 for tone in table.tones]


def _calm(onsets: Floats) -> Floats:
    """Whether at most six notes begin within two quarters before and after."""
    begin, end = np.searchsorted(onsets, onsets - 2, "right"), np.searchsorted(onsets, onsets + 2, "left")
    calm: Floats = (end - begin <= 6).astype(float)
    return calm


def _mark_metre(table: Sites, piece: Piece, study: Study) -> None:
    rows, roles = table.values, study.role_of
    for index, tone in enumerate(table.tones):
        bar = piece.bars[tone.bar]
        offset = tone.onset - bar.onset
        if bar.pickup and bar.length < bar.meter.length:
            offset += bar.meter.length - bar.length
        role = roles.get(tone.id)
        beat = bar.meter.beat
        on_beat = not offset % beat
        weight = role.metre_weight if role is not None else (1.0 if not offset else 0.5 if on_beat else 0.25)
        row = rows[index]
        row[COLUMN["downbeat"]] = not offset
        row[COLUMN["strong-beat"]] = weight >= 0.5 and on_beat
        row[COLUMN["beat"]] = on_beat
        row[COLUMN["off-beat"]] = not on_beat
        row[COLUMN["last-beat"]] = bool(offset) and offset == bar.meter.length - beat
        row[COLUMN["second-of-bar"]] = bar.meter.length == 3 * beat and offset == beat
        row[COLUMN["syncopated"]] = not on_beat and (offset % beat) + tone.length > beat
        row[COLUMN["ternary"]] = bar.meter.beats % 3 == 0
        row[COLUMN["syllable"]] = bool(tone.marks.lyrics)


def _phrases(study: Study, line: Sequence[Tone]) -> Ints:
    starts = [phrase.start for phrase in study.phrases]
    return np.array([bisect_right(starts, tone.onset) for tone in line], dtype=np.int64)


def strong(cadence: Cadence) -> bool:
    """Whether the study's cadence is one at which a shake is expected.

    Evaded and deceptive closes are prepared like true ones (common practice), so they count when strong.
    """
    return cadence.strength >= 0.5


def _mark_form(table: Sites, piece: Piece, study: Study) -> None:
    rows, count = table.values, len(table.tones)
    change = np.flatnonzero(np.diff(table.phrase)) + 1 if count else np.zeros(0, dtype=np.int64)
    rows[0, COLUMN["phrase-first"]] = rows[0, COLUMN["piece-first"]] = 1
    rows[-1, COLUMN["phrase-last"]] = rows[-1, COLUMN["piece-last"]] = 1
    rows[change, COLUMN["phrase-first"]] = 1
    rows[change - 1, COLUMN["phrase-last"]] = 1
    for cadence in study.cadences:
        here = table.index.get(cadence.penultimate)
        if here is not None:
            rows[here, COLUMN["cadence-close"]] = 1
            rows[here, COLUMN["cadence-strong"]] = max(rows[here, COLUMN["cadence-strong"]], cadence.strength)
            rows[here, COLUMN["cadence-half"]] = cadence.kind in ("half", "phrygian")
        there = table.index.get(cadence.arrival)
        if there is not None:
            rows[there, COLUMN["cadence-arrival"]] = 1
    onsets = [tone.onset for tone in table.tones]

    def between(start: Fraction, end: Fraction) -> slice:
        return slice(bisect_right(onsets, start - Fraction(1, 9999)), bisect_right(onsets, end - Fraction(1, 9999)))

    for repeat in study.repeats:
        if repeat.kind not in ("sign", "da capo", "dal segno"):
            rows[between(*repeat.again), COLUMN["again"]] = 1
    for sequence in study.sequences:
        for number, leg in enumerate(sequence.legs):
            part = between(leg.start, leg.end)
            rows[part, COLUMN["leg"]] = np.maximum(rows[part, COLUMN["leg"]], min(1.0, number / 3))
    for cue in study.cues:
        here = table.index.get(cue.note)
        if here is not None:
            rows[here, COLUMN["expressive"]] = max(rows[here, COLUMN["expressive"]], min(1.0, cue.weight))
            if cue.kind == "sigh":
                rows[here, COLUMN["sigh"]] = 1
    rows[:, COLUMN["slow"]] = study.slow
    rows[:, COLUMN["lively"]] = not study.slow
    rows[:, COLUMN["climax"]] = _climax(table, study)


def _climax(table: Sites, study: Study) -> Floats:
    """The highest long notes, and where the study's tension is greatest."""
    height = table.midi + 2.0 * np.log2(np.maximum(table.seconds, 0.05))
    mark = (height >= np.quantile(height, 0.97)).astype(float)
    if study.tension:
        peak = max(study.tension, key=lambda point: point[1])[0]
        onsets = [tone.onset for tone in table.tones]
        mark[min(max(0, bisect_right(onsets, peak) - 1), len(onsets) - 1)] = 1
    return mark


def _mark_harmony(table: Sites, piece: Piece, study: Study) -> None:
    rows, roles = table.values, study.role_of
    starts = [harmony.onset for harmony in study.harmony]
    key_starts = [span.onset for span in study.keys]
    bass = table.others[0] if study.bass and len(table.others) else None
    for index, tone in enumerate(table.tones):
        row, role = rows[index], roles.get(tone.id)
        at = bisect_right(starts, tone.onset) - 1
        harmony = study.harmony[at] if at >= 0 and study.harmony[at].end > tone.onset else None
        key_at = bisect_right(key_starts, tone.onset) - 1
        key = study.keys[key_at].key if key_at >= 0 else study.home
        _mark_degree(row, tone.pitch, key)
        if role is not None:
            row[COLUMN["dissonant"]] = role.role in ("suspension", "appoggiatura") or role.dissonance >= 0.5
            row[COLUMN["passing"]] = role.role in ("passing", "neighbour", "escape", "anticipation")
        if harmony is not None:
            _mark_chord(row, tone.pitch, harmony)
            row[COLUMN["new-harmony"]] = harmony.onset == tone.onset
        if harmony is not None:
            _mark_implied(row, tone.pitch, harmony, key, 1.0 if bass is None else FOREIGN)
        if bass is not None:
            _mark_bass(row, table, index, bass, key)


def _mark_degree(row: Floats, pitch: Pitch, key: Key) -> None:
    away = pitch.fifths - key.tonic_fifths
    row[COLUMN["leading-note"]] = away == 5
    row[COLUMN["second-degree"]] = away == 2
    row[COLUMN["third-degree"]] = away == (4 if key.mode == "major" else -3)
    row[COLUMN["tonic"]] = away == 0
    row[COLUMN["minor"]] = key.mode == "minor"
    low, high = (-1, 5) if key.mode == "major" else (-4, 5)
    row[COLUMN["raised"]] = away > high
    row[COLUMN["lowered"]] = away < low


def _mark_chord(row: Floats, pitch: Pitch, harmony: Harmony) -> None:
    away = pitch.fifths - fifths_of(harmony.root)
    row[COLUMN["chord-root"]] = away == 0
    row[COLUMN["chord-third"]] = away in (4, -3)
    row[COLUMN["chord-fifth"]] = away == 1
    numeral = harmony.numeral
    row[COLUMN["over-dominant"]] = (numeral[:1] == "V" and numeral[:2] != "VI") or numeral[:3] == "vii"


FOREIGN: Final = 0.6
"""How far a neighbour clashes that is foreign to the chord, yet consonant with the bass: six to five (own choice)."""
CONSONANT: Final = frozenset({0, 2, 4, 5})
"""Staff places above the bass, octaves apart, that are consonant: unison, third, fifth, sixth (common practice)."""


def _mark_bass(row: Floats, table: Sites, index: int, bass: NDArray[np.int64], key: Key) -> None:
    place, sound = bass[index, 1]
    if place < 0:
        row[COLUMN["bass-rests"]] = 1
        return
    row[COLUMN["bass-moves"]] = bass[index, 2, 1] != sound
    above = int(table.places[index] - place) % 7
    for name, steps in (("third", 2), ("fifth", 4), ("sixth", 5), ("octave", 0)):
        row[COLUMN[f"{name}-over-bass"]] = above == steps
    half = int(table.midi[index] - sound) % 12
    rests_well = above in CONSONANT and half != 6
    for name, beside in (("upper-bites", above + 1), ("lower-bites", above - 1)):
        if not rests_well:
            row[COLUMN[name]] = 0
        elif beside % 7 not in CONSONANT:
            row[COLUMN[name]] = 1
    leading = fifths_of(key.leading)
    row[COLUMN["doubles-bass-leading"]] = table.tones[index].pitch.fifths == leading and above == 0


def _mark_bass_rhythm(table: Sites) -> None:
    if not table.voices:
        return
    starts = table.voices[0].starts
    for index, tone in enumerate(table.tones):
        at, inside = bisect_left(starts, tone.onset), bisect_right(starts, tone.onset)
        table.values[index, COLUMN["bass-struck"]] = at < inside
        table.values[index, COLUMN["bass-runs"]] = bisect_left(starts, tone.end) - inside >= 2


def _mark_implied(row: Floats, pitch: Pitch, harmony: Harmony, key: Key, clash: float) -> None:
    """Neighbours that are foreign to the studied chord, of which the note itself is one."""
    chord = {fifths_of(name) for name in chord_of(harmony)}
    inside = pitch.fifths in chord
    upper = Pitch.at(pitch.diatonic + 1, key.alter_of((pitch.step + 1) % 7)).fifths
    lower = Pitch.at(pitch.diatonic - 1, key.alter_of((pitch.step - 1) % 7)).fifths
    row[COLUMN["upper-bites"]] = clash * (inside and upper not in chord)
    row[COLUMN["lower-bites"]] = clash * (inside and lower not in chord)


def _mark_shape(table: Sites, lengths: Floats) -> None:
    rows, before, after = table.values, table.step_before, table.step_after
    rises, falls = (before > 0) & (before < 99), (after < 0)
    rows[:, COLUMN["high-point"]] = rises & falls
    rows[:, COLUMN["low-point"]] = (before < 0) & (after > 0) & (after < 99)
    inner = np.zeros(len(lengths), dtype=bool)
    inner[1:-1] = (lengths[1:-1] == lengths[:-2]) & (lengths[1:-1] == lengths[2:])
    rows[:, COLUMN["in-run"]] = inner & (np.abs(before) <= 1) & (np.abs(after) <= 1)
    begins = np.zeros(len(lengths), dtype=bool)
    begins[1:-1] = (lengths[:-2] > lengths[1:-1]) & (lengths[1:-1] >= lengths[2:])
    rows[:, COLUMN["leads-group"]] = begins


def _motifs(table: Sites, lengths: Floats) -> Ints:
    """Tones alike in the two intervals around them, lengths and beat share a number: one motif, one treatment."""
    names: dict[tuple[float, ...], int] = {}
    numbers = np.zeros(len(lengths), dtype=np.int64)
    padded = np.concatenate([[0.0, 0.0], lengths, [0.0, 0.0]])
    before = np.concatenate([[99], table.step_before, [99]])
    after = np.concatenate([[99], table.step_after, [99]])
    down, beat = table.on("downbeat"), table.on("beat")
    for index in range(len(lengths)):
        name = (
            float(before[index]), float(before[index + 1]), float(after[index + 1]), float(after[index + 2]),
            float(padded[index + 1]), float(padded[index + 2]), float(padded[index + 3]),
            float(down[index]), float(beat[index]),
        )  # fmt: skip
        numbers[index] = names.setdefault(name, len(names))
    return numbers
