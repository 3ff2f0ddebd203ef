"""trunkwatch history."""

from dataclasses import asdict
from pathlib import Path

import click

from trunkwatch.cli.options import block_option, emit_json, json_option, vineyard_argument

#: What is told of a record with --json.
_TOLD = ("table", "date", "text", "fate", "id", "corrects", "observer", "recorded_at", "device", "read_from")


@click.command("history")
@vineyard_argument
@block_option
@click.option("--row", required=True, help="Row label.")
@click.option("--position", required=True, help="Position in the row.")
@json_option
def command(vineyard: Path, block: str | None, row: str, position: str, as_json: bool) -> None:
    """Show every record of a vine: who, when, from which file and line, and what replaced what.

    \b
    Example:
      trunkwatch history sample_blocks --block Mill --row 13 --position 24
    """
    from trunkwatch.block import open_vineyard
    from trunkwatch.block.opening import records_of_block
    from trunkwatch.block.photo_words import photo_words
    from trunkwatch.block.photos import photos_by_record
    from trunkwatch.block.vine_records import vine_records

    with open_vineyard(vineyard) as store:
        label = records_of_block(store, block).name
        found = vine_records(store, label, row, position)
        photos = photos_by_record(store, label, {one.id for one in found})
    if as_json:
        emit_json(
            [
                {name: getattr(one, name) for name in _TOLD}
                | {"photos": [asdict(photo) for photo in photos.get(one.id, [])]}
                for one in found
            ]
        )
        return
    for one in found:
        who = ", ".join(
            part for part in (one.recorded_at and f"written {one.recorded_at}", one.device, one.read_from) if part
        )
        click.echo(f"{one.date}  {one.text}  [{one.fate}]" + (f"  ({who})" if who else ""))
        click.echo(f"    id {one.id}" + (f", corrects {one.corrects}" if one.corrects else ""))
        for photo in photos.get(one.id, []):
            click.echo(f"    {photo_words(photo)}  id {photo.id}")
