"""At the end of a command that writes: new records go from the log of the file into its tables, where a map program sees them."""

from pathlib import Path

import click

__all__ = ["into_tables_at_end"]

#: A larger file takes longer than a person waits: its records stay in its log until that is full.
LARGEST = 20_000_000


def into_tables_at_end(path: Path) -> None:
    """Put what waits into the tables when the command has ended; the records are on the disk whatever becomes of that."""
    click.get_current_context().call_on_close(lambda: _put(path))


def _put(path: Path) -> None:
    from trunkwatch.errors import TrunkwatchError
    from trunkwatch.intake import put_into_tables
    from trunkwatch.store import is_there

    if not is_there(path):
        return
    try:
        put_into_tables(path, largest=LARGEST)
    except TrunkwatchError as error:
        click.echo(f"the records are saved, and not yet in its map layers: {error}", err=True)
