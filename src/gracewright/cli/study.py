"""``gracewright study``: what the music is doing."""

from __future__ import annotations

import json
from pathlib import Path

import click

from gracewright.cli.options import line_options, piece_argument
from gracewright.errors import BadInput
from gracewright.job import demo_piece
from gracewright.score import read
from gracewright.study import describe, study, study_json


@click.command("study")
@piece_argument
@click.option("--demo", is_flag=True, help="Study the bundled demo movement instead of a piece of yours.")
@line_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, for machines (docs/study-json.md).")
def command(piece: Path | None, demo: bool, as_json: bool, solo: str, bass: str) -> None:
    """Say what the music in PIECE is doing: keys, cadences, phrases, sequences, repeats."""
    if (piece is None) == (not demo):
        raise BadInput("give one piece to study, or --demo for the bundled movement")
    score = read(piece if piece is not None else demo_piece())
    found = study(score, solo=solo, bass=bass)
    if as_json:
        click.echo(json.dumps(study_json(found, score), indent=1, ensure_ascii=False))
    else:
        click.echo(describe(found, score))
