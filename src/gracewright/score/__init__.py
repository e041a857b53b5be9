"""Read scores into a ``Piece`` and write them back, keeping the user's document whole."""

from gracewright.score.beats import beat_words, read_beat
from gracewright.score.identity import counterparts
from gracewright.score.lines import bar_state, find_bass, find_solo, part_of, tones
from gracewright.score.midi import read_held
from gracewright.score.midi_file import Held, Struck
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
from gracewright.score.ours import canonical, strip_ours
from gracewright.score.reading import is_musicxml, read, scores_in
from gracewright.score.writing_abc import write_abc
from gracewright.score.writing_mei import write_mei
from gracewright.score.writing_midi import MidiPart, Signature, signatures, write_midi
from gracewright.score.writing_played import Sounded, write_parallel, write_played
from gracewright.score.writing_signs import Addition, write_signs

__all__ = [
    "Addition",
    "Bar",
    "Clef",
    "Figure",
    "FigureItem",
    "Held",
    "Marks",
    "Meter",
    "MidiPart",
    "Note",
    "Part",
    "Piece",
    "Sign",
    "Signature",
    "SmallNote",
    "Sounded",
    "Struck",
    "Tone",
    "Words",
    "bar_state",
    "beat_words",
    "canonical",
    "counterparts",
    "find_bass",
    "find_solo",
    "is_musicxml",
    "part_of",
    "read",
    "read_beat",
    "read_held",
    "scores_in",
    "signatures",
    "strip_ours",
    "tones",
    "write_abc",
    "write_mei",
    "write_midi",
    "write_parallel",
    "write_played",
    "write_signs",
]
