"""Perfect fifths and octaves that ornaments make with another part.

Conventions: a voice is a row of sounding notes in time order, one at a time; anything with ``onset``, ``length`` and
``pitch`` will do. Two voices make a parallel where both strike new notes at one moment and stand a perfect fifth
(twelfth …) apart, or an octave (unison, fifteenth), both before and after; contrary motion counts too. A silence of
up to an eighth of a whole note between two notes of a voice does not hide it.

Public: Parallel, Sounding, new_parallels, beat_parallels.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from itertools import pairwise
from typing import Final, Literal, Protocol

from gracewright.pitch import Pitch

BREATH: Final = Fraction(1, 2)
"""A silence of up to so many quarters inside a voice is taken as a breath, not as a rest."""

Kind = Literal["fifths", "octaves"]


class Sounding(Protocol):
    """A note of a voice; times in quarters."""

    @property
    def onset(self) -> Fraction: ...
    @property
    def length(self) -> Fraction: ...
    @property
    def pitch(self) -> Pitch: ...


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
    known = {(found.kind, found.onset) for found in _parallels(plain, other)}
    return tuple(found for found in _parallels(played, other) if (found.kind, found.onset) not in known)


def beat_parallels(
    plain: Sequence[Sounding], played: Sequence[Sounding], other: Sequence[Sounding], least: Fraction = Fraction(1, 2)
) -> tuple[Parallel, ...]:
    """New fifths and octaves from one bass note's beginning to the next, with other notes between.

    Only bass notes of at least ``least`` quarters count; direct parallels are left to :func:`new_parallels`.
    """
    known = {(found.kind, found.onset) for found in _on_beats(plain, other, least)}
    direct = {(found.kind, found.onset) for found in _parallels(played, other)}
    return tuple(
        found for found in _on_beats(played, other, least) if (found.kind, found.onset) not in known | direct
    )


def _parallels(upper: Sequence[Sounding], other: Sequence[Sounding]) -> Iterator[Parallel]:
    onsets = [note.onset for note in upper]
    for before, after in pairwise(other):
        if before.pitch == after.pitch or before.onset + before.length + BREATH < after.onset:
            continue
        at = bisect_left(onsets, after.onset)
        if not 0 < at < len(upper) or onsets[at] != after.onset:
            continue
        first, second = upper[at - 1], upper[at]
        if first.pitch == second.pitch or first.onset + first.length + BREATH < second.onset:
            continue
        kind = _perfect(first.pitch, before.pitch)
        if kind is not None and kind == _perfect(second.pitch, after.pitch):
            yield Parallel(kind, after.onset, (first.pitch, second.pitch), (before.pitch, after.pitch))


def _on_beats(upper: Sequence[Sounding], other: Sequence[Sounding], least: Fraction) -> Iterator[Parallel]:
    onsets = [note.onset for note in upper]
    for before, after in pairwise(other):
        if before.pitch == after.pitch or before.length < least or before.onset + before.length < after.onset:
            continue
        first, second = _sounding(upper, onsets, before.onset), _sounding(upper, onsets, after.onset)
        if first is None or second is None or first.pitch == second.pitch:
            continue
        kind = _perfect(first.pitch, before.pitch)
        if kind is not None and kind == _perfect(second.pitch, after.pitch):
            yield Parallel(kind, after.onset, (first.pitch, second.pitch), (before.pitch, after.pitch))


def _sounding(voice: Sequence[Sounding], onsets: Sequence[Fraction], at: Fraction) -> Sounding | None:
    """The note struck at a moment."""
    index = bisect_right(onsets, at) - 1
    return voice[index] if index >= 0 and onsets[index] == at else None


def _perfect(one: Pitch, two: Pitch) -> Kind | None:
    places, semitones = one.diatonic - two.diatonic, one.midi - two.midi
    if places < 0 or (places == 0 and semitones < 0):
        places, semitones = -places, -semitones
    if places % 7 == 0 and semitones % 12 == 0:
        return "octaves"
    return "fifths" if places % 7 == 4 and semitones % 12 == 7 else None
