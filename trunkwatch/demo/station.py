"""The weather station of the invented vineyard: no place on earth had these days.

Winters from 1 September to 15 June, one with the nights that killed wood in the Hollow, and the beginning of the winter after the last
season. November to March are drawn apart from the rest, and rain apart from both: each stays as it is whatever is done to the others.
"""

import datetime as dt
from typing import Any

import numpy as np
import pandas as pd

from trunkwatch.demo.blocks import SEASONS
from trunkwatch.demo.outbreak import COLD_SEASON

__all__ = ["LAST_DAY", "weather_records"]

#: Last day that was measured: the winter after the last season has begun, and what is to come is not known.
LAST_DAY = dt.date(2026, 11, 24)
#: Share of days with rain, and millimeters of a rainy one on the mean.
_WET, _RAIN_MM = 0.3, 6.0

Record = dict[str, Any]


def weather_records(seed: int) -> list[Record]:
    """Return a line a day: lowest and highest temperature, and rain.

    Parameters
    ----------
    seed : int
        The same seed makes the same weather, to the letter.
    """
    winter, rest, rain = (np.random.Generator(np.random.PCG64([seed, number])) for number in (99, 98, 97))
    records: list[Record] = []
    for season in (*SEASONS, SEASONS[-1] + 1):
        for first, last, rng in (
            (f"{season - 1}-09-01", f"{season - 1}-10-31", rest),
            (f"{season - 1}-11-01", f"{season}-03-31", winter),
            (f"{season}-04-01", f"{season}-06-15", rest),
        ):
            records += _days(pd.date_range(first, min(pd.Timestamp(last), pd.Timestamp(LAST_DAY))), season, rng)
    for record, wet, much in zip(records, rain.random(len(records)), rain.random(len(records)), strict=True):
        record["rain_mm"] = round(float(-_RAIN_MM * np.log(1 - much)), 1) if wet < _WET else 0.0
    return records


def _days(days: pd.DatetimeIndex, season: int, rng: np.random.Generator) -> list[Record]:
    """Return lows and highs: a year's swing with chance around it, and one hard frost in the cold season."""
    out = []
    for day, draw in zip(days, rng.random(len(days)), strict=True):
        depth = np.cos((day.dayofyear - 20) / 365.25 * 2 * np.pi)
        low = 4 - 9 * depth + 8 * (draw - 0.5)
        if season == COLD_SEASON and day.month == 1 and 8 <= day.day <= 10:
            low = -27.5 + 2 * draw
        out.append(
            {
                "date": day.date().isoformat(),
                "t_min_c": round(float(low), 1),
                "t_max_c": round(float(low) + 7 + 3 * draw, 1),
            }
        )
    return out
