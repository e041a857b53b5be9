"""``gracewright learn``: fit a manner to a folder of scores that carry graces."""

from __future__ import annotations

import importlib
import os
import tempfile
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

import click
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn

from gracewright.errors import BadInput
from gracewright.score.reading import ENDINGS
from gracewright.taste import load_manner
from gracewright.taste.learning import Learned, Marked, fit, marked_score
from gracewright.taste.manner_text import manner_text, report, weights_plot

Read = tuple[str, Marked | str]
"""A file's name with what it teaches, or the sentence that says why it cannot be read."""


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
@click.option("--cluster", default="", metavar="ADDRESS", help="Use the Dask cluster at this address.")
@click.option("--plot/--no-plot", default=True, show_default=True, help="Draw the strongest weights to NAME.svg.")
def command(folder: Path, name: str, like: str, out: Path, solo: str, bass: str, workers: int, cluster: str,
            plot: bool) -> None:  # fmt: skip
    """Learn a manner from the scores in FOLDER that carry signs or small notes.

    \b
    NAME.toml   the manner: use it with --manner NAME.toml, read it, change it
    NAME.txt    what was learned, in words
    NAME.svg    the strongest weights of each grace
    """
    if not name.replace("-", "").replace("_", "").isalnum():
        raise BadInput(f"{name!r} cannot be the name of a manner", remedy="use letters, digits and hyphens")
    files = sorted(path for path in folder.rglob("*") if path.suffix.lower() in ENDINGS)
    if not files:
        raise BadInput("there is no score in this folder", file=folder.name)
    jobs = [(str(path), like, solo, bass) for path in files]
    found: list[Marked] = []
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Progress(*columns, transient=True) as progress:
        task = progress.add_task("scores", total=len(jobs))
        for name_of, taught in _read_all(jobs, workers, cluster):
            progress.update(task, advance=1, description=name_of)
            if isinstance(taught, str):
                progress.console.print(f"left out: {taught}")
            elif (taught.labels != -1).any():
                found.append(taught)
    if not found:
        raise BadInput("none of these scores carries a grace", file=folder.name)
    found.sort(key=lambda marked: marked.name)
    learned = fit(found, load_manner(like))
    _write(learned, name, out, plot)
    click.echo(report(learned), nl=False)
    click.echo(f"The manner lies in {out / f'{name}.toml'}; use it with --manner {out / f'{name}.toml'}")


def _one(job: tuple[str, str, str, str]) -> Read:
    """Read one score; runs on a worker."""
    path, like, solo, bass = job
    try:
        return Path(path).name, marked_score(Path(path), load_manner(like), solo=solo, bass=bass)
    except BadInput as fault:
        return Path(path).name, str(fault)


def _read_all(jobs: Sequence[tuple[str, str, str, str]], workers: int, cluster: str) -> Iterator[Read]:
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
        for future in distributed.as_completed(client.map(_one, jobs)):
            yield future.result()


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
