"""``gracewright review``: judge an ornamented version, a student's or one's own, beside the plain piece."""

from __future__ import annotations

import dataclasses
import json
from fractions import Fraction
from pathlib import Path

import click

from gracewright.cli.options import exact, line_options
from gracewright.instruments import LEVELS, instruments, load_instrument
from gracewright.review import Finding, Review, review, student_version
from gracewright.score import Piece, read
from gracewright.study import study

SCORE = click.Path(exists=True, dir_okay=False, path_type=Path)


@click.command("review")
@click.argument("plain", type=SCORE)
@click.argument("played", type=SCORE)
@line_options
@click.option("--line", default="", help="Name or id of the ornamented line in PLAYED, if it is not found by itself.")
@click.option("--instrument", default="alto-recorder", show_default=True, type=click.Choice(instruments()),
              metavar="NAME", help=f"Who plays: {', '.join(instruments())}.")
@click.option("--level", default="intermediate", show_default=True, type=click.Choice(LEVELS),
              help="How quick the player's fingers are.")
@click.option("--signs-by", default="", metavar="SOURCE",
              help="Whose teaching counts, e.g. danglebert1689 (see: gracewright signs).")
@click.option("--tempo", default=None, type=click.FloatRange(10, 400), metavar="N",
              help="Quarter notes a minute. Default: the page's, else a guess.")
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON, for machines.")
def command(plain: Path, played: Path, solo: str, bass: str, line: str, instrument: str, level: str, signs_by: str,
            tempo: float | None, as_json: bool) -> None:  # fmt: skip
    """Judge the ornaments in PLAYED, a score of the piece PLAIN with its line ornamented.

    \b
    The two scores must have the same bars; PLAYED may have the repeats written out. Graces may be written in notes, as
    small notes or as signs. Each finding says where, what, whose rule it is and what to do. Faults are what the
    sources or the ear forbid; remarks are for thought.

    The exit code is 1 when faults were found.
    """
    piece, version_of = read(plain), read(played)
    speed = exact(tempo)
    found = study(piece, solo=solo, bass=bass, tempo=speed)
    player = load_instrument(instrument)
    version = student_version(piece, found, version_of, player, level, line=line, source=signs_by, tempo=speed)
    judged = review(piece, found, version, player, level, source=signs_by, tempo=speed)
    if as_json:
        click.echo(json.dumps(_json(judged), indent=1, ensure_ascii=False))
    else:
        click.echo(_words(judged, piece))
    if judged.faults:
        raise click.exceptions.Exit(1)


def _json(judged: Review) -> dict[str, object]:
    rows = [
        {key: str(value) if isinstance(value, Fraction) else value for key, value in dataclasses.asdict(one).items()}
        for one in judged.findings
    ]
    return {"faults": len(judged.faults), "findings": rows}


def _words(judged: Review, piece: Piece) -> str:
    faults, remarks = judged.faults, [one for one in judged.findings if one.kind == "remark"]
    if not judged.findings:
        return "No faults, and nothing to remark."
    lines = [f"{_counted(len(faults), 'fault')}, {_counted(len(remarks), 'remark')}.".capitalize()]
    for title, rows in (("Faults:", faults), ("Remarks:", remarks)):
        if rows:
            lines += ["", title, *(_line(one, piece) for one in rows)]
    return "\n".join(lines)


def _line(one: Finding, piece: Piece) -> str:
    bar = piece.bars[piece.by_id[one.note].bar]
    beat = piece.beat_of(one.onset, bar.index)
    again = "" if one.time_through == 1 else f", time {one.time_through}"
    return (f"  bar {one.bar}, beat {float(beat):g}{again}: {one.what} "
            f"{one.remedy} [{one.rule}; {one.source}]")  # fmt: skip


def _counted(count: int, noun: str) -> str:
    return f"{count or 'no'} {noun}{'' if count == 1 else 's'}"
