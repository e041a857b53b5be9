"""Spelled pitch, intervals and keys. f sharp is not g flat.

Conventions: a step is 0..6 for C D E F G A B; an alteration counts semitones (sharp 1, flat -1); the octave
that starts at middle C is 4, so A4 is the tuning note. Names are written ``F#5``, ``Bb4``, ``C##4``; pitch
classes ``Bb``; keys ``G minor``. *Diatonic* counts staff places (C0 = 0, D0 = 1, C1 = 7); *chromatic* counts
semitones with C4 = 60; *fifths* counts a pitch class on the line of fifths (C 0, G 1, F -1, Bb -2).

Public: Pitch, Key, name_of, fifths_of, class_from_fifths, parse_class.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

STEPS: Final = "CDEFGAB"
SEMITONES: Final = (0, 2, 4, 5, 7, 9, 11)
FIFTHS: Final = (0, 2, 4, -1, 1, 3, 5)
_NAME: Final = re.compile(r"([A-Ga-g])(#{0,4}|b{0,4})(-?\d+)")
_CLASS: Final = re.compile(r"([A-Ga-g])(#{0,4}|b{0,4})")

Mode = Literal["major", "minor"]


@dataclass(frozen=True, slots=True, order=True)
class Pitch:
    """A note of the scale as it is spelled.

    >>> Pitch.parse("F#5"), Pitch.parse("F#5").midi, str(Pitch.parse("Bb4"))
    (Pitch('F#5'), 78, 'Bb4')
    """

    octave: int
    step: int
    alter: int = 0

    @staticmethod
    @cache
    def parse(name: str) -> Pitch:
        """Read ``F#5``. Raises ValueError on anything else."""
        match = _NAME.fullmatch(name)
        if match is None:
            raise ValueError(f"a pitch like F#5 or Bb4 was expected, not {name!r}")
        letter, signs, octave = match.groups()
        return Pitch(int(octave), STEPS.index(letter.upper()), signs.count("#") - signs.count("b"))

    @staticmethod
    def at(diatonic: int, alter: int = 0) -> Pitch:
        """The pitch on a staff place: ``Pitch.at(28) == C4``."""
        octave, step = divmod(diatonic, 7)
        return Pitch(octave, step, alter)

    @property
    def diatonic(self) -> int:
        return self.octave * 7 + self.step

    @property
    def midi(self) -> int:
        return 12 * (self.octave + 1) + SEMITONES[self.step] + self.alter

    @property
    def fifths(self) -> int:
        """Place on the line of fifths (C 0, G 1, F -1)."""
        return FIFTHS[self.step] + 7 * self.alter

    @property
    def pitch_class(self) -> str:
        """Name without octave: ``F#``."""
        return name_of(self.step, self.alter)

    def transposed(self, diatonic: int, chromatic: int) -> Pitch:
        """Moved by an interval given in staff places and semitones (a rising minor third is 2, 3).

        >>> Pitch.parse("B4").transposed(2, 3)
        Pitch('D5')
        """
        moved = Pitch.at(self.diatonic + diatonic)
        return Pitch(moved.octave, moved.step, self.midi + chromatic - moved.midi)

    def __str__(self) -> str:
        return f"{self.pitch_class}{self.octave}"

    def __repr__(self) -> str:
        return f"Pitch('{self}')"


def name_of(step: int, alter: int) -> str:
    """The name of a letter (C is 0) with its sharps or flats."""
    return STEPS[step] + ("#" * alter if alter > 0 else "b" * -alter)


def parse_class(name: str) -> tuple[int, int]:
    """``Bb`` → (step 6, alter -1). Raises ValueError."""
    match = _CLASS.fullmatch(name)
    if match is None:
        raise ValueError(f"a note name like F# or Bb was expected, not {name!r}")
    return STEPS.index(match[1].upper()), match[2].count("#") - match[2].count("b")


def fifths_of(name: str) -> int:
    """Place of a pitch-class name on the line of fifths.

    >>> fifths_of("Bb"), fifths_of("F#")
    (-2, 6)
    """
    step, alter = parse_class(name)
    return FIFTHS[step] + 7 * alter


@cache
def class_from_fifths(fifths: int) -> str:
    """Inverse of :func:`fifths_of`.

    >>> class_from_fifths(-2), class_from_fifths(6)
    ('Bb', 'F#')
    """
    alter, rest = divmod(fifths + 1, 7)
    return name_of((rest * 4 + 3) % 7, alter)


@dataclass(frozen=True, slots=True, order=True)
class Key:
    """A key by its tonic on the line of fifths and its mode.

    >>> Key.parse("G minor").signature, str(Key.parse("Bb major")), Key.parse("A minor").leading
    (-2, 'Bb major', 'G#')
    """

    tonic_fifths: int
    mode: Mode = "major"

    @staticmethod
    def parse(name: str) -> Key:
        tonic, _, mode = name.partition(" ")
        if mode not in ("major", "minor"):
            raise ValueError(f"a key like 'G minor' was expected, not {name!r}")
        return Key(fifths_of(tonic), "major" if mode == "major" else "minor")

    @property
    def tonic(self) -> str:
        return class_from_fifths(self.tonic_fifths)

    @property
    def signature(self) -> int:
        """Sharps (positive) or flats (negative) of the modern signature."""
        return self.tonic_fifths - (3 if self.mode == "minor" else 0)

    @property
    def leading(self) -> str:
        """The leading note, raised in minor."""
        return class_from_fifths(self.tonic_fifths + 5)

    @property
    def scale(self) -> tuple[str, ...]:
        """Seven degrees from the tonic; natural minor in minor."""
        steps = (0, 2, 4, -1, 1, 3, 5) if self.mode == "major" else (0, 2, -3, -1, 1, -4, -2)
        return tuple(class_from_fifths(self.tonic_fifths + step) for step in steps)

    def alter_of(self, step: int) -> int:
        """The alteration of a letter in the signature of this key.

        >>> Key.parse("D major").alter_of(3), Key.parse("G minor").alter_of(2)
        (1, -1)
        """
        return (self.signature - FIFTHS[step] + 5) // 7

    def __str__(self) -> str:
        return f"{self.tonic} {self.mode}"
