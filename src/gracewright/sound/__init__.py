"""Sound: temperaments, tone, continuo, practice tracks."""

from gracewright.sound.excerpts import excerpt, played_span
from gracewright.sound.files import FORMATS, SAMPLE_RATE, encoded, write_audio
from gracewright.sound.practice import (
    CountIn,
    Mark,
    Setting,
    Track,
    count_in,
    joined,
    ladder,
    phrase_by_phrase,
    play_along,
    practice_track,
)
from gracewright.sound.rendering import PEAK, TAIL, render, time_map
from gracewright.sound.temperaments import Temperament, load_temperament, temperaments

__all__ = [
    "FORMATS", "PEAK", "SAMPLE_RATE", "TAIL", "CountIn", "Mark", "Setting", "Temperament", "Track",
    "count_in", "encoded", "excerpt", "joined", "ladder", "load_temperament", "phrase_by_phrase", "play_along",
    "played_span", "practice_track", "render", "temperaments", "time_map", "write_audio",
]  # fmt: skip
