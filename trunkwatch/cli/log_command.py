"""trunkwatch log: one command for each table that people write into."""

from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.in_tables import into_tables_at_end
from trunkwatch.cli.options import vineyard_type
from trunkwatch.cli.photo_lines import PHOTO_TABLES, add_to_record, photo_command, photo_options
from trunkwatch.vineyard.tables import TABLES, Column

_NOUNS = {
    "finding": ("symptoms", "Add a finding.",
                ("trunkwatch log my_vines finding --block B --row 12 --position 31 \\\n"
                 "          --symptom dead_arm --arm start --percent 60 --date 2026-02-03")),
    "survey": ("surveys", "Add a survey: what was scouted.",
               "trunkwatch log my_vines survey --block B --date 2026-02-03 --covered '1..12'"),
    "work": ("work", "Add work, planned or done.",
             ("trunkwatch log my_vines work --block B --row 12 --position 31 \\\n"
              "          --kind renew_arm --arm start --date 2026-02-20")),
    "plant": ("plants", "Add a planting or a removal.",
              "trunkwatch log my_vines plant --block B --row 12 --position 31 --removed 2026-02-20 --reason dead"),
    "buds": ("bud_counts", "Add a count of buds that were cut: how many are dead.",
             ("trunkwatch log my_vines buds --block B --date 2027-01-20 --part hollow \\\n"
              "          --canes 25 --buds 100 --primary-dead 20 --secondary-dead 4 --secondary-alive 16")),
    "budbreak": ("budbreak", "Add the day on which buds broke.",
                 "trunkwatch log my_vines budbreak --block B --date 2027-04-28"),
    "pruning": ("pruning", "Add rows that were pruned, and the hours they took.",
                "trunkwatch log my_vines pruning --block B --date 2027-01-20 --covered '1..4' --hours 14"),
}  # fmt: skip


_HELP = """Add records to a vineyard: one by one, or many at once from a file.

\b
Example:
  trunkwatch log my_vines finding --block B --row 12 --position 31 \\
      --symptom dead_arm --arm start --percent 60 --date 2026-02-03
  trunkwatch log my_vines finding --file notes.csv
"""


class _LogGroup(click.Group):
    """Takes the vineyard before the noun: log VINEYARD finding ..."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        if len(args) > 1 and args[0] not in self.commands and not args[0].startswith("-"):
            ctx.obj = vineyard_type.convert(args[0], None, ctx)
            args = args[1:]
        return super().parse_args(ctx, args)

    def format_usage(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        formatter.write_usage(ctx.command_path, "VINEYARD NOUN [OPTIONS]")


command = _LogGroup("log", help=_HELP, context_settings={"help_option_names": ["-h", "--help"]})


def _option(column: Column) -> click.Option:
    unit = f" ({column.unit})" if column.unit else ""
    listed = f": {', '.join(column.codes)}" if column.codes else ""
    told = f"{column.meaning[:1].upper()}{column.meaning[1:]}{unit}{listed}."
    # A photo itself is --photo; a camera's number of one is text.
    option = "photo-number" if column.name == "photo" else column.name.replace("_", "-")
    return click.Option([f"--{option}", column.name], help=told, metavar=column.kind.upper())


def _vineyard(ctx: click.Context) -> Path:
    found = ctx.find_object(Path)
    if found is None:
        raise click.UsageError("name the vineyard first: trunkwatch log VINEYARD finding ...")
    into_tables_at_end(found)
    return found


def _report(added: Any, table: str) -> None:
    from trunkwatch.cli.superseded import echo_superseded

    new, same = added.new.get(table, 0), added.same.get(table, 0)
    click.echo(f"{new} added" + (f", {same} already recorded" if same else ""))
    for note in added.notes:
        click.echo(f"note: {note}", err=True)
    for change in added.changed:
        values = "; ".join(f"{name}: {old} -> {now}" for name, (old, now) in change.values.items())
        told = "taken as a correction" if change.taken else "not imported"
        way = "" if change.taken else " (--take-changes takes it as a correction)"
        click.echo(f"different from the existing record, {told}: {values}{way}", err=True)
    echo_superseded(added.superseded)


def _noun(name: str, table: str, told: str, example: str) -> click.Command:
    columns = [column for column in TABLES[table].columns if column.name not in ("corrects", "void", "read_from")]

    @click.pass_context
    def run(ctx: click.Context, /, file: Path | None, take_changes: bool, keep_good: bool, **values: Any) -> None:
        asked = {name: values.pop(name) for name in ("photo_files", "shows", "caption", "keep_place") if name in values}
        if file is not None:
            if asked.get("photo_files"):
                raise click.UsageError(
                    "--photo goes with one record: log photo --record ID adds photos to those of a file"
                )
            _from_file(ctx, table, file, take_changes=take_changes, keep_good=keep_good)
            return
        from trunkwatch.intake import enter_records
        from trunkwatch.intake.typed import read_typed

        entered = enter_records(_vineyard(ctx), table, [read_typed(table, values)], take_changes=take_changes)
        _report(entered, table)
        if photos := asked.pop("photo_files", ()):
            add_to_record(_vineyard(ctx), entered.ids[0], photos, observer=values.get("observer"), **asked)

    options = [
        *[_option(column) for column in columns],
        *(photo_options() if table in PHOTO_TABLES else []),
        click.Option(
            ["--file"],
            type=click.Path(path_type=Path, allow_dash=True),
            help="Many at once: a CSV or XLSX file, or - for CSV on standard input.",
        ),
        click.Option(
            ["--take-changes"],
            is_flag=True,
            help="Take a record that is different from the existing record as a correction.",
        ),
        click.Option(["--keep-good"], is_flag=True, help="With --file: import the good lines."),
    ]
    return click.Command(
        name,
        callback=run,
        params=list(options),
        help=f"{told}\n\n\b\nExample:\n  {example}",
        short_help=told,
        context_settings={"help_option_names": ["-h", "--help"]},
    )


def _from_file(ctx: click.Context, table: str, file: Path, *, take_changes: bool, keep_good: bool) -> None:
    import sys
    import tempfile

    import pandas as pd

    from trunkwatch.cli.left_out import echo_faults, echo_taken
    from trunkwatch.errors import FaultyNotesError, FileError
    from trunkwatch.intake import add_frames
    from trunkwatch.spreadsheets.table import read_table
    from trunkwatch.spreadsheets.worksheet import read_sheets

    with tempfile.TemporaryDirectory() as scratch:
        if str(file) == "-":
            file = Path(scratch) / "standard input.csv"
            file.write_bytes(sys.stdin.buffer.read())
        sheets = read_sheets(file)
    read = [read_table(sheet, table) for sheet in sheets]
    faults = [fault for _, found in read for fault in found]
    stopping = [fault for fault in faults if fault.weight == "fault"]
    if stopping and not keep_good:
        raise FaultyNotesError(stopping)
    frames = [frame for frame, _ in read if len(frame)]
    if not frames:
        raise FileError(f"{file.name}: no line to take")
    # All sheets or none.
    together = pd.concat(frames, ignore_index=True)
    added = add_frames(_vineyard(ctx), {table: together}, take_changes=take_changes, keep_good=keep_good)
    faults += added.left_out
    echo_faults(faults)
    _report(added, table)
    echo_taken(added.new.get(table, 0) + added.same.get(table, 0), faults, {table})


def _correct() -> click.Command:
    tables = [name for name in TABLES if name not in ("weather", "costs")]

    @click.pass_context
    def run(
        ctx: click.Context, /, table: str, record: str, void: bool, changes: tuple[str, ...], note: str | None
    ) -> None:
        from trunkwatch.intake import correct_record
        from trunkwatch.intake.correct import changeable

        typed: dict[str, str] = {}
        for change in changes:
            name, mark, value = change.partition("=")
            if not mark or name not in changeable(table):
                raise click.UsageError(
                    f"{change!r} is no change: column=value with a column of {table}: {', '.join(changeable(table))}"
                )
            typed[name] = value
        corrected = correct_record(_vineyard(ctx), table, record, typed, void=void, note=note)
        _report(corrected.added, table)
        click.echo(
            f"stands now: {corrected.id}: {corrected.values}"
            if corrected.id
            else "taken back: nothing stands in its place"
        )

    return click.Command(
        "correct",
        callback=run,
        params=[
            click.Option(
                ["--table"],
                type=click.Choice(tables),
                default="symptoms",
                show_default=True,
                help="Table of the record.",
            ),
            click.Option(["--record"], required=True, metavar="ID", help="Id of the record, as export shows it."),
            click.Option(["--void"], is_flag=True, help="The record never was."),
            click.Option(
                ["--set", "changes"],
                multiple=True,
                metavar="COLUMN=VALUE",
                help="A cell to change; may be repeated.",
            ),
            click.Option(["--note"], help="Why."),
        ],
        help="Correct a record: the old one stays readable.\n\n\b\nExample:\n"
        "  trunkwatch log my_vines correct --record ID --set position=32",
        short_help="Correct a record.",
        context_settings={"help_option_names": ["-h", "--help"]},
    )


for _name, (_table, _told, _example) in _NOUNS.items():
    command.add_command(_noun(_name, _table, _told, _example))
command.add_command(_correct())
command.add_command(photo_command(_vineyard))
