"""What every reader of the study starts from: the piece, its two lines, the timeline and the frames.

Public: Material, gather.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from gracewright.errors import BadInput
from gracewright.score import Bar, Piece, Tone, find_bass, find_solo, tones
from gracewright.study.frames import Frames, Timeline, frames_of, timeline
from gracewright.study.metre import weight_at


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

    def bar_at(self, onset: Fraction) -> Bar:
        """The bar in which a time lies."""
        bars = self.piece.bars
        low, high = 0, len(bars) - 1
        while low < high:
            middle = (low + high + 1) // 2
            if bars[middle].onset <= onset:
                low = middle
            else:
                high = middle - 1
        return bars[low]

    def weight(self, onset: Fraction) -> float:
        return weight_at(self.bar_at(onset), onset)


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
    ground = tones(piece, bass, lowest=True) if bass else ()
    return Material(piece, solo, bass, melody, ground, line, frames_of(piece, line))
