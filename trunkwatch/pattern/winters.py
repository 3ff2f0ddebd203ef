"""The coldest night of a winter beside the other winters on file."""

import datetime as dt
import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import stdtr

from trunkwatch.vineyard.calendar import season_of

__all__ = ["FEWEST_WINTERS", "ColdNight", "Hardness", "Winter", "cold_night", "far_below", "winters_on_file"]


class Hardness(Enum):
    """When in the hardening of vines a night was cold."""

    MID_WINTER = 1
    BEFORE = 2
    AFTER = 3


#: A night at or below this can kill wood of tender cultivars, by when it came. Mid-winter: half of primary buds at -15 to
#: -25 C at deepest hardiness (Dami 2014, HortScience conference; read in abstract); hardy cultivars stand far more. Out of
#: mid-winter, and after a warm spell: our own conventions.
COLD_C: Mapping[Hardness, float] = {Hardness.MID_WINTER: -15.0, Hardness.BEFORE: -8.0, Hardness.AFTER: -8.0}
AFTER_WARMTH_C, WARM_C, WARM_DAYS = -12.0, 10.0, 10
#: Winters on file below which one is not called unusual, and days with a lowest temperature that make a time of the winter
#: count as on file (our own conventions).
FEWEST_WINTERS = 5
FEWEST_DAYS: Mapping[Hardness, int] = {Hardness.MID_WINTER: 45, Hardness.BEFORE: 14, Hardness.AFTER: 14}
#: Nights of the fall count for the winter that follows: the harvest year begins 61 days after the fall does, on the first of a
#: month.
_FALL = dt.timedelta(days=61)
#: A winter within this of another was as cold.
AS_COLD_C = 1.0


@dataclass(frozen=True, slots=True)
class Winter:
    """The coldest night of one time of one winter, and the warmest of the ten days before it (nan where not written)."""

    season: int
    hardness: Hardness
    day: str
    lowest_c: float
    warmest_c: float

    @property
    def warm_before(self) -> bool:
        """Whether a spell of ten degrees or more went before."""
        return self.warmest_c >= WARM_C

    @property
    def can_kill(self) -> bool:
        """Whether such a night can kill wood at all."""
        return self.lowest_c <= COLD_C[self.hardness] or (self.warm_before and self.lowest_c <= AFTER_WARMTH_C)


@dataclass(frozen=True, slots=True)
class ColdNight:
    """A night beside those of the other winters on file, at the same time of the winter.

    Attributes
    ----------
    night : Winter
        The night that stands out most of its season.
    winters : int
        Winters on file, this one among them.
    rank : int
        1 the coldest.
    far_out : bool
        Colder than the swing between the others would bring once in a hundred winters.
    as_cold, quiet : int
        Other winters on file that were as cold, and those of them whose season brought no jump in new cases.
    times : int
        Times of the winter that are on file and were looked through: before, in and after mid-winter.
    """

    night: Winter
    winters: int
    rank: int
    far_out: bool
    as_cold: int
    quiet: int
    times: int

    @property
    def enough(self) -> bool:
        """Whether there are winters enough to say what is ordinary."""
        return self.winters >= FEWEST_WINTERS

    @property
    def unusual(self) -> bool:
        """Whether it is the coldest of enough winters, can kill, and no winter as cold went by without a jump."""
        return self.enough and self.rank == 1 and self.night.can_kill and not self.quiet


def winters_on_file(weather: pd.DataFrame, hemisphere: str, through: int) -> tuple[Winter, ...]:
    """Return the coldest night of every winter and time of the winter that is on file.

    Parameters
    ----------
    weather : DataFrame
        The `weather` table; may be empty.
    hemisphere : {"north", "south"}
    through : int
        Last season taken.
    """
    days = weather[weather["t_min_c"].notna()]
    if days.empty:
        return ()
    months = {text: dt.date.fromisoformat(f"{text}-01") for text in dict.fromkeys(str(day)[:7] for day in days["date"])}
    placed = {text: (season_of(first + _FALL, hemisphere), _time(first, hemisphere)) for text, first in months.items()}
    frame = pd.DataFrame(
        {
            "date": days["date"].astype(str).to_numpy(),
            "low": days["t_min_c"].to_numpy(dtype=float),
            "high": days["t_max_c"].to_numpy(dtype=float),
            "season": [placed[str(day)[:7]][0] for day in days["date"]],
            "time": [placed[str(day)[:7]][1] for day in days["date"]],
        }
    )
    frame = frame[(frame["season"] <= through) & frame["time"].notna()].sort_values("date")
    found = []
    for _, part in frame.groupby(["season", "time"], sort=True):
        season, hardness = int(part["season"].iloc[0]), Hardness(int(part["time"].iloc[0]))
        if len(part) < FEWEST_DAYS[hardness]:
            continue
        coldest = part.iloc[int(part["low"].to_numpy().argmin())]
        day = str(coldest["date"])
        spell = (dt.date.fromisoformat(day) - dt.timedelta(days=WARM_DAYS)).isoformat()
        before = frame[(frame["date"] >= spell) & (frame["date"] < day)]["high"]
        warmest = float(before.max()) if before.notna().any() else math.nan
        found.append(Winter(season, hardness, day, float(coldest["low"]), warmest))
    return tuple(found)


def _time(day: dt.date, hemisphere: str) -> float:
    month = (day.month + (6 if hemisphere == "south" else 0) - 1) % 12 + 1
    if month in (12, 1, 2):
        return Hardness.MID_WINTER.value
    if month in (9, 10, 11):
        return Hardness.BEFORE.value
    return Hardness.AFTER.value if month in (3, 4, 5) else math.nan


def cold_night(winters: tuple[Winter, ...], season: int, jumped: Callable[[int], bool | None]) -> ColdNight | None:
    """Set the night of a season that stands out most beside the other winters; None where none is on file.

    Parameters
    ----------
    winters : tuple of Winter
        As `winters_on_file` makes them.
    season : int
        Year of the harvest.
    jumped : callable
        Whether the new cases of a season jumped; None where its new cases are not known.
    """
    own = [one for one in winters if one.season == season]
    ranked = [
        _beside(one, [w for w in winters if w.hardness is one.hardness and w.season != season], jumped, len(own))
        for one in own
    ]
    return min(ranked, key=lambda one: (not one.unusual, one.night.hardness.value), default=None)


def _beside(night: Winter, others: list[Winter], jumped: Callable[[int], bool | None], times: int) -> ColdNight:
    lows = np.array([one.lowest_c for one in others])
    as_cold = [one for one in others if one.lowest_c <= night.lowest_c + AS_COLD_C]
    quiet = sum(jumped(one.season) is False for one in as_cold)
    rank = 1 + int((lows < night.lowest_c).sum())
    return ColdNight(night, len(others) + 1, rank, far_below(night.lowest_c, lows), len(as_cold), quiet, times)


def far_below(low: float, others: NDArray[np.float64]) -> bool:
    """Tell whether a figure lies lower than the swing between others would bring once in a hundred winters."""
    if others.size + 1 < FEWEST_WINTERS:
        return False
    swing = max(float(others.std(ddof=1)), 0.5) * math.sqrt(1 + 1 / others.size)
    return bool(stdtr(others.size - 1, (low - float(others.mean())) / swing) <= 0.01)
