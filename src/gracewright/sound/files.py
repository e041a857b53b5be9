"""Sound files: OGG, FLAC, MP3 or WAV by the ending of the name.

Conventions: samples are float32 in [-1, 1], mono. A file is written under a temporary name in the same folder and then
renamed, so that nothing half-written is left. Blocks are kept short: the encoder fails on minutes of sound at once.

Public: write_audio, encoded, SAMPLE_RATE, FORMATS.
"""

from __future__ import annotations

import io
import os
from pathlib import Path
from typing import Final

import numpy as np
import soundfile

from gracewright.errors import BadInput

SAMPLE_RATE: Final = 44100
"""Samples a second of everything this room makes."""
BLOCK: Final = 8192
FORMATS: Final = {
    ".ogg": ("OGG", "VORBIS"),
    ".flac": ("FLAC", "PCM_16"),
    ".mp3": ("MP3", "MPEG_LAYER_III"),
    ".wav": ("WAV", "PCM_16"),
}
"""Ending → format and subtype."""


def write_audio(path: Path | str, samples: np.ndarray) -> None:
    """Write samples to a file. Raises BadInput for an ending we do not write."""
    path = Path(path)
    data = encoded(samples, path.suffix)
    temporary = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        temporary.write_bytes(data)
        os.replace(temporary, path)
    finally:
        temporary.unlink(missing_ok=True)


def encoded(samples: np.ndarray, ending: str = ".ogg") -> bytes:
    """Samples as the bytes of a sound file.

    >>> encoded(np.zeros(100, dtype=np.float32), ".wav")[:4]
    b'RIFF'
    """
    kind = FORMATS.get(ending.lower())
    if kind is None:
        raise BadInput(f"sound cannot be written as {ending!r}", remedy=f"use one of {', '.join(FORMATS)}")
    buffer = io.BytesIO()
    with soundfile.SoundFile(
        buffer, mode="w", samplerate=SAMPLE_RATE, channels=1, format=kind[0], subtype=kind[1]
    ) as file:
        for start in range(0, len(samples), BLOCK):
            file.write(samples[start : start + BLOCK])
    return buffer.getvalue()
