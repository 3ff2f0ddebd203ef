"""Photos on the command line: options of what is logged, the noun photo of log, and export as files."""

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import click

from trunkwatch.vineyard import codes

__all__ = ["PHOTO_TABLES", "add_to_record", "echo_exported", "photo_command", "photo_options"]

#: Tables whose records may have photos.
PHOTO_TABLES = ("symptoms", "work")


def photo_options(*, required: bool = False) -> list[click.Option]:
    """Return the options of a command that adds photos."""
    return [
        click.Option(
            ["--photo", "photo_files"],
            type=click.Path(path_type=Path),
            multiple=True,
            required=required,
            help="A photo of it: a JPEG, PNG or WebP file; may be repeated.",
        ),
        click.Option(
            ["--shows"], type=click.Choice(list(codes.PHOTO_SHOWS)), help="What the photo shows.", default=None
        ),
        click.Option(["--caption"], help="What is to be seen in it."),
        click.Option(
            ["--keep-place"],
            is_flag=True,
            help="Keep the place that the camera wrote into the photo; it is removed otherwise.",
        ),
    ]


def add_to_record(
    vineyard: Path,
    record: str,
    photos: Sequence[Path],
    *,
    shows: str | None,
    caption: str | None,
    observer: str | None,
    keep_place: bool,
) -> None:
    """Add photos to a record that stands; each that fails is named, and the command ends with 1.

    The record is on the disk already, and stays there.
    """
    from trunkwatch.errors import TrunkwatchError
    from trunkwatch.intake.photos import NewPhoto, add_photos
    from trunkwatch.spreadsheets.photo import read_photo
    from trunkwatch.store import shown_path

    read, failed = [], []
    for path in photos:
        try:
            photo = read_photo(path, keep_place=keep_place)
            read.append(NewPhoto(photo, shows or "", caption or "", observer or ""))
        except TrunkwatchError as error:
            failed.append(str(error))
    if read:
        try:
            added = add_photos(vineyard, record, read)
            click.echo(
                _count(added.new, "photo added", "photos added")
                + (f", {added.same} already there" if added.same else "")
            )
        except TrunkwatchError as error:
            failed.append(str(error))
    for text in failed:
        click.echo(f"photo not added: {text}", err=True)
    if failed:
        click.echo(
            f"the record stands; trunkwatch log {shown_path(vineyard)} photo --record {record} --photo FILE adds a photo to it",
            err=True,
        )
        raise SystemExit(1)


def _count(many: int, single: str, several: str) -> str:
    return f"{many} {single if many == 1 else several}"


def photo_command(find_vineyard: Any) -> click.Command:
    """Return the noun photo of log.

    Parameters
    ----------
    find_vineyard : callable
        Takes the context, and returns the vineyard that was named before the noun.
    """

    @click.pass_context
    def run(
        ctx: click.Context,
        /,
        record: str,
        photo_files: tuple[Path, ...],
        shows: str | None,
        caption: str | None,
        observer: str | None,
        keep_place: bool,
    ) -> None:
        add_to_record(
            find_vineyard(ctx),
            record,
            photo_files,
            shows=shows,
            caption=caption,
            observer=observer,
            keep_place=keep_place,
        )

    told = "Add photos to a finding or work that is on record."
    return click.Command(
        "photo",
        callback=run,
        short_help=told,
        params=[
            click.Option(["--record"], required=True, metavar="ID", help="Id of the record, as history shows it."),
            *photo_options(required=True),
            click.Option(["--observer"], help="Who took it."),
        ],
        help=f"{told} What tells the place is removed.\n\n\b\nExample:\n  trunkwatch log my_vines photo --record ID --photo cut.jpg --shows cut_face",
        context_settings={"help_option_names": ["-h", "--help"]},
    )


def echo_exported(vineyard: Path, out: Path, block: str | None, *, keep_place: bool) -> None:
    """Write the photos of a vineyard, or of one block, as files, and say how many."""
    from trunkwatch.intake.photo_export import export_photos
    from trunkwatch.store import shown_path

    written, missing = export_photos(vineyard, out, block, keep_place=keep_place)
    for path in written:
        click.echo(str(path))
    if not written and not missing:
        click.echo("no photos are kept here", err=True)
    if missing:
        click.echo(
            f"{missing} of the photos have no picture any more: `trunkwatch check {shown_path(vineyard)}` names them",
            err=True,
        )
        raise SystemExit(1)
