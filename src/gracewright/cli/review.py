"""``gracewright review``: judge an ornamented version, a student's or one's own, beside the plain piece."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Sequence
from fractions import Fraction
from functools import partial
from pathlib import Path

import click

from gracewright.cli.many import do_many, pieces_of, several
from gracewright.cli.options import Span, exact, instrument_option, line_options, many_options
from gracewright.errors import BadInput
from gracewright.graces.heard import open_piece
from gracewright.instruments import LEVELS, load_instrument
from gracewright.job import in_place_of
from gracewright.review import Finding, Review, review, student_version
from gracewright.score import Piece, beat_words, read
from gracewright.study import study

SCORE = click.Path(exists=True, path_type=Path)


@dataclasses.dataclass(frozen=True, slots=True)
class Asked:
    """How to judge: the lines, the player, whose teaching counts, and whether JSON is wanted."""

    solo: str
    bass: str
    line: str
    instrument: str
    level: str
    signs_by: str
    tempo: Fraction | None
    as_json: bool


@click.command("review")
@click.argument("plain", type=SCORE)
@click.argument("played", nargs=-1, required=True, type=SCORE)
@line_options
@click.option("--line", default="", help="Name or id of the ornamented line in PLAYED, if it is not found by itself.")
@instrument_option
@click.option("--level", default="intermediate", show_default=True, type=click.Choice(LEVELS),
              help="How quick the player's fingers are.")
@click.option("--signs-by", default="", metavar="SOURCE",
              help="Whose teaching counts, e.g. danglebert1689 (see: gracewright signs).")
@click.option("--tempo", default=None, type=Span(10, 400), metavar="N",
              help="Quarter notes a minute. Default: the page's, else a guess.")
@click.option("--json", "as_json", is_flag=True, help="Give the findings as JSON, for machines.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=None,
              help="With many scores: the folder for their reviews. Default: beside each.")
@many_options
def command(plain: Path, played: tuple[Path, ...], solo: str, bass: str, line: str, instrument: str, level: str,
            signs_by: str, tempo: float | None, as_json: bool, out: Path | None, again: bool,
            quiet: bool) -> None:  # fmt: skip
    """Judge the ornaments in PLAYED, a score of the piece PLAIN with its line ornamented.

    \b
    The two scores must have the same bars; PLAYED may have the repeats written out. Graces may be written in notes, as
    small notes or as signs. Each finding says where, what, whose rule it is and what to do. Faults are what the
    sources or the ear forbid; remarks are for thought.

    PLAYED may be many scores or a folder of them (a class and its piece); PLAIN may be a folder too: then scores belong
    together by their names, minuet.musicxml and minuet-anna.musicxml. Each review is left as NAME-review.txt.

    The exit code is 1 when faults were found.
    """
    asked = Asked(solo, bass, line, instrument, level, signs_by, exact(tempo), as_json)
    if plain.is_dir() or several(played):
        partners = {path: partner(path, pieces_of([plain])) for path in pieces_of(played)}
        do_many(played, partial(one_of_many, partners=partners, asked=asked, out=out),
                lambda path: (target_of(path, as_json, out),), again=again, quiet=quiet,
                inputs=lambda path: (path, *([there] if (there := partners[path]) else [])))  # fmt: skip
        return
    judged, piece = judge(plain, played[0], asked)
    if not quiet:
        click.echo(_told(judged, piece, as_json), nl=False)
    if judged.faults:
        raise click.exceptions.Exit(1)


def judge(plain: Path, played: Path, asked: Asked) -> tuple[Review, Piece]:
    """The review of a played score, and the plain piece. Raises BadInput."""
    piece, version_of = open_piece(plain), read(played)
    found = study(piece, solo=asked.solo, bass=asked.bass, tempo=asked.tempo)
    player = load_instrument(asked.instrument)
    version = student_version(piece, found, version_of, player, asked.level, line=asked.line, source=asked.signs_by,
                              tempo=asked.tempo)  # fmt: skip
    return review(piece, found, version, player, asked.level, source=asked.signs_by, tempo=asked.tempo), piece


def partner(played: Path, plains: Sequence[Path]) -> Path | None:
    """The plain score that a played one belongs to: the only one, else the one of its name, else the one whose name its
    own begins with (the longest).

    >>> plains = [Path("a/minuet.krn"), Path("a/minuet-2.mei")]
    >>> partner(Path("b/minuet-2-anna.mxl"), plains).name, partner(Path("b/gigue.mxl"), plains)
    ('minuet-2.mei', None)
    """
    if len(plains) == 1:
        return plains[0]
    fitting = [path for path in plains if played.stem == path.stem or played.stem.startswith(f"{path.stem}-")]
    return max(fitting, key=lambda path: len(path.stem), default=None)


def target_of(played: Path, as_json: bool, out: Path | None) -> Path:
    """Where the review of one of many goes."""
    return (out or played.parent) / f"{played.stem}-review.{'json' if as_json else 'txt'}"


def one_of_many(played: Path, partners: dict[Path, Path | None], asked: Asked, out: Path | None) -> str:
    """The review of one of many, written, and a sentence."""
    plain = partners[played]
    if plain is None:
        raise BadInput("no plain score goes with it", file=played.name,
                       remedy="begin its name with that of the plain score and a hyphen")  # fmt: skip
    judged, piece = judge(plain, played, asked)
    with in_place_of(target_of(played, asked.as_json, out)) as unfinished:
        unfinished.write_text(_told(judged, piece, asked.as_json), encoding="utf-8")
    return _summed(judged)


def _told(judged: Review, piece: Piece, as_json: bool) -> str:
    words = json.dumps(_json(judged), indent=1, ensure_ascii=False) if as_json else _words(judged, piece)
    return f"{words}\n"


def _json(judged: Review) -> dict[str, object]:
    rows = [
        {key: str(value) if isinstance(value, Fraction) else value for key, value in dataclasses.asdict(one).items()}
        for one in judged.findings
    ]
    return {"faults": len(judged.faults), "findings": rows}


def _words(judged: Review, piece: Piece) -> str:
    faults, remarks = judged.faults, [one for one in judged.findings if one.kind == "remark"]
    lines = [_summed(judged)]
    for title, rows in (("Faults:", faults), ("Remarks:", remarks)):
        if rows:
            lines += ["", title, *(_line(one, piece) for one in rows)]
    return "\n".join(lines)


def _summed(judged: Review) -> str:
    if not judged.findings:
        return "No faults, and nothing to remark."
    faults = len(judged.faults)
    return f"{_counted(faults, 'fault')}, {_counted(len(judged.findings) - faults, 'remark')}.".capitalize()


def _line(one: Finding, piece: Piece) -> str:
    bar = piece.bars[piece.by_id[one.note].bar]
    beat = piece.beat_of(one.onset, bar.index)
    again = "" if one.time_through == 1 else f", time {one.time_through}"
    return (f"  bar {one.bar}, beat {beat_words(beat)}{again}: {one.what} "
            f"{one.remedy} [{one.rule}; {one.source}]")  # fmt: skip


def _counted(count: int, noun: str) -> str:
    return f"{count or 'no'} {noun}{'' if count == 1 else 's'}"
