"""Options that several commands share, in one place so that they read the same everywhere."""

from __future__ import annotations

from collections.abc import Callable
from fractions import Fraction
from math import isnan
from pathlib import Path
from typing import Any

import click

from gracewright.errors import BadInput
from gracewright.instruments import LEVELS, instruments
from gracewright.sound import temperaments
from gracewright.taste import manners

Decorator = Callable[[Callable[..., Any]], Callable[..., Any]]

piece_argument: Decorator = click.argument(
    "piece", required=False, type=click.Path(exists=True, dir_okay=False, path_type=Path)
)
pieces_argument: Decorator = click.argument(
    "pieces", nargs=-1, type=click.Path(exists=True, path_type=Path)
)


instrument_option: Decorator = click.option(
    "--instrument", default="alto-recorder", show_default=True, metavar="NAME",
    help=f"Who plays: {', '.join(instruments())}, or a TOML file of your own.",
)  # fmt: skip


class Span(click.FloatRange):
    """A number within bounds; what is no number (nan) is refused like one beyond them."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        found = super().convert(value, param, ctx)
        if isnan(found):
            self.fail(f"{value!r} is not a number", param, ctx)
        return found


def line_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """``--solo`` and ``--bass``: which part is which, where the page leaves it open."""
    bass = click.option("--bass", default="", help="Name or id of the bass part, if it is not found by itself.")
    solo = click.option("--solo", default="", help="Name or id of the solo part, if it is not found by itself.")
    return solo(bass(function))


def manner_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """The dials of a plan."""
    options: list[Decorator] = [
        click.option("--manner", default="", metavar="NAME",
                     help=f"Manner of playing: {', '.join(manners())}, or a TOML file of your own. Default: what suits "
                     "the composer or the dance, else german, the mixed manner."),
        instrument_option,
        click.option("--level", default="intermediate", show_default=True, type=click.Choice(LEVELS),
                     help="How quick the player's fingers are."),
        click.option("--richness", default=5.0, show_default=True, type=Span(0, 10),
                     help="0 plays only the signs on the page, 10 is lavish."),
        click.option("--signs-by", default="", metavar="SOURCE",
                     help="Whose table explains the signs, e.g. danglebert1689 (see: gracewright signs)."),
        click.option("--tempo", default=None, type=Span(10, 400), metavar="N",
                     help="Quarter notes a minute. Default: the page's, else a guess."),
        click.option("--transpose", default="", metavar="MOVE",
                     help='Move the piece: fit (what suits the instrument best), or e.g. "up a minor third".'),
    ]  # fmt: skip
    for option in reversed(options):
        function = option(function)
    return function


def pitch_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """Pitch and temperament of the sound."""
    function = click.option("--temperament", default="vallotti", show_default=True, type=click.Choice(temperaments()),
                            metavar="NAME", help=f"Tuning: {', '.join(temperaments())}.")(function)  # fmt: skip
    return click.option("--a", "a", default=415.0, show_default=True, type=Span(350, 500), metavar="HZ",
                        help="Pitch of a' in Hz: 392 French chamber, 415, 440, 465 choir pitch.")(function)  # fmt: skip


def many_options(function: Callable[..., Any]) -> Callable[..., Any]:
    """What a run over many pieces asks besides."""
    quiet = click.option("--quiet", is_flag=True, help="No summary and no progress bar.")
    again = click.option("--again", is_flag=True,
                         help="With many pieces: do those too that were done before with the same wishes.")  # fmt: skip
    return again(quiet(function))


def exact(tempo: float | None) -> Fraction | None:
    """A tempo typed by the user, as an exact number."""
    return None if tempo is None else Fraction(tempo).limit_denominator(1000)


def read_plan_file(path: Path | None) -> str | None:
    """The text of a plan, None where none is given. Raises BadInput where it is no text."""
    if path is None:
        return None
    try:
        return path.read_text(encoding="utf-8-sig")
    except (UnicodeDecodeError, OSError):
        raise BadInput("this is not a plan in readable text", file=path.name, remedy="save it as UTF-8") from None
