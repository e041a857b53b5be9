"""Slow results, made in a process beside the server so that the page stays quick; and sound as WAV bytes.

Public: Making, wav.
"""

from __future__ import annotations

import io
import tempfile
import threading
from pathlib import Path

import numpy as np
import soundfile

from gracewright.job import Work, write_results
from gracewright.sound import SAMPLE_RATE


class Making:
    """Makes results one at a time."""

    def __init__(self) -> None:
        self._lock = threading.Lock()

    def warm(self) -> None:
        return None

    def close(self) -> None:
        return None

    def result(self, work: Work, name: str) -> bytes:
        """One of the results, as bytes."""
        with self._lock, tempfile.TemporaryDirectory() as folder:
            for _ in write_results(work, Path(folder), (name,)):
                pass
            return (Path(folder) / name).read_bytes()


def wav(samples: np.ndarray) -> bytes:
    """16-bit mono WAV."""
    stream = io.BytesIO()
    soundfile.write(stream, samples, SAMPLE_RATE, format="WAV", subtype="PCM_16")
    return stream.getvalue()
