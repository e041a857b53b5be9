"""The sheet that shows what was done: the plain line, the played line above it, the bass below, and the reasons.

Conventions: choices are numbered in the order of the page; a choice made alike both times bears one number.

Public: parallel_sheet, parallel_staves, Reason, reasons_of, added_signs, sentence, source_words.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from gracewright.graces import Notated, Version, contexts, is_source, load_source, short_name, sign_for
from gracewright.instruments import load_instrument
from gracewright.score import Piece, beat_words
from gracewright.sheet.mei import Staff
from gracewright.sheet.played import has_repeats
from gracewright.sheet.systems import System, systems_of
from gracewright.sheet.typeset import check_paper, typeset
from gracewright.study import Study
from gracewright.taste import Choice, Plan

ORDINALS: Final = {1: "1st", 2: "2nd", 3: "3rd"}
MOST_REASONS: Final = 2
_NAMED: Final = re.compile(r"[a-z]+1[5-7][0-9][0-9]")
OPTIONS: Final = {"unit": 8.0}
"""A stave 6.4 mm high, as in a score of several staves."""


@dataclass(frozen=True, slots=True)
class Reason:
    """One numbered entry: the choices it stands for (all of one note), told for a player."""

    number: str
    note: str
    bar: int
    times: tuple[int, ...]
    where: str
    what: str
    why: str
    source: str
    ours: bool


def ordinal(time: int) -> str:
    """A time through as it stands on a sheet."""
    return ORDINALS.get(time, f"{time}th")


def added_signs(piece: Piece, study: Study, plan: Plan, *, time: int = 1) -> dict[str, Notated]:
    """Tone id → what we write at it for one time through. Signs of the page are not ours and are left out."""
    places = contexts(piece, study, load_instrument(plan.instrument), plan.level, source=plan.signs_by)
    return {
        choice.note: sign_for(choice.grace, places[choice.note])
        for choice in plan.choices
        if choice.grace is not None and choice.origin != "page"
        and choice.time_through == time and choice.note in places
    }


def reasons_of(piece: Piece, study: Study, plan: Plan, version: Version) -> tuple[Reason, ...]:
    """Numbered reasons in page order; equal choices of several times through are one entry."""
    numbers = {bar.number: bar.index for bar in reversed(piece.bars)}
    groups: dict[tuple[str, object], list[tuple[int, Choice]]] = {}
    for index, choice in enumerate(plan.choices):
        if choice.grace is not None:
            groups.setdefault((choice.note, choice.grace), []).append((index, choice))
    repeated = has_repeats(version)
    reasons = []
    for number, group in enumerate(groups.values(), 1):
        index, choice = group[0]
        assert choice.grace is not None, "bare notes are no entry"
        times = tuple(one.time_through for _, one in group)
        where = f"Bar {choice.bar}, beat {beat_words(choice.beat)}"
        if repeated and times == (2,):
            where += ", 2nd time"
        elif repeated and len(times) == 1 and times[0] != 1:
            where += f", {ordinal(times[0])} time"
        elif repeated and times == (1,) and _sounds_again(version, piece, choice):
            where += ", 1st time"
        played = version.explanations.get(index, "")
        what = _played_words(choice.grace.words, played)
        why = " ".join(choice.reasons[:MOST_REASONS])
        note = piece.by_id.get(choice.note)
        bar = note.bar if note is not None else numbers.get(choice.bar, 0)
        reasons.append(
            Reason(str(number), choice.note, bar, times, f"{where}.", source_words(what), why,
                   source_words(choice.source), choice.origin != "page")
        )  # fmt: skip
    return tuple(reasons)


def _played_words(words: str, explanation: str) -> str:
    """What the grace is and which notes it becomes; the explanation may begin with the grace's name, given once."""
    notes = explanation.partition(": ")[2] or explanation
    return f"{words}: {notes}" if notes else words


def _sounds_again(version: Version, piece: Piece, choice: Choice) -> bool:
    note = piece.by_id.get(choice.note)
    again = [run for run in version.passes if run.time_through > 1]
    return note is not None and any(run.first_bar <= note.bar <= run.last_bar for run in again)


def sentence(words: str) -> str:
    """With a capital and a full stop.

    >>> sentence("shake, turned ending")
    'Shake, turned ending.'
    """
    tidy = words.strip()
    if not tidy:
        return ""
    return tidy[0].upper() + tidy[1:] + ("" if tidy.endswith((".", "?", "!")) else ".")


def source_words(source: str) -> str:
    """A source as a reader knows it: author and year.

    >>> source_words("jsbach1720"), source_words("common practice")
    ('J. S. Bach (1720).', 'Common practice.')
    """
    return sentence(_NAMED.sub(lambda found: author_of(found[0]), source))


def author_of(source: str) -> str:
    """Author and year of a shelf id; the id itself where no table of that name is known."""
    return short_name(source) if is_source(source) else source


def sources_named(reasons: Sequence[Reason], plan: Plan) -> list[str]:
    """Full titles of every source that speaks on a sheet."""
    named = {plan.signs_by, *(choice.source for choice in plan.choices if choice.grace is not None)}
    books = sorted((load_source(one) for one in named if is_source(one)), key=lambda book: (book.first, book.id))
    return [f"{book.author}: {book.title}, {book.year}." for book in books] if reasons else []


def parallel_staves(piece: Piece, study: Study, plan: Plan, version: Version, reasons: Sequence[Reason],
                    *, times: str = "both") -> list[Staff]:
    """The staves from top to bottom. ``times``: "last" shows only the last time through as played, "both" also the
    first where it has graces of its own."""
    added = added_signs(piece, study, plan)
    repeated = has_repeats(version)
    first_differs = any(reason.times[0] == 1 for reason in reasons)
    staves = []
    if repeated and times == "both" and first_differs:
        here = {reason.note: reason.number for reason in reasons if 1 in reason.times}
        staves.append(Staff("played", study.solo, "1st time", "1st", 75, 1, here))
    last = _last_numbers(piece, version, reasons)
    label, short = ("2nd time", "2nd") if repeated else ("as played", "")
    staves.append(Staff("played", study.solo, label, short, 75, -1, last))
    staves.append(Staff("written", study.solo, "plain", "", added=added, words=True, lyrics=True))
    if study.bass:
        staves.append(Staff("written", study.bass, "bass", "", figures=True))
    return staves


def _last_numbers(piece: Piece, version: Version, reasons: Sequence[Reason]) -> dict[str, str]:
    """Numbers for the staff of the last time through: in bars that sound once, those of that time."""
    most: dict[int, int] = {}
    for run in version.passes:
        for bar in range(run.first_bar, run.last_bar + 1):
            most[bar] = max(most.get(bar, 0), run.time_through)
    return {reason.note: reason.number for reason in reasons if most.get(reason.bar, 1) in reason.times}


def parallel_sheet(piece: Piece, study: Study, plan: Plan, version: Version, *, paper: str = "a4",
                   about: Sequence[str] = (), times: str = "both") -> bytes:
    """The sheet as PDF. ``about``: lines for the first page (manner, sources, instrument, pitch, temperament)."""
    size = check_paper(paper)
    reasons = reasons_of(piece, study, plan, version)
    staves = parallel_staves(piece, study, plan, version, reasons, times=times)
    systems = systems_of(piece, staves, version=version, width=size.line, options=OPTIONS)
    data = {
        "title": piece.title or "Untitled", "composer": piece.composer, "subtitle": "plain and as played",
        "foot": piece.title or "Untitled", "about": list(about), "marks": marks(plan, bool(study.bass)),
        "systems": [_entry(number, system, reasons) for number, system in enumerate(systems)],
        "remarks": list(plan.remarks), "sources": sources_named(reasons, plan),
    }  # fmt: skip
    return typeset("parallel", data, [system.svg for system in systems], paper=size)


def _entry(number: int, system: System, reasons: Sequence[Reason]) -> dict[str, Any]:
    here = [reason for reason in reasons if system.first_bar <= reason.bar <= system.last_bar]
    items = [{"number": r.number, "where": r.where, "what": r.what, "why": r.why, "source": r.source} for r in here]
    return {"image": f"s{number}.svg", "width": system.width, "items": items}


def marks(plan: Plan, bass: bool) -> list[Mapping[str, Any]]:
    """What the marks on the page mean."""
    found: list[Mapping[str, Any]] = [
        {"sign": "(tr)", "ours": True, "means": "a sign in round brackets, in colour: added by the plan"},
        {"sign": "tr", "ours": False, "means": "a sign without brackets: the composer's own"},
        {"sign": "7", "ours": False, "means": "a boxed number: the reason stands under the system"},
    ]
    if bass:
        found.append({"sign": "6", "ours": False, "means": "figures under the bass, as on the page"})
    return found
