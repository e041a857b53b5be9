"""``gracewright learn``: fit a manner to a folder of scores that carry graces."""

from __future__ import annotations

import importlib
import os
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

import click
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from gracewright.cli.many import pieces_of
from gracewright.errors import BadInput
from gracewright.graces import Grace
from gracewright.instruments import load_instrument
from gracewright.review.written import graces_written
from gracewright.score import read
from gracewright.study import study
from gracewright.taste import Manner, load_manner
from gracewright.taste.learning import Learned, Marked, fit, marked_score, marked_with, without_graces
from gracewright.taste.manner_text import manner_text, report, weights_plot

Read = tuple[str, tuple[Marked, ...] | str]
"""A file's name with what it teaches, or the sentence that says why it cannot be read."""
OTHER: Final = Grace("passing-notes")
"""Stands for a change that is no grace of a manner."""


@dataclass(frozen=True, slots=True)
class Job:
    """One score to learn from; ``plain`` is the same piece without graces, empty where signs alone are to be read."""

    path: str
    plain: str
    like: str
    solo: str
    bass: str


@click.command("learn")
@click.argument("folder", type=click.Path(exists=True, file_okay=False, path_type=Path))
@click.option("--name", required=True, help="Name of the new manner; it is written to NAME.toml.")
@click.option("--like", default="german", show_default=True,
              help="Manner to start from: little evidence changes little.")
@click.option("--out", type=click.Path(file_okay=False, path_type=Path), default=Path(), help="Folder for the result.")
@click.option("--solo", default="", help="Name of the solo part, where it is the same in all scores.")
@click.option("--bass", default="", help="Name of the bass part, likewise.")
@click.option("--workers", default=0, type=click.IntRange(0, 256), metavar="N",
              help="Read scores on so many Dask workers of this machine; 0 reads them one after another.")
@click.option("--cluster", default="", metavar="ADDRESS",
              help="Use the Dask cluster at this address; its workers must see FOLDER under the same name.")
@click.option("--plot/--no-plot", default=True, show_default=True, help="Draw the strongest weights to NAME.svg.")
def command(folder: Path, name: str, like: str, out: Path, solo: str, bass: str, workers: int, cluster: str,
            plot: bool) -> None:  # fmt: skip
    """Learn a manner from the scores in FOLDER.

    Signs and small notes are read from each score. Graces that are written out in full notes are read where the plain
    score lies beside the ornamented one, whose name begins with that of the plain one and a hyphen: air.musicxml and
    air-graced.musicxml.

    \b
    NAME.toml   the manner: use it with --manner NAME.toml, read it, change it
    NAME.txt    what was learned, in words
    NAME.svg    the strongest weights of each grace
    """
    if not name.replace("-", "").replace("_", "").isalnum():
        raise BadInput(f"{name!r} cannot be the name of a manner", remedy="use letters, digits and hyphens")
    files = pieces_of([folder])
    plains = {path: plain_of(path, files) for path in files}
    jobs = [Job(str(path.resolve()), str(plain.resolve()) if plain else "", like, solo, bass)
            for path, plain in plains.items() if path not in plains.values()]  # fmt: skip
    found: list[Marked] = []
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, transient=True) as progress:
        task = progress.add_task("scores", total=len(jobs))
        for name_of, taught in _read_all(jobs, workers, cluster):
            progress.update(task, advance=1, description=name_of)
            if isinstance(taught, str):
                progress.console.print(f"left out: {taught}")
            else:
                found += [marked for marked in taught if (marked.labels != -1).any()]
    if not found:
        raise BadInput("none of these scores carries a grace", file=folder.name)
    found.sort(key=lambda marked: marked.name)
    found = list({(marked.name, marked.labels.tobytes()): marked for marked in found}.values())  # each but once
    learned = fit(found, load_manner(like))
    _write(learned, name, out, plot)
    click.echo(report(learned), nl=False)
    click.echo(f"The manner lies in {out / f'{name}.toml'}; use it with --manner {out / f'{name}.toml'}")


def plain_of(path: Path, files: Sequence[Path]) -> Path | None:
    """The plain score of an ornamented one: the one whose name its own begins with (the longest).

    >>> str(plain_of(Path("b/air-2-graced.krn"), [Path("a/air.krn"), Path("b/air-2.mei")]))
    'b/air-2.mei'
    """
    fitting = [other for other in files if path.stem.startswith(f"{other.stem}-")]
    return max(fitting, key=lambda other: (len(other.stem), other.parent == path.parent), default=None)


def _one(job: Job) -> Read:
    """Read one score; runs on a worker."""
    path, base = Path(job.path), load_manner(job.like)
    try:
        if job.plain:
            return path.name, _pair(path, Path(job.plain), base, job)
        return path.name, (marked_score(path, base, solo=job.solo, bass=job.bass),)
    except BadInput as fault:
        return path.name, str(fault)


def _pair(path: Path, plain: Path, base: Manner, job: Job) -> tuple[Marked, ...]:
    """Both scores of a pair; where only their names belong together, what each teaches by its signs."""
    try:
        return marked_pair(path, plain, base, solo=job.solo, bass=job.bass)
    except BadInput:
        return tuple(marked_score(one, base, solo=job.solo, bass=job.bass) for one in (path, plain))


def marked_pair(path: Path, plain: Path, base: Manner, *, solo: str = "", bass: str = "") -> tuple[Marked, ...]:
    """What an ornamented score beside its plain one teaches, for each time through. Raises BadInput."""
    piece = without_graces(read(plain))
    found = study(piece, solo=solo, bass=bass)
    graces, times = graces_written(piece, found, read(path), load_instrument("violin"), line=solo)
    rows: dict[int, dict[str, Grace]] = {time: {} for time in times}
    for (time, note), grace in graces.items():
        rows[time][note] = grace or OTHER
    return tuple(marked_with(f"{path.name}, time {time}" if len(times) > 1 else path.name, row, piece, found, base)
                 for time, row in rows.items())  # fmt: skip


def _read_all(jobs: Sequence[Job], workers: int, cluster: str) -> Iterator[Read]:
    if not workers and not cluster:
        yield from map(_one, jobs)
        return
    try:
        distributed: Any = importlib.import_module("dask.distributed")
    except ImportError:
        raise BadInput("Dask is not installed", remedy="install gracewright with its extra [learn]") from None
    try:
        where = {"address": cluster, "timeout": 10} if cluster else {"n_workers": workers, "threads_per_worker": 1}
        client = distributed.Client(**where)
    except (OSError, ValueError) as fault:
        raise BadInput(f"no Dask cluster answers at {cluster} ({fault})", remedy="check the address") from None
    with client:
        try:
            client.wait_for_workers(1, timeout=30)
            for future in distributed.as_completed(client.map(_one, jobs)):
                yield future.result()
        except TimeoutError:
            raise BadInput(f"the Dask cluster at {cluster} has no worker", remedy="start one") from None
        except (ImportError, distributed.KilledWorker) as fault:
            raise BadInput(f"the cluster's workers cannot run gracewright ({fault})",
                           remedy="install this version where the workers run") from None  # fmt: skip


def _write(learned: Learned, name: str, out: Path, plot: bool) -> None:
    """Write all or nothing of each file."""
    out.mkdir(parents=True, exist_ok=True)
    title = name.replace("-", " ").replace("_", " ").capitalize()
    texts = {f"{name}.toml": manner_text(learned, name, title), f"{name}.txt": report(learned)}
    if plot:
        try:
            texts[f"{name}.svg"] = weights_plot(learned)
        except ImportError:
            click.echo("no plot: matplotlib is not installed (extra [learn])", err=True)
    for file_name, text in texts.items():
        handle, temporary = tempfile.mkstemp(dir=out)
        with os.fdopen(handle, "w", encoding="utf-8") as stream:
            stream.write(text)
        Path(temporary).replace(out / file_name)
