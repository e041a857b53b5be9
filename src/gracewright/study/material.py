"""What every reader of the study starts from: the piece, its two lines, the timeline and the frames.

Public: Material, gather.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Final

import numpy as np

from gracewright.errors import BadInput
from gracewright.score import Bar, Meter, Piece, Tone, find_bass, find_solo, tones
from gracewright.study.frames import SHIFT, Frames, Ints, Timeline, frames_of, levels_at, timeline
from gracewright.study.metre import FINEST, levels_of, offset_in, weight_at

LEAST_WEIGHT: Final = 0.5 ** (FINEST + 1)  # of a time on no level


@dataclass(frozen=True)
class Material:
    """``solo`` and ``bass`` name lines; ``melody`` and ``ground`` are their tones (no ``ground`` under a lone solo)."""

    piece: Piece
    solo: str
    bass: str
    melody: tuple[Tone, ...]
    ground: tuple[Tone, ...]
    line: Timeline
    frames: Frames

    @cached_property
    def melody_onsets(self) -> Ints:
        """Onsets of the melody in ticks."""
        return self._ticks([tone.onset for tone in self.melody])

    @cached_property
    def melody_ends(self) -> Ints:
        return self.melody_onsets + self._ticks([tone.length for tone in self.melody])

    @cached_property
    def melody_places(self) -> Ints:
        """Places on the line of fifths, as in the timeline."""
        return np.array([tone.pitch.fifths for tone in self.melody], dtype=np.int64) + SHIFT

    @cached_property
    def ground_onsets(self) -> Ints:
        return self._ticks([tone.onset for tone in self.ground])

    @cached_property
    def melody_weights(self) -> list[float]:
        """Metrical weight of each melody tone."""
        levels = levels_at(self.piece, self.line, self.melody_onsets)
        return [0.5**level for level in levels.tolist()]

    def ticks_of(self, times: Iterable[Fraction]) -> Ints:
        """Times in ticks, as an array."""
        return self._ticks(list(times))

    def _ticks(self, times: list[Fraction]) -> Ints:
        quarter = self.line.quarter
        return np.array([time.numerator * (quarter // time.denominator) for time in times], dtype=np.int64)

    def bar_at(self, onset: Fraction) -> Bar:
        """The bar in which a time lies."""
        at = bisect_right(self._bar_starts, self.line.ticks(onset)) - 1
        return self.piece.bars[max(0, min(at, len(self.piece.bars) - 1))]

    @cached_property
    def _bar_starts(self) -> list[int]:
        starts: list[int] = self.line.bar_start.tolist()
        return starts

    def weight(self, onset: Fraction) -> float:
        """Metrical weight of a time."""
        if self.line.quarter % onset.denominator:
            return weight_at(self.bar_at(onset), onset)
        time = self.line.ticks(onset)
        at = max(0, min(bisect_right(self._bar_starts, time) - 1, len(self.piece.bars) - 1))
        begin, spans = self._grids[at]
        return next((0.5**level for level, span in enumerate(spans) if (time - begin) % span == 0), LEAST_WEIGHT)

    @cached_property
    def _grids(self) -> list[tuple[int, list[int]]]:
        """Of each bar its (notional) downbeat and the spans of its metrical levels, in ticks."""
        spans: dict[Meter, list[int]] = {}
        found = []
        for bar, begin in zip(self.piece.bars, self._bar_starts, strict=False):
            if bar.meter not in spans:
                levels = [span * self.line.quarter for span in levels_of(bar.meter)]
                spans[bar.meter] = [int(span) for span in levels if span.denominator == 1]
            found.append((begin - self.line.ticks(offset_in(bar, bar.onset)), spans[bar.meter]))
        return found


def gather(piece: Piece, solo: str = "", bass: str = "") -> Material:
    """Find the lines and lay out the timeline. Raises BadInput where there is no note to study."""
    if not any(note.pitch is not None and note.length and not note.cue for note in piece.notes):
        raise BadInput("the score has no notes to study", file=piece.source)
    solo = find_solo(piece, solo)
    bass = find_bass(piece, solo, bass)
    if bass == solo:
        bass = ""
    line = timeline(piece)
    melody = tones(piece, solo)
    if not melody:
        raise BadInput("this part holds no notes", file=piece.source, part=solo, remedy="name another with --solo")
    ground = tones(piece, bass, lowest=True) if bass else ()
    return Material(piece, solo, bass, melody, ground, line, frames_of(piece, line))
