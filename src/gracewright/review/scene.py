"""What a version is, laid out for judging: each written note with the notes it became, the plain line as played, the
other voices.

Conventions: times with ``page`` in their name are quarters as written, the others quarters as played.

Public: Scene, Heard, Voiced, scene_of, shake_in, Shaken.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction

from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.instruments import Instrument
from gracewright.pitch import Pitch
from gracewright.score import Piece, Tone, part_of, tones
from gracewright.study.model import Study


@dataclass(frozen=True, slots=True)
class Voiced:
    """A note of a voice, as played."""

    onset: Fraction
    length: Fraction
    pitch: Pitch


@dataclass(frozen=True, slots=True)
class Heard:
    """A written note and what was played for it in one time through."""

    tone: Tone
    passage: Pass
    notes: tuple[PlayedNote, ...]

    @property
    def graced(self) -> bool:
        return len(self.notes) > 1 or (len(self.notes) == 1 and self.notes[0].pitch != self.tone.pitch)

    @property
    def start(self) -> Fraction:
        """The written beginning, as played."""
        return max(self.tone.onset, self.passage.page_onset) - self.passage.page_onset + self.passage.onset

    @property
    def on_page(self) -> bool:
        """Does the page itself ask for a grace here?"""
        marks = self.tone.marks
        return bool(marks.signs or marks.before or marks.after or marks.wavy)


@dataclass(frozen=True, slots=True)
class Shaken:
    """A shake among the notes of a figure: where it begins, its upper note, and whether it begins with it."""

    at: int
    upper: Pitch
    from_above: bool
    held: bool  # the first note is held at least twice as long as a stroke's


@dataclass(frozen=True)
class Scene:
    piece: Piece
    study: Study
    version: Version
    instrument: Instrument
    level: str
    source: str
    second: Fraction  # quarters in a second
    heard: tuple[Heard, ...]
    plain: tuple[Voiced, ...]
    line: tuple[PlayedNote, ...]
    voices: Mapping[str, tuple[Voiced, ...]]  # name of a part → its voice, chords as top and bottom
    shakes: Mapping[int, Shaken]  # index into ``heard``

    def seconds(self, length: Fraction) -> float:
        return float(length / self.second)


def scene_of(
    piece: Piece, study: Study, version: Version, instrument: Instrument, level: str, source: str,
    tempo: Fraction | None,
) -> Scene:  # fmt: skip
    """Lay a version out. ``tempo`` in quarters a minute, the study's where None."""
    second = Fraction(tempo or study.tempo) / 60
    written = tones(piece, study.solo)
    line = tuple(note for note in version.notes if note.part == version.solo)
    by_host: dict[tuple[int, str], list[PlayedNote]] = {}
    for note in line:
        by_host.setdefault((note.time_through, note.host), []).append(note)
    heard: list[Heard] = []
    plain: list[Voiced] = []
    for passage in version.passes:
        end = passage.page_onset + passage.length
        for tone in written:
            if tone.onset >= end or tone.end <= passage.page_onset:
                continue
            onset = max(tone.onset, passage.page_onset)
            if onset == tone.onset:
                notes = tuple(by_host.get((passage.time_through, tone.id), ()))
                heard.append(Heard(tone, passage, notes))
            shift = passage.onset - passage.page_onset
            plain.append(Voiced(onset + shift, min(tone.end, end) - onset, tone.pitch))
    shakes = {
        index: found
        for index, one in enumerate(heard)
        if (found := shake_in(one.notes, one.tone.pitch, second)) is not None
    }
    return Scene(
        piece, study, version, instrument, level, source, second, tuple(heard), tuple(plain), line,
        _voices(piece, study, version), shakes,
    )  # fmt: skip


def shake_in(notes: Sequence[PlayedNote], main: Pitch, second: Fraction) -> Shaken | None:
    """The shake in a figure: main and upper note in turn, the upper at least twice, ending on the main note, quicker
    than five notes a second in the mean (the first and last note left out)."""
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
        mean = sum((note.length for note in inner), Fraction(0)) / len(inner)
        if mean / second < Fraction(1, 5):
            return Shaken(at, upper, notes[at].pitch == upper, notes[at].length >= 2 * inner[0].length)
    return None


def _voices(piece: Piece, study: Study, version: Version) -> dict[str, tuple[Voiced, ...]]:
    """The voices of all other parts; a part with chords gives its top and its bottom line."""
    by_part: dict[str, dict[Fraction, list[PlayedNote]]] = {}
    for note in version.notes:
        if note.part != version.solo:
            by_part.setdefault(note.part, {}).setdefault(note.onset, []).append(note)
    found: dict[str, tuple[Voiced, ...]] = {}
    for part, columns in by_part.items():
        name = "bass" if part == study.bass or part_of(study.bass)[0] == part else _name(piece, part)
        rows = [sorted(column, key=lambda note: note.pitch.midi) for _, column in sorted(columns.items())]
        found[name] = _row([row[0] for row in rows])
        if any(len(row) > 1 for row in rows):
            found[f"top of the {name}"] = _row([row[-1] for row in rows])
    return found


def _row(notes: Sequence[PlayedNote]) -> tuple[Voiced, ...]:
    ends = [*(note.onset for note in notes[1:]), notes[-1].end]
    return tuple(
        Voiced(n.onset, min(n.end, max(end, n.onset)) - n.onset, n.pitch) for n, end in zip(notes, ends, strict=True)
    )


def _name(piece: Piece, part: str) -> str:
    known = {one.id: one.name for one in piece.parts}
    return known.get(part_of(part)[0]) or part
