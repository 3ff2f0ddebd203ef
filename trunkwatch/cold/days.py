"""The weather table as winters: one array a figure, from late summer to early summer, a gap where nothing is written.

South of the equator every day lies half a year later: 7 September is 7 March.
"""

import datetime as dt
from calendar import monthrange
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.vineyard.calendar import season_of

__all__ = [
    "CHILL_FROM", "DAILY_FROM", "DAILY_TO", "GATE_ON", "LONGEST_GAP", "MOST_MISSING", "SPORES_TO", "Gap", "Weather", "Winter", "day_in",
    "gap_in", "season_at", "stacked",
]  # fmt: skip

Floats = NDArray[np.float64]
#: Month and day, north of the equator, from which portions are summed, from which and to which the daily model runs, by which its
#: second phase must have come, and to which cuts meet spores.
CHILL_FROM, DAILY_FROM, DAILY_TO, GATE_ON, SPORES_TO = (8, 1), (9, 7), (5, 15), (3, 1), (6, 15)
#: Days without a temperature in a row, and share of all days, beyond which nothing is said of a winter (our own convention).
LONGEST_GAP, MOST_MISSING = 10, 0.1
_COLUMNS = ("t_min_c", "t_max_c", "rain_mm", "snow_cm")


@dataclass(frozen=True, slots=True)
class Gap:
    """Days without a temperature: the longest run of them, and how many there are in all."""

    first: dt.date
    last: dt.date
    days: int


@dataclass(frozen=True, slots=True)
class Winter:
    """One winter of a place.

    Attributes
    ----------
    season : int
        Year of the harvest.
    hemisphere : {"north", "south"}
    first : date
        Day of the first figure, 1 August north of the equator.
    t_min_c, t_max_c, rain_mm, snow_cm : array (days,)
        nan where nothing is written.
    """

    season: int
    hemisphere: str
    first: dt.date
    t_min_c: Floats = field(repr=False)
    t_max_c: Floats = field(repr=False)
    rain_mm: Floats = field(repr=False)
    snow_cm: Floats = field(repr=False)

    @property
    def mean_c(self) -> Floats:
        """Mean of lowest and highest."""
        return (self.t_min_c + self.t_max_c) / 2

    def at(self, month_day: tuple[int, int]) -> int:
        """Return the place of a day, given as north of the equator."""
        return (day_in(self.season, month_day, self.hemisphere) - self.first).days

    def day(self, place: int) -> dt.date:
        """Return the day at a place."""
        return self.first + dt.timedelta(days=int(place))

    def until(self, place: int) -> "Winter":
        """Return the winter as it is known on a day: nothing after it."""
        cut = {}
        for name in _COLUMNS:
            values = getattr(self, name).copy()
            values[place + 1 :] = np.nan
            cut[name] = values
        return Winter(self.season, self.hemisphere, self.first, **cut)


def day_in(season: int, month_day: tuple[int, int], hemisphere: str) -> dt.date:
    """Return a day of the winter of a season; month and day as north of the equator."""
    month, day = month_day
    if hemisphere == "north":
        return dt.date(season - (month >= 7), month, day)
    half_a_year_on = (month + 5) % 12 + 1
    return dt.date(season - 1, half_a_year_on, min(day, monthrange(season - 1, half_a_year_on)[1]))


def season_at(day: dt.date, hemisphere: str) -> int:
    """Return the season whose winter a day lies in: the last one, in the months when the vines are green."""
    season = season_of(day, hemisphere)
    return season + 1 if day >= day_in(season + 1, DAILY_FROM, hemisphere) else season


class Weather:
    """The days of a weather table, by date.

    Parameters
    ----------
    table : DataFrame
        Standing lines of the `weather` table of one vineyard.
    """

    def __init__(self, table: pd.DataFrame) -> None:
        ordered = table.sort_values("date", kind="stable").drop_duplicates("date", keep="last")
        self.ordinals = np.array(
            [dt.date.fromisoformat(str(day)).toordinal() for day in ordered["date"]], dtype=np.int64
        )
        self.columns = {name: ordered[name].to_numpy(dtype=float) for name in _COLUMNS}

    @classmethod
    def of(cls, ordinals: NDArray[np.int64], columns: Mapping[str, Floats]) -> "Weather":
        """Return days given by their ordinals, in order, and a column a figure."""
        made = cls.__new__(cls)
        made.ordinals, made.columns = ordinals, dict(columns)
        return made

    @property
    def seasons(self) -> range:
        """Seasons whose winters may have a day on file, as north of the equator or south of it."""
        if not self.ordinals.size:
            return range(0)
        first, last = (dt.date.fromordinal(int(self.ordinals[k])).year for k in (0, -1))
        return range(first, last + 2)

    def winter(self, season: int, hemisphere: str) -> Winter:
        """Return one winter, whatever is on file of it."""
        first, last = (day_in(season, edge, hemisphere) for edge in (CHILL_FROM, SPORES_TO))
        days = (last - first).days + 1
        begin, end = np.searchsorted(self.ordinals, [first.toordinal(), last.toordinal() + 1])
        places = self.ordinals[begin:end] - first.toordinal()
        filled = {}
        for name, column in self.columns.items():
            values = np.full(days, np.nan)
            values[places] = column[begin:end]
            filled[name] = values
        return Winter(season, hemisphere, first, **filled)

    def past(self, season: int, hemisphere: str, most: int = 30) -> tuple[Winter, ...]:
        """Return the whole winters before a season, the latest of them, in order."""
        found = [self.winter(one, hemisphere) for one in self.seasons if one < season]
        return tuple([one for one in found if gap_in(one, one.at(DAILY_TO)) is None][-most:])


def gap_in(winter: Winter, until: int) -> Gap | None:
    """Return the gap that keeps a winter from being judged, from the first day of the daily model on; None where there is none."""
    first = winter.at(DAILY_FROM)
    missing = np.isnan(winter.mean_c[first : until + 1])
    runs, run = [], 0
    for gone in missing.tolist():
        run = run + 1 if gone else 0
        runs.append(run)
    longest = max(runs, default=0)
    if longest <= LONGEST_GAP and missing.sum() <= MOST_MISSING * max(missing.size, 1):
        return None
    end = first + runs.index(longest)
    return Gap(winter.day(end - longest + 1), winter.day(end), int(missing.sum()))


def stacked(parts: Sequence[Floats]) -> Floats:
    """Lay winters of unequal length over each other, the shorter ones ended by days without a figure."""
    out = np.full((len(parts), max(len(part) for part in parts)), np.nan)
    for row, part in zip(out, parts, strict=True):
        row[: len(part)] = part
    return out
