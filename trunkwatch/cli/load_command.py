"""trunkwatch load."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.in_tables import into_tables_at_end
from trunkwatch.cli.options import keep_good_option, vineyard_argument, vineyard_type
from trunkwatch.vineyard import codes

#: Names that --map takes beside --status; beside --table it takes the columns of the table.
_PLAN = ("row", "position", "block", "date", "bay", "cultivar", "rootstock")
_TABLES = (
    "symptoms",
    "surveys",
    "work",
    "plants",
    "blocks",
    "rows",
    "bud_counts",
    "budbreak",
    "pruning",
    "photos",
    "weather",
    "costs",
    "settings",
)


@click.command("load")
@vineyard_argument
@click.argument("files", nargs=-1, required=True, type=vineyard_type)
@click.option(
    "--map",
    "columns",
    multiple=True,
    metavar="NAME=COLUMN",
    help="For a foreign spreadsheet: which column is row, position, block, date ...; may be repeated.",
)
@click.option(
    "--table", type=click.Choice(_TABLES), help="What a line of a foreign spreadsheet is, if not a plant with a status."
)
@click.option(
    "--word",
    "words",
    multiple=True,
    metavar="SAID=CODE",
    help="With --table: a word of your own for a code, 'dead cordon=dead_arm'; may be repeated.",
)
@click.option("--sheet", default="", metavar="NAME", help="The sheet that is meant, where a workbook has several.")
@click.option("--day-first", "day_order", flag_value="day", default="", help="Days are written 31/01/2026.")
@click.option("--month-first", "day_order", flag_value="month", help="Days are written 01/31/2026.")
@click.option("--status", metavar="COLUMN", help="The column with the status of each plant.")
@click.option(
    "--case-when",
    multiple=True,
    default=("1",),
    show_default=True,
    metavar="RULE",
    help="Which status makes a case: 1, Y, '>0', '>=2', '!=x'; may be repeated, as all that follow.",
)
@click.option("--sound-when", multiple=True, metavar="RULE", help="Which status means scouted and sound.")
@click.option("--missing-when", multiple=True, metavar="RULE", help="Which status means that there is no plant.")
@click.option(
    "--unseen-when", multiple=True, metavar="RULE", help="Which status means not scouted, as an empty cell does."
)
@click.option(
    "--replanted-when",
    multiple=True,
    metavar="RULE",
    help="Which status means a new vine, planted on the day of the line.",
)
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
    help="Label of the block, where no column has it.  [default: imported]",
)
@click.option(
    "--order-within",
    default="",
    metavar="COLUMNS",
    help="Take the order of lines within these columns (row,bay) as the position.",
)
@click.option(
    "--hemisphere",
    type=click.Choice(list(codes.HEMISPHERES)),
    help="For blocks that are made: which season and look a day belongs to.",
)
@click.option("--row-spacing-m", type=float, help="For blocks that are made.")
@click.option("--vine-spacing-m", type=float, help="For blocks that are made.")
@click.option(
    "--units",
    default="",
    metavar="UNITS",
    help="Of a weather file whose headings name none: 'C, mm', 'F, in', 'C/10, mm/10'.",
)
@click.option(
    "--missing",
    multiple=True,
    metavar="CODE",
    help="Code for a missing value in a weather file, beside the usual -99, -999, -9999; may be repeated.",
)
@click.option(
    "--mapping",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE",
    help="For a whole workbook: what its sheets and words mean, as the first run wrote it.",
)
@click.option("--yes", is_flag=True, help="Take a whole workbook of which everything is certain.")
@click.option("--take-changes", is_flag=True, help="Import records that differ from the existing ones as corrections.")
@click.option("--unsigned", is_flag=True, help="Import what a phone sends though no paired phone signed it.")
@keep_good_option
def command(
    vineyard: Path,
    files: tuple[Path, ...],
    columns: tuple[str, ...],
    table: str | None,
    words: tuple[str, ...],
    sheet: str,
    take_changes: bool,
    keep_good: bool,
    unsigned: bool,
    units: str,
    missing: tuple[str, ...],
    mapping: Path | None,
    yes: bool,
    **told: Any,
) -> None:
    """Import spreadsheets into a vineyard.

    Vineyard files (.gpkg) are merged, in any order with the same outcome. Files named after a table
    (symptoms-2026.csv, surveys.xlsx) or folders of such files are taken as they are. A spreadsheet
    with headings of its own needs --table (one line a finding, say) or --status (one line a plant
    and date, its status in one column), and --map for each heading that is not understood by itself.
    Every word of the status column needs a meaning: --case-when, --sound-when, --missing-when,
    --unseen-when or --replanted-when. Only 0 beside a case of 1, no beside yes, a number that a
    rule like '>0' leaves, healthy, ok and sound are understood as sound by themselves, and an empty
    cell as not scouted.

    Any other workbook (.xlsx, .ods, .csv) is read whole, all sheets: long lists, a column a year,
    rows by vines without headings. The first run takes nothing; it prints what it understood (each
    sheet and column, every word with its count and meaning) and writes a mapping file
    (book.mapping.toml in the folder, or beside a .gpkg file) with a comment on each line. Change
    what is wrong in it, answer each "ask", and --mapping FILE takes the workbook. A word without a
    meaning stops it; blank cells count as not scouted unless the file says otherwise. Blocks
    that are not there are laid out from the workbook. What was taken by is kept (book.kept.toml)
    and used again next year.

    \b
    Parts of a mapping file, "name" = "meaning" in each:
      [words]     a word: sound, no vine, not scouted, replanted 2023,
                  work renew_arm, or symptoms: dead_arm side N + leaf_stripe
      [days]      a year or month: the day of the inspection, or dormant, spring,
                  summer
      [sides]     N, left ...: start, end or no arm
      [block."B"] hemisphere, planted, row_spacing_m, vine_spacing_m,
                  rows_from_far_end, rows_between, divided_rows
      [sheet."S"] is, block, row, day, day_order, blank, colors, lines_are,
                  hyphens, fill_down; and [sheet."S".columns] what each is

    \b
    Example:
      trunkwatch load my_vines book.xlsx
      trunkwatch load my_vines book.xlsx --mapping my_vines/book.mapping.toml
      trunkwatch load my_vines symptoms-2026.csv surveys-2026.csv
      trunkwatch load all.gpkg north_scout.gpkg south_scout.gpkg my_folder
      trunkwatch load postgresql://ana@server/vines my_vines.gpkg
      trunkwatch load my_vines scouting.xlsx --table symptoms --map position=Vine --block North \\
          --word 'dead cordon=dead_arm' --day-first
      trunkwatch load my_vines station.csv --table weather --units 'F, in' --missing -100
      trunkwatch load my_vines plants.xlsx --map row=Row --map position=Vine --map date=Day \\
          --status Diseased --case-when '>0' --missing-when gone --unseen-when '?' --look summer
    """
    from trunkwatch.cli.book_lines import load_book
    from trunkwatch.cli.left_out import echo_faults, echo_taken
    from trunkwatch.intake.bring import bring_files, bring_sheet, bring_table
    from trunkwatch.intake.bring_book import is_book
    from trunkwatch.spreadsheets.folder import table_of_file
    from trunkwatch.store import refuse_shared

    into_tables_at_end(vineyard)
    mapped = _pairs(columns, "--map", "NAME=COLUMN")
    own = bool(mapped or words or sheet or told["day_order"] or units or missing)
    how: dict[str, Any] = {"take_changes": take_changes, "keep_good": keep_good}
    for path in files:
        refuse_shared(path, "`trunkwatch load`", "`trunkwatch export` writes the record into a file that can be loaded")
        meant = table or (table_of_file(path.stem) if own and not told["status"] else None)
        if meant and told["status"]:
            raise click.UsageError("--status is for one line a plant, --table for one line a record: give one of them")
        faults: list[Any]
        if meant:
            if meant != "weather" and (units or missing):
                raise click.UsageError(f"--units and --missing are for weather, not for {meant}: leave them out")
            read_as: dict[str, Any] = {"units": units, "missing": missing}
            added, faults = bring_table(
                vineyard, path, _table_map(meant, mapped, words, told), sheet=sheet, **read_as, **how
            )
        elif mapped or told["status"]:
            added, account = bring_sheet(vineyard, path, _column_map(mapped, told), sheet=sheet, **how)
            faults = []
            for line in account:
                click.echo(line)
        elif not own and is_book(path):
            refuse_shared(
                vineyard, "a whole workbook", "load it into a new .gpkg file, look it over, and load that file"
            )
            added, faults = load_book(vineyard, path, mapping, yes=yes, **how), []
        elif (mapping or yes) and path.exists():
            raise click.UsageError(
                f"{path.name}: --mapping and --yes are for a whole workbook of your own; this is one of our tables"
            )
        elif own:
            raise click.UsageError(
                f"{path.name}: --word, --sheet, --day-first and --month-first need --table or --status"
            )
        else:
            added, faults = bring_files(vineyard, path, unsigned=unsigned, **how)
        faults = [*faults, *added.left_out]
        echo_faults(faults)
        _told(added, vineyard, path)
        taken = sum(added.new.values()) + sum(added.same.values()) if added.lines is None else added.lines
        echo_taken(taken, faults, {table for table in added.new if added.lines is None})


def _pairs(texts: tuple[str, ...], option: str, form: str) -> dict[str, str]:
    found: dict[str, str] = {}
    for text in texts:
        name, mark, value = (part.strip() for part in text.partition("="))
        if not mark or not name or not value:
            raise click.BadParameter(f"{text!r}: {form} is needed", param_hint=option)
        if name in found:
            raise click.BadParameter(f"{name} is given twice", param_hint=option)
        found[name] = value
    return found


def _table_map(table: str, mapped: dict[str, str], words: tuple[str, ...], told: dict[str, Any]) -> Any:
    from trunkwatch.spreadsheets.renamed import TableMap

    constants = {"block": told["block_label"] or "", "date": told["day"], "look": told["look"] or ""}
    if table == "blocks":
        constants["hemisphere"] = told["hemisphere"] or ""
    return TableMap(table, mapped, _pairs(words, "--word", "SAID=CODE"), constants, told["day_order"])


def _column_map(mapped: dict[str, str], told: dict[str, Any]) -> Any:
    from trunkwatch.spreadsheets.mapping import ColumnMap

    strange = [name for name in mapped if name not in _PLAN]
    if strange:
        raise click.BadParameter(
            f"{strange[0]!r}: NAME=COLUMN with a name of {', '.join(_PLAN)}, or --table for one line a record",
            param_hint="--map",
        )
    rest = dict(told)
    within = tuple(part.strip() for part in rest.pop("order_within").split(",") if part.strip())
    rest |= {
        "status": rest["status"] or "",
        "look": rest["look"] or "",
        "hemisphere": rest["hemisphere"] or "",
        "block_label": rest["block_label"] or "imported",
    }
    rest |= mapped | {"order_within": within}
    return ColumnMap(**rest)


def _told(added: Any, vineyard: Path, path: Path) -> None:
    from trunkwatch.cli.superseded import echo_superseded

    for table, count in added.new.items():
        same = added.same.get(table, 0)
        if count or same:
            click.echo(f"{table}: {count} added" + (f", {same} already recorded" if same else ""))
    for note in added.notes:
        click.echo(f"note: {note}", err=True)
    for change in added.changed:
        if change.stands is not None:
            click.echo(_merged(change, vineyard.name, path.name), err=True)
            continue
        values = "; ".join(f"{name}: {_plain(old)} -> {_plain(now)}" for name, (old, now) in change.values.items())
        where = f" ({change.read_from})" if change.read_from else ""
        what = "taken as a correction" if change.taken else "not imported"
        way = "" if change.taken else "; --take-changes takes it as a correction"
        click.echo(f"{change.table} different from the existing record, {what}: {values}{where}{way}", err=True)
    echo_superseded(added.superseded)


def _merged(change: Any, here: str, there: str) -> str:
    """Say of a record that two files had with different values what was kept, and what stands now."""
    told = "; ".join(
        f"{name} is {_plain(old)} in {here} and {_plain(now)} in {there}" for name, (old, now) in change.values.items()
    )
    stands = ", ".join(f"{name} {_plain(value)}" for name, value in change.stands.items())
    ending = f"what stands now: {stands} (the one saved last)" if stands else "it stands taken back"
    return f"{change.table}, {change.about}: {told}. Both are kept; {ending}"


def _plain(value: Any) -> str:
    from trunkwatch.spreadsheets.write import cell_text

    return cell_text(value) or "nothing"
