"""The user's own forecast laid after what was measured: days after the one asked about, and what they would do to the buds.

A forecast is no record: it is read from a file each time and never stored. What was measured of a day stands in its place, and after
its last day the past winters go on.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.cold.block_cold import BlockCold, cold_of_block
from trunkwatch.cold.days import Weather
from trunkwatch.errors import RecordError

__all__ = ["MOST_DAYS", "Ahead", "ColdAhead", "ahead_of", "cold_ahead", "days_that_count", "refuse_other_days"]

#: Days after the one asked about beyond which a forecast is not taken: past winters say as much (our own convention).
MOST_DAYS = 16


@dataclass(frozen=True, slots=True)
class Ahead:
    """The days of a forecast that are taken.

    Attributes
    ----------
    asked : date
    days : tuple of date
        Days that are forecast.
    measured : tuple of date
        Days of the file that have been measured since: what was measured stands.
    past, far : int
        Days of the file that are left out: not after the day asked about, and more than 16 days after it.
    weather : Weather
        What was measured up to the day asked about, and these days after it.
    """

    asked: dt.date
    days: tuple[dt.date, ...]
    measured: tuple[dt.date, ...]
    past: int
    far: int
    weather: Weather = field(repr=False)

    @property
    def last(self) -> dt.date:
        """The last day, forecast or measured since."""
        return max((*self.days, *self.measured))


@dataclass(frozen=True, slots=True)
class ColdAhead:
    """What the days ahead would do to the buds of a block: the forecast, its coldest night, and the block as of its last day."""

    ahead: Ahead
    coldest: tuple[dt.date, float] | None
    cold: BlockCold


def days_that_count(forecast: pd.DataFrame, asked: dt.date) -> int:
    """Return how many days of a forecast lie within the days after the one asked about that are taken."""
    return int(_taken(Weather(forecast), asked).sum())


def _taken(file: Weather, asked: dt.date) -> NDArray[np.bool_]:
    after = file.ordinals - asked.toordinal()
    return np.asarray((after > 0) & (after <= MOST_DAYS))


def refuse_other_days(forecast: pd.DataFrame, asked: dt.date) -> None:
    """Refuse a forecast of which no day can be taken.

    Raises
    ------
    RecordError
        Always, where that is so.
    """
    file = Weather(forecast)
    if _taken(file, asked).any():
        return
    days = [dt.date.fromordinal(int(one)).isoformat() for one in file.ordinals]
    held = f"it holds {days[0]} to {days[-1]}" if days else "it holds no day"
    raise RecordError(
        f"the forecast has no day from 1 to {MOST_DAYS} days after {asked.isoformat()}: {held}; bring a newer file, or give --date"
    )


def ahead_of(forecast: pd.DataFrame, weather: Weather, asked: dt.date) -> Ahead:
    """Lay a forecast after what was measured up to a day.

    Parameters
    ----------
    forecast : DataFrame
        As `read_days_ahead` returns it.
    weather : Weather
        What was measured.
    asked : date

    Raises
    ------
    RecordError
        If no day of it can be taken.
    """
    refuse_other_days(forecast, asked)
    file = Weather(forecast)
    after, use = file.ordinals - asked.toordinal(), _taken(file, asked)
    known = weather.ordinals[~np.isnan(weather.columns["t_min_c"]) & ~np.isnan(weather.columns["t_max_c"])]
    taken = file.ordinals[use]
    since = np.isin(taken, known)
    first = weather.ordinals <= asked.toordinal()
    again = np.isin(weather.ordinals, taken[since])
    own, ours = first | again, use & ~np.isin(file.ordinals, known)
    ordinals = np.concatenate([weather.ordinals[own], file.ordinals[ours]])
    order = np.argsort(ordinals, kind="stable")
    columns = {
        name: np.concatenate([column[own], file.columns[name][ours]])[order] for name, column in weather.columns.items()
    }
    return Ahead(
        asked,
        _dates(taken[~since]),
        _dates(taken[since]),
        int((after <= 0).sum()),
        int((after > MOST_DAYS).sum()),
        Weather.of(ordinals[order], columns),
    )


def _dates(ordinals: Sequence[int] | np.ndarray) -> tuple[dt.date, ...]:
    return tuple(dt.date.fromordinal(int(one)) for one in ordinals)


def cold_ahead(cold: BlockCold, ahead: Ahead) -> ColdAhead:
    """Say what the days ahead would do to a block that was asked about without them.

    Parameters
    ----------
    cold : BlockCold
        As of the day asked about.
    ahead : Ahead
        Of its vineyard.
    """
    then = cold_of_block(
        cold.block,
        cold.cultivar,
        ahead.weather,
        ahead.last,
        hemisphere=cold.hemisphere,
        latitude=cold.latitude,
        stand_in=cold.stand_in,
        site=cold.site,
    )
    winter = ahead.weather.winter(then.season, then.hemisphere)
    nights = [
        (day, float(winter.t_min_c[(day - winter.first).days]))
        for day in ahead.days
        if 0 <= (day - winter.first).days < len(winter.t_min_c)
    ]
    return ColdAhead(ahead, min(nights, key=lambda pair: pair[1], default=None), then)
