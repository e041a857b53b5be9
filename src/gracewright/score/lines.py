"""Lines: one melody in a score, named by a part ("P1") or one staff of it ("P1/2").

Conventions: of several notes at once, the top one belongs to the line (the lowest one where the line is asked for
as a bass); tied notes are one tone.

Public: tones, notes_of, find_solo, find_bass, bar_state, mark_accidental, alter_in, part_of.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from gracewright.errors import BadInput
from gracewright.pitch import Pitch
from gracewright.score.model import Marks, Note, Piece, Tone
from gracewright.score.ticks import Times, ticks_of


def part_of(line: str) -> tuple[str, int]:
    """Part id and staff (0: all staves) of a line.

    >>> part_of("P1"), part_of("P1/2")
    (('P1', 0), ('P1', 2))
    """
    part, slash, staff = line.rpartition("/")
    return (part, int(staff)) if slash and staff.isdigit() else (line, 0)


def notes_of(piece: Piece, line: str) -> list[Note]:
    """All notes and rests of a line's part and staff, in order. Raises KeyError for an unknown part."""
    part, staff = part_of(line)
    notes = piece.by_part[part]
    return [note for note in notes if not staff or note.staff == staff]


def tones(piece: Piece, line: str, *, lowest: bool = False) -> tuple[Tone, ...]:
    """The sounding notes of a line, ties merged, one at a time.

    Of notes that begin together the top (or lowest) one is kept; a note that begins under a longer, higher one of
    another voice is left out, so that the result is one singable line. Drawn once for each piece and kept.
    """
    kept = piece.lines.get((line, lowest))
    if kept is None:
        kept = piece.lines[line, lowest] = _drawn(piece, line, lowest)
    return kept


def _drawn(piece: Piece, line: str, lowest: bool) -> tuple[Tone, ...]:
    """The line, worked out in integer ticks; exact times are taken from the notes or made once each."""
    notes = [note for note in notes_of(piece, line) if note.pitch is not None and note.length and not note.cue]
    divisions = math.lcm(*{time.denominator for note in notes for time in (note.onset, note.length)},
                         piece.length.denominator)  # fmt: skip
    merged: list[_Chain] = []
    for note, start, end in _chosen(notes, divisions, lowest):
        if merged and note.tie_in:
            last = merged[-1]
            if last.notes[0].pitch == note.pitch and last.end == start:
                last.notes.append(note)
                last.end = end
                continue
        merged.append(_Chain(start, end, [note]))
    exact = Times(divisions)
    found, before, at_end = [], 0, ticks_of(piece.length, divisions)
    for index, chain in enumerate(merged):
        after = merged[index + 1].start if index + 1 < len(merged) else at_end
        end = min(chain.end, after) if after > chain.start else chain.end
        found.append(_tone(chain, end, exact[max(0, chain.start - before)], exact[max(0, after - end)], exact))
        before = chain.end
    return tuple(found)


@dataclass(slots=True)
class _Chain:
    """A note with those tied to it; ticks."""

    start: int
    end: int
    notes: list[Note]


def _chosen(notes: Sequence[Note], divisions: int, lowest: bool) -> list[tuple[Note, int, int]]:
    """The notes of the line with their start and end in ticks."""
    chosen: list[tuple[Note, int, int]] = []
    last_start = last_end = -1
    for note in notes:
        start = ticks_of(note.onset, divisions)
        if last_start == start:
            if not _wins(note, chosen[-1][0], lowest):
                continue
            chosen.pop()
        elif last_end > start and not _wins(note, chosen[-1][0], lowest):
            continue
        last_start, last_end = start, start + ticks_of(note.length, divisions)
        chosen.append((note, start, last_end))
    return chosen


def _wins(note: Note, other: Note, lowest: bool) -> bool:
    assert note.pitch is not None, "rests are not compared"
    assert other.pitch is not None
    return note.pitch.midi < other.pitch.midi if lowest else note.pitch.midi > other.pitch.midi


def _tone(chain: _Chain, end: int, before: Fraction, after: Fraction, exact: Times) -> Tone:
    note = chain.notes[0]
    assert note.pitch is not None
    several = len(chain.notes) > 1
    marks = _joined([each.marks for each in chain.notes]) if several else note.marks
    length = note.length if not several and end == chain.end else exact[end - chain.start]
    ids = tuple([each.id for each in chain.notes])
    return Tone(note.id, ids, note.bar, note.onset, length, note.pitch, marks, before, after)


def _joined(marks: Sequence[Marks]) -> Marks:
    """Marks of a tie chain: signs of all, small notes before the first and after the last."""
    return replace(
        marks[0],
        signs=tuple(sign for mark in marks for sign in mark.signs),
        after=marks[-1].after,
        fermata=any(mark.fermata for mark in marks),
        breath=marks[-1].breath,
        slur_stops=marks[-1].slur_stops,
        wavy=tuple(line for mark in marks for line in mark.wavy),
    )


def _named(piece: Piece, name: str) -> str:
    part_name, staff = part_of(name)
    for part in piece.parts:
        if part_name in (part.id, part.name) or name in (part.id, part.name):
            return f"{part.id}/{staff}" if staff and name not in (part.id, part.name) else part.id
    close = [part.id for part in piece.parts if name.lower() in part.name.lower()]
    if len(close) == 1:
        return close[0]
    listed = ", ".join(f"{part.id} ({part.name})" for part in piece.parts)
    raise BadInput(f"no part is called {name!r}", file=piece.source, remedy=f"name one of {listed}")


def _pitched(piece: Piece) -> list[str]:
    """Lines that carry pitched notes, in page order; a part of several staves gives one line for each."""
    lines = []
    for part in piece.parts:
        staves = sorted({note.staff for note in piece.by_part[part.id] if note.pitch is not None})
        if len(staves) > 1:
            lines += [f"{part.id}/{staff}" for staff in staves]
        elif staves:
            lines.append(part.id)
    return lines


def _middle(piece: Piece, line: str) -> float:
    """Mean pitch of a line, weighed by length."""
    heights = [(note.pitch.midi, float(note.length)) for note in notes_of(piece, line) if note.pitch is not None]
    total = sum(weight for _, weight in heights)
    return sum(height * weight for height, weight in heights) / total if total else 0.0


def find_solo(piece: Piece, named: str = "") -> str:
    """The line to be ornamented: the one named, else the first pitched line that is not the lowest.

    Raises BadInput where the name is not in the score.
    """
    if named:
        return _named(piece, named)
    lines = _pitched(piece)
    if len(lines) > 1:
        bass = find_bass(piece, "")
        lines = [line for line in lines if line != bass]
    return lines[0]


def find_bass(piece: Piece, solo: str, named: str = "") -> str:
    """The bass: the line named, else the one with figures, else the lowest on average; "" for a lone solo."""
    if named:
        return _named(piece, named)
    lines = [line for line in _pitched(piece) if line != solo]
    if not lines or (solo and len(lines) == 1 and _middle(piece, lines[0]) > _middle(piece, solo)):
        return ""
    figured = {figure.part for figure in piece.figures}
    lowest = min(lines, key=lambda line: _middle(piece, line))
    of_figures = [line for line in lines if part_of(line)[0] in figured]
    if of_figures and part_of(lowest)[0] not in figured:
        lowest = min(of_figures, key=lambda line: _middle(piece, line))
    return lowest


def bar_state(piece: Piece, line: str, note_id: str) -> dict[int, int]:
    """Accidentals in force before a note: staff place (diatonic number) → alteration, where not the signature's."""
    note = piece.by_id[note_id]
    key_alters = [alter_in(piece.bars[note.bar].fifths, step) for step in range(7)]
    state: dict[int, int] = {}
    for other in notes_of(piece, line):
        if other.bar != note.bar or other.pitch is None:
            continue
        if other.onset >= note.onset:
            break
        mark_accidental(state, other.pitch, key_alters)
    return state


def mark_accidental(state: dict[int, int], pitch: Pitch, key_alters: Sequence[int]) -> None:
    """Note in ``state`` what a sounding pitch leaves in force on its staff place; ``key_alters`` are the signature's
    alterations by letter, C first."""
    if pitch.alter != key_alters[pitch.step] or pitch.diatonic in state:
        state[pitch.diatonic] = pitch.alter


def alter_in(fifths: int, step: int) -> int:
    """Alteration of a letter under a signature of so many sharps (flats negative).

    >>> alter_in(2, 3), alter_in(-2, 2), alter_in(0, 3)
    (1, -1, 0)
    """
    order = (1, 3, 5, 0, 2, 4, 6)  # F C G D A E B for steps C D E F G A B: C is 2nd sharp …
    place = order[step]
    return (fifths - place + 6) // 7
