"""trunkwatch check."""

from dataclasses import replace
from pathlib import Path

import click

from trunkwatch.cli.options import emit_json, json_option, vineyard_argument

#: So many running numbers are tried where a file no longer tells its last one.
UNKNOWN = 1_000_000


@click.command("check")
@vineyard_argument
@click.option("--today", metavar="DATE", help="Day after which a date lies in the future (YYYY-MM-DD).")
@click.option(
    "--rescue", type=click.Path(path_type=Path, file_okay=False), metavar="FOLDER",
    help="Save what can be read of a damaged file as a folder of CSV files.",
)  # fmt: skip
@click.option(
    "--accept", is_flag=True,
    help="Take a file as another program has left it, once no value in it is at fault; layers are drawn anew.",
)  # fmt: skip
@click.option("--faults-only", is_flag=True, help="Leave the notes out.")
@json_option
def command(vineyard: Path, today: str | None, rescue: Path | None, accept: bool, faults_only: bool, as_json: bool) -> None:
    """List all that is wrong or odd in a vineyard; exit code 1 if there is a fault.

    A fault keeps its file from being taken. A note may well be true: it is something to look at.
    Of a .gpkg file every record is read, also what a map program or a database browser put in, took out or changed,
    and what is damaged on the disk.

    \b
    Example:
      trunkwatch check sample_blocks
    """
    from dataclasses import asdict

    from trunkwatch.intake import check_vineyard

    if rescue is not None:
        _rescue(vineyard, rescue)
        return
    if accept:
        _accept(vineyard)
        return

    found = check_vineyard(vineyard, today=today)
    if faults_only:
        found = [fault for fault in found if fault.weight == "fault"]
    faults = sum(fault.weight == "fault" for fault in found)
    if as_json:
        emit_json([asdict(fault) for fault in found])
    else:
        for fault in found:
            click.echo(f"{fault.weight}: {fault}")
        click.echo(f"{faults} fault(s), {len(found) - faults} note(s)", err=True)
    if faults:
        raise SystemExit(1)


def _accept(vineyard: Path) -> None:
    from trunkwatch.errors import FaultyNotesError, FileError
    from trunkwatch.intake import accept_file

    if not vineyard.is_file():
        raise FileError(f"{vineyard} is no file: --accept is for .gpkg files that another program has changed")
    try:
        settled = accept_file(vineyard)
    except FaultyNotesError as error:
        for fault in error.faults:
            click.echo(f"{fault.weight}: {fault}")
        click.echo(f"{len(error.faults)} fault(s) must be mended first; nothing was changed", err=True)
        raise SystemExit(1) from None
    for fault in settled:
        click.echo(f"accepted: {replace(fault, expected='')}")
    click.echo(f"{vineyard} is taken as it is; its layers are drawn anew", err=True)


def _rescue(vineyard: Path, out: Path) -> None:
    from trunkwatch.errors import FileError
    from trunkwatch.spreadsheets.write import write_folder
    from trunkwatch.store import rescued_frames

    if not vineyard.is_file():
        raise FileError(f"{vineyard} is no file: --rescue is for damaged .gpkg files")
    if out.exists() and any(out.iterdir()):
        raise FileError(f"{out} is not empty: name a new folder")
    frames, lost = rescued_frames(vineyard)
    if not any(len(frame) for frame in frames.values()):
        raise FileError(f"nothing can be read of {vineyard.name}: look for a copy of it, or the files it was made from")
    write_folder(out, frames)
    for table, frame in frames.items():
        if len(frame) or lost[table]:
            click.echo(f"{table}: {len(frame)} records saved{_lost(lost[table], len(frame))}")
    click.echo(f"Look at {out}, then: trunkwatch load NEW.gpkg {out}", err=True)


def _lost(count: int, saved: int) -> str:
    if count == 0:
        return ""
    if count < 0:
        return ", the table is gone"
    if count >= UNKNOWN:
        return ", how many are lost cannot be told" if saved else ", none can be read"
    return f", {count} could not be read"
