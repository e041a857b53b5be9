"""How long the whole job takes without sound and sheet, beside music21's time to parse the same file.

Read, study, plan, realise, judge, and make both MusicXML files; medians over several rounds in one run.

Usage: python bench/bench_whole.py [FILE.musicxml ...]
"""

from __future__ import annotations

import statistics
import sys
import time
from pathlib import Path

from music21 import converter
from rich.console import Console
from rich.table import Table

from gracewright.job import Wishes, demo_piece, result, work_on
from gracewright.score import read

ROUNDS = 7


def whole_job(path: Path) -> None:
    work = work_on(read(path), Wishes())
    for name in ("signs.musicxml", "played.musicxml"):
        result(work, name)


def median(function, *arguments) -> float:
    """Milliseconds; one round unmeasured, to load tables."""
    function(*arguments)
    times = []
    for _ in range(ROUNDS):
        start = time.perf_counter()
        function(*arguments)
        times.append(time.perf_counter() - start)
    return 1000 * statistics.median(times)


def long_demo(folder: Path, times: int) -> Path:
    """The demo menuet several times over: about 60 bars with ``times`` 3."""
    from lxml import etree

    tree = etree.parse(demo_piece("menuet"))
    for part in tree.getroot().iterfind("part"):
        bars = part.findall("measure")
        for bar in bars:
            for barline in bar.findall("barline"):
                bar.remove(barline)
        number = len(bars)
        for _ in range(times - 1):
            for bar in bars:
                again = etree.fromstring(etree.tostring(bar))
                for attributes in again.findall("attributes"):
                    again.remove(attributes)
                number += 1
                again.set("number", str(number))
                part.append(again)
    path = folder / f"menuet-{24 * times}-bars.musicxml"
    tree.write(path)
    return path


def main(paths: list[Path], folder: Path) -> None:
    table = Table(title="whole job without sound and sheet, median ms (goal: below music21's parse)")
    for column in ("file", "bars", "gracewright, whole job", "music21, parse only"):
        table.add_column(column, justify="left" if column == "file" else "right")
    for path in paths or [demo_piece("adagio"), demo_piece("menuet"), long_demo(folder, 3)]:
        ours = median(whole_job, path)
        theirs = median(lambda p: converter.parse(p, forceSource=True), path)
        table.add_row(path.name, str(len(read(path).bars)), f"{ours:.0f}", f"{theirs:.0f}")
    Console(width=100).print(table)


if __name__ == "__main__":
    import tempfile

    with tempfile.TemporaryDirectory() as scratch:
        main([Path(name) for name in sys.argv[1:]], Path(scratch))
