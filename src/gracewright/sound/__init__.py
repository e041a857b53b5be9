"""Sound: temperaments, tone, continuo, practice tracks."""

from gracewright.sound.files import FORMATS, SAMPLE_RATE, encoded, write_audio
from gracewright.sound.rendering import PEAK, TAIL, render, time_map
from gracewright.sound.temperaments import Temperament, load_temperament, temperaments

__all__ = [
    "FORMATS", "PEAK", "SAMPLE_RATE", "TAIL", "Temperament", "encoded", "load_temperament", "render", "temperaments",
    "time_map", "write_audio",
]  # fmt: skip
