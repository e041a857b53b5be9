"""The shape of the piece, as numbers for the page to draw.

Conventions: places along the piece are quarters as written, given to the page as floats for drawing; the points of the
curve keep their exact onset as a string, since the page sends them back. Strengths and tensions lie in [0, 1].

Public: shape_json.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

from gracewright.desk.draft import Draft
from gracewright.desk.words import CADENCES, letter
from gracewright.score import Piece
from gracewright.study import Study


def shape_json(draft: Draft) -> dict[str, Any]:
    """Bars, phrases, cadences, sequences, tension, graces of each time through, and the handles of the curve."""
    piece, study = draft.piece, draft.study
    return {
        "length": float(piece.length),
        "bars": [
            {"index": bar.index, "number": bar.number, "at": float(bar.onset), "length": float(bar.length),
             "repeat_start": bar.repeat_start, "repeat_end": bar.repeat_end > 1,
             "double": bar.double_bar or bar.final_bar}
            for bar in piece.bars
        ],
        "phrases": phrases(piece, study),
        "cadences": [
            {"at": float(c.onset), "kind": c.kind, "strength": round(c.strength, 2), "bar": bar_number(piece, c.onset),
             "words": f"bar {bar_number(piece, c.onset)}: {CADENCES[c.kind]} in {letter(c.key.tonic)} {c.key.mode}"}
            for c in study.cadences
        ],
        "sequences": [
            {"legs": [[float(leg.start), float(leg.end)] for leg in sequence.legs],
             "words": f"bars {bar_number(piece, sequence.start)} to {bar_before(piece, sequence.end)}: a sequence, "
                      f"{len(sequence.legs)} legs, {'rising' if sequence.step > 0 else 'falling'} by step of "
                      f"{abs(sequence.step)}"}
            for sequence in study.sequences
        ],
        "keys": [{"at": float(k.onset), "words": f"{letter(k.key.tonic)} {k.key.mode}"} for k in study.keys],
        "tension": [[float(onset), round(value, 3)] for onset, value in study.tension],
        "times": times(draft),
        "curve": [[str(onset), factor] for onset, factor in draft.wishes.curve],
    }  # fmt: skip


def phrases(piece: Piece, study: Study) -> list[dict[str, Any]]:
    """Phrases with the words for them; a piece in which none was found is one phrase."""
    spans = [(p.start, p.end, p.reason) for p in study.phrases] or [(Fraction(0), piece.length, "")]
    return [
        {"start": float(start), "end": float(end), "onset": str(start), "reason": reason,
         "words": f"phrase {index}: bars {bar_number(piece, start)} to {bar_before(piece, end)}"}
        for index, (start, end, reason) in enumerate(spans, 1)
    ]  # fmt: skip


def times(draft: Draft) -> list[dict[str, Any]]:
    """For each time through: where it is heard, and its graces as places along the piece."""
    bars = draft.piece.bars
    spans: dict[int, list[list[float]]] = {}
    for segment in draft.study.order:
        span = [float(bars[segment.first_bar].onset), float(bars[segment.last_bar].end)]
        spans.setdefault(segment.time_through, []).append(span)
    return [
        {"time": time, "spans": found, "graces": [
            {"at": float(choice.onset), "origin": choice.origin, "locked": bool(choice.lock), "note": choice.note}
            for choice in draft.plan.choices if choice.time_through == time and choice.grace is not None
        ]}
        for time, found in sorted(spans.items())
    ]  # fmt: skip


def bar_number(piece: Piece, onset: Fraction) -> str:
    """The printed number of the bar a time falls in."""
    return next((bar.number for bar in reversed(piece.bars) if bar.onset <= onset), piece.bars[0].number)


def bar_before(piece: Piece, end: Fraction) -> str:
    """The printed number of the last bar that begins before a time."""
    return next((bar.number for bar in reversed(piece.bars) if bar.onset < end), piece.bars[0].number)
