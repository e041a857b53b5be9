"""``gracewright ornament``: the main job."""

from __future__ import annotations

import json
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import Any

import click
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

from gracewright.cli.many import do_many, several
from gracewright.cli.options import (
    exact,
    line_options,
    manner_options,
    many_options,
    pieces_argument,
    pitch_options,
    read_plan_file,
)
from gracewright.cli.summary import summary
from gracewright.errors import BadInput
from gracewright.graces.heard import open_piece
from gracewright.job import MORE_RESULTS, RESULTS, Wishes, Work, demo_piece, in_place_of, work_on, write_results
from gracewright.score import is_musicxml, read, strip_ours
from gracewright.taste import load_manner, plan_json


@click.command("ornament")
@pieces_argument
@click.option("--demo", is_flag=True, help="Use the bundled demo movement instead of a piece of yours.")
@manner_options
@line_options
@pitch_options
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=None,
              help="Folder for the results. Default: the piece's name with the manner, beside the piece.")
@click.option("--plan", "plan_file", type=click.Path(exists=True, dir_okay=False, path_type=Path), default=None,
              help="Play this plan (a plan.txt you have edited) instead of making one.")
@click.option("--with-part", "second", default="", metavar="NAME",
              help="A second melody part to ornament beside the first: both agree and keep out of each other's way.")
@click.option("--anew", is_flag=True, help="With --plan: plan again, holding only to its keep and never lines.")
@click.option("--signs", type=click.Choice(["read", "ignore"]), default="read", show_default=True,
              help="Honour the signs on the page, or plan as if it carried none.")
@click.option("--only", multiple=True, type=click.Choice([*RESULTS, *MORE_RESULTS]),
              help="Make only this result; may be repeated.")
@click.option("--strip-ours", "strip", is_flag=True,
              help="Only take our signs out of PIECES again: leaves NAME-plain.musicxml.")
@click.option("--paper", type=click.Choice(["a4", "letter"]), default="a4", show_default=True,
              help="Paper of the sheet.")
@click.option("--continuo/--no-continuo", default=True, show_default=True, help="Bass and chords in the sound.")
@click.option("--unequal/--equal", default=True, show_default=True,
              help="Let the sound follow the manner's rule of unequal notes.")
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON; write files only if --out is given.")
@many_options
def command(pieces: tuple[Path, ...], demo: bool, out: Path | None, plan_file: Path | None, anew: bool,
            only: tuple[str, ...], strip: bool, as_json: bool, again: bool, quiet: bool, tempo: float | None,
            **dials: Any) -> None:  # fmt: skip
    """Ornament PIECES (MusicXML, MEI, Humdrum, ABC or MIDI) and leave the results in a folder for each.

    Give one file, several, or a folder of them.

    \b
    signs.musicxml   your score with the signs added
    played.musicxml  the line written out in notes, repeats unfolded
    sheet.pdf        plain and played line on parallel staves over the bass, with reasons
    sound.ogg        the plain line, then the ornamented one
    plan.txt         every choice with its reason; edit it and give it back with --plan
    """
    if bool(pieces) == demo:
        raise BadInput("give a piece, several, or a folder; or --demo for the bundled movement")
    if strip:
        if several(pieces):
            do_many(pieces, partial(strip_one, out=out), lambda path: (plain_of(path, out),), again=again, quiet=quiet)
        else:
            click.echo(strip_one(pieces[0], out))
        return
    wishes = Wishes(tempo=exact(tempo), **dials)
    results = only or RESULTS
    if several(pieces):
        if plan_file or as_json:
            raise BadInput("--plan and --json go with one piece alone")
        manner = load_manner(wishes.manner).id if wishes.manner else "ornamented"
        do_many(
            pieces, partial(ornament, wishes=wishes, manner=manner, out=out, results=results),
            lambda path: tuple(folder_of(path, manner, out) / name for name in results), again=again, quiet=quiet,
        )  # fmt: skip
    else:
        one(pieces[0] if pieces else demo_piece(), wishes, out, plan_file, anew, results, as_json, quiet)


def plain_of(path: Path, out: Path | None) -> Path:
    """Where a score without our signs goes."""
    return (out or path.parent) / f"{path.stem}-plain.musicxml"


def strip_one(path: Path, out: Path | None) -> str:
    """Write a score without what we added, and a sentence that says where. Raises BadInput for what is no score."""
    read(path)
    data = path.read_bytes()
    if not is_musicxml(data):
        raise BadInput("only MusicXML carries our signs", file=path.name, remedy="give a signs.musicxml of ours")
    clean = strip_ours(data, path.name)
    target = plain_of(path, out)
    with in_place_of(target) as unfinished:
        unfinished.write_bytes(clean)
    return f"Without our signs: {target}"


def one(path: Path, wishes: Wishes, out: Path | None, plan_file: Path | None, anew: bool, results: tuple[str, ...],
        as_json: bool, quiet: bool) -> None:  # fmt: skip
    """A single piece, with its summary on the terminal."""
    work = work_on(open_piece(path), wishes, plan_text=read_plan_file(plan_file))
    if anew and plan_file:
        second = work.partner.plan if work.partner is not None else None
        wishes = replace(wishes, transpose="", second=second.solo if second is not None else wishes.second)
        misfits = work.plan.remarks
        work = work_on(work.piece, wishes, locks=work.plan, studied=work.study,
                       locks_second=second)  # fmt: skip
        work = replace(work, remarks=tuple(dict.fromkeys((*work.remarks, *misfits))))
    if as_json:
        second = work.partner.plan if work.partner is not None else None
        click.echo(json.dumps(plan_json(work.plan, second), indent=1, ensure_ascii=False))
    elif not quiet:
        click.echo(summary(work))
    if out is not None or not as_json:
        beside = Path(path.name) if path == demo_piece() else path
        folder = out or folder_of(beside, work.manner.id if wishes.manner else "ornamented", None)
        write_with_progress(work, folder, results, quiet or as_json)
        if not as_json:
            click.echo(f"The results lie in {folder}.")
    if work.review.faults:
        raise click.exceptions.Exit(1)


def ornament(path: Path, wishes: Wishes, manner: str, out: Path | None, results: tuple[str, ...]) -> str:
    """One of many: the results in its folder, and a sentence."""
    work = work_on(open_piece(path), wishes)
    for _ in write_results(work, folder_of(path, manner, out), results):
        pass
    graces = sum(1 for choice in work.plan.choices if choice.grace)
    faults = len(work.review.faults)
    return f"{len(work.piece.bars)} bars, {graces} graces" + (f", {faults} faults" if faults else "")


def folder_of(path: Path, manner: str, out: Path | None) -> Path:
    """Where the results of a piece go."""
    return (out or path.parent) / f"{path.stem}-{manner}"


def write_with_progress(work: Work, folder: Path, results: tuple[str, ...], quiet: bool) -> None:
    columns = (TextColumn("{task.description}"), BarColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True, disable=quiet) as progress:
        task = progress.add_task("results", total=len(results))
        for name in write_results(work, folder, results):
            progress.update(task, advance=1, description=name)
