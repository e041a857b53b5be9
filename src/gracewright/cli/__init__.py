"""The command line: thin, one file a command; every answer comes from the rooms.

Exit codes: 0 all well, 1 faults were found in the result, 2 the input or the words given cannot be used.
"""

from __future__ import annotations

import importlib
import sys
from typing import Final

import click

from gracewright import __version__
from gracewright.errors import GracewrightError

COMMANDS: Final = {
    "ornament": "Ornament a piece: signs, written-out notes, sheet, sound and plan.",
    "study": "Say what the music is doing: keys, cadences, phrases, sequences.",
    "signs": "Look up ornament signs and what each source means by them.",
    "review": "Judge an ornamented score of your own beside the plain one.",
    "sheet": "Print a sheet: parallel staves, performing part, worksheets, practice ladder.",
    "compare": "Engrave one phrase in four manners, one under the other.",
    "practise": "Make sound files to practise with: slow to in time, phrase by phrase.",
    "learn": "Learn a manner from scores that carry graces.",
    "desk": "Decide at one page in the browser: listen, keep, change, print.",
}
"""Name → one line of help. Each lives in ``cli/NAME.py`` as a click command called ``command``."""


class Commands(click.Group):
    """Loads a command's module only when it is called, so that ``--help`` is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        command: click.Command = importlib.import_module(f"gracewright.cli.{cmd_name}").command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.group(cls=Commands, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="gracewright")
def group() -> None:
    """Ornament a Baroque melody in period manner, and show why."""


def main() -> None:
    """Run the command line; every error raised on purpose becomes one sentence and exit code 2."""
    try:
        code = group(standalone_mode=False)  # click gives back the code of an Exit
        if isinstance(code, int) and code:
            sys.exit(code)
    except click.ClickException as fault:
        fault.show()
        sys.exit(2)
    except (click.Abort, KeyboardInterrupt):
        click.echo("Stopped; nothing half-written is left.", err=True)
        sys.exit(130)
    except GracewrightError as fault:
        click.echo(str(fault), err=True)
        sys.exit(2)
