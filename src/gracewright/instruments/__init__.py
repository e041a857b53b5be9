"""Instruments: compass, rates, fingerings, transposition. Each instrument is a TOML file in ``tables/``."""

from gracewright.instruments.model import (
    BURST,
    FINGERING_KEY,
    LEVELS,
    Fingering,
    Instrument,
    Mordent,
    Place,
    Shake,
    Vibrato,
)
from gracewright.instruments.moves import Move, octave_moves, out_of_range, transpositions, widened
from gracewright.instruments.playable import ShakeAt, Trouble, long_breaths, playable, shake_fingerings
from gracewright.instruments.tables import instruments, load_instrument

__all__ = [
    "BURST", "FINGERING_KEY", "LEVELS", "Fingering", "Instrument", "Mordent", "Move", "Place", "Shake", "ShakeAt",
    "Trouble", "Vibrato", "instruments", "load_instrument", "long_breaths", "octave_moves", "out_of_range", "playable",
    "shake_fingerings", "transpositions", "widened",
]  # fmt: skip
