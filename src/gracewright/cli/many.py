"""Many pieces at once: in parallel processes, one bad file never stops the rest, and a stopped run can go on.

Conventions: a job is a plain function of a path (or a ``partial`` of one) that leaves the results and gives a sentence;
it runs in a spawned process. A piece is passed over when its results lie there and were made from the same file with
the same wishes (:mod:`gracewright.cli.records`).

Public: Outcome, several, pieces_of, do_many, run_many, table_of.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections import Counter
from collections.abc import Callable, Collection, Iterator, Sequence
from concurrent.futures import Future, ProcessPoolExecutor, as_completed
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Final

import click
from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn
from rich.table import Table
from threadpoolctl import threadpool_limits

from gracewright.cli.records import digest_of, done_before, left_by_us, remember
from gracewright.errors import BadInput, GracewrightError
from gracewright.job import MORE_RESULTS, RESULTS
from gracewright.score import scores_in

Job = Callable[[Path], str]
Files = Callable[[Path], tuple[Path, ...]]
STATES: Final = ("done", "passed over", "refused", "failed")


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a piece: ``state`` is done, refused, failed or passed over; ``words`` one sentence."""

    path: Path
    state: str
    words: str


def several(paths: Sequence[Path]) -> bool:
    """Whether these paths ask for a run over many: two or more, or a folder."""
    return len(paths) > 1 or any(path.is_dir() for path in paths)


def pieces_of(paths: Sequence[Path]) -> list[Path]:
    """The files meant: files as they are, folders by the scores in them, in order, each once; in a folder the results
    of an earlier run are no pieces.

    Raises BadInput where a folder holds no score.
    """
    found: list[Path] = []
    for path in paths:
        inside = [score for score in scores_in(path) if not _result(score)] if path.is_dir() else [path]
        if not inside:
            raise BadInput("there is no score in this folder", file=str(path))
        found += inside
    return list(dict.fromkeys(found))


def _result(path: Path) -> bool:
    """Whether a score found in a folder is one of our results: remembered as such, or under a result's name in a
    folder called after a piece beside it."""
    if left_by_us(path):
        return True
    if path.name not in (*RESULTS, *MORE_RESULTS):
        return False
    beside = path.parent.parent
    return any(path.parent.name.startswith(f"{piece.stem}-") for piece in beside.iterdir() if piece.is_file())


def do_many(paths: Sequence[Path], job: Job, results: Files, *, again: bool, quiet: bool,
            inputs: Files | None = None) -> None:  # fmt: skip
    """Run a command over many pieces and end with a table of what went well and what not.

    ``results`` names the files a piece leaves, all in one folder; ``inputs`` those it is made from, where it is more
    than the piece itself. Of two pieces that would leave the same result the later is refused; the exit code is 1 where
    a piece was refused or failed.
    """
    pieces = pieces_of(paths)
    clashes = _clashes(pieces, results)
    own = [piece for piece in pieces if piece not in clashes]
    context = click.get_current_context()
    digests = {
        piece: digest_of(context.info_name or "", context.params, inputs(piece) if inputs else (piece,))
        for piece in own
    }
    outcomes = run_many(
        own, job, lambda piece: not again and done_before(results(piece), digests[piece]),
        finished=lambda piece: remember(results(piece), digests[piece]), quiet=quiet,
    )  # fmt: skip
    order = {path: index for index, path in enumerate(pieces)}
    outcomes = sorted([*outcomes, *clashes.values()], key=lambda outcome: order[outcome.path])
    if quiet:
        for outcome in outcomes:
            if outcome.state in ("refused", "failed"):
                click.echo(outcome.words, err=True)
    else:
        console = Console()
        console.print(table_of(outcomes))
        counts = Counter(outcome.state for outcome in outcomes)
        left = len(pieces) - len(outcomes)
        told = [f"{counts[state]} {state}" for state in STATES if counts[state]]
        console.print(", ".join([*told, *([f"{left} not begun"] if left else [])]) + ".", highlight=False)
    if len(outcomes) < len(pieces) or any(outcome.state in ("refused", "failed") for outcome in outcomes):
        raise click.exceptions.Exit(1)


def _clashes(pieces: Sequence[Path], results: Files) -> dict[Path, Outcome]:
    """The pieces whose results would lie over those of an earlier one, each with its refusal."""
    owners: dict[Path, Path] = {}
    found = {}
    for piece in pieces:
        owner = owners.setdefault(results(piece)[0], piece)
        if owner != piece:
            fault = BadInput(f"its results would lie over those of {owner} in {_where(results(piece))}",
                             file=str(piece), remedy="rename one, or give each its own --out")  # fmt: skip
            found[piece] = Outcome(piece, "refused", str(fault))
    return found


def _where(results: tuple[Path, ...]) -> Path:
    return results[0].parent if len(results) > 1 or results[0].name in RESULTS else results[0]


def run_many(pieces: Sequence[Path], job: Job, done: Callable[[Path], bool], *,
             finished: Callable[[Path], None] = lambda _: None, quiet: bool = False) -> list[Outcome]:  # fmt: skip
    """Do a job for each piece that is not done, and ``finished`` for each that went well.

    Ctrl-C lets the pieces in hand be finished, keeps them, and begins no other.
    """
    passed = [path for path in pieces if done(path)]
    outcomes = [Outcome(path, "passed over", "was done before with the same wishes") for path in passed]
    waiting = [path for path in pieces if path not in set(passed)]
    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeElapsedColumn())
    with Progress(*columns, console=Console(stderr=True), transient=True, disable=quiet) as progress:
        task = progress.add_task("pieces", total=len(waiting))
        for outcome in _outcomes(waiting, job):
            if outcome.state == "done":
                finished(outcome.path)
            outcomes.append(outcome)
            progress.update(task, advance=1, description=outcome.path.name[:30])
    order = {path: index for index, path in enumerate(pieces)}
    return sorted(outcomes, key=lambda outcome: order[outcome.path])


def _pool(workers: int) -> ProcessPoolExecutor:
    return ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_deaf)


def _deaf() -> None:
    """A worker finishes the piece in hand when Ctrl-C is pressed; whoever started it decides what comes after."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _worked(job: Job, path: Path) -> str:
    """The job on one thread: the processes are as many as the cores already."""
    with threadpool_limits(limits=1):
        return job(path)


def _outcomes(waiting: Sequence[Path], job: Job) -> Iterator[Outcome]:
    """Outcomes as they come; after a crash of the pool the rest goes on one by one, so that the culprit is found."""
    left = list(waiting)
    with _pool(min(len(left) or 1, os.cpu_count() or 1)) as pool:
        futures = {pool.submit(_worked, job, path): path for path in left}
        with _stoppable(futures) as stopped:
            for future in as_completed(futures):
                outcome = None if future.cancelled() else _outcome(futures[future], future)
                if outcome is not None:
                    left.remove(outcome.path)
                    yield outcome
    for path in [] if stopped else left:
        with _pool(1) as pool:
            alone = pool.submit(_worked, job, path)
            yield _outcome(path, alone) or Outcome(path, "failed", "the process that worked on it ended suddenly")


@contextmanager
def _stoppable(futures: Collection[Future[str]]) -> Iterator[list[int]]:
    """Ctrl-C cancels what has not begun and fills the list given; a second one ends the program as usual."""
    stopped: list[int] = []

    def stop(number: int, _: object) -> None:
        signal.signal(signal.SIGINT, before)
        stopped.append(number)
        click.echo("Stopping: the pieces in hand are finished; the same command goes on from there.", err=True)
        for future in futures:
            future.cancel()

    if threading.current_thread() is not threading.main_thread():
        yield stopped
        return
    before = signal.signal(signal.SIGINT, stop)
    try:
        yield stopped
    finally:
        signal.signal(signal.SIGINT, before)


def _outcome(path: Path, future: Future[str]) -> Outcome | None:
    """The outcome of a finished job, None where the pool broke under it."""
    try:
        return Outcome(path, "done", future.result())
    except BrokenProcessPool:
        return None
    except GracewrightError as fault:
        return Outcome(path, "refused", str(fault))
    except Exception as fault:
        return Outcome(path, "failed", f"{path.name}: {type(fault).__name__}: {fault}")


def table_of(outcomes: Sequence[Outcome]) -> Table:
    """What went well and what not."""
    table = Table("piece", "how it went", "", title="Pieces", title_justify="left")
    for outcome in outcomes:
        table.add_row(outcome.path.name, outcome.state, outcome.words)
    return table
