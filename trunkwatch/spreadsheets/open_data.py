"""Weather of a point from two public grids, Daymet and NASA POWER, as they hand it out; and where a weather file says that it lies.

Both begin with lines about the file and name a day by its year and its number in it, or by year, month and day. Daymet leaves out
31 December of leap years: that day stays a gap.
"""

import datetime as dt
import re
from dataclasses import replace
from typing import Any

from trunkwatch.spreadsheets.headings import tidy
from trunkwatch.spreadsheets.located import number_of, text_of
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.vineyard.faults import Fault

__all__ = ["open_data_sheet", "place_of_station"]

#: Heading of the grid -> heading that our reader knows, its unit in it.
_COLUMNS = {
    "tmin (deg c)": "t_min_c [C]", "tmax (deg c)": "t_max_c [C]", "prcp (mm/day)": "rain_mm [mm]",
    "t2m_min": "t_min_c [C]", "t2m_max": "t_max_c [C]", "prectotcorr": "rain_mm [mm]",
}  # fmt: skip
#: Lines about the file that are looked through, at the most.
_MOST_HEAD = 60
_PLACE = re.compile(
    r"latitude\s*:?\s*(-?\d{1,2}(?:\.\d+)?)\D{1,40}?longitude\s*:?\s*(-?\d{1,3}(?:\.\d+)?)", re.IGNORECASE
)


def open_data_sheet(sheet: Worksheet) -> Worksheet | None:
    """Return a file of either grid with one date a line under headings that say their units; None for any other file."""
    rows = [(sheet.heading_at, list(sheet.headings)), *sheet.lines]
    for number, (_, cells) in enumerate(rows[:_MOST_HEAD]):
        names = [name.strip().casefold() for name in _cells(cells)]
        if (
            "year" in names
            and ("yday" in names or "doy" in names or {"mo", "dy"} <= set(names))
            and set(names) & _COLUMNS.keys()
        ):
            return _with_dates(sheet, names, rows[number][0], rows[number + 1 :])
    return None


def _cells(cells: list[Any]) -> list[str]:
    """Return the cells of a line; commas part them where a head full of semicolons made these look like the marks."""
    texts = [text_of(cell) for cell in cells]
    filled = [text for text in texts if text]
    return filled[0].split(",") if len(filled) == 1 and "," in filled[0] else texts


def _with_dates(sheet: Worksheet, names: list[str], heading_at: int, rows: list[tuple[int, list[Any]]]) -> Worksheet:
    kept = [place for place, name in enumerate(names) if name in _COLUMNS]
    lines: list[tuple[int, list[Any]]] = []
    for line, raw in rows:
        cells = _cells(raw)
        if not any(cells):
            continue
        cells += [""] * (len(names) - len(cells))
        lines.append((line, [_date(dict(zip(names, cells, strict=False))), *(cells[place] for place in kept)]))
    faults = [fault for fault in sheet.faults if fault.weight == "fault"]
    if "yday" in names:
        faults.append(Fault("note", "Daymet leaves out 31 December of leap years: that day stays a gap", sheet.file))
    faults.append(
        Fault("note", "the figures are of a grid, not of a thermometer: nights in a hollow are colder", sheet.file)
    )
    return replace(
        sheet,
        headings=["date", *(_COLUMNS[names[place]] for place in kept)],
        lines=lines,
        heading_at=heading_at,
        faults=faults,
    )


def _date(cells: dict[str, str]) -> str:
    """Return the day of a line; what is written where it cannot be one, so that the reader of days names it."""
    names = ("year", "yday") if "yday" in cells else ("year", "doy") if "doy" in cells else ("year", "mo", "dy")
    written = [cells.get(name, "").strip() for name in names]
    numbers = [number_of(text) for text in written]
    whole = [int(number) for number in numbers if number is not None and number == int(number)]
    try:
        if len(whole) == len(names) == 3:
            return dt.date(*whole).isoformat()
        if len(whole) == len(names) and 1 <= whole[1] <= 366:
            day = dt.date(whole[0], 1, 1) + dt.timedelta(days=whole[1] - 1)
            return day.isoformat() if day.year == whole[0] else "-".join(written)
    except (ValueError, OverflowError):
        pass
    return "-".join(written)


def place_of_station(sheet: Worksheet, head: str = "") -> tuple[float, float] | None:
    """Return the latitude and longitude that a weather file gives; None where it gives none, or several.

    Parameters
    ----------
    sheet : Worksheet
        Its lines may have columns of both.
    head : str
        What stands above the headings.
    """
    names = [tidy(heading) for heading in sheet.headings]
    if "latitude" in names and "longitude" in names:
        at = names.index("latitude"), names.index("longitude")
        found = {
            tuple(number_of(text_of(cells[place])) for place in at) for _, cells in sheet.lines if len(cells) > max(at)
        }
        (one,) = found if len(found) == 1 else (None,)
        if one is None or one[0] is None or one[1] is None:
            return None
        return (one[0], one[1]) if abs(one[0]) <= 90 and abs(one[1]) <= 180 else None
    written = _PLACE.search(head)
    return (float(written[1]), float(written[2])) if written else None
