"""Vines by seasons as a table for other programs: CSV, Parquet, GeoPackage."""

import tempfile
from io import BytesIO
from pathlib import Path
from typing import TYPE_CHECKING

import click

from trunkwatch.cli.figures import check_ending
from trunkwatch.errors import FileError, MissingExtraError, RecordError

if TYPE_CHECKING:
    import pandas as pd

__all__ = ["ENDINGS", "write_vines"]

ENDINGS = (".csv", ".parquet", ".gpkg")
#: The layer, or table, of a GeoPackage.
LAYER = "vine_seasons"


def write_vines(
    vineyard: Path, out: Path, block: str | None, season: int | None, *, definition: str | None, coordinates: bool
) -> None:
    """Write the table of one block or all, of one season or all.

    Raises
    ------
    FileError
        If the ending is not known, or the file is a vineyard.
    RecordError
        If there is nothing to write.
    MissingExtraError
        If Parquet is asked for and pyarrow is not installed.
    """
    ending = check_ending(out, ENDINGS)
    if ending == ".parquet":
        _check_parquet()
    if ending == ".gpkg":
        _check_no_vineyard(vineyard, out)
    frame = _frame(vineyard, block, season, definition=definition, coordinates=coordinates)
    from trunkwatch.spreadsheets.write import replace_file

    out.parent.mkdir(parents=True, exist_ok=True)
    replace_file(out, {".csv": _csv, ".parquet": _parquet, ".gpkg": _geopackage}[ending](frame))
    click.echo(f"{out} ({len(frame):,} lines)")


def _frame(
    vineyard: Path, block: str | None, season: int | None, *, definition: str | None, coordinates: bool
) -> "pd.DataFrame":
    import pandas as pd

    from trunkwatch.block import open_vineyard
    from trunkwatch.block.opening import read, season_of_block
    from trunkwatch.block.vine_seasons import vine_seasons
    from trunkwatch.cli.options import echo_notes
    from trunkwatch.history import build_history

    parts = []
    with open_vineyard(vineyard) as store:
        labels = [block] if block is not None else list(store.blocks())
        for label in labels:
            reading, placed = read(store, label)
            where = placed if coordinates else None
            if coordinates and not placed:
                echo_notes((f"no coordinates: {placed.reason}",))
            try:
                if season is None:
                    parts.append(vine_seasons(build_history(reading, definition or "any"), where))
                else:
                    history = season_of_block(reading, placed, season, definition=definition).history
                    parts.append(vine_seasons(history, where, [season]))
            except RecordError as error:
                if block is not None:
                    raise
                echo_notes((f"block {label} is left out: {error}",))
    parts = [part for part in parts if len(part)]
    if not parts:
        raise RecordError("no block has a season on record; `trunkwatch log` adds surveys and findings")
    return pd.concat(parts, ignore_index=True)


def _check_parquet() -> None:
    from importlib.util import find_spec

    if find_spec("pyarrow") is None:
        raise MissingExtraError("Parquet needs pyarrow: pip install 'trunkwatch[parquet]'; or write .csv or .gpkg")


def _check_no_vineyard(vineyard: Path, out: Path) -> None:
    """Refuse to write over a file that holds anything but such a table."""
    if not out.exists():
        return
    import pyogrio
    from pyogrio.errors import DataSourceError

    try:
        there = [str(name) for name, _ in pyogrio.list_layers(out)]
    except DataSourceError:
        there = ["something else"]
    if out.resolve() == vineyard.resolve() or there != [LAYER]:
        raise FileError(
            f"{out} holds {', '.join(there[:3])} already, and would lose it; expected: the name of a new file"
        )


def _csv(frame: "pd.DataFrame") -> bytes:
    from trunkwatch.spreadsheets.guard import guarded

    told = frame.copy()
    for column in told.columns:
        if told[column].dtype == object or str(told[column].dtype) in ("str", "string"):
            told[column] = [guarded(cell) if isinstance(cell, str) else cell for cell in told[column]]
    return told.to_csv(index=False, lineterminator="\n", float_format="%.7f").encode()


def _parquet(frame: "pd.DataFrame") -> bytes:
    data = BytesIO()
    frame.to_parquet(data, index=False)
    return data.getvalue()


def _geopackage(frame: "pd.DataFrame") -> bytes:
    import geopandas
    import pyogrio

    told = frame
    if "longitude" in frame:
        points = geopandas.points_from_xy(frame.longitude, frame.latitude)
        told = geopandas.GeoDataFrame(frame, geometry=points, crs="EPSG:4326")
    with tempfile.TemporaryDirectory(prefix="trunkwatch_") as folder:
        path = Path(folder) / "vines.gpkg"
        pyogrio.write_dataframe(told, path, layer=LAYER, driver="GPKG")
        return path.read_bytes()
