"""The command line: plain verbs, the vineyard first. One file a verb, imported when it is called."""

import errno
from collections import Counter
from importlib import import_module
from typing import NoReturn

import click

from trunkwatch import __version__
from trunkwatch.errors import FaultyNotesError, TrunkwatchError

__all__ = ["COMMANDS", "main"]

#: Faults that are printed one by one.
_SHOWN = 20
#: Where the command line is kept as it was given.
_ARGUMENTS = "trunkwatch.arguments"
#: Every verb and its one-line help, so that the list needs no import of the verbs.
COMMANDS = {
    "new": "Start a vineyard, or add a block to one.",
    "load": "Import spreadsheets into a vineyard.",
    "log": "Add a finding, a survey, work, a plant or a correction.",
    "check": "List all that is wrong or odd in a vineyard.",
    "answer": "How bad, worse or not, spreading or not, and this winter's list.",
    "incidence": "Show the rates of a block by season.",
    "peers": "Blocks beside blocks of their age and cultivar; what is unusual.",
    "pattern": "Test whether cases cluster or are scattered by chance.",
    "before": "Before a survey: which rows to scout, and when spread could show.",
    "forecast": "Say what to expect of the next season, back-test beside it.",
    "plan": "Decide: strategies in money, and what to do with each vine this winter.",
    "winter": "Winter or disease: the signs of a season and what they speak for.",
    "cold": "What the cold took, and when to prune: a range and the best stretches.",
    "weeks": "Which block the crew prunes in which week of this winter.",
    "map": "Write the map of a block as one HTML file.",
    "report": "Write the yearly report of a block as one HTML file.",
    "programme": "Many growers: who agreed to what, what records carry, all reports and handouts.",
    "card": "Block cards: counts that leave you in place of the records; withdrawn by a void card.",
    "pool": "A table over the cards of many growers, in which none of them can be told.",
    "serve": "Log, look and import in a browser, over one vineyard file.",
    "people": "List who may enter the desk; add or remove a person.",
    "phones": "List the phones paired with the desk; stop one.",
    "audit": "Show who did what at the desk.",
    "sheet": "Write a sheet for the row: phone page, paper, crew lists, recheck.",
    "export": "Write all records out, or the map of a season.",
    "history": "Show every record of a vine, and what replaced what.",
    "settings": "Show or set how the vineyard is spoken to: spelling, units, paper.",
    "rename": "Rename a block or a vineyard, or take a mistaken block back.",
    "upgrade": "Bring a vineyard file to the present version.",
    "demo": "Write the invented vineyard with known truths.",
}


class _Verbs(click.Group):
    """Imports a verb when it is called; turns our errors into one line and exit code 1."""

    def list_commands(self, ctx: click.Context) -> list[str]:  # noqa: ARG002 - click's signature
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:  # noqa: ARG002 - same
        if cmd_name not in COMMANDS:
            return None
        command = import_module(f"trunkwatch.cli.{cmd_name}_command").command
        assert isinstance(command, click.Command)  # noqa: S101 - narrows the type
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:  # noqa: ARG002 - same
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        if args and args[0] not in COMMANDS and not args[0].startswith("-"):
            import difflib

            near = difflib.get_close_matches(args[0], COMMANDS, n=1)
            hint = f" Did you mean {near[0]}?" if near else ""
            raise click.UsageError(f"There is no command {args[0]!r}.{hint}", ctx)
        return super().resolve_command(ctx, args)

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        ctx.meta[_ARGUMENTS] = tuple(args)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: click.Context) -> object:
        from trunkwatch.cli.spoken import speaking_to_people

        with speaking_to_people(ctx.meta[_ARGUMENTS]):
            return self._invoked(ctx)

    def _invoked(self, ctx: click.Context) -> object:
        from trunkwatch.vineyard.spelling import spelled

        try:
            return super().invoke(ctx)
        except FaultyNotesError as error:
            _show(error, ctx.invoked_subcommand or "")
        except TrunkwatchError as error:
            raise click.ClickException(spelled(str(error))) from error
        except OSError as error:
            if error.errno == errno.EPIPE:  # click ends quietly when the reader of a pipe is gone
                raise
            where = f"{error.filename}: " if error.filename else ""
            raise click.ClickException(f"{where}{error.strerror or error}") from error


def _show(error: FaultyNotesError, verb: str) -> NoReturn:
    """Print the first faults and how many are like them; end with what was done and the way out."""
    from trunkwatch.vineyard.faults import DayFault, folded

    faults = folded(error.faults)
    for fault in faults[:_SHOWN]:
        click.echo(f"fault: {fault}", err=True)
    rest = Counter(
        f"{fault.problem}" + (f" (column {fault.column})" if fault.column else "") for fault in faults[_SHOWN:]
    )
    for told, count in rest.most_common(5):
        click.echo(f"fault: {count:,} more: {told}", err=True)
    if verb == "load" and any(isinstance(fault, DayFault) for fault in faults):
        click.echo(
            "--day-first (31/01/2026) or --month-first (01/31/2026) says how days are written in the file", err=True
        )
    took = (
        "none of it was imported; --keep-good imports the good lines"
        if verb in ("load", "log")
        else "`trunkwatch check` lists all"
    )
    raise click.ClickException(f"{len(faults):,} error(s): {took}.") from error


@click.group(cls=_Verbs, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="trunkwatch")
def main() -> None:
    """Log, map and test trunk disease of grapevines, vine by vine and year by year.

    VINEYARD is a folder of CSV or XLSX files, one .gpkg file (GeoPackage), or a store that several
    share (postgresql://...). Symptoms are not a diagnosis.

    \b
    Example:
      trunkwatch demo sample_blocks
      trunkwatch report sample_blocks --block Mill --out mill.html
    """
