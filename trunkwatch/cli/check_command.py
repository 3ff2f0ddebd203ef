"""trunkwatch check."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trunkwatch.cli.options import emit_json, json_option, vineyard_argument

if TYPE_CHECKING:
    from trunkwatch.store import Saved


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
def command(
    vineyard: Path, today: str | None, rescue: Path | None, accept: bool, faults_only: bool, as_json: bool
) -> None:
    """List all that is wrong or odd in a vineyard; exit code 1 if there is an error.

    An error keeps its file from being imported. A note may well be true: it is something to look at.
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
        click.echo(f"{faults} error(s), {len(found) - faults} note(s)", err=True)
    if faults:
        raise SystemExit(1)


def _accept(vineyard: Path) -> None:
    from trunkwatch.errors import FaultyNotesError, FileError
    from trunkwatch.intake import accept_file
    from trunkwatch.store import refuse_shared

    refuse_shared(
        vineyard,
        "--accept",
        "nobody but its owner can change what is in it; `trunkwatch log VINEYARD correct` corrects records",
    )
    if not vineyard.is_file():
        raise FileError(f"{vineyard} is no file: --accept is for .gpkg files that another program has changed")
    try:
        settled = accept_file(vineyard)
    except FaultyNotesError as error:
        for fault in error.faults:
            click.echo(f"{fault.weight}: {fault}")
        click.echo(f"{len(error.faults)} error(s) must be fixed first; nothing was changed", err=True)
        raise SystemExit(1) from None
    for fault in settled:
        click.echo(f"accepted: {replace(fault, expected='')}")
    click.echo(f"{vineyard} is taken as it is; its layers are drawn anew", err=True)


def _rescue(vineyard: Path, out: Path) -> None:
    from trunkwatch.block.whole_folder import write_whole_folder
    from trunkwatch.errors import FileError
    from trunkwatch.spreadsheets.photo_folder import keep_in_folder
    from trunkwatch.store import refuse_shared, rescue_file
    from trunkwatch.store.rescue import rescued_photos

    refuse_shared(vineyard, "--rescue", "take it from a backup of the database (pg_restore)")
    if not vineyard.is_file():
        raise FileError(f"{vineyard} is no file: --rescue is for damaged .gpkg files")
    if out.exists() and any(out.iterdir()):
        raise FileError(f"{out} is not empty: name a new folder")
    rescued = rescue_file(vineyard)
    if not any(len(frame) for frame in rescued.frames.values()):
        raise FileError(f"nothing can be read of {vineyard.name}: look for a copy of it, or the files it was made from")
    write_whole_folder(out, rescued.frames)
    if rescued.beside:
        click.echo(rescued.beside)
    for table, saved in rescued.saved.items():
        click.echo(f"{table}: {_told(saved)}")
        for cell in saved.left_out:
            click.echo(f"{table}: left out: {cell}")
    if many := sum(keep_in_folder(out, data) for data in rescued_photos(vineyard)):
        click.echo(f"{many} photo{'' if many == 1 else 's'} saved, in {out / 'photos'}")
    if rescued.damaged:
        click.echo(f"log: {rescued.damaged} entries could not be read: enter again what you wrote last and miss")
    if rescued.half:
        click.echo("log: an entry that was begun and not finished is left out")
    click.echo(f"Look at {out}, then: trunkwatch load NEW.gpkg {out}", err=True)


def _told(saved: "Saved") -> str:
    if saved.missing < 0:
        return f"the table is gone{_waited(saved)}"
    least = "" if saved.is_known else "at least "
    missing = f"{least}{saved.missing} running numbers missing" if saved.missing or least else "none missing"
    return f"{saved.read} records read, {missing}{_waited(saved)}"


def _waited(saved: "Saved") -> str:
    return f", {saved.waited} more from the log" if saved.waited else ""
