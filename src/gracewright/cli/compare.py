"""``gracewright compare``: one phrase in every manner, on parallel staves."""

from __future__ import annotations

from pathlib import Path

import click
from rich.console import Console

from gracewright.cli.options import Span, line_options, piece_argument
from gracewright.cli.sheet import made
from gracewright.errors import BadInput
from gracewright.graces.heard import open_piece
from gracewright.instruments import LEVELS
from gracewright.job import Wishes, demo_piece, in_place_of, work_on
from gracewright.sheet import PAPERS


@click.command("compare")
@piece_argument
@click.option("--demo", is_flag=True, help="Use the bundled demo movement instead of a piece of yours.")
@click.option("--instrument", default="alto-recorder", show_default=True, metavar="NAME",
              help="Who plays: a built-in instrument, or a TOML file of your own.")
@click.option("--level", default="intermediate", show_default=True, type=click.Choice(LEVELS),
              help="How quick the player's fingers are.")
@click.option("--richness", default=5.0, show_default=True, type=Span(0, 10),
              help="0 plays only the signs on the page, 10 is lavish.")
@line_options
@click.option("--phrase", type=click.IntRange(1), default=None, metavar="N",
              help="Which phrase of the piece. Default: the one with most to show.")
@click.option("--paper", type=click.Choice(tuple(PAPERS)), default="a4", show_default=True, help="Paper size.")
@click.option("--out", type=click.Path(dir_okay=False, path_type=Path), default=None,
              help="The PDF to write. Default: the piece's name with 'manners', beside it.")
def command(piece: Path | None, demo: bool, instrument: str, level: str, richness: float, solo: str, bass: str,
            phrase: int | None, paper: str, out: Path | None) -> None:  # fmt: skip
    """Engrave one phrase of PIECE in the French, Italian, German and English manner, one under the other.

    The same page as "gracewright sheet manners".
    """
    if (piece is None) == (not demo):
        raise BadInput("give one piece, or --demo for the bundled movement")
    path = piece if piece is not None else demo_piece()
    wishes = Wishes(instrument=instrument, level=level, richness=richness, solo=solo, bass=bass, paper=paper)
    work = work_on(open_piece(path), wishes)
    target = out or (Path(path.name) if demo else path).with_name(f"{path.stem}-manners.pdf")
    with Console(stderr=True).status("Engraving and setting the page"):
        pdf = made("manners", work, None if phrase is None else phrase - 1, key=False)
    with in_place_of(target) as unfinished:
        unfinished.write_bytes(pdf)
    click.echo(f"One phrase in four manners: {target}")
