"""Options that several verbs share, each written once."""

import datetime as dt
import json
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

__all__ = [
    "block_option",
    "cards_folder_option",
    "cards_option",
    "counts_option",
    "definition_option",
    "details_option",
    "echo_notes",
    "emit_json",
    "json_option",
    "keep_good_option",
    "out_option",
    "permutations_option",
    "say",
    "season_option",
    "seed_option",
    "size_option",
    "steps_with",
    "today",
    "vineyard_argument",
    "vineyard_type",
    "workers_option",
    "write_page",
]

F = TypeVar("F", bound=Callable[..., Any])


class _Vineyard(click.Path):
    """A folder, a file, or the address of a store that several share."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> Any:
        typed = str(value)
        if not typed.startswith(("postgresql:", "postgres:")):
            return super().convert(value, param, ctx)
        from trunkwatch.errors import FileError
        from trunkwatch.store.address import shared_path

        try:
            return shared_path(typed)
        except FileError as error:
            self.fail(str(error), param, ctx)


vineyard_type = _Vineyard(path_type=Path)
vineyard_argument = click.argument("vineyard", type=vineyard_type)
block_option = click.option("--block", metavar="B", help="Block; may be left out where there is only one.")
season_option = click.option(
    "--season", type=int, metavar="YEAR", help="Year of the harvest; the last counted one if left out."
)
definition_option = click.option(
    "--definition",
    type=click.Choice(["any", "leaf", "dieback"]),
    help="What makes a case; any where it can be counted.",
)
_json_flag = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


def _print_schema(context: click.Context, _option: click.Parameter, wished: bool) -> None:
    if wished:
        from trunkwatch.cli.json_schema import schema_of

        emit_json(schema_of(str(context.command.name)))
        context.exit()


_schema_flag = click.option(
    "--json-schema", is_flag=True, is_eager=True, expose_value=False, callback=_print_schema,
    help="Print what the keys of --json mean, as a JSON Schema, and stop.",
)  # fmt: skip


def json_option(command: F) -> F:
    """Give a command --json, and --json-schema, which says what its keys mean."""
    return _json_flag(_schema_flag(command))


keep_good_option = click.option(
    "--keep-good", is_flag=True, help="Import the good lines of files with errors; each line left out is listed."
)
cards_folder_option = click.option(
    "--cards", type=click.Path(path_type=Path, exists=True, file_okay=False), metavar="FOLDER",
    help="Forecast cards of other growers, which the forecast leans on too.",
)  # fmt: skip
_own_key = click.option(
    "--key", "own_key", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE",
    help="With --cards: your key of cards, so that your own cards are not counted twice.",
)  # fmt: skip


def cards_option(command: F) -> F:
    """Give a command --cards, and --key, which tells one's own cards."""
    return cards_folder_option(_own_key(command))


counts_option = click.option(
    "--cache", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER",
    help="Where counts of the other blocks are kept, so that the next run need not read them; of a vineyard file only.",
)  # fmt: skip
seed_option = click.option("--seed", type=int, default=1, show_default=True, help="Where chance starts.")
permutations_option = click.option(
    "--permutations", type=click.IntRange(99), default=9999, show_default=True, help="Relabelled maps drawn."
)
details_option = click.option("--details", is_flag=True, help="All that stands behind the answer.")
out_option = click.option(
    "--out", type=click.Path(path_type=Path, dir_okay=False), metavar="FILE", help="File to write."
)


class _Workers(click.ParamType):  # type: ignore[type-arg,unused-ignore]
    """How many processes of this machine, or the address of a scheduler."""

    name = "workers"

    def convert(self, value: Any, param: click.Parameter | None, context: click.Context | None) -> int | str:
        """Return a number from 1 on, or an address as it is typed."""
        text = str(value).strip()
        if text.isascii() and text.isdigit() and int(text) >= 1:
            return int(text)
        if re.fullmatch(r"tcp://[^/\s]+:[0-9]+", text):
            return text
        raise click.BadParameter(
            f"{text!r} is neither a number of processes from 1 on nor an address such as tcp://HOST:8786",
            context,
            param=param,
        )


workers_option = click.option(
    "--workers", type=_Workers(), metavar="N|tcp://HOST:PORT",
    help="Processes at once, one a processor if left out; or a scheduler of Dask, whose workers see the same folders and run the same program.",
)  # fmt: skip


def today() -> str:
    """Return the day on this machine."""
    return dt.datetime.now().astimezone().date().isoformat()


def emit_json(data: Any) -> None:
    """Print data as JSON on stdout; numbers that are not there become null."""
    click.echo(json.dumps(_plain(data), ensure_ascii=False, indent=2))


def _plain(value: Any) -> Any:
    if isinstance(value, dict):
        return {str(key): _plain(inner) for key, inner in value.items()}
    if isinstance(value, (list, tuple)):
        return [_plain(inner) for inner in value]
    if isinstance(value, float) and (value != value or value in (float("inf"), float("-inf"))):
        return None
    return value


def echo_notes(notes: tuple[str, ...]) -> None:
    """Print what a reader should know on stderr."""
    for note in notes:
        click.echo(f"note: {note}", err=True)


def say(line: str, indent: str = "") -> None:
    """Print one line; on a screen it is folded to 80 columns or what the screen has, elsewhere it stays whole."""
    import shutil
    import sys
    import textwrap

    from trunkwatch.vineyard.spelling import spelled

    text = spelled(f"{indent}{line}")  # before it is folded: a word may grow
    indent = text[: len(text) - len(text.lstrip())]
    if sys.stdout.isatty():
        width = min(80, shutil.get_terminal_size().columns)
        text = textwrap.fill(
            text, width, subsequent_indent=f"{indent}  ", break_long_words=False, break_on_hyphens=False
        )
    click.echo(text)


size_option = click.option(
    "--size", type=click.Choice(["A4", "Letter"]), help="Paper; that of the vineyard's settings if left out."
)


def steps_with(store: Any, cards: Path | None, own_key: Path | None, cache: Path | None) -> Any:
    """Return what forecasts lean on: the vineyard's blocks, counts kept in a folder, and cards of others; say which cards were left out."""
    from trunkwatch.decide.kept_counts import KeptCounts
    from trunkwatch.decide.outlook import VineyardSteps

    lent: Any = ()
    if cards is None and own_key is not None:
        raise click.UsageError("--key goes with --cards")
    if cards is not None:
        from trunkwatch.cards import read_folder
        from trunkwatch.cards.keys import read_key
        from trunkwatch.cards.lend import lent_counts
        from trunkwatch.cards.words import left_out_lines

        own = () if own_key is None else (read_key(own_key).public("forecast"),)
        found = read_folder(cards, "forecast", today(), without=own)
        echo_notes(left_out_lines(found))
        lent = lent_counts(found.cards)
    return VineyardSteps(store, kept=None if cache is None else KeptCounts(cache), lent=lent)


def write_page(path: Path, page: str) -> None:
    """Write a page in one step and say where it is."""
    from trunkwatch.spreadsheets.write import replace_file

    path.parent.mkdir(parents=True, exist_ok=True)
    replace_file(path, page.encode())
    click.echo(str(path))
