"""trunkwatch upgrade."""

from pathlib import Path

import click

from trunkwatch.cli.options import say, vineyard_type


@click.command("upgrade")
@click.argument("file", type=vineyard_type)
def command(file: Path) -> None:
    """Bring a vineyard file of an earlier version to the present one; the old file is kept beside it.

    Of a store that several share (postgresql://...) it is done by the owner of the database, who makes the store in an
    empty database in the same way.

    \b
    Example:
      trunkwatch upgrade my_vines.gpkg
      trunkwatch upgrade postgresql:///vines
    """
    from trunkwatch.errors import FileError
    from trunkwatch.intake.layers import upgrade_vineyard
    from trunkwatch.store import is_shared

    if is_shared(file):
        _shared(file)
        return
    if file.is_dir():
        raise FileError(f"{str(file)!r} is a folder: it has no version, every trunkwatch reads it")
    kept, done = upgrade_vineyard(file)
    if kept is None:
        click.echo(f"{file} is of the present version already")
        return
    for step in done:
        click.echo(f"step {step}")
    click.echo(f"the old file is kept as {kept}")


def _shared(address: Path) -> None:
    from trunkwatch.store.address import address_of
    from trunkwatch.store.shared import make_shared

    done = make_shared(address)
    for line in done:
        say(line)
    if not done:
        click.echo(f"{address_of(address).shown} is of the present version already")
