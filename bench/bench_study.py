"""How well and how fast the study reads: one table, ours beside music21's key analysis, chordify and Roman numerals.

    python bench/bench_study.py            everything (a few minutes)
    python bench/bench_study.py --quick    without music21's side

Measures are those of the open data's ``metrics.py`` (shares of quarters; events within a quarter). Rows "tuning" are
works the weights were learned from, "reporting" works they never saw (listed in study_data.py): the shipped closes
are learned from all of them, so these rows are read with the weights in bench/weights, from the tuning works alone.
Published figures for
orientation, on other test sets: local key 82.9, root 83.0, full numeral 46.4 (Nápoles López et al. 2021); perfect
cadences F1 0.80 per beat (Bigo et al. 2018); figures 85.9 (Ju et al. 2020).
"""

from __future__ import annotations

import resource
import statistics
import sys
import time
from collections.abc import Iterable
from fractions import Fraction
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

from gracewright.pitch import Pitch
from gracewright.score import Bar, Meter, Note, Part, Piece, read
from gracewright.study import study
from gracewright.study.tables import using
from study_chorales import TUNING, chorales, figure_share, figured, shares, with_figures, without_figures
from study_data import OPEN, REPORTING, labelled, outer, truth
from study_measures import Span, Tally, agreement, measure, true_spans

WEIGHTS = Path(__file__).parent / "weights"
THEIR_KINDS = {
    (True, "major"): "dominant seventh", (True, "minor"): "minor seventh", (True, "diminished"): "diminished seventh",
}  # fmt: skip
NAMES = ("root", "chord", "key", "perfect", "authentic", "half", "phrase")
GOALS = {"root": 0.82, "chord": 0.60, "key": 0.80, "perfect": 0.80, "authentic": 0.72, "half": 0.45, "phrase": 0.65}


def row(name: str, cells: Iterable[float | str]) -> None:
    shown = [f"{cell:9.3f}" if isinstance(cell, float) else f"{cell:>9}" for cell in cells]
    print(f"{name:44}" + "".join(shown), flush=True)


def cells(tally: Tally) -> list[float]:
    return [tally.share(name) for name in NAMES[:3]] + [tally.f1(name) for name in NAMES[3:]]


def theirs(path: Path) -> dict[str, list[Span]]:
    """music21: one key for the whole piece, chords by chordify."""
    from music21 import converter, key

    score = converter.parse(path, forceSource=True)
    home: Any = score.analyze("key")
    assert isinstance(home, key.Key)
    end = float(score.highestTime)
    chords = []
    for chord in score.chordify().flatten().getElementsByClass("Chord"):
        root, low = chord.root(), chord.bass()
        if root is None or low is None:
            continue
        quality = THEIR_KINDS.get((chord.seventh is not None, chord.quality), chord.quality)
        begin = float(chord.offset)
        name = root.name.replace("-", "b")
        full = f"{name}|{quality}|{min(chord.inversion(), 3)}"
        chords.append((begin, begin + float(chord.quarterLength), name, full))
    return {
        "root": [(a, b, root) for a, b, root, _ in chords], "chord": [(a, b, full) for a, b, _, full in chords],
        "key": [(0.0, end, f"{home.tonic.name.replace('-', 'b')} {home.mode}")],
    }  # fmt: skip


def labelled_pieces(with_theirs: bool) -> None:
    row("labelled keyboard and solo pieces", NAMES)
    row("  goal", [GOALS[name] for name in NAMES])
    for half in (False, True):
        for texture in ("all parts", "outer parts"):
            by_set: dict[str, Tally] = {}
            whole = Tally()
            for path in labelled(half):
                piece = read(path) if texture == "all parts" else outer(read(path))
                found, table = study(piece), truth(path)
                measure(whole, table, found)
                measure(by_set.setdefault(path.parts[-3].removeprefix("dcml_"), Tally()), table, found)
            label = "reporting" if half else "tuning"
            row(f"  {label}, {texture}", cells(whole))
            if half and texture == "all parts":
                for name, tally in sorted(by_set.items()):
                    row(f"    {name}", cells(tally))
    if with_theirs:
        tally = Tally()
        for path in labelled(True):
            found, table = theirs(path), truth(path)
            for name, column in (("root", "root"), ("chord", "chord"), ("key", "local_key")):
                tally.add_spans(name, true_spans(table, column), found[name])
        row("  reporting, all parts, music21", cells(tally)[:3])
    print(f"  reporting works: {', '.join(REPORTING)}")


def chorale_rows(with_theirs: bool) -> None:
    row("chorales with Roman numerals", ("root", "key", "numeral"))
    row("  goal, all parts / outer parts", ("92 / 82", "85 / -", "70 / 55"))
    row("  goal, with figures given", ("94",))
    sums: dict[tuple[str, str], dict[str, list[float]]] = {}
    for chorale in chorales():
        half = "tuning" if int(chorale.name[-3:]) <= TUNING else "reporting"
        thin = outer(chorale.piece)
        for texture, piece in (
            ("all parts", chorale.piece), ("outer parts", thin),
            ("all parts, figured", with_figures(chorale.piece, chorale.table)),
            ("outer parts, figured", with_figures(thin, chorale.table)),
        ):  # fmt: skip
            for name, (hit, total) in shares(chorale, study(piece)).items():
                both = sums.setdefault((half, texture), {}).setdefault(name, [0.0, 0.0])
                both[0] += hit
                both[1] += total
        if with_theirs:
            home = chorale.score.analyze("key")
            found = [(0.0, float(chorale.score.highestTime), f"{home.tonic.name.replace('-', 'b')} {home.mode}")]
            roots = [
                (float(c.offset), float(c.offset + c.quarterLength), c.root().name.replace("-", "b"))
                for c in chorale.score.chordify().flatten().getElementsByClass("Chord")
            ]
            for name, (hit, total) in (
                ("root", agreement(chorale.root, roots)), ("key", agreement(chorale.key, found)),
            ):  # fmt: skip
                both = sums.setdefault((half, "music21"), {}).setdefault(name, [0.0, 0.0])
                both[0] += hit
                both[1] += total
    for (half, texture), names in sorted(sums.items()):
        row(f"  {half}, {texture}", [names[n][0] / names[n][1] for n in ("root", "key", "numeral") if n in names])


def figure_rows() -> None:
    hit = total = 0
    for piece in figured():
        here, all_of_them, _ = figure_share(piece, study(without_figures(piece)))
        hit, total = hit + here, total + all_of_them
    row("figured chorales: figures proposed exactly", [hit / total])
    row("  goal", [0.88])


def exercise(bars: int) -> Piece:
    """A made-up piece of two parts: eighths over quarters, modulating by fifths every eight bars."""
    scale, notes = ("C", "D", "E", "F", "G", "A", "B"), []
    for bar in range(bars):
        shift = (bar * 4) % 7
        for beat in range(8):
            name = scale[(shift + beat * (1 + bar % 3)) % 7] + "5"
            onset = Fraction(4 * bar) + Fraction(beat, 2)
            notes.append(Note(f"a{bar}.{beat}", "P1", 1, "1", bar, onset, Fraction(1, 2), Pitch.parse(name)))
            if beat % 2 == 0:
                low = scale[(shift + beat) % 7] + "3"
                notes.append(Note(f"b{bar}.{beat}", "P2", 1, "1", bar, onset, Fraction(1), Pitch.parse(low)))
    frames = tuple(Bar(i, str(i + 1), Fraction(4 * i), Fraction(4), Meter(4, 4), 0) for i in range(bars))
    return Piece("exercise", "", (Part("P1", "flute"), Part("P2", "bass")), frames, tuple(notes))


def speed_rows(with_theirs: bool) -> None:
    row("speed: bars of two parts", ("ms", "at work", "MB more"))
    study(exercise(8))
    for bars in (60, 250, 1000, 5000):
        pieces = [exercise(bars) for _ in range(7 if bars < 1000 else 1)]
        before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
        times, work = [], []
        for piece in pieces:
            start, begun = time.perf_counter(), time.process_time()
            study(piece)
            times.append(1000 * (time.perf_counter() - start))
            work.append(1000 * (time.process_time() - begun))
        grown = (resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before) / 1024
        row(f"  {bars}", [round(statistics.median(times), 1), round(statistics.median(work), 1), round(grown, 1)])
    row("  goal: 60 and 5000", ("40; 3000", "", "150"))
    if with_theirs:
        from music21 import converter

        path = next(p for p in labelled() if "Bouree_I" in p.name)
        start = time.perf_counter()
        score = converter.parse(path, forceSource=True)
        parsed = time.perf_counter()
        score.analyze("key")
        for chord in score.chordify().flatten().getElementsByClass("Chord"):
            chord.root()
        done = time.perf_counter()
        row("  music21, 52 bars: parse; key and chords", [1000 * (parsed - start), 1000 * (done - parsed)])
        piece = read(path)
        start = time.perf_counter()
        study(piece)
        row("  ours, the same 52 bars", [1000 * (time.perf_counter() - start)])


def main() -> None:
    with_theirs = "--quick" not in sys.argv
    speed_rows(with_theirs and OPEN.exists())
    if not OPEN.exists():
        print("The labelled open pieces are not here (set GRACEWRIGHT_SHARED): accuracy is not measured.")
        return
    with using(WEIGHTS):
        labelled_pieces(with_theirs)
        chorale_rows(with_theirs)
        figure_rows()


if __name__ == "__main__":
    main()
