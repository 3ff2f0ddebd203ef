"""trunkwatch upgrade."""

from pathlib import Path

import click


@click.command("upgrade")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
def command(file: Path) -> None:
    """Bring a vineyard file of an earlier version to the present one; the old file is kept beside it.

    \b
    Example:
      trunkwatch upgrade my_vines.gpkg
    """
    from trunkwatch.intake.layers import upgrade_vineyard

    kept, done = upgrade_vineyard(file)
    if kept is None:
        click.echo(f"{file} is of the present version already")
        return
    for step in done:
        click.echo(f"step {step}")
    click.echo(f"the old file is kept as {kept}")
