"""How long engraving and printing take.

The 60-bar movement is the demo Menuet played on: its bars laid end to end with the plan made for the whole. Times are
medians in milliseconds of runs after a first one that starts the worker; ``warm`` goals are those of the desk.

Run: python bench/bench_sheet.py
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction

from rich.console import Console
from rich.table import Table

from gracewright.graces import perform
from gracewright.instruments import load_instrument
from gracewright.job import demo_piece
from gracewright.score import Piece, read
from gracewright.sheet import Staff, engrave, mei_of, parallel_sheet, parallel_staves, reasons_of, systems_of
from gracewright.sheet.systems import BASE, natural_widths
from gracewright.study import study
from gracewright.taste import load_manner, make_plan, placed

RUNS = 7


def tiled(piece: Piece, bars: int) -> Piece:
    """The piece's bars over and over, without repeats, to so many bars."""
    plain = [replace(bar, repeat_start=False, repeat_end=0, pickup=False) for bar in piece.bars]
    laid, notes, figures = [], [], []
    onset = Fraction(0)
    for index in range(bars):
        source = plain[index % len(plain)]
        laid.append(replace(source, index=index, number=str(index + 1), onset=onset))
        shift = onset - source.onset
        notes += [replace(note, id=f"{note.id}.{index}", bar=index, onset=note.onset + shift)
                  for note in piece.notes if note.bar == source.index]  # fmt: skip
        figures += [replace(figure, bar=index, onset=figure.onset + shift)
                    for figure in piece.figures if figure.bar == source.index]  # fmt: skip
        onset += source.length
    order = {part.id: place for place, part in enumerate(piece.parts)}
    notes.sort(key=lambda note: (note.onset, order[note.part]))
    return replace(piece, bars=tuple(laid), notes=tuple(notes), figures=tuple(figures), words=(), document=None)


def median(function: Callable[[], object]) -> float:
    times = []
    for _ in range(RUNS):
        start = time.perf_counter()
        function()
        times.append((time.perf_counter() - start) * 1000)
    return statistics.median(times)


def rows(bars: int) -> Sequence[tuple[str, float, str]]:
    piece = tiled(read(demo_piece("menuet")), bars)
    found, who = study(piece), load_instrument("alto-recorder")
    plan = make_plan(piece, found, load_manner("french"), who, richness=6.0)
    version = perform(piece, found, placed(plan), who, source=plan.signs_by)
    two = [Staff("written", found.solo), Staff("written", found.bass, figures=True)]
    reasons = reasons_of(piece, found, plan, version)
    sheet = parallel_staves(piece, found, plan, version, reasons)
    breaks = [system.first_bar for system in systems_of(piece, two)]
    mei = mei_of(piece, two, breaks=breaks)
    engrave(mei)
    goal = "150" if bars == 60 else ""
    return [
        ("our MEI, line and bass", median(lambda: mei_of(piece, two, breaks=breaks)), ""),
        ("engraved, all systems", median(lambda: engrave(mei, options={**BASE, "pageWidth": 1860})), goal),
        ("MEI and all systems", median(lambda: systems_of(piece, two, breaks=breaks)), goal),
        ("the same with boxes", median(lambda: systems_of(piece, two, breaks=breaks, boxes=True)), ""),
        ("one system drawn again", median(lambda: systems_of(piece, two, breaks=breaks, only=[1])), ""),
        ("widths of bars", median(lambda: natural_widths(piece, two)), ""),
        ("played, plain and bass, all", median(lambda: systems_of(piece, sheet, version=version, breaks=breaks)), ""),
        ("sheet as PDF", median(lambda: parallel_sheet(piece, found, plan, version)), ""),
    ]  # fmt: skip


def main() -> None:
    table = Table(title="Engraving, median ms")
    for name in ("what", "60 bars", "goal", "400 bars"):
        table.add_column(name, justify="left" if name == "what" else "right")
    for (what, few, goal), (_, many, _) in zip(rows(60), rows(400), strict=True):
        table.add_row(what, f"{few:.0f}", goal, f"{many:.0f}")
    Console().print(table)


if __name__ == "__main__":
    main()
