"""``gracewright signs``: what ornament signs mean in each source, and how each source signs an ornament."""

from __future__ import annotations

import json
import re
from collections.abc import Sequence
from dataclasses import replace
from difflib import get_close_matches
from fractions import Fraction
from pathlib import Path
from typing import Any, Final

import click
from rich.console import Console
from rich.table import Table

from gracewright.errors import BadInput
from gracewright.graces import (
    Context,
    Entry,
    Meaning,
    Reading,
    Source,
    kinds,
    load_source,
    look_up,
    realise,
    sources,
    vocabulary,
)
from gracewright.job import in_place_of
from gracewright.pitch import Key, Pitch
from gracewright.sheet.source import source_sheet

SCHOOLS: Final = ("french", "german", "italian", "english", "spanish")
PIPED_WIDTH: Final = 160
COLUMNS: Final = (
    # column, least width
    ("source", 12), ("region", 6), ("sign", 16), ("name there", 14), ("is a", 10), ("played on c''", 22),
    ("how sure", 8),
)  # fmt: skip


@click.command("signs")
@click.argument("words", nargs=-1, metavar="[WHAT]")
@click.option("--sign", default="", help="A sign: +, tr, comma, 'short wavy line', a SMuFL code or MusicXML element.")
@click.option("--ornament", default="", help="An ornament by its English or a period name: mordent, 'port de voix'.")
@click.option("--source", default="", help="Only this source; --sources lists them.")
@click.option("--school", type=click.Choice(SCHOOLS), default=None, help="Only sources of this school.")
@click.option("--years", default="", metavar="FROM-TO", help="Only sources of these years, e.g. 1680-1720.")
@click.option("--open", "only_open", is_flag=True, help="Only open questions: entries whose readings are all doubtful.")
@click.option("--sources", "list_sources", is_flag=True, help="List the sources and stop.")
@click.option("--sheet", "sheet", type=click.Path(dir_okay=False, path_type=Path), default=None,
              help="Print the table as a PDF with each sign engraved as it is played, instead.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON for machines.")
def command(words: tuple[str, ...], sign: str, ornament: str, source: str, school: str | None, years: str,
            only_open: bool, list_sources: bool, sheet: Path | None, as_json: bool) -> None:  # fmt: skip
    """Look up WHAT, a sign or an ornament, in 45 sources from 1535 to 1789.

    \b
    gracewright signs +                      what a plain cross means, and where
    gracewright signs mordent                how each source signs the mordent
    gracewright signs --source jsbach1720    one source's whole table
    """
    if list_sources:
        show_sources(as_json)
        return
    what = " ".join(words)
    if what and not sign and not ornament:
        sign, ornament = sort_out(what)
    span = parse_years(years)
    found = look_up(sign, ornament=ornament, source=source, school=school or "", years=span)
    if only_open:
        found = tuple(meaning for meaning in found if meaning.entry.open_question)
    if sheet is not None:
        print_sheet(found, sheet, what or sign or ornament or source or "all signs")
        return
    if as_json:
        click.echo(json.dumps([as_dict(meaning) for meaning in found], indent=1, ensure_ascii=False))
        return
    show(found, sign)


def print_sheet(found: Sequence[Meaning], path: Path, subject: str) -> None:
    """The sheet of signs, written whole or not at all. Raises BadInput where there is nothing to print."""
    if not found:
        raise BadInput("no source has it, so there is nothing to print", remedy="ask for less")
    data = source_sheet(found, subtitle=subject)
    with in_place_of(path) as unfinished:
        unfinished.write_bytes(data)
    click.echo(f"The sheet lies in {path}.")


def sort_out(what: str) -> tuple[str, str]:
    """Whether a word names a sign or an ornament: (sign, ornament). Raises BadInput where it is neither.

    >>> sort_out("+"), sort_out("port de voix")
    (('+', ''), ('', 'port de voix'))
    """
    for sign, ornament in (("", what), (what, "")):
        try:
            if look_up(sign, ornament=ornament):
                return sign, ornament
        except BadInput:
            continue
    names = (*(kind.words for kind in kinds().values()), *vocabulary(), *period_names())
    known = {word.lower(): word for word in names}
    near = [known[word] for word in get_close_matches(what.lower(), known, n=5, cutoff=0.6)]
    remedy = f"did you mean {', '.join(near)}?" if near else "try +, tr, comma, turn, mordent or port de voix"
    raise BadInput(f"{what!r} is neither a sign nor an ornament that we know", remedy=remedy)


def period_names() -> list[str]:
    """Every name that a source gives an ornament."""
    return [name.text for source in sources() for entry in load_source(source).entries for name in entry.names]


def parse_years(text: str) -> tuple[int, int] | None:
    """``1680-1720`` or ``1720``. Raises BadInput."""
    if not text:
        return None
    match = re.fullmatch(r"(\d{4})(?:\s*[-–]\s*(\d{4}))?", text.strip())
    if match is None:
        raise BadInput(f"years are written 1680-1720, not {text!r}")
    return int(match[1]), int(match[2] or match[1])


def console() -> Console:
    """The terminal's own width; wide enough for a table where the output is no terminal."""
    plain = Console()
    return plain if plain.is_terminal else Console(width=PIPED_WIDTH)


def show(found: Sequence[Meaning], sign: str) -> None:
    out = console()
    if not found:
        out.print("No source has it.")
        return
    warning = trap(found, sign)
    if warning:
        out.print(warning, style="bold")
    table = Table(show_lines=False, pad_edge=False)
    for title, least in COLUMNS:
        table.add_column(title, min_width=least, overflow="fold")
    for meaning in found:
        for row in rows(meaning):
            table.add_row(*row)
    out.print(table)
    words = {kind: kinds()[kind].words for meaning in found for kind in meaning.entry.kinds if kind == "unread"}
    if words:
        out.print("Some signs are described in words only: their shape was not seen.")
    out.print("Shares of the written note stand in brackets where notes differ; … strokes go on as long as the note.")


def trap(found: Sequence[Meaning], sign: str) -> str:
    """A warning where one sign has several meanings; empty otherwise.

    >>> trap(look_up("+"), "+").split(":")[0]
    'This sign means different things'
    """
    by_grace: dict[str, list[str]] = {}
    for meaning in found:
        if meaning.entry.means is not None:
            by_grace.setdefault(meaning.entry.means.id, []).append(meaning.source.id)
    if not sign or len(by_grace) < 2:
        return ""
    told = [f"{vocabulary()[grace].title} in {', '.join(dict.fromkeys(ids))}" for grace, ids in by_grace.items()]
    return f"This sign means different things: {'; '.join(told)}."


def rows(meaning: Meaning) -> list[tuple[str, ...]]:
    """Table rows of an entry: one for each reading worth showing, the first with its names."""
    entry, source = meaning.entry, meaning.source
    names = " / ".join(name.text for name in entry.names)
    is_a = vocabulary()[entry.means.id].title if entry.means else "—"
    readings = entry.sure or entry.readings
    head = (source.id, source.region.split(" (")[0], entry.sign, names, is_a)
    if not readings:
        return [(*head, entry.rules[0] if entry.rules else "", meaning.doubt or "read")]
    table: list[tuple[str, ...]] = []
    for i, reading in enumerate(readings):
        lead = head if i == 0 else ("", "", "", "", "")
        told = spelled(reading) + (f" — {reading.remark}" if reading.remark and len(readings) > 1 else "")
        table.append((*lead, told, sureness(entry, reading)))
    if entry.open_question and len(readings) == 1:
        other = common_practice(entry, readings[0])
        if other:
            table.append(("", "", "", "", "", f"or, as common practice has it: {other}", ""))
    return table


def common_practice(entry: Entry, reading: Reading) -> str:
    """What common practice makes of an entry's ornament on its example note, in note names; empty where it is the
    reading itself or nothing."""
    if entry.means is None:
        return ""
    key = Key.parse("C major")
    place = Context(
        reading.pitch, Fraction(0), reading.value, key, 0,
        previous=beside(reading.pitch, reading.previous), previous_length=Fraction(1),
        following=beside(reading.pitch, reading.following),
    )  # fmt: skip
    notes = realise(replace(entry.means, entry=""), place).notes
    steps = [note.pitch.diatonic - reading.pitch.diatonic for note in notes]
    printed = [mark for mark in reading.notes if mark.step is not None]
    lengths = [mark.share * reading.value for mark in printed]
    if steps == [mark.step for mark in printed] and [note.length for note in notes] == lengths:
        return ""
    shortest = min(note.length for note in notes)
    names = [note.pitch.pitch_class + ("" if note.length == shortest else f"[{note.length / reading.value}]")
             for note in notes]  # fmt: skip
    return " ".join(names if len(names) < 10 else [*names[:5], "…", *names[-3:]])


def sureness(entry: Entry, reading: Reading) -> str:
    if entry.open_question:
        return "open question"
    return {"A": "exact", "A2": "exact, later print", "B": "read, lengths ours", "C": "from memory"}.get(
        reading.grade, "doubtful"
    )


def spelled(reading: Reading) -> str:
    """A reading on its example note, in note names.

    >>> spelled(load_source("jsbach1720").entry("trillo").readings[0])
    'D C D C D C[3/8]'
    """
    shortest = min(mark.share for mark in reading.notes)
    parts = [f"({letter(reading.pitch, mark.step)}[{mark.share} of the note before])" for mark in reading.before]
    for mark in reading.notes:
        share = "" if mark.share == shortest or mark.share == 1 else f"[{mark.share}]"
        parts.append(letter(reading.pitch, mark.step) + share)
    if len(parts) > 9:
        parts = [*parts[:5], "…", *parts[-3:]]
    elif reading.flexible:
        parts.append("…")
    return " ".join(parts)


def beside(pitch: Pitch, step: int | None) -> Pitch | None:
    return None if step is None else Pitch.at(pitch.diatonic + step)


def letter(pitch: Pitch, step: int | None) -> str:
    return "rest" if step is None else Pitch.at(pitch.diatonic + step).pitch_class


def show_sources(as_json: bool) -> None:
    books = [load_source(name) for name in sources()]
    if as_json:
        click.echo(json.dumps([source_dict(book) for book in books], indent=1, ensure_ascii=False))
        return
    table = Table(pad_edge=False)
    for title in ("id", "year", "author", "title", "region", "instrument", "entries", "known from"):
        table.add_column(title, overflow="fold")
    for book in books:
        known = {"text": "the text", "memory": "memory", "doubtful": "thin evidence"}[book.known]
        table.add_row(book.id, book.year, book.author, book.title, book.region, book.instrument,
                      str(len(book.entries)), known)  # fmt: skip
    console().print(table)


def source_dict(book: Source) -> dict[str, Any]:
    return {
        "id": book.id, "author": book.author, "title": book.title, "year": book.year, "region": book.region,
        "school": book.school, "instrument": book.instrument, "known": book.known, "entries": len(book.entries),
    }  # fmt: skip


def as_dict(meaning: Meaning) -> dict[str, Any]:
    """An entry as JSON has it."""
    entry = meaning.entry
    return {
        "source": meaning.source.id,
        "year": meaning.source.year,
        "region": meaning.source.region,
        "entry": entry.key,
        "names": [{"lang": name.lang, "text": name.text} for name in entry.names],
        "sign": {"words": entry.sign, "kinds": list(entry.kinds), "smufl": list(entry.glyphs),
                 "musicxml": list(entry.marks)},
        "grace": entry.means.id if entry.means else None,
        "on": entry.on,
        "neighbour": entry.neighbour_words or entry.neighbour,
        "known": entry.known,
        "open_question": entry.open_question,
        "rules": list(entry.rules),
        "when": list(entry.when),
        "readings": [
            {"number": r.number, "grade": r.grade, "known": r.known, "note": str(r.pitch), "quarters": str(r.value),
             "timing": r.timing, "start": r.start, "notes": [[m.step, str(m.share)] for m in r.notes],
             "before": [[m.step, str(m.share)] for m in r.before], "flexible": r.flexible, "remark": r.remark}
            for r in entry.readings
        ],
    }  # fmt: skip
