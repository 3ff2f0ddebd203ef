"""trunkwatch check."""

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trunkwatch.cli.options import emit_json, json_option, vineyard_argument

if TYPE_CHECKING:
    from trunkwatch.store import Rescued, Saved

#: Records that are named of each table; all damaged ones stand in a file of this name.
MOST_NAMED, DAMAGED = 25, "damaged.txt"


@click.command("check")
@vineyard_argument
@click.option("--today", metavar="DATE", help="Day after which a date lies in the future (YYYY-MM-DD).")
@click.option(
    "--rescue",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Save what can be read of a damaged file as a folder of CSV files.",
)
@click.option(
    "--accept",
    is_flag=True,
    help="Take a file as another program has left it, once no value in it is at fault; layers are drawn anew.",
)
@click.option(
    "--fix",
    "mend",
    is_flag=True,
    help="Put damaged records of a file back as they were written, where its log still holds them.",
)
@click.option(
    "--clear-photos",
    "clear",
    is_flag=True,
    help="Remove the pictures of photos that were taken back, by themselves or with their record, for good.",
)
@click.option("--faults-only", is_flag=True, help="Leave the notes out.")
@json_option
def command(
    vineyard: Path,
    today: str | None,
    rescue: Path | None,
    accept: bool,
    mend: bool,
    clear: bool,
    faults_only: bool,
    as_json: bool,
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
    if mend:
        _mend(vineyard)
        return
    if clear:
        _clear(vineyard)
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


def _mend(vineyard: Path) -> None:
    from trunkwatch.errors import FileError
    from trunkwatch.store import mend_file

    if not vineyard.is_file():
        raise FileError(f"{vineyard} is no file: --fix is for damaged .gpkg files")
    mended, left = mend_file(vineyard)
    for which in mended:
        click.echo(f"put back as it was written: {_plain(which)}")
    many = "1 damaged record is" if left == 1 else f"{left:,} damaged records are"
    if left:
        click.echo(f"{many} not in the log any more: `trunkwatch check {vineyard}` names each", err=True)
    elif not mended:
        click.echo(f"no record of {vineyard.name} is damaged; nothing was changed", err=True)


def _clear(vineyard: Path) -> None:
    from trunkwatch.intake.clear_photos import clear_photos

    many, size = clear_photos(vineyard)
    if many:
        what = "1 picture" if many == 1 else f"{many:,} pictures"
        click.echo(f"removed: {what}, {size / 1e6:.3g} MB; what was written of them stays on record as taken back")
    else:
        click.echo("no picture is of a photo that was taken back; nothing was changed", err=True)


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
        _name(table, [f"left out: {cell}" for cell in saved.left_out])
        _name(table, [f"missing: {which}" for which in saved.lost])
        _name(table, [f"damaged and left out: {which}" for which in saved.damaged])
    if many := sum(keep_in_folder(out, data) for data in rescued_photos(vineyard)):
        click.echo(f"{many} photo{'' if many == 1 else 's'} saved, in {out / 'photos'}")
    if rescued.damaged:
        entries = "1 entry" if rescued.damaged == 1 else f"{rescued.damaged} entries"
        click.echo(f"log: {entries} could not be read: enter again what you wrote last and miss")
    if rescued.half:
        click.echo("log: an entry that was begun and not finished is left out")
    if rescued.by_others:
        click.echo(
            "the file was changed more often than trunkwatch knows of: by another program, or the latest entries of the log are lost; look whether what you wrote last is there"
        )
    click.echo(_missing(rescued))
    damaged = [f"{table}: {_plain(which)}\n" for table, saved in rescued.saved.items() for which in saved.damaged]
    if damaged:
        (out / DAMAGED).write_text("".join(damaged), encoding="utf-8")
        click.echo(
            f"how the damaged ones read stands in {out / DAMAGED}: enter them again from the paper or from a copy"
        )
    click.echo(f"Look at {out}, then: trunkwatch load NEW.gpkg {out}", err=True)


def _name(table: str, lines: list[str]) -> None:
    """Print some of many lines of a table, and how many more there are."""
    for line in lines[:MOST_NAMED]:
        click.echo(f"{table}: {_plain(line)}")
    if len(lines) > MOST_NAMED:
        click.echo(f"{table}: and {len(lines) - MOST_NAMED:,} more alike")


def _plain(text: str) -> str:
    """Return text without what steers a screen: what was damaged may read so."""
    return "".join(letter if letter.isprintable() else "?" for letter in text)


def _missing(rescued: "Rescued") -> str:
    many = rescued.missing
    if not many:
        return "nothing is missing" if rescued.is_known else "missing: at least 0 records; see the lines above"
    tables = [f"{table} {saved.missing:,}" for table, saved in rescued.saved.items() if saved.missing > 0]
    log = [f"log {rescued.damaged:,}"] if rescued.damaged else []
    least = "" if rescued.is_known else "at least "
    return f"missing: {least}{many:,} record{'' if many == 1 else 's'} ({', '.join([*tables, *log])})"


def _told(saved: "Saved") -> str:
    again = f" ({saved.again} of them found again elsewhere in the file)" if saved.again else ""
    waited = f", {saved.waited} more from the log" if saved.waited else ""
    if saved.missing < 0:
        return f"the table is gone{waited}"
    least = "" if saved.is_known else "at least "
    missing = f"{least}{saved.missing} missing" if saved.missing or least else "none missing"
    return f"{saved.read} records read{again}, {missing}{waited}"
