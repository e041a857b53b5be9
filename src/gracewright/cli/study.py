"""``gracewright study``: what the music is doing."""

from __future__ import annotations

import json
from pathlib import Path

import click
from rich.console import Console

from gracewright.cli.options import line_options, piece_argument
from gracewright.errors import BadInput
from gracewright.job import demo_piece, in_place_of
from gracewright.score import read
from gracewright.sheet import PAPERS, study_sheet
from gracewright.study import describe, overview_svg, study, study_json


@click.command("study")
@piece_argument
@click.option("--demo", is_flag=True, help="Study the bundled demo movement instead of a piece of yours.")
@line_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, for machines (docs/study-json.md).")
@click.option("--sheet", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.pdf",
              help="Write the annotated score: numerals, figures, keys, cadences, phrases, sequences, dissonances.")
@click.option("--picture", type=click.Path(dir_okay=False, path_type=Path), metavar="FILE.svg",
              help="Write one picture of the whole piece.")
@click.option("--paper", type=click.Choice(tuple(PAPERS)), default="a4", show_default=True, help="Paper of the sheet.")
def command(piece: Path | None, demo: bool, as_json: bool, sheet: Path | None, picture: Path | None, paper: str,
            solo: str, bass: str) -> None:  # fmt: skip
    """Say what the music in PIECE is doing: keys, cadences, phrases, sequences, repeats."""
    if (piece is None) == (not demo):
        raise BadInput("give one piece to study, or --demo for the bundled movement")
    score = read(piece if piece is not None else demo_piece())
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


def _write(target: Path, content: bytes, what: str) -> None:
    with in_place_of(target) as unfinished:
        unfinished.write_bytes(content)
    click.echo(f"{what}: {target}", err=True)
