"""Perfect fifths and octaves that ornaments make with another part.

Conventions: a voice is a row of sounding notes in time order, one at a time; anything with ``onset``, ``length`` and
``pitch`` will do. Two voices make a parallel where both strike new notes at one moment and stand a perfect fifth
(twelfth …) apart, or an octave (unison, fifteenth), both before and after; contrary motion counts too. A silence of
up to half a quarter note between two notes of a voice does not hide it. Inside, times are whole ticks.

Public: Parallel, Sounding, Row, new_parallels, rows_of, new_direct, new_on_beats.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from math import lcm
from typing import Literal, NamedTuple, Protocol

from gracewright.pitch import Pitch

Kind = Literal["fifths", "octaves"]


class Sounding(Protocol):
    """A note of a voice; times in quarters."""

    @property
    def onset(self) -> Fraction: ...
    @property
    def length(self) -> Fraction: ...
    @property
    def pitch(self) -> Pitch: ...


class Row(NamedTuple):
    """A note of a voice in ticks, its pitch at hand as staff place and MIDI number."""

    onset: int
    end: int
    place: int
    midi: int
    pitch: Pitch


@dataclass(frozen=True, slots=True)
class Parallel:
    """At ``onset`` the upper voice goes ``upper[0]`` → ``upper[1]``, the other ``other[0]`` → ``other[1]``."""

    kind: Kind
    onset: Fraction
    upper: tuple[Pitch, Pitch]
    other: tuple[Pitch, Pitch]

    @property
    def words(self) -> str:
        return f"{self.upper[0]} to {self.upper[1]} over {self.other[0]} to {self.other[1]}"


class Found(NamedTuple):
    """The same in ticks: kind, moment, the four notes."""

    kind: Kind
    onset: int
    upper: tuple[Row, Row]
    other: tuple[Row, Row]

    @property
    def words(self) -> str:
        (one, two), (three, four) = self.upper, self.other
        return f"{one.pitch} to {two.pitch} over {three.pitch} to {four.pitch}"


def new_parallels(
    plain: Sequence[Sounding], played: Sequence[Sounding], other: Sequence[Sounding]
) -> tuple[Parallel, ...]:
    """Parallels of the played line with another voice that the plain line does not make at the same moment.

    >>> from types import SimpleNamespace as Note
    >>> def voice(*notes):
    ...     return [Note(onset=Fraction(o), length=Fraction(l), pitch=Pitch.parse(p)) for p, o, l in notes]
    >>> bass = voice(("C3", 0, 1), ("D3", 1, 1))
    >>> plain = voice(("E4", 0, 1), ("A4", 1, 1))
    >>> played = voice(("E4", 0, 0.5), ("G4", 0.5, 0.5), ("A4", 1, 1))
    >>> [found.words for found in new_parallels(plain, played, bass)]
    ['G4 to A4 over C3 to D3']
    """
    ticks = _ticks(plain, played, other)
    found = new_direct(rows_of(plain, ticks), rows_of(played, ticks), rows_of(other, ticks), ticks)
    return tuple(_in_quarters(one, ticks) for one in found)


def rows_of(notes: Sequence[Sounding], ticks: int) -> list[Row]:
    """A voice in ticks; ``ticks`` in a quarter must measure every time exactly."""
    rows = []
    for note in notes:
        onset = note.onset.numerator * (ticks // note.onset.denominator)
        length = note.length.numerator * (ticks // note.length.denominator)
        rows.append(Row(onset, onset + length, note.pitch.diatonic, note.pitch.midi, note.pitch))
    return rows


def new_direct(plain: Sequence[Row], played: Sequence[Row], other: Sequence[Row], ticks: int) -> list[Found]:
    """As :func:`new_parallels`, in ticks."""
    known = {found[:2] for found in _direct(plain, other, ticks // 2)}
    return [found for found in _direct(played, other, ticks // 2) if found[:2] not in known]


def new_on_beats(
    plain: Sequence[Row], played: Sequence[Row], other: Sequence[Row], ticks: int, least: int
) -> list[Found]:
    """New fifths and octaves from one bass note's beginning to the next, with other notes between.

    Only bass notes of at least ``least`` ticks count; direct parallels are left to :func:`new_direct`.
    """
    known = {found[:2] for found in _on_beats(plain, other, least)}
    known |= {found[:2] for found in _direct(played, other, ticks // 2)}
    return [found for found in _on_beats(played, other, least) if found[:2] not in known]


def _direct(upper: Sequence[Row], other: Sequence[Row], breath: int) -> Iterator[Found]:
    starts = {note.onset: index for index, note in enumerate(upper)}
    for before, after in pairwise(other):
        if before.midi == after.midi or before.end + breath < after.onset:
            continue
        at = starts.get(after.onset, 0)
        if not at:
            continue
        first, second = upper[at - 1], upper[at]
        if first.midi == second.midi or first.end + breath < second.onset:
            continue
        kind = _perfect(first, before)
        if kind is not None and kind == _perfect(second, after):
            yield Found(kind, after.onset, (first, second), (before, after))


def _on_beats(upper: Sequence[Row], other: Sequence[Row], least: int) -> Iterator[Found]:
    starts = {note.onset: note for note in upper}
    for before, after in pairwise(other):
        if before.midi == after.midi or before.end - before.onset < least or before.end < after.onset:
            continue
        first, second = starts.get(before.onset), starts.get(after.onset)
        if first is None or second is None or first.midi == second.midi:
            continue
        kind = _perfect(first, before)
        if kind is not None and kind == _perfect(second, after):
            yield Found(kind, after.onset, (first, second), (before, after))


def _perfect(one: Row, two: Row) -> Kind | None:
    places, semitones = one.place - two.place, one.midi - two.midi
    if places < 0 or (places == 0 and semitones < 0):
        places, semitones = -places, -semitones
    if places % 7 == 0 and semitones % 12 == 0:
        return "octaves"
    return "fifths" if places % 7 == 4 and semitones % 12 == 7 else None


def _ticks(*voices: Sequence[Sounding]) -> int:
    return 2 * lcm(*{time.denominator for voice in voices for note in voice for time in (note.onset, note.length)})


def _in_quarters(found: Found, ticks: int) -> Parallel:
    (one, two), (three, four) = found.upper, found.other
    return Parallel(found.kind, Fraction(found.onset, ticks), (one.pitch, two.pitch), (three.pitch, four.pitch))
