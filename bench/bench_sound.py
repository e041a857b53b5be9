"""Sound, measured: how fast it is made and how true its pitch and time are.

Prints one table; seconds are those of one core, whatever else the machine does. Pitch and onsets are measured in the
decoded OGG file by methods that share nothing with the synthesis: spectral peaks of sustained notes of the solo (at
least 0.4 s), and the rise of energy at tongued onsets.

    .venv/bin/python bench/bench_sound.py [PIECE ...]
"""

from __future__ import annotations

import io
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import soundfile

from gracewright.graces import Version, perform
from gracewright.instruments import load_instrument
from gracewright.score import read
from gracewright.sound import SAMPLE_RATE, encoded, load_temperament, render, temperaments, time_map
from gracewright.study import study

DEMO = Path(__file__).parents[1] / "src" / "gracewright" / "data" / "demo"
LONG = 0.4


def peak_near(samples: np.ndarray, near: float) -> float:
    """Hz of the spectral peak within half a semitone of ``near``: Hann window, parabola through the logarithms."""
    size = 4 * len(samples)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(len(samples)), size))
    low, high = int(near * 0.971 * size / SAMPLE_RATE), int(near * 1.029 * size / SAMPLE_RATE)
    top = low + int(np.argmax(spectrum[low:high]))
    a, b, c = np.log(spectrum[top - 1 : top + 2] + 1e-12)
    return float((top + (a - c) / (2 * (a - 2 * b + c))) * SAMPLE_RATE / size)


def pitch_errors(samples: np.ndarray, version: Version, tempo: float, temperament: str) -> np.ndarray:
    tuning, quarter = load_temperament(temperament), 60 / tempo
    errors = []
    for note in version.notes:
        seconds = float(note.length) * quarter
        if note.part != version.solo or seconds < LONG or note.bend is not None:
            continue
        start = float(note.onset) * quarter
        middle = samples[int((start + 0.1) * SAMPLE_RATE) : int((start + min(seconds, 2.0) - 0.06) * SAMPLE_RATE)]
        wanted = tuning.frequency(note.pitch)
        errors.append(1200 * np.log2(peak_near(middle, wanted) / wanted))
    return np.abs(np.array(errors))


def onset_errors(samples: np.ndarray, version: Version, tempo: float) -> np.ndarray:
    """Milliseconds from the map to the middle of the rise of energy, at onsets after silence in the solo alone."""
    errors, quarter = [], 60 / tempo
    ends = {note.end for note in version.notes if note.part == version.solo}
    for note in version.notes:
        if note.part != version.solo or note.slurred or note.onset not in ends:
            continue
        start = int(float(note.onset) * quarter * SAMPLE_RATE)
        energy = np.convolve(samples[start - 2205 : start + 4410] ** 2, np.ones(220) / 220, "same")
        dip = int(np.argmin(energy[:3000]))
        rise = np.flatnonzero(energy[dip:] > 0.25 * energy[dip:].max())
        if len(rise):
            errors.append((dip + rise[0] - 2205) / SAMPLE_RATE * 1000)
    return np.array(errors)


def decoded(samples: np.ndarray, ending: str = ".ogg") -> np.ndarray:
    return np.asarray(soundfile.read(io.BytesIO(encoded(samples, ending)))[0])


def row(path: Path) -> None:
    piece = read(path)
    found = study(piece)
    alto = load_instrument("alto-recorder")
    version = perform(piece, found, (), alto)
    tempo = found.tempo
    begun = time.process_time()
    whole = render(version, tempo=tempo, bass=found.bass, study=found)
    made = time.process_time() - begun
    begun = time.process_time()
    ogg = decoded(whole)
    coded = time.process_time() - begun
    alone = decoded(render(version, tempo=tempo, bass=found.bass, continuo=False))
    seconds = len(whole) / SAMPLE_RATE
    mixed, single = (pitch_errors(each, version, float(tempo), "vallotti") for each in (ogg, alone))
    late = onset_errors(alone, version, float(tempo))
    peak = 20 * np.log10(np.abs(whole).max())
    print(f"{path.stem:28.28} {seconds:6.0f} {made:7.2f} {seconds / made:7.0f} {coded:6.2f} {peak:6.1f} "
          f"{len(single):5d} {single.max():7.2f} {np.median(mixed):7.2f} {np.mean(mixed < 2):7.0%} "
          f"{np.median(late):6.1f} {np.percentile(np.abs(late - np.median(late)), 95):6.1f} "
          f"{len(time_map(version, tempo=tempo)):5d}")  # fmt: skip


def main(paths: list[Path]) -> None:
    print(f"{'piece':28} {'sound':>6} {'render':>7} {'times':>7} {'ogg':>6} {'peak':>6} {'long':>5} {'alone':>7} "
          f"{'mixed':>7} {'mixed':>7} {'onset':>6} {'spread':>6} {'map':>5}")  # fmt: skip
    print(f"{'':28} {'s':>6} {'s':>7} {'real':>7} {'s':>6} {'dBFS':>6} {'notes':>5} {'max c':>7} "
          f"{'med c':>7} {'<2 c':>7} {'ms':>6} {'95 ms':>6} {'notes':>5}")  # fmt: skip
    for path in paths:
        row(path)
    piece = read(DEMO / "adagio.musicxml")
    found = study(piece)
    version = perform(piece, replace(found, order=found.order[:1]), (), load_instrument("alto-recorder"))
    worst = {}
    for name in temperaments():
        alone = decoded(render(version, tempo=found.tempo, temperament=name, continuo=False))
        worst[name] = pitch_errors(alone, version, float(found.tempo), name).max()
    print("\nworst sustained note, solo alone, decoded OGG, cents: "
          + ", ".join(f"{name} {cents:.2f}" for name, cents in worst.items()))  # fmt: skip


if __name__ == "__main__":
    main([Path(name) for name in sys.argv[1:]] or sorted(DEMO.glob("*.musicxml")))
