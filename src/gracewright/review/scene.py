"""What a version is, laid out for judging: each written note with the notes it became, the plain line as played, the
other voices.

Conventions: times are whole ticks as played, save those of the notes themselves (exact quarters) and those with
``page`` in their name (exact quarters as written).

Public: Scene, Heard, scene_of, shake_in, Shaken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import lcm

from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.instruments import Instrument
from gracewright.pitch import Pitch
from gracewright.review.parallels import Row, rows_of
from gracewright.score import Piece, Tone, part_of, tones
from gracewright.study.model import Study


@dataclass(frozen=True, slots=True)
class Heard:
    """A written note and what was played for it in one time through; ``first`` indexes the played line."""

    tone: Tone
    passage: Pass
    notes: tuple[PlayedNote, ...]
    first: int
    start: int
    end: int
    graced: bool

    @property
    def on_page(self) -> bool:
        """Does the page itself ask for a grace here?"""
        marks = self.tone.marks
        return bool(marks.signs or marks.before or marks.after or marks.wavy)

    @property
    def as_written(self) -> bool:
        """Is what was played the page's own grace, no player's choice?"""
        return self.on_page and all(note.choice < 0 for note in self.notes)


@dataclass(frozen=True, slots=True)
class Shaken:
    """A shake among the notes of a figure: where it begins, its upper note, and whether it begins with it."""

    at: int
    upper: Pitch
    from_above: bool
    held: bool  # the first note is held at least twice as long as a stroke's


@dataclass(frozen=True)
class Scene:
    """A version laid out to be judged, all times in whole ticks."""

    piece: Piece
    study: Study
    version: Version
    instrument: Instrument
    level: str
    ticks: int  # in a quarter
    tick: float  # seconds
    heard: tuple[Heard, ...]
    plain: Sequence[Row]
    line: Sequence[Row]
    voices: Mapping[str, Sequence[Row]]  # name of a part → its voice, chords as top and bottom
    shakes: Mapping[int, Shaken]  # index into ``heard``

    def seconds(self, length: Fraction) -> float:
        """Seconds of so many quarters."""
        return float(length) * self.ticks * self.tick


def scene_of(
    piece: Piece, study: Study, version: Version, instrument: Instrument, level: str, tempo: Fraction | None
) -> Scene:
    """Lay a version out. ``tempo`` in quarters a minute, the study's where None."""
    quarter = float(60 / Fraction(tempo or study.tempo))
    written = tones(piece, study.solo)
    ids = {tone.id for tone in written}
    line = [note for note in version.notes if note.part == version.solo and note.host in ids]
    measured = {time.denominator for note in version.notes for time in (note.onset, note.length)}
    measured |= {time.denominator for tone in written for time in (tone.onset, tone.length)}
    measured |= {time.denominator for one in version.passes for time in (one.onset, one.page_onset, one.length)}
    ticks = 2 * lcm(*measured)
    rows = rows_of(line, ticks)
    heard, plain = _heard(written, version, line, rows, ticks)
    shakes = {
        index: found
        for index, one in enumerate(heard)
        if len(one.notes) > 3 and (found := shake_in(one.notes, one.tone.pitch, quarter)) is not None
    }
    voices = _voices(piece, study, version, ids, ticks)
    return Scene(
        piece, study, version, instrument, level, ticks, quarter / ticks, tuple(heard), plain, rows, voices, shakes
    )


def _heard(
    written: Sequence[Tone], version: Version, line: Sequence[PlayedNote], rows: Sequence[Row], ticks: int
) -> tuple[list[Heard], list[Row]]:
    """Every written note each time it sounds, and the plain line as played."""
    by_host: dict[tuple[int, str], list[int]] = {}
    for index, note in enumerate(line):
        by_host.setdefault((note.time_through, note.host), []).append(index)
    spans = [(int(tone.onset * ticks), int(tone.end * ticks), tone) for tone in written]
    heard: list[Heard] = []
    plain: list[Row] = []
    for passage in version.passes:
        begin, shift = int(passage.page_onset * ticks), int((passage.onset - passage.page_onset) * ticks)
        end = begin + int(passage.length * ticks)
        for onset, until, tone in spans:
            if onset >= end or until <= begin:
                continue
            start, stop = max(onset, begin) + shift, min(until, end) + shift
            pitch = tone.pitch
            plain.append(Row(start, stop, pitch.diatonic, pitch.midi, pitch))
            if onset >= begin:
                at = by_host.get((passage.time_through, tone.id), [])
                notes = tuple([line[index] for index in at])
                graced = len(at) > 1 or (len(at) == 1 and rows[at[0]].pitch != pitch)
                heard.append(Heard(tone, passage, notes, at[0] if at else -1, start, stop, graced))
    return heard, plain


def shake_in(notes: Sequence[PlayedNote], main: Pitch, quarter: float) -> Shaken | None:
    """The shake in a figure: main and upper note in turn, the upper at least twice, ending on the main note, quicker
    than five notes a second in the mean (the first and last note left out). ``quarter`` is in seconds."""
    for at in range(len(notes) - 3):
        upper = next((note.pitch for note in notes[at : at + 2] if note.pitch != main), None)
        if upper is None or upper.diatonic - main.diatonic != 1:
            continue
        end = at
        while end < len(notes) and notes[end].pitch == ((upper, main)[(end - at) % 2 == (notes[at].pitch == upper)]):
            end += 1
        while end > at and notes[end - 1].pitch != main:
            end -= 1
        if sum(note.pitch == upper for note in notes[at:end]) < 2:
            continue
        inner = notes[at + 1 : end - 1]
        mean = sum([float(note.length) for note in inner]) / len(inner)
        if mean * quarter < 0.2:
            return Shaken(at, upper, notes[at].pitch == upper, notes[at].length >= 2 * inner[0].length)
    return None


def _voices(piece: Piece, study: Study, version: Version, ids: set[str], ticks: int) -> dict[str, list[Row]]:
    """The bass and every other voice, chords as top and bottom line. ``ids`` are the tones of the solo line."""
    bass = {tone.id for tone in tones(piece, study.bass, lowest=True)} if study.bass else set[str]()
    by_voice: dict[str, list[PlayedNote]] = {}
    for note in version.notes:
        if note.part == version.solo and note.host in ids:
            continue
        name = "bass" if note.host in bass else _name(piece, version.solo, note)
        by_voice.setdefault(name, []).append(note)
    found: dict[str, list[Row]] = {}
    for name, notes in by_voice.items():
        columns: dict[int, list[Row]] = {}
        for row in rows_of(notes, ticks):
            columns.setdefault(row.onset, []).append(row)
        lowest = [min(column, key=_midi) for column in columns.values()]
        found[name] = _single(lowest)
        if len(lowest) < len(notes):
            found[f"top of the {name}"] = _single([max(column, key=_midi) for column in columns.values()])
    return found


def _midi(row: Row) -> int:
    return row.midi


def _single(rows: Sequence[Row]) -> list[Row]:
    """One note at a time: each ends where the next begins."""
    limits = [*(row.onset for row in rows[1:]), rows[-1].end]
    pairs = zip(rows, limits, strict=True)
    return [row._replace(end=limit) if row.end > limit else row for row, limit in pairs]


def _name(piece: Piece, solo: str, note: PlayedNote) -> str:
    """What to call another voice: by its part, and by its number where the part has several."""
    written = piece.by_id.get(note.host)
    known = next((part.name for part in piece.parts if part.id == part_of(note.part)[0]), "") or note.part
    part = "solo part" if part_of(note.part)[0] == part_of(solo)[0] else known
    return f"{part} (voice {written.voice})" if written is not None and written.voice not in ("", "1") else part
