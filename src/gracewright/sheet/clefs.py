"""Old clefs made readable: a solo line in a clef that its player does not read is drawn in one that he does.

Public: readable.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from typing import Final

from gracewright.instruments import Instrument, out_of_range
from gracewright.score import Clef, Piece, part_of, tones

NAMED: Final = {"treble": ("G", 2), "French violin": ("G", 1), "bass": ("F", 4), "alto": ("C", 3), "tenor": ("C", 4),
                "soprano": ("C", 1)}  # fmt: skip
STRANGE: Final = 0.1
"""Where more of the notes than this lie outside the compass the line is not for this player, and keeps its clef."""


def readable(piece: Piece, line: str, instrument: Instrument) -> Piece:
    """The piece with the line in the player's usual clef, where none of its own is one the player reads; only for
    drawing: what is written to files keeps the page's clefs."""
    reads = [NAMED[name] for name in instrument.clefs if name in NAMED]
    part_id, staff = part_of(line)
    part, number = piece.part(part_id), staff or 1
    has = [clef for clef in part.clefs if clef.staff == number]
    if not reads or not has or any((clef.sign, clef.line) in reads for clef in has):
        return piece
    played = tones(piece, line)
    if len(out_of_range(played, instrument)) > STRANGE * len(played):
        return piece
    sign, place = reads[0]
    kept = tuple(clef for clef in part.clefs if clef.staff != number)
    ours = replace(part, clefs=(*kept, Clef(Fraction(0), number, sign, place)))
    return replace(piece, parts=tuple(ours if other is part else other for other in piece.parts))
