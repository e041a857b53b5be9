"""Read scores into a ``Piece`` and write them back, keeping the user's document whole."""

from gracewright.score.lines import bar_state, find_bass, find_solo, part_of, tones
from gracewright.score.model import (
    Bar,
    Clef,
    Figure,
    FigureItem,
    Marks,
    Meter,
    Note,
    Part,
    Piece,
    Sign,
    SmallNote,
    Tone,
    Words,
)
from gracewright.score.reading import read

__all__ = [
    "Bar",
    "Clef",
    "Figure",
    "FigureItem",
    "Marks",
    "Meter",
    "Note",
    "Part",
    "Piece",
    "Sign",
    "SmallNote",
    "Tone",
    "Words",
    "bar_state",
    "find_bass",
    "find_solo",
    "part_of",
    "read",
    "tones",
]
