"""The shape of the piece, as numbers for the page to draw.

Conventions: places along the piece are quarters as written, given to the page as floats for drawing; the points of the
curve keep their exact onset as a string, since the page sends them back. Strengths and tensions lie in [0, 1].

Public: shape_json.
"""

from __future__ import annotations

import secrets
from bisect import bisect_left, bisect_right
from fractions import Fraction
from typing import Any

from gracewright.desk.draft import Draft, moved_by
from gracewright.desk.words import CADENCES, letter
from gracewright.score import Bar, Piece
from gracewright.study import Study


def shape_json(draft: Draft, held: str = "") -> dict[str, Any]:
    """What a plan changes (graces of each time through, the curve), and the form of the piece unless the page holds it.

    ``form`` names the form; a page gives the name of the one it holds as ``held``.
    """
    wishes = draft.wishes
    key = ("form", *moved_by(wishes), wishes.solo, wishes.bass, wishes.tempo)
    name, form = draft.ground.keep(key, lambda: (secrets.token_hex(4), form_json(draft.piece, draft.study)))
    curve = [[str(onset), factor] for onset, factor in draft.wishes.curve]
    return {"form": name, "times": times(draft), "curve": curve, **({} if held == name else form)}


def form_json(piece: Piece, study: Study) -> dict[str, Any]:
    """Bars, phrases, cadences, sequences, keys and tension."""
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
            {"at": float(c.onset), "kind": c.kind, "strength": round(c.strength, 2),
             "words": f"bar {bar_number(piece, c.onset)}: {CADENCES[c.kind]} in {letter(str(c.key))}"}
            for c in study.cadences
        ],
        "sequences": [
            {"legs": [[float(leg.start), float(leg.end)] for leg in sequence.legs],
             "words": f"bars {bar_number(piece, sequence.start)} to {bar_before(piece, sequence.end)}: a sequence of "
                      f"{len(sequence.legs)} legs, {steps_words(sequence.step)}"}
            for sequence in study.sequences
        ],
        "tension": [[float(onset), round(value, 3)] for onset, value in study.tension],
    }  # fmt: skip


def steps_words(step: int) -> str:
    """How far a leg lies from the one before.

    >>> steps_words(-1), steps_words(2), steps_words(0)
    ('each a second lower', 'each a third higher', 'on the same notes')
    """
    names = ("second", "third", "fourth", "fifth", "sixth", "seventh", "octave")
    if step == 0:
        return "on the same notes"
    return f"each a {names[min(abs(step), 7) - 1]} {'higher' if step > 0 else 'lower'}"


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
    return piece.bars[max(0, bisect_right(piece.bars, onset, key=start) - 1)].number


def bar_before(piece: Piece, end: Fraction) -> str:
    """The printed number of the last bar that begins before a time."""
    return piece.bars[max(0, bisect_left(piece.bars, end, key=start) - 1)].number


def start(bar: Bar) -> Fraction:
    return bar.onset
