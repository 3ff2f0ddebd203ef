"""trunkwatch export."""

from io import BytesIO
from pathlib import Path

import click

from trunkwatch.cli.options import block_option, definition_option, season_option, vineyard_argument


@click.command("export")
@vineyard_argument
@click.argument("out", type=click.Path(path_type=Path))
@click.option("--standing", is_flag=True, help="Leave out records that were corrected or taken back.")
@click.option(
    "--vines", is_flag=True, help="A line a vine and season: condition, findings, work. As .csv, .parquet or .gpkg."
)
@click.option(
    "--photos", is_flag=True, help="The photos as files, named by block, row, position and day; OUT is a folder."
)
@click.option("--keep-place", is_flag=True, help="With --photos: leave in them the place that the camera wrote.")
@click.option("--no-coordinates", is_flag=True, help="With --vines: say nothing of where the vines stand.")
@block_option
@season_option
@definition_option
def command(
    vineyard: Path,
    out: Path,
    standing: bool,
    vines: bool,
    photos: bool,
    keep_place: bool,
    no_coordinates: bool,
    block: str | None,
    season: int | None,
    definition: str | None,
) -> None:
    """Write all records to a folder of CSV files, an XLSX or a vineyard file, or a season's map to GeoJSON.

    The ending of OUT says which: a folder, .xlsx, .gpkg, .geojson or .parquet (GeoParquet). Records
    come out without loss, with their ids. With --vines it is one tidy table of vines by seasons, of all
    blocks and seasons or of those named. Photos go into the folder beside the records; with --photos
    they are files to look at.

    \b
    Example:
      trunkwatch export sample_blocks all_records.xlsx
      trunkwatch export sample_blocks mill_2026.geojson --block Mill --season 2026
      trunkwatch export sample_blocks vines.csv --vines --no-coordinates
      trunkwatch export my_vines photos_of_2026 --photos
      trunkwatch export postgresql://ana@server/vines my_vines.gpkg
    """
    from trunkwatch.block import load
    from trunkwatch.errors import FileError, MissingExtraError
    from trunkwatch.spreadsheets.write import replace_file

    if photos:
        from trunkwatch.cli.photo_lines import echo_exported

        if standing or vines or no_coordinates:
            raise click.UsageError("--photos writes photos alone: ask for the records by another command")
        if out.suffix:
            raise FileError(
                f"{out}: --photos writes into a folder, and this names a file: a name without an ending names a folder"
            )
        echo_exported(vineyard, out, block, keep_place=keep_place)
        return
    if keep_place:
        raise click.UsageError("--keep-place goes with --photos")
    if vines:
        from trunkwatch.cli.vine_table import write_vines

        if standing:
            raise click.UsageError("--standing goes with records; --vines has what stands")
        write_vines(vineyard, out, block, season, definition=definition, coordinates=not no_coordinates)
        return
    if no_coordinates:
        raise click.UsageError("--no-coordinates goes with --vines")
    ending = out.suffix.casefold()
    if ending in (".geojson", ".parquet"):
        from trunkwatch.ground import season_frame

        found = load(vineyard, block, season, definition=definition)
        if not found.placed:
            raise FileError(f"no map can be exported: {found.placed.reason}")
        frame = season_frame(found.history, found.placed, found.season)
        if ending == ".geojson":
            replace_file(out, frame.to_json(drop_id=True).encode())
        else:
            data = BytesIO()
            try:
                frame.to_parquet(data)
            except ImportError as error:
                raise MissingExtraError("GeoParquet needs pyarrow: pip install 'trunkwatch[parquet]'") from error
            replace_file(out, data.getvalue())
        click.echo(str(out))
        return
    _records(vineyard, out, ending, standing=standing)


def _records(vineyard: Path, out: Path, ending: str, *, standing: bool) -> None:
    """Write all records."""
    from trunkwatch.block import open_vineyard
    from trunkwatch.block.whole_folder import write_whole_folder
    from trunkwatch.errors import FileError
    from trunkwatch.spreadsheets.folder import files_in, table_of_file
    from trunkwatch.spreadsheets.own_vineyard import frames_to_write
    from trunkwatch.spreadsheets.write import write_xlsx
    from trunkwatch.vineyard.tables import TABLES

    with open_vineyard(vineyard) as store:
        frames = {table: store.frame(table, all_versions=not standing) for table in TABLES}
        frames = frames_to_write(frames, store.names())
    if ending == ".xlsx":
        write_xlsx(out, frames)
        click.echo(str(out))
        if many := len(frames["photos"]):
            what = (
                "the record of 1 photo is in it, the photo is not"
                if many == 1
                else f"the records of {many} photos are in it, the photos are not"
            )
            click.echo(f"{what}: export to a folder takes photos along", err=True)
    elif ending in ("", ".csv"):
        if ending:
            raise FileError(f"{out} is one CSV file but there are several tables: name a folder")
        if out.resolve() == vineyard.resolve():
            raise FileError(f"{out} is the vineyard itself: name another folder")
        if out.is_dir() and (there := [path.name for path in files_in(out) if table_of_file(path.stem)]):
            raise FileError(f"{out} holds {', '.join(there[:3])} already, and would lose them: name a new folder")
        for path in write_whole_folder(out, frames):
            click.echo(str(path))
        if len(frames["photos"]):
            from trunkwatch.intake.photo_export import photos_beside

            many = photos_beside(vineyard, out)
            click.echo(f"{many} photo{'' if many == 1 else 's'} in {out / 'photos'}")
    elif ending == ".gpkg":
        from trunkwatch.intake import write_file

        if standing:
            raise FileError(f"{out}: a vineyard file keeps all records: leave --standing out, or write .xlsx")
        many = write_file(vineyard, out)
        click.echo(str(out))
        if many:
            click.echo(f"{many} photo{'' if many == 1 else 's'} in it")
    else:
        raise FileError(f"{out}: a folder, .xlsx, .gpkg, .geojson or .parquet can be written, not {ending}")
