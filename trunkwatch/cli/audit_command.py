"""trunkwatch audit."""

from itertools import islice
from pathlib import Path

import click

from trunkwatch.cli.options import emit_json, json_option, vineyard_argument


@click.command("audit")
@vineyard_argument
@click.option("--last", type=click.IntRange(1), default=100, show_default=True, metavar="N", help="So many lines.")
@json_option
def command(vineyard: Path, last: int, as_json: bool) -> None:
    """Show who did what at the desk, newest first.

    Codes entered, right and wrong; records written, corrected and taken back; imports, phones, people. Times are in
    universal time. The oldest goes when the list has grown to some megabytes.

    \b
    Example:
      trunkwatch audit my_vines.gpkg --last 20
    """
    from trunkwatch.access.audit import entries_of
    from trunkwatch.errors import FileError
    from trunkwatch.store import refuse_shared

    refuse_shared(vineyard, "`trunkwatch audit`", "logins and rights are those of the server")
    if not vineyard.exists():
        raise FileError(f"no file {str(vineyard)!r}; `trunkwatch new {vineyard}` starts one")
    found = islice(entries_of(vineyard), last)
    if as_json:
        emit_json([{"at": one.at, "done": one.done, "who": one.who, "from": one.address, **one.more} for one in found])
        return
    empty = True
    for one in found:
        empty = False
        told = [one.at[:19].replace("T", " "), one.done, one.who, one.address and f"from {one.address}", one.sentence]
        click.echo("  ".join(part for part in told if part))
    if empty:
        click.echo("Nothing was done at the desk yet.")
