"""Faults that the review finds in our own plans over the open pieces: manners, richness, and whose grace it was.

A fault at a note whose grace stands on the page is the composer's (or the encoder's); the goal is none of ours.

Usage: python bench/bench_faults.py [--pieces N]    (the shared data folder, or GRACEWRIGHT_SHARED, must be there)
"""

from __future__ import annotations

import argparse
import collections
import os
import random
from pathlib import Path

from rich.console import Console
from rich.progress import track
from rich.table import Table

from gracewright.errors import GracewrightError
from gracewright.job import Wishes, work_on
from gracewright.score import read

SHARED = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2] / "shared"))
MANNERS = ("french", "italian", "german", "english")
RICHNESS = (5, 10)


def faults_in(path: Path, counts: collections.Counter[tuple[str, str]]) -> int:
    """Count the faults of one piece in every manner; gives the number of plans."""
    piece, studied, plans = read(path), None, 0
    for manner in MANNERS:
        for richness in RICHNESS:
            work = work_on(piece, Wishes(manner=manner, richness=richness), studied=studied)
            studied, plans = work.study, plans + 1
            on_page = {choice.note for choice in work.plan.choices if choice.origin == "page"}
            for fault in work.review.faults:
                counts[fault.rule, "page" if fault.note in on_page else "ours"] += 1
    return plans


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--pieces", type=int, default=40)
    wanted = parser.parse_args().pieces
    files = sorted((SHARED / "data" / "open").glob("dcml*/musicxml/*.musicxml"))
    files += sorted((SHARED / "data" / "open").glob("figured_bass_chorales/**/*.musicxml"))
    if not files:
        print("The shared data folder is absent: nothing to measure.")
        return
    random.Random(5).shuffle(files)
    counts: collections.Counter[tuple[str, str]] = collections.Counter()
    plans = refused = 0
    for path in track(files[:wanted], console=Console(stderr=True), transient=True):
        try:
            plans += faults_in(path, counts)
        except GracewrightError:
            refused += 1
    table = Table(title=f"faults in {plans} plans of {min(wanted, len(files))} pieces ({refused} refused)")
    for column in ("rule", "at a grace of the page", "ours"):
        table.add_column(column)
    for rule in sorted({rule for rule, _ in counts}):
        table.add_row(rule, str(counts[rule, "page"]), str(counts[rule, "ours"]))
    Console(width=100).print(table)


if __name__ == "__main__":
    main()
