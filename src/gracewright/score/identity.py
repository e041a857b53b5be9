"""The same notes in two readings of a score: after another program has written it again, ids lost or parts renamed.

Conventions: a note is known by its id where both readings have it at the same place; else by its place: the order of
the part, the bar, the time in the bar, and of notes at that time the pitch.

Public: counterparts.
"""

from __future__ import annotations

from fractions import Fraction

from gracewright.pitch import Pitch
from gracewright.score.model import Note, Piece

Place = tuple[int, int, Fraction]


def counterparts(old: Piece, new: Piece) -> dict[str, str]:
    """Ids of ``old`` → ids of the same notes in ``new``; notes that are gone are left out.

    A note whose pitch was changed is still the same note where it is the only one at its place.

    >>> from gracewright.score.model import Bar, Meter, Part
    >>> from dataclasses import replace
    >>> F = Fraction
    >>> bar = Bar(0, "1", F(0), F(4), Meter(4, 4), 0)
    >>> note = Note("n1", "P1", 1, "1", 0, F(0), F(4), Pitch.parse("A4"))
    >>> old = Piece("", "", (Part("P1", "Flute"),), (bar,), (note,))
    >>> new = Piece("", "", (Part("X", "Flute"),), (bar,), (replace(note, id="q", part="X"),))
    >>> counterparts(old, new)
    {'n1': 'q'}
    """
    found: dict[str, str] = {}
    there = _by_place(new)
    for place, notes in _by_place(old).items():
        candidates = list(there.get(place, ()))
        rest = []
        for note in notes:
            twin = next((one for one in candidates if one.id == note.id), None) or next(
                (one for one in candidates if _same(one.pitch, note.pitch)), None
            )
            if twin is None:
                rest.append(note)
            else:
                candidates.remove(twin)
                found[note.id] = twin.id
        if len(rest) == 1 and len(candidates) == 1:
            found[rest[0].id] = candidates[0].id
    return found


def _same(one: Pitch | None, other: Pitch | None) -> bool:
    if one is None or other is None:
        return one is other
    return one.midi == other.midi


def _by_place(piece: Piece) -> dict[Place, list[Note]]:
    order = {part.id: index for index, part in enumerate(piece.parts)}
    found: dict[Place, list[Note]] = {}
    for note in piece.notes:
        place = (order[note.part], note.bar, note.onset - piece.bars[note.bar].onset)
        found.setdefault(place, []).append(note)
    return found
