"""Sheets of signs: each sign with its names, how it is played in notes, whose it is, and how sure we are.

Conventions: an example stands on the source's own note in C major. One row is one reading of one entry.

Public: source_sheet, example_notes.
"""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from itertools import groupby
from typing import Any, Final

from gracewright.graces import Entry, Meaning, Reading, vocabulary
from gracewright.pitch import Pitch
from gracewright.score import Sign, SmallNote
from gracewright.sheet.examples import Written, engraved_example, example_of
from gracewright.sheet.typeset import check_paper, typeset

SMALL_NOTES: Final = ("E560", "E562")
"""Glyphs that stand for a small note, which is then drawn as one."""
WIDEST: Final = 800
MOST: Final = 3
SURE: Final = {"A": "exact, as printed", "A2": "exact, from a later print", "B": "read in the text; lengths are ours",
               "C": "from memory"}  # fmt: skip


def source_sheet(meanings: Sequence[Meaning], *, title: str = "Signs and how they are played", subtitle: str = "",
                 paper: str = "a4") -> bytes:
    """A sheet of entries as PDF, grouped by source in the order given."""
    size = check_paper(paper)
    images: list[str] = []
    books = []
    for source, group in groupby(meanings, key=lambda meaning: meaning.source):
        rows = [row for meaning in group for row in _rows(meaning, images)]
        books.append({"author": source.author, "title": source.title, "year": source.year, "region": source.region,
                      "rows": rows})  # fmt: skip
    data = {"title": title, "subtitle": subtitle, "foot": title, "books": books}
    return typeset("source", data, images, paper=size)


def _rows(meaning: Meaning, images: list[str]) -> list[dict[str, Any]]:
    """One row a reading; the engraved example of each is appended to ``images``."""
    entry = meaning.entry
    readings: Sequence[Reading | None] = (entry.sure or entry.readings)[:MOST] or (None,)
    rows = []
    for number, reading in enumerate(readings):
        picture = engraved_example(example_of([example_notes(entry, reading)]), played=reading is not None)
        images.append(picture.svg)
        rows.append({
            "image": f"s{len(images) - 1}.svg", "width": min(picture.width, WIDEST), "first": number == 0,
            "names": " / ".join(name.text for name in entry.names), "sign": entry.sign,
            "means": vocabulary()[entry.means.id].title if entry.means else "",
            "remark": (reading.remark if reading is not None else " ".join(entry.rules[:1])) or entry.neighbour_words,
            "sure": _sure(entry, reading),
        })  # fmt: skip
    return rows


def _sure(entry: Entry, reading: Reading | None) -> str:
    if entry.open_question:
        return "open question"
    if reading is None:
        return "the sign only; not how it is played"
    return SURE.get(reading.grade, "doubtful")


def example_notes(entry: Entry, reading: Reading | None) -> list[Written]:
    """The note with its sign, between its neighbours where the reading needs them, and what each becomes."""
    host = reading.pitch if reading is not None else Pitch.parse("C5")
    value = reading.value if reading is not None else Fraction(1)
    signs, small = _sign(entry, host, reading)
    if reading is None:
        return [Written(host, value, signs, small)]
    late: tuple[SmallNote, ...] = ()
    if reading.following is not None and not reading.rest and reading.notes[0].step == 0:
        small, late = (), small
    notes = []
    if reading.before or reading.previous is not None or reading.tied:
        before = host if reading.previous is None else _step(host, reading.previous)
        notes.append(_previous(before, host, value, reading))
    at, played = Fraction(0), list[tuple[Pitch | None, Fraction, Fraction]]()
    for mark in reading.notes:
        length = mark.share * value
        if length > 0:
            played.append((None if mark.step is None else _step(host, mark.step), at, length))
        at += length
    notes.append(Written(host, value, signs, small, played=tuple(played)))
    if reading.following is not None and not reading.rest:
        notes.append(Written(_step(host, reading.following), value, (), late))
    return notes


def _previous(before: Pitch, host: Pitch, value: Fraction, reading: Reading) -> Written:
    stolen = sum((mark.share for mark in reading.before), Fraction(0))
    played: list[tuple[Pitch | None, Fraction, Fraction]] = [(before, Fraction(0), (1 - stolen) * value)]
    at = (1 - stolen) * value
    for mark in reading.before:
        played.append((None if mark.step is None else _step(host, mark.step), at, mark.share * value))
        at += mark.share * value
    return Written(before, value, played=tuple(played) if reading.before else (), slurred=False)


def _sign(entry: Entry, host: Pitch, reading: Reading | None) -> tuple[tuple[Sign, ...], tuple[SmallNote, ...]]:
    codes = [glyph.removeprefix("U+") for glyph in entry.glyphs]
    if codes[0] in SMALL_NOTES if codes else "small note" in entry.sign and reading is not None:
        steps = _small_steps(entry, reading)
        value, slash = Fraction(1, 2 if len(steps) == 1 else 4), codes[:1] == ["E560"]
        return (), tuple(SmallNote("", _step(host, step), value, slash=slash) for step in steps)
    if codes:
        return (Sign("other-ornament", smufl=codes[0], placement="above"),), ()
    return (), ()


def _small_steps(entry: Entry, reading: Reading | None) -> list[int]:
    """Steps from the main note to the small notes the page shows: those that are played before, or after, it."""
    if reading is None:
        return [-1 if entry.means is not None and entry.means.direction == "below" else 1]
    if reading.before:
        return [mark.step for mark in reading.before if mark.step is not None]
    played = [mark.step for mark in reading.notes if mark.step is not None]
    if reading.following is not None and played[0] == 0:
        return played[1:]
    return played[:-1] if "small notes" in entry.sign and len(played) > 1 else played[:1]


def _step(pitch: Pitch, step: int) -> Pitch:
    return Pitch.at(pitch.diatonic + step)
