"""``gracewright ornament``: the main job."""

from __future__ import annotations

import json
from pathlib import Path

import click
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from gracewright.cli.options import exact, line_options, manner_options, piece_argument, pitch_options
from gracewright.cli.summary import summary
from gracewright.errors import BadInput
from gracewright.job import RESULTS, Wishes, Work, demo_piece, work_on, write_results
from gracewright.score import read
from gracewright.taste import plan_json


@click.command("ornament")
@piece_argument
@click.option("--demo", is_flag=True, help="Use the bundled demo movement instead of a piece of yours.")
@manner_options
@line_options
@pitch_options
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=None,
              help="Folder for the results. Default: the piece's name with the manner, beside it.")
@click.option("--plan", "plan_file", type=click.Path(exists=True, dir_okay=False, path_type=Path), default=None,
              help="Play this plan (a plan.txt you have edited) instead of making one.")
@click.option("--signs", type=click.Choice(["read", "ignore"]), default="read", show_default=True,
              help="Honour the signs on the page, or plan as if it carried none.")
@click.option("--only", multiple=True, type=click.Choice(RESULTS), help="Make only this result; may be repeated.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True,
              help="Paper of the sheet.")
@click.option("--continuo/--no-continuo", default=True, show_default=True, help="Bass and chords in the sound.")
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON; write files only if --out is given.")
@click.option("--quiet", is_flag=True, help="No summary and no progress bar.")
def command(piece: Path | None, demo: bool, out: Path | None, plan_file: Path | None, signs: str, only: tuple[str, ...],
            paper: str, continuo: bool, as_json: bool, quiet: bool, manner: str, instrument: str, level: str,
            richness: float, signs_by: str, tempo: float | None, transpose: str, solo: str, bass: str, a: float,
            temperament: str) -> None:  # fmt: skip
    """Ornament PIECE (MusicXML, MEI, Humdrum, ABC or MIDI) and leave the results in a folder.

    \b
    signs.musicxml   your score with the signs added
    played.musicxml  the line written out in notes, repeats unfolded
    sheet.pdf        plain and played line on parallel staves over the bass, with reasons
    sound.ogg        the plain line, then the ornamented one
    plan.txt         every choice with its reason; edit it and give it back with --plan
    """
    if (piece is None) == (not demo):
        raise BadInput("give one piece, or --demo for the bundled movement")
    wishes = Wishes(
        manner=manner, instrument=instrument, level=level, richness=richness,
        signs="ignore" if signs == "ignore" else "read", signs_by=signs_by, solo=solo, bass=bass, tempo=exact(tempo),
        a=a, temperament=temperament, continuo=continuo, transpose=transpose, paper=paper,
    )  # fmt: skip
    path = piece if piece is not None else demo_piece()
    work = work_on(read(path), wishes, plan_text=plan_file.read_text(encoding="utf-8") if plan_file else "")
    if as_json:
        click.echo(json.dumps(plan_json(work.plan), indent=1, ensure_ascii=False))
    elif not quiet:
        click.echo(summary(work))
    if out is not None or not as_json:
        folder = out or path.with_name(f"{path.stem}-{work.manner.id}")
        write_with_progress(work, folder, only or RESULTS, quiet or as_json)
        if not as_json:
            click.echo(f"The results lie in {folder}.")
    if work.review.faults:
        raise click.exceptions.Exit(1)


def write_with_progress(work: Work, folder: Path, results: tuple[str, ...], quiet: bool) -> None:
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, transient=True, disable=quiet) as progress:
        task = progress.add_task("results", total=len(results))
        for name in write_results(work, folder, results):
            progress.update(task, advance=1, description=name)
