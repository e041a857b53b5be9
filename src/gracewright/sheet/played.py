"""The played line of one time through, laid on the bars of the page.

Conventions: a *row* names which time through a staff shows: 1 the first, -1 the last of each bar. Onsets are quarters
from the start of the bar, ends may not pass the bar line: a note that does is cut, and its parts are to be tied.

Public: Struck, Row, played_bars, times_of, has_repeats.
"""

from __future__ import annotations

from bisect import bisect_right
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Final

from gracewright.graces.model import Pass, PlayedNote, Version
from gracewright.pitch import Pitch
from gracewright.score import Piece

Row = int
SILENCE: Final = Fraction(1, 4)
"""Gaps shorter than this are a matter of touch, and are not printed as rests."""


@dataclass(frozen=True, slots=True)
class Struck:
    """A played note, or the part of it in one bar. ``host`` is the tone, ``time`` its time through."""

    onset: Fraction
    end: Fraction
    pitch: Pitch
    host: str
    time: int
    number: int  # place among the notes of its host
    choice: int = -1
    main: bool = True
    slurred: bool = False
    tied_in: bool = False
    tied_out: bool = False


def times_of(version: Version) -> Mapping[int, int]:
    """Bar index → how often it sounds."""
    most: dict[int, int] = defaultdict(int)
    for run in version.passes:
        for bar in range(run.first_bar, run.last_bar + 1):
            most[bar] = max(most[bar], run.time_through)
    return most


def has_repeats(version: Version) -> bool:
    """Whether any bar sounds more than once."""
    return any(run.time_through > 1 for run in version.passes)


def played_bars(piece: Piece, version: Version, row: Row) -> dict[int, tuple[Struck, ...]]:
    """Bar index → what sounds there on that row. Bars that do not sound on the row are left out."""
    last = times_of(version)
    wanted = {bar: last[bar] if row == -1 else row for bar in last if row == -1 or last[bar] >= row}
    bars: dict[int, list[Struck]] = {bar: [] for bar in wanted}
    by_onset = sorted((note for note in version.notes if note.part == version.solo), key=lambda note: note.onset)
    for run in version.passes:
        shown = [bar for bar in range(run.first_bar, run.last_bar + 1) if wanted.get(bar) == run.time_through]
        if not shown:
            continue
        end = run.onset + run.length
        inside = [note for note in by_onset if run.onset <= note.onset < end and note.time_through == run.time_through]
        for note, stop, number in _joined(inside, end):
            _lay(piece, run, note, stop, number, bars, set(shown))
    return {bar: tuple(notes) for bar, notes in bars.items()}


def _joined(notes: Sequence[PlayedNote], last: Fraction) -> list[tuple[PlayedNote, Fraction, int]]:
    """Notes with the end that is printed, and the place of each among the notes of its host."""
    result: list[tuple[PlayedNote, Fraction, int]] = []
    number = 0
    for index, note in enumerate(notes):
        number = number + 1 if index and notes[index - 1].host == note.host else 0
        following = notes[index + 1].onset if index + 1 < len(notes) else last
        end = min(note.end, following)
        if following - end < min(SILENCE, note.length):
            end = following
        if end > note.onset:
            result.append((note, end, number))
    return result


def _lay(piece: Piece, run: Pass, note: PlayedNote, stop: Fraction, number: int, bars: dict[int, list[Struck]],
         shown: set[int]) -> None:
    shift = run.page_onset - run.onset
    start, end = note.onset + shift, stop + shift
    whole = Struck(start, end, note.pitch, note.host, note.time_through, number, note.choice, note.main, note.slurred)
    onsets = [bar.onset for bar in piece.bars[run.first_bar : run.last_bar + 1]]
    bar = run.first_bar + max(0, bisect_right(onsets, start) - 1)
    while bar <= run.last_bar and piece.bars[bar].onset < end:
        there = piece.bars[bar]
        if bar in shown and there.end > start:
            a, b = max(start, there.onset), min(end, there.end)
            bars[bar].append(
                replace(whole, onset=a - there.onset, end=b - there.onset, tied_in=a > start, tied_out=b < end)
            )
        bar += 1
