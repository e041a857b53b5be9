"""Many pieces at once: in parallel processes, one bad file never stops the rest, and a stopped run can go on.

Conventions: a job is a plain function of a path that gives a sentence; it runs in a spawned process. A piece is done
when its results lie in its folder and are newer than the piece; done pieces are passed over.

Public: Outcome, pieces_of, run_many, table_of.
"""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table

from gracewright.errors import BadInput, GracewrightError
from gracewright.score import scores_in

Job = Callable[[Path], str]


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a piece: ``state`` is done, refused, failed or passed over; ``words`` one sentence."""

    path: Path
    state: str
    words: str


def pieces_of(paths: Sequence[Path]) -> list[Path]:
    """The files meant: files as they are, folders by the scores in them, in order, each once.

    Raises BadInput where a folder holds no score.
    """
    found: list[Path] = []
    for path in paths:
        inside = list(scores_in(path)) if path.is_dir() else [path]
        if not inside:
            raise BadInput("there is no score in this folder", file=str(path))
        found += inside
    return list(dict.fromkeys(found))


def run_many(pieces: Sequence[Path], job: Job, done: Callable[[Path], bool], *, quiet: bool = False) -> list[Outcome]:
    """Do a job for each piece that is not done; Ctrl-C keeps what was finished."""
    outcomes = [Outcome(path, "passed over", "was done before") for path in pieces if done(path)]
    waiting = [path for path in pieces if not done(path)]
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True, disable=quiet) as progress:
        task = progress.add_task("pieces", total=len(waiting))
        try:
            for outcome in _outcomes(waiting, job):
                outcomes.append(outcome)
                progress.update(task, advance=1, description=outcome.path.name[:30])
        except KeyboardInterrupt:
            click.echo("Stopped; what is finished stays, and the same command goes on from here.", err=True)
    order = {path: index for index, path in enumerate(pieces)}
    return sorted(outcomes, key=lambda outcome: order[outcome.path])


def _pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"))


def _outcomes(waiting: Sequence[Path], job: Job) -> Iterator[Outcome]:
    """Outcomes as they come; after a crash of the pool the rest goes on one by one, so that the culprit is found."""
    left = list(waiting)
    with _pool(min(len(left) or 1, os.cpu_count() or 1)) as pool:
        futures = {pool.submit(job, path): path for path in left}
        try:
            for future in as_completed(futures):
                outcome = _outcome(futures[future], future)
                if outcome is not None:
                    left.remove(outcome.path)
                    yield outcome
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
    for path in left:
        with _pool(1) as pool:
            future = pool.submit(job, path)
            yield _outcome(path, future) or Outcome(path, "failed", "the process that worked on it ended suddenly")


def _outcome(path: Path, future: Future[str]) -> Outcome | None:
    """The outcome of a finished job, None where the pool broke under it."""
    try:
        return Outcome(path, "done", future.result())
    except BrokenProcessPool:
        return None
    except GracewrightError as fault:
        return Outcome(path, "refused", str(fault))
    except Exception as fault:
        return Outcome(path, "failed", f"{type(fault).__name__}: {fault}")


def table_of(outcomes: Sequence[Outcome]) -> Table:
    """What went well and what not."""
    table = Table("piece", "how it went", "", title="Pieces", title_justify="left")
    for outcome in outcomes:
        table.add_row(outcome.path.name, outcome.state, outcome.words)
    return table
