"""trunkwatch load."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.options import keep_good_option, vineyard_argument
from trunkwatch.vineyard import codes


@click.command("load")
@vineyard_argument
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--map", "columns", multiple=True, metavar="NAME=COLUMN",
              help="For a foreign spreadsheet: which column is row, position, block, date, bay, cultivar, rootstock; may be repeated.")  # fmt: skip
@click.option("--status", metavar="COLUMN", help="The column with the status of each plant.")
@click.option(
    "--case-when",
    default="1",
    show_default=True,
    metavar="RULE",
    help="Which status makes a case: 1, Y, '>0', '>=2'.",
)
@click.option("--missing-when", default="", metavar="RULE", help="Which status means that there is no plant.")
@click.option(
    "--symptom",
    type=click.Choice(list(codes.SYMPTOMS)),
    default="leaf_stripe",
    show_default=True,
    help="What a case is written down as.",
)
@click.option("--scale", default="", help="Name of the scale, where the status is a class to keep.")
@click.option("--day-zero", default="", metavar="DATE", help="Day from which a column of days counts.")
@click.option("--date", "day", default="", metavar="DATE", help="Day of all lines, where there is no date column.")
@click.option("--look", type=click.Choice(list(codes.LOOKS)), help="Look of the surveys, where the date does not tell.")
@click.option("--survey", default="import", show_default=True, help="Name of the surveys.")
@click.option(
    "--block",
    "block_label",
    default="imported",
    show_default=True,
    help="Label of the block, where no column has it.",
)
@click.option("--order-within", default="", metavar="COLUMNS",
              help="Take the order of lines within these columns (row,bay) as the position.")  # fmt: skip
@click.option("--row-spacing-m", type=float, help="For blocks that are made.")
@click.option("--vine-spacing-m", type=float, help="For blocks that are made.")
@click.option("--take-changes", is_flag=True, help="Take records that are known with other values as corrections.")
@keep_good_option
def command(
    vineyard: Path,
    files: tuple[Path, ...],
    columns: tuple[str, ...],
    take_changes: bool,
    keep_good: bool,
    **told: Any,
) -> None:
    """Take spreadsheets into a vineyard.

    Vineyard files (.gpkg) are merged, in any order with the same outcome. Files named after a table (symptoms-2026.csv, surveys.xlsx) or folders of such files are taken
    as they are. Any other spreadsheet needs --map or --status: one line a plant (and date), its
    status in one column.

    \b
    Example:
      trunkwatch load my_vines symptoms-2026.csv surveys-2026.csv
      trunkwatch load all.gpkg north_scout.gpkg south_scout.gpkg my_folder
      trunkwatch load my_vines plants.xlsx --map row=Row --map position=Vine --map date=Day \\
          --status Diseased --case-when '>0' --look summer
    """
    from trunkwatch.intake.bring import bring_files, bring_sheet

    foreign = bool(columns or told["status"])
    for path in files:
        if foreign:
            added, account = bring_sheet(
                vineyard, path, _column_map(columns, told), take_changes=take_changes, keep_good=keep_good
            )
            for line in account:
                click.echo(line)
        else:
            added, faults = bring_files(vineyard, path, take_changes=take_changes, keep_good=keep_good)
            for fault in faults:
                click.echo(f"{fault.weight}: {fault}", err=True)
        _told(added)


def _column_map(columns: tuple[str, ...], told: dict[str, Any]) -> Any:
    from trunkwatch.notes.mapping import ColumnMap

    names = ("row", "position", "block", "date", "bay", "cultivar", "rootstock")
    mapped: dict[str, Any] = {}
    for pair in columns:
        name, mark, column = pair.partition("=")
        if not mark or name not in names:
            raise click.BadParameter(f"{pair!r}: NAME=COLUMN with a name of {', '.join(names)}", param_hint="--map")
        mapped[name] = column
    within = tuple(part.strip() for part in told.pop("order_within").split(",") if part.strip())
    told["status"] = told["status"] or ""
    told["look"] = told["look"] or ""
    return ColumnMap(**mapped, order_within=within, **told)


def _told(added: Any) -> None:
    for table, count in added.new.items():
        same = added.same.get(table, 0)
        if count or same:
            click.echo(f"{table}: {count} added" + (f", {same} known already" if same else ""))
    for note in added.notes:
        click.echo(f"note: {note}", err=True)
    for change in added.changed:
        values = "; ".join(f"{name}: {old} -> {now}" for name, (old, now) in change.values.items())
        click.echo(f"{change.table} known with other values, not taken: {values} ({change.read_from})", err=True)
