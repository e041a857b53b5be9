"""Slow results, made in a process of their own so that the page stays quick; and sound as WAV bytes.

The process is begun by spawning (a forked one would inherit the server's sockets and threads) when it is first needed;
it reads the score again and makes the very same work, since a moment and a piece say everything.

Public: Making, wav.
"""

from __future__ import annotations

import io
import multiprocessing
import tempfile
import threading
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from pathlib import Path

import numpy as np
import soundfile

from gracewright.desk.decisions import Moment
from gracewright.desk.draft import Draft, Ground
from gracewright.errors import GracewrightError
from gracewright.graces.heard import open_piece
from gracewright.job import write_results
from gracewright.sound import SAMPLE_RATE


class Making:
    """Makes results one at a time in a worker, which is replaced when it breaks down."""

    def __init__(self) -> None:
        self._lock = threading.Lock()
        self._pool: ProcessPoolExecutor | None = None

    def result(self, score: str, data: bytes, moment: Moment, name: str) -> bytes:
        """One of the results of a moment, as bytes. Raises BadInput, or GracewrightError where the worker fails."""
        with self._lock:
            if self._pool is None:
                self._pool = ProcessPoolExecutor(1, mp_context=multiprocessing.get_context("spawn"))
            try:
                return self._pool.submit(made, score, data, moment, name).result()
            except BrokenProcessPool:
                self._pool = None
                raise GracewrightError("The result could not be made: the worker broke down. Try again.") from None

    def close(self) -> None:
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)


def made(score: str, data: bytes, moment: Moment, name: str) -> bytes:
    """One of the results, in the worker."""
    work = Draft(Ground(open_piece(score, data)), moment).work
    with tempfile.TemporaryDirectory() as folder:
        for _ in write_results(work, Path(folder), (name,)):
            pass
        return (Path(folder) / name).read_bytes()


def wav(samples: np.ndarray) -> bytes:
    """16-bit mono WAV."""
    stream = io.BytesIO()
    soundfile.write(stream, samples, SAMPLE_RATE, format="WAV", subtype="PCM_16")
    return stream.getvalue()
