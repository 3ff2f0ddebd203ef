"""The user's own forecast of the coming days: a station's file whose days are no record and are never stored."""

from collections.abc import Collection, Mapping
from pathlib import Path

import pandas as pd

from trunkwatch.errors import FaultyNotesError, FileError, RecordError
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.headings import KNOWN, tidy
from trunkwatch.spreadsheets.station import station_sheet, units_of
from trunkwatch.spreadsheets.table import read_table
from trunkwatch.spreadsheets.worksheet import read_sheets
from trunkwatch.vineyard.tables import records_of

__all__ = ["read_days_ahead"]


def read_days_ahead(
    path: Path, columns: Mapping[str, str] | None = None, units: str = "", missing: Collection[str] = ()
) -> pd.DataFrame:
    """Read a file of coming days, in whatever headings and units a station's file may have.

    Parameters
    ----------
    path : Path
    columns, missing
        As in `station_sheet`.
    units : str
        As `units_of` reads them.

    Returns
    -------
    DataFrame
        Columns of the `weather` table, one line a day, in order; every day with a lowest and a highest temperature.

    Raises
    ------
    FileError, RecordError
        If it cannot be read, or a day is there twice, upside down, or without its temperatures.
    FaultyNotesError
        If a cell cannot be read.
    """
    if not path.is_file():
        raise FileError(f"no file {str(path)!r}")
    sheets = apart(read_sheets, path, KNOWN | {tidy(one) for one in (columns or {}).values()})
    if len(sheets) != 1:
        raise FileError(f"{path.name} has {len(sheets)} sheets with anything in them: a forecast is one sheet of days")
    frame, faults = read_table(station_sheet(sheets[0], columns, units_of(units), missing), "weather")
    if stopping := [fault for fault in faults if fault.weight == "fault"]:
        raise FaultyNotesError(stopping)
    before = ""
    for record in sorted(records_of(frame), key=lambda one: str(one["date"])):
        day, low, high = str(record["date"]), float(record["t_min_c"]), float(record["t_max_c"])
        if day == before:
            raise RecordError(f"{path.name}: {day} is there twice: keep one line a day")
        if low != low or high != high:
            lacks = "lowest" if low != low else "highest"
            raise RecordError(f"{path.name}: {day} has no {lacks} temperature: write both, or leave the day out")
        if low > high:
            raise RecordError(
                f"{path.name}: the lowest temperature of {day} is above its highest ({low:g} above {high:g} C): turn the two round, or fix one"
            )
        before = day
    return frame.sort_values("date", kind="stable", ignore_index=True)
