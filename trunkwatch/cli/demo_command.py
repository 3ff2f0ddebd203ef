"""trunkwatch demo."""

from pathlib import Path

import click


@click.command("demo")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False), default=Path("sample_blocks"))
@click.option("--seed", type=int, default=None, help="Another vineyard of the same kind.")
def command(folder: Path, seed: int | None) -> None:
    """Write the invented vineyard with known truths as a folder of CSV files.

    \b
    Example:
      trunkwatch demo sample_blocks
    """
    from trunkwatch.block.whole_folder import write_whole_folder
    from trunkwatch.demo import BLOCKS, DEMO_SEED, demo_tables

    for path in write_whole_folder(folder, demo_tables(DEMO_SEED if seed is None else seed)):
        click.echo(str(path))
    for block in BLOCKS:
        click.echo(f"{block.label}: {block.told}", err=True)
