"""``gracewright study``: what the music is doing."""

from __future__ import annotations

import json
from pathlib import Path

import click

from gracewright.cli.options import line_options, piece_argument
from gracewright.errors import BadInput
from gracewright.score import read
from gracewright.study import describe, study, study_json


@click.command("study")
@piece_argument
@line_options
@click.option("--json", "as_json", is_flag=True, help="Print one JSON object, for machines (docs/study-json.md).")
def command(piece: Path | None, as_json: bool, solo: str, bass: str) -> None:
    """Say what the music in PIECE is doing: keys, cadences, phrases, sequences, repeats."""
    if piece is None:
        raise BadInput("give one piece to study")
    score = read(piece)
    found = study(score, solo=solo, bass=bass)
    if as_json:
        click.echo(json.dumps(study_json(found, score), indent=1, ensure_ascii=False))
    else:
        click.echo(describe(found, score))
