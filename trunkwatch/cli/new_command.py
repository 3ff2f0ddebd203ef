"""trunkwatch new."""

import sys
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.options import vineyard_argument
from trunkwatch.vineyard import codes


@click.command("new")
@vineyard_argument
@click.option("--block", required=True, help="Label of the block.")
@click.option("--rows", type=click.IntRange(1, 2000), required=True, help="Number of rows.")
@click.option(
    "--vines",
    type=click.IntRange(1, 5000),
    required=True,
    help="Positions in each row; change rows.csv where rows differ.",
)
@click.option("--planted", type=int, help="Year of planting.")
@click.option("--training", type=click.Choice(list(codes.TRAININGS)), help="Training system.")
@click.option("--row-spacing-m", type=float, help="Meters between rows.")
@click.option("--vine-spacing-m", type=float, help="Meters between vines in a row.")
@click.option("--hemisphere", type=click.Choice(list(codes.HEMISPHERES)),
              help="Side of the equator; needed where no latitude is given.")  # fmt: skip
@click.option("--latitude", type=float, help="First vine of the first row.")
@click.option("--longitude", type=float, help="First vine of the first row.")
@click.option("--row-bearing-deg", type=float, help="The way positions grow, clockwise from true north.")
@click.option(
    "--rows-go",
    type=click.Choice(list(codes.ROWS_GO)),
    help="Where the next row lies when you face that way.",
)
@click.option("--cultivar", help="Cultivar.")
@click.option("--grafted", type=click.Choice(["yes", "no"]), help="Grafted, or on its own roots.")
@click.option(
    "--vineyard", "--name", "vineyard_name", help="Name of the vineyard; that of the folder or file if left out."
)
def command(vineyard: Path, rows: int, vines: int, vineyard_name: str | None, **block: Any) -> None:
    """Start a vineyard in a folder or a .gpkg file, or add a block to one.

    \b
    Example:
      trunkwatch new my_vines --block North --rows 12 --vines 40 \\
          --planted 2008 --training bilateral --row-spacing-m 2.5 --vine-spacing-m 1.5 \\
          --hemisphere north
    """
    from trunkwatch.intake import start_file, start_folder

    block["hemisphere"] = _hemisphere(block["hemisphere"], block["latitude"])
    record = {name: value for name, value in block.items() if value is not None}
    if vineyard_name is not None:
        record["vineyard"] = vineyard_name
    start = start_file if vineyard.suffix.casefold() == ".gpkg" else start_folder
    for path in start(vineyard, record, rows, vines):
        click.echo(str(path))
    click.echo("Next: trunkwatch log VINEYARD survey, then finding; or write surveys.csv and symptoms.csv.", err=True)


def _in_a_terminal() -> bool:
    return sys.stdin.isatty()


def _hemisphere(written: str | None, latitude: float | None) -> str | None:
    """Return the side of the equator; ask for it in a terminal where nothing tells it."""
    if latitude is not None:
        if written and written != ("south" if latitude < 0 else "north"):
            raise click.UsageError(
                f"--hemisphere {written} and --latitude {latitude:g} contradict each other: give one of them"
            )
        return written
    if written:
        return written
    if _in_a_terminal():
        return str(click.prompt("Side of the equator", type=click.Choice(list(codes.HEMISPHERES))))
    raise click.UsageError(
        "--hemisphere north or --hemisphere south is needed (or --latitude): it says which season a day belongs to "
        "and which inspection is made on it"
    )
