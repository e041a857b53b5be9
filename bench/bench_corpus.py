"""Read every score of the corpus that comes with music21, and every open file: read, or refused with a sentence.

    python bench/bench_corpus.py                 all files, a table by format, every refusal and every crash
    python bench/bench_corpus.py --every 10      a sample
    python bench/bench_corpus.py --compare 60    note counts, onsets, lengths, pitches against music21 on 60 files

Nothing may crash; a refusal is one sentence.
"""

import argparse
import importlib.util
import os
import time
from collections import Counter
from fractions import Fraction
from pathlib import Path

from gracewright.errors import BadInput
from gracewright.score import Piece, read
from gracewright.score.reading import ENDINGS


def all_files() -> list[Path]:
    spec = importlib.util.find_spec("music21")
    folders = [Path(spec.origin).parent / "corpus"] if spec and spec.origin else []
    shared = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2] / "shared")) / "data" / "open"
    if shared.is_dir():
        folders.append(shared)
    else:
        print("the shared data folder is absent: only the corpus is read")
    return sorted(path for folder in folders for path in folder.rglob("*") if path.suffix.lower() in ENDINGS)


def ours(piece: Piece) -> Counter:
    """(onset, length, pitch number) of every sounding note head, ties not merged."""
    return Counter(
        (note.onset, note.length, note.pitch.midi) for note in piece.notes if note.pitch is not None and not note.cue
    )


def theirs(path: Path) -> Counter:
    import music21

    score = music21.converter.parse(path, forceSource=True)
    if isinstance(score, music21.stream.Opus):
        score = score.scores[0]
    found: Counter = Counter()
    for element in score.flatten().notes:
        if element.duration.isGrace or isinstance(element, music21.harmony.ChordSymbol):
            continue
        onset, length = Fraction(element.offset), Fraction(element.quarterLength)
        for pitch in element.pitches:
            found[onset.limit_denominator(2000), length.limit_denominator(2000), int(pitch.midi)] += 1
    return found


def compare(files: list[Path], count: int) -> None:
    files = [path for path in files if path.suffix.lower() in (".mxl", ".musicxml", ".xml")]
    same = 0
    chosen = files[:: max(1, len(files) // count)][:count]
    for path in chosen:
        try:
            mine = ours(read(path))
        except BadInput:
            print(f"  {path.name}: refused by us")
            continue
        try:
            other = theirs(path)
        except Exception as fault:
            print(f"  {path.name}: music21 fails ({type(fault).__name__}), we read {sum(mine.values())} notes")
            continue
        if mine == other:
            same += 1
        else:
            only, more = mine - other, other - mine
            print(f"  {path.name}: {sum(mine.values())} notes, {sum(other.values())} by music21; "
                  f"first only ours {sorted(only)[:1]}, first only theirs {sorted(more)[:1]}")  # fmt: skip
    print(f"equal to music21 in onset, length and pitch: {same} of {len(chosen)}")


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--every", type=int, default=1)
    parser.add_argument("--compare", type=int, default=0)
    parser.add_argument("--only", default="", help="a file ending")
    options = parser.parse_args()
    files = [path for path in all_files() if path.suffix.endswith(options.only)][:: options.every]
    if options.compare:
        compare(files, options.compare)
        return
    table: dict[str, Counter] = {}
    begun = time.perf_counter()
    for path in files:
        row = table.setdefault(path.suffix.lower(), Counter())
        start = time.perf_counter()
        try:
            row["notes"] += len(read(path).notes)
            row["read"] += 1
        except BadInput as fault:
            row["refused"] += 1
            print(f"  refused: {fault}")
        except Exception as fault:
            row["crashed"] += 1
            print(f"  CRASHED: {path}: {type(fault).__name__}: {fault}")
        row["slowest"] = max(row["slowest"], time.perf_counter() - start)
    print(f"{'format':10}{'files':>7}{'read':>7}{'refused':>9}{'crashed':>9}{'notes':>10}{'slowest':>9}")
    for suffix, row in sorted(table.items()):
        files_here = row["read"] + row["refused"] + row["crashed"]
        print(f"{suffix:10}{files_here:7}{row['read']:7}{row['refused']:9}{row['crashed']:9}{row['notes']:10}"
              f"{row['slowest']:8.2f}s")  # fmt: skip
    print(f"{time.perf_counter() - begun:.0f} s in all")


if __name__ == "__main__":
    main()
