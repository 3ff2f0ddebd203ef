"""Seasons and looks: which harvest a day belongs to, and which look is made on it.

A season is named by the year of its harvest. North of the equator 2026 runs from 1 November
2025 to 31 October 2026, south of it from 1 May 2025 to 30 April 2026.
"""

import datetime as dt
import re
from collections.abc import Mapping
from functools import cache

__all__ = [
    "DORMANT_MONTHS",
    "FIRST_MONTH",
    "FIRST_YEAR",
    "LAST_YEAR",
    "LEAVES_MONTHS",
    "as_date",
    "coming_winter",
    "day_after",
    "hemisphere_is_known",
    "hemisphere_of",
    "is_any_day",
    "is_iso_date",
    "local_day",
    "look_of",
    "season_bounds",
    "season_of",
    "winter_bounds",
    "winter_name",
]

#: The month in which a season begins.
FIRST_MONTH: Mapping[str, int] = {"north": 11, "south": 5}
#: Months since the season began: five dormant, three of spring, four of summer.
DORMANT_MONTHS, LEAVES_MONTHS = 5, 8
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
#: Years in which a day of a vineyard can lie; a year beyond is a slip, and 9999 has no season after it.
FIRST_YEAR, LAST_YEAR = 1700, 2200


def hemisphere_of(block: Mapping[str, object]) -> str:
    """Return north or south: from the block's column, else its latitude, else north."""
    if block.get("hemisphere"):
        return str(block["hemisphere"])
    latitude = block.get("latitude")
    return "south" if isinstance(latitude, (int, float)) and latitude < 0 else "north"


def hemisphere_is_known(block: Mapping[str, object]) -> bool:
    """Tell whether a block says where it lies: by hemisphere or by latitude."""
    latitude = block.get("latitude")
    return bool(block.get("hemisphere")) or (isinstance(latitude, (int, float)) and latitude == latitude)


def _first_month(hemisphere: str) -> int:
    if hemisphere not in FIRST_MONTH:
        raise ValueError(f"hemisphere is {hemisphere!r}: north or south is needed")
    return FIRST_MONTH[hemisphere]


@cache
def is_iso_date(text: str) -> bool:
    """Tell whether the text is a real day, of the years in which vines can stand, written as YYYY-MM-DD."""
    return is_any_day(text) and FIRST_YEAR <= int(text[:4]) <= LAST_YEAR


def is_any_day(text: str) -> bool:
    """Tell whether the text is a day of the calendar written as YYYY-MM-DD, in whatever year."""
    if not _ISO.fullmatch(text):
        return False
    try:
        dt.date.fromisoformat(text)
    except ValueError:
        return False
    return True


def local_day() -> str:
    """Return the day where this machine stands."""
    return dt.datetime.now().astimezone().date().isoformat()


def day_after(day: str) -> str:
    """Return the day after a day, both as YYYY-MM-DD."""
    return (dt.date.fromisoformat(day) + dt.timedelta(days=1)).isoformat()


def as_date(day: str | dt.date) -> dt.date:
    """Return a day given as a date or as YYYY-MM-DD text."""
    return day if isinstance(day, dt.date) else dt.date.fromisoformat(day)


@cache
def season_of(day: str | dt.date, hemisphere: str = "north") -> int:
    """Return the year of the harvest that the day belongs to."""
    when = as_date(day)
    return when.year + (when.month >= _first_month(hemisphere))


def season_bounds(season: int, hemisphere: str = "north") -> tuple[str, str]:
    """Return the first and the last day of a season, as YYYY-MM-DD."""
    first = dt.date(season - 1, _first_month(hemisphere), 1)
    after = dt.date(season, _first_month(hemisphere), 1)
    return first.isoformat(), (after - dt.timedelta(days=1)).isoformat()


def winter_bounds(season: int, hemisphere: str = "north") -> tuple[str, str]:
    """Return the first and the last day of the dormant months of a season, when vines are pruned."""
    first = dt.date(season - 1, _first_month(hemisphere), 1)
    years, month = divmod(first.month - 1 + DORMANT_MONTHS, 12)
    after = dt.date(first.year + years, month + 1, 1)
    return first.isoformat(), (after - dt.timedelta(days=1)).isoformat()


def winter_name(season: int, hemisphere: str = "north") -> str:
    """Return the winter of a season as people call it: by two years north of the equator, by one south of it."""
    return f"winter {season - 1}/{season % 100:02d}" if hemisphere == "north" else f"winter {season - 1}"


def coming_winter(looked_at: int, hemisphere: str = "north", today: str | None = None) -> int:
    """Return the season whose winter is the next to work in.

    Parameters
    ----------
    looked_at : int
        Season that was looked at last.
    hemisphere : {"north", "south"}
        Where the block lies.
    today : str, optional
        Day as YYYY-MM-DD; a winter that has ended by then is passed over. Where left out it is the winter after the
        season looked at.
    """
    season = looked_at + 1
    while today is not None and winter_bounds(season, hemisphere)[1] < today:
        season += 1
    return season


@cache
def look_of(day: str | dt.date, hemisphere: str = "north") -> str:
    """Return the look that a day allows: dormant, spring or summer."""
    month = (as_date(day).month - _first_month(hemisphere)) % 12
    if month < DORMANT_MONTHS:
        return "dormant"
    return "spring" if month < LEAVES_MONTHS else "summer"
