"""``gracewright study``: what the music is doing."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

import click
from rich.console import Console

from gracewright.cli.many import do_many, several
from gracewright.cli.options import line_options, many_options, pieces_argument
from gracewright.errors import BadInput
from gracewright.graces.heard import open_piece
from gracewright.job import demo_piece, in_place_of
from gracewright.sheet import PAPERS, study_sheet
from gracewright.study import describe, overview_svg, study, study_json


@click.command("study")
@pieces_argument
@click.option("--demo", is_flag=True, help="Study the bundled demo movement instead of a piece of yours.")
@line_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, for machines (docs/study-json.md).")
@click.option("--sheet", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.pdf",
              help="Write the annotated score: numerals, figures, keys, cadences, phrases, sequences, dissonances.")
@click.option("--picture", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.svg",
              help="Write one picture of the whole piece.")
@click.option("--paper", type=click.Choice(tuple(PAPERS)), default="a4", show_default=True, help="Paper of the sheet.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=None,
              help="Folder for NAME-study.txt or NAME-study.json of each piece. Default with many: beside each.")
@many_options
def command(pieces: tuple[Path, ...], demo: bool, as_json: bool, sheet: Path | None, picture: Path | None, paper: str,
            out: Path | None, again: bool, quiet: bool, solo: str, bass: str) -> None:  # fmt: skip
    """Say what the music in PIECES is doing: keys, cadences, phrases, sequences, repeats.

    Give one file, several, or a folder of them.
    """
    if bool(pieces) == demo:
        raise BadInput("give a piece to study, several, or a folder; or --demo for the bundled movement")
    if several(pieces) or (pieces and out is not None):
        if sheet is not None or picture is not None:
            raise BadInput("--sheet and --picture go with one piece alone, without --out")
        do_many(pieces, partial(one_of_many, solo=solo, bass=bass, as_json=as_json, out=out),
                lambda path: (target_of(path, as_json, out),), again=again, quiet=quiet)  # fmt: skip
        return
    score = open_piece(pieces[0] if pieces else demo_piece())
    found = study(score, solo=solo, bass=bass)
    if sheet is not None:
        with Console(stderr=True).status("Engraving and setting the pages"):
            _write(sheet, study_sheet(score, found, paper=paper), "The annotated score")
    if picture is not None:
        _write(picture, overview_svg(found, score).encode(), "The picture")
    if as_json:
        click.echo(json.dumps(study_json(found, score), indent=1, ensure_ascii=False))
    elif sheet is None and picture is None:
        click.echo(describe(found, score))


def target_of(path: Path, as_json: bool, out: Path | None) -> Path:
    """Where the study of one of many goes."""
    return (out or path.parent) / f"{path.stem}-study.{'json' if as_json else 'txt'}"


def one_of_many(path: Path, solo: str, bass: str, as_json: bool, out: Path | None) -> str:
    """The study of one of many pieces, written, and a sentence."""
    score = open_piece(path)
    found = study(score, solo=solo, bass=bass)
    told = json.dumps(study_json(found, score), indent=1, ensure_ascii=False) if as_json else describe(found, score)
    with in_place_of(target_of(path, as_json, out)) as unfinished:
        unfinished.write_text(told + "\n", encoding="utf-8")
    return f"{found.home}, {len(score.bars)} bars, {len(found.cadences)} cadences"


def _write(target: Path, content: bytes, what: str) -> None:
    with in_place_of(target) as unfinished:
        unfinished.write_bytes(content)
    click.echo(f"{what}: {target}", err=True)
