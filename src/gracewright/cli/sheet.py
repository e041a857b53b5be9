"""``gracewright sheet``: pages to print."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Final

import click
from rich.console import Console

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
from gracewright.errors import BadInput
from gracewright.graces import load_source, look_up
from gracewright.graces.heard import open_piece
from gracewright.instruments import load_instrument
from gracewright.job import Wishes, Work, about, demo_piece, in_place_of, work_on
from gracewright.sheet import (
    PAPERS,
    graded_sheet,
    manners_sheet,
    parallel_sheet,
    part_sheet,
    practice_ladder,
    readable,
    signs_sheet,
    source_sheet,
    worksheet,
)

KINDS: Final = {
    "parallel": "plain and played line on parallel staves over the bass, with numbered reasons",
    "part": "the player's line alone: signs, breaths, fingerings, page turns in rests",
    "signs": "each grace of the piece once, as written and as played",
    "worksheet": "the plain line with an empty staff and questions, and a key",
    "graded": "one phrase three times: sober, middle, rich",
    "manners": "one phrase in the French, Italian, German and English manner",
    "ladder": "each hard grace from slow even notes to its place in the line",
    "table": "a source's whole table of signs; give --signs-by, no piece",
}


@click.command("sheet")
@click.argument("kind", type=click.Choice(tuple(KINDS)), metavar="KIND")
@pieces_argument
@click.option("--demo", is_flag=True, help="Use the bundled demo movement instead of a piece of yours.")
@manner_options
@line_options
@pitch_options
@click.option("--plan", "plan_file", type=click.Path(exists=True, dir_okay=False, path_type=Path), default=None,
              help="Print this plan (a plan.txt you have edited) instead of making one.")
@click.option("--paper", type=click.Choice(tuple(PAPERS)), default="a4", show_default=True, help="Paper size.")
@click.option("--phrase", type=click.IntRange(1), default=None, metavar="N",
              help="Which phrase of the piece graded and manners show. Default: the one with most to show.")
@click.option("--key/--no-key", default=True, show_default=True, help="Answers at the end of a worksheet.")
@click.option("--out", type=click.Path(path_type=Path), default=None,
              help="The PDF to write (with many pieces: the folder for them). Default: the piece's name with the kind, "
                   "beside it.")
@many_options
def command(kind: str, pieces: tuple[Path, ...], demo: bool, plan_file: Path | None, paper: str, phrase: int | None,
            key: bool, out: Path | None, manner: str, instrument: str, level: str, richness: float, signs_by: str,
            tempo: float | None, transpose: str, solo: str, bass: str, a: float, temperament: str, again: bool,
            quiet: bool) -> None:  # fmt: skip
    """Print a sheet of one KIND from PIECES as PDF; give one file, several, or a folder of them.

    \b
    parallel   plain and played line on parallel staves over the bass, with numbered reasons
    part       the player's line alone: signs, breaths, fingerings, page turns in rests
    signs      each grace of the piece once, as written and as played
    worksheet  the plain line with an empty staff and questions, and a key
    graded     one phrase three times: sober, middle, rich
    manners    one phrase in the French, Italian, German and English manner
    ladder     each hard grace from slow even notes to its place in the line
    table      a source's whole table of signs (--signs-by danglebert1689; no piece)
    """
    if kind == "table":
        if not signs_by:
            raise BadInput("a table of signs needs its source", remedy="give --signs-by, e.g. danglebert1689")
        told(kind, printed(partial(table, signs_by, paper), out or Path(f"{signs_by}.pdf"), quiet), quiet)
        return
    if bool(pieces) == demo:
        raise BadInput("give a piece, several, or a folder; or --demo for the bundled movement")
    wishes = Wishes(
        manner=manner, instrument=instrument, level=level, richness=richness, signs_by=signs_by, solo=solo,
        bass=bass, tempo=exact(tempo), a=a, temperament=temperament, transpose=transpose, paper=paper,
    )  # fmt: skip
    number = None if phrase is None else phrase - 1
    if several(pieces):
        if plan_file:
            raise BadInput("--plan goes with one piece alone")
        do_many(pieces, partial(one_of_many, kind=kind, wishes=wishes, phrase=number, key=key, out=out),
                lambda path: (target_of(path, kind, out),), again=again, quiet=quiet)  # fmt: skip
        return
    path = pieces[0] if pieces else demo_piece()
    work = work_on(open_piece(path), wishes, plan_text=read_plan_file(plan_file))
    target = out or target_of(Path(path.name) if demo else path, kind, None)
    told(kind, printed(partial(made, kind, work, number, key), target, quiet), quiet)


def target_of(path: Path, kind: str, out: Path | None) -> Path:
    """Where the sheet of a piece goes; ``out`` is a folder."""
    return (out or path.parent) / f"{path.stem}-{kind}.pdf"


def one_of_many(path: Path, kind: str, wishes: Wishes, phrase: int | None, key: bool, out: Path | None) -> str:
    """The sheet of one of many pieces, and a sentence."""
    target = target_of(path, kind, out)
    printed(partial(made, kind, work_on(open_piece(path), wishes), phrase, key), target, quiet=True)
    return str(target)


def printed(make: Callable[[], bytes], target: Path, quiet: bool) -> Path:
    """Make a sheet and write it, whole or not at all."""
    with Console(stderr=True, quiet=quiet).status("Engraving and setting the pages"):
        pdf = make()
    with in_place_of(target) as unfinished:
        unfinished.write_bytes(pdf)
    return target


def told(kind: str, target: Path, quiet: bool) -> None:
    words = KINDS[kind].partition(";")[0]
    if not quiet:
        click.echo(f"{words[0].upper()}{words[1:]}: {target}")


def made(kind: str, work: Work, phrase: int | None, key: bool) -> bytes:
    """The sheet of a kind. Raises BadInput where the piece has no such phrase."""
    if phrase is not None and phrase >= len(work.study.phrases):
        raise BadInput(f"the piece has {len(work.study.phrases)} phrases, not {phrase + 1}", file=work.piece.source)
    study, plan, version = work.study, work.plan, work.version
    piece = readable(work.piece, study.solo, load_instrument(work.wishes.instrument))
    paper, level = work.wishes.paper, work.wishes.level
    sheets: dict[str, Callable[[], bytes]] = {
        "parallel": lambda: parallel_sheet(piece, study, plan, version, paper=paper, about=about(work)),
        "part": lambda: part_sheet(piece, study, plan, version, paper=paper, about=about(work)),
        "signs": lambda: signs_sheet(piece, study, plan, version, paper=paper),
        "worksheet": lambda: worksheet(piece, study, plan, version, paper=paper, key=key),
        "graded": lambda: graded_sheet(piece, study, work.manner, work.instrument, level=level, phrase=phrase,
                                       paper=paper),
        "manners": lambda: manners_sheet(piece, study, work.instrument, level=level, richness=plan.richness,
                                         phrase=phrase, paper=paper),
        "ladder": lambda: practice_ladder(piece, study, plan, version, tempo=work.tempo, paper=paper),
    }  # fmt: skip
    return sheets[kind]()


def table(source: str, paper: str) -> bytes:
    """A source's signs. Raises BadInput for one that is not known."""
    book = load_source(source)
    return source_sheet(look_up(source=source), title="Signs and how they are played", subtitle=book.title, paper=paper)
