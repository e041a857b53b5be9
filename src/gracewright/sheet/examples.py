"""Small pieces of music made up for a sheet: a note with its sign, the notes it becomes, an exercise.

Conventions: an example is a :class:`Piece` of one part, its bars as long as what stands in them; ids are ``xBAR.NOTE``.
It is drawn by the same means as any score.

Public: Example, Written, example_of, engraved_example.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from gracewright.pitch import Pitch
from gracewright.score import Bar, Clef, Marks, Meter, Note, Part, Piece, Sign, SmallNote
from gracewright.sheet.engrave import engrave
from gracewright.sheet.mei import Staff, mei_of
from gracewright.sheet.played import Struck
from gracewright.sheet.rhythm import printed
from gracewright.sheet.systems import BASE, System, as_system

LINE: Final = "X"


@dataclass(frozen=True, slots=True)
class Written:
    """A written note of an example (a rest where ``pitch`` is None), and the notes that it becomes.

    ``played``: pitch (None: silence), onset from the host's, length; all in quarters. Empty: played as written.
    """

    pitch: Pitch | None
    length: Fraction
    signs: tuple[Sign, ...] = ()
    before: tuple[SmallNote, ...] = ()
    after: tuple[SmallNote, ...] = ()
    played: tuple[tuple[Pitch | None, Fraction, Fraction], ...] = ()
    slurred: bool = True


@dataclass(frozen=True)
class Example:
    """A made-up piece and, for each bar, what is played there."""

    piece: Piece
    struck: Mapping[int, tuple[Struck, ...]] = field(default_factory=dict)


def clef_for(pitches: Sequence[Pitch]) -> Clef:
    """Treble, or bass where most of the notes lie below middle C."""
    low = sum(1 for pitch in pitches if pitch.diatonic < 28)
    return Clef(Fraction(0), 1, "F", 4) if low * 2 > len(pitches) else Clef(Fraction(0), 1, "G", 2)


def example_of(bars: Sequence[Sequence[Written]], *, fifths: int = 0, unit: int = 4, repeat: bool = False) -> Example:
    """Lay written notes out in bars.

    >>> bar = [Written(Pitch.parse("C5"), Fraction(1)), Written(Pitch.parse("D5"), Fraction(1, 2))]
    >>> [(bar.length, bar.meter.beats) for bar in example_of([bar]).piece.bars]
    [(Fraction(3, 2), 3)]
    """
    notes, laid, struck = list[Note](), list[Bar](), dict[int, tuple[Struck, ...]]()
    onset = Fraction(0)
    for index, bar in enumerate(bars):
        length = sum((note.length for note in bar), Fraction(0))
        counted = max(unit, (length / 4).denominator)
        meter = Meter(int(length * counted / 4), counted, measured=False)
        laid.append(Bar(index, str(index + 1), onset, length, meter, fifths, repeat_end=2 if repeat else 0,
                        repeat_start=repeat, double_bar=True))  # fmt: skip
        sounding = list[Struck]()
        at = Fraction(0)
        for number, note in enumerate(bar):
            notes.append(_note(note, index, number, onset + at))
            sounding += _played(note, f"x{index}.{number}", at)
            at += note.length
        struck[index] = tuple(sounding)
        onset += length
    pitches = [note.pitch for note in notes if note.pitch is not None]
    part = Part(LINE, "", clefs=(clef_for(pitches),))
    return Example(Piece("", "", (part,), tuple(laid), tuple(notes)), struck)


def _note(note: Written, bar: int, number: int, onset: Fraction) -> Note:
    found = printed(note.length) or (Fraction(1), 0)
    marks = Marks(signs=note.signs, before=note.before, after=note.after)
    name = f"x{bar}.{number}"
    return Note(name, LINE, 1, "1", bar, onset, note.length, note.pitch, note.length, found[1], marks=marks)


def _played(note: Written, host: str, at: Fraction) -> list[Struck]:
    if not note.played:
        return [] if note.pitch is None else [Struck(at, at + note.length, note.pitch, host, 1, 0)]
    return [
        Struck(at + onset, at + onset + length, pitch, host, 1, number, slurred=note.slurred and number > 0)
        for number, (pitch, onset, length) in enumerate(note.played)
        if pitch is not None
    ]


def engraved_example(example: Example, *, written: bool = True, played: bool = True, width: int = 900,
                     names: tuple[str, str] = ("", "")) -> System:
    """An example as one system, as wide as it wants to be up to ``width``; written above, played below."""
    staves = [Staff("written", LINE, names[0])] if written else []
    if played:
        staves.append(Staff("played", LINE, names[1], struck=example.struck, scale=85 if written else 100))
    mei = mei_of(example.piece, staves, bar_numbers=False)
    options = {**BASE, "breaks": "none", "adjustPageWidth": True, "pageWidth": width, "unit": 7.5,
               "svgBoundingBoxes": True, "pageMarginLeft": 5, "pageMarginRight": 5}  # fmt: skip
    return as_system(0, len(example.piece.bars) - 1, engrave(mei, options=options).pages[0], boxes=True)
