"""``gracewright desk``: the page in the browser."""

from __future__ import annotations

import webbrowser
from pathlib import Path
from typing import Any

import click

from gracewright.cli.options import exact, line_options, manner_options, piece_argument, pitch_options
from gracewright.desk import Desk, Keeping, serve, state_folder
from gracewright.errors import BadInput
from gracewright.job import Wishes, demo_piece

COMMANDLINE = click.core.ParameterSource.COMMANDLINE


@click.command("desk")
@piece_argument
@click.option("--demo", is_flag=True, help="Put the bundled demo movement on the desk.")
@manner_options
@line_options
@pitch_options
@click.option("--port", default=0, type=click.IntRange(0, 65535), metavar="N",
              help="Port on this machine. Default: the one used last, else any that is free.")
@click.option("--state", type=click.Path(file_okay=False, path_type=Path), default=None,
              help="Folder where your decisions are kept. Default: this user's own.")
@click.option("--open", "show", is_flag=True, help="Open the page in your browser.")
@click.pass_context
def command(ctx: click.Context, /, piece: Path | None, demo: bool, port: int, state: Path | None, show: bool,
            tempo: float | None, **dials: Any) -> None:  # fmt: skip
    """Work at PIECE on a page in your browser; without PIECE, go on where you stopped.

    The page is served on this machine alone and fetches nothing from elsewhere. Everything you decide is kept at once,
    also as a plan beside the score (PIECE.plan.txt), which you may edit by hand between or during visits;
    stop with Ctrl-C and come back any time.
    """
    if piece is not None and demo:
        raise BadInput("give one piece, or --demo for the bundled movement")
    wishes = Wishes(tempo=exact(tempo), **dials)
    given = any(ctx.get_parameter_source(name) is COMMANDLINE for name in ("tempo", *dials))
    keeping = Keeping(state or state_folder())
    desk = Desk.open(keeping, demo_piece() if demo else piece, wishes if given else None, beside=not demo)

    def said(address: str) -> None:
        click.echo(f"The desk is at {address}  (Ctrl-C to stop)")
        if show:
            webbrowser.open(address)

    serve(desk, port=port, said=said)
