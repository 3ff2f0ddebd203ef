"""Checks of the weather of a vineyard: what cannot be, what looks like another unit, and winters with holes."""

from collections.abc import Iterator

import numpy as np
import pandas as pd

from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import records_of

__all__ = ["check_weather"]

#: The highest temperature ever measured on earth, C; and medians beyond which figures look like Fahrenheit.
HIGHEST_C = 56.7
SUMMER_MAX_C, WINTER_MIN_C, DAY_AND_NIGHT_C = 45.0, 20.0, 18.0
#: Wettest day of a year or more below which rain looks like inches, and middle of the wet days above which mm were taken for inches
#: (our own conventions).
INCHES_MM, TOO_WET_MM, WET_MM, FEWEST_RAIN_DAYS = 8.0, 60.0, 1.0, 300
#: Days that are needed before anything is said of their median, and winter nights that make a winter on file.
FEWEST_DAYS = 20
_WINTER = {"north": (12, 1, 2), "south": (6, 7, 8)}
_SUMMER = {"north": (7, 8), "south": (1, 2)}


def check_weather(weather: pd.DataFrame, hemisphere: str) -> list[Fault]:
    """Check the weather of one vineyard.

    Parameters
    ----------
    weather : DataFrame
        Its standing lines of the `weather` table.
    hemisphere : {"north", "south"}
    """
    if weather.empty:
        return []
    return [*_upside_down(weather), *_fahrenheit(weather, hemisphere), *_inches(weather), *_holes(weather, hemisphere)]


def _upside_down(weather: pd.DataFrame) -> Iterator[Fault]:
    wrong = weather[weather["t_min_c"] > weather["t_max_c"]]
    for record in records_of(wrong):
        yield fault_at(
            record,
            "fault",
            f"the lowest temperature of {record['date']} is above its highest",
            "t_min_c",
            f"{record['t_min_c']:g} above {record['t_max_c']:g}",
            "the two the other way round, or one of them fixed",
        )


def _fahrenheit(weather: pd.DataFrame, hemisphere: str) -> Iterator[Fault]:
    """Say once of a record that it looks like Fahrenheit."""
    months = weather["date"].str[5:7].astype(int)
    hot = weather[weather["t_max_c"] > HIGHEST_C]
    way = "Celsius; `trunkwatch load ... --table weather --units F` turns Fahrenheit"
    if len(hot):
        first = records_of(hot.head(1))[0]
        yield fault_at(
            first,
            "fault",
            f"{len(hot)} day(s) are warmer than any ever measured on earth",
            "t_max_c",
            f"{first['t_max_c']:g}",
            way,
        )
        return
    summer, winter = (weather[months.isin(part[hemisphere])] for part in (_SUMMER, _WINTER))
    first = records_of(weather.head(1))[0]
    highest = summer["t_max_c"].dropna()
    if len(highest) >= FEWEST_DAYS and highest.median() > SUMMER_MAX_C:
        yield fault_at(
            first,
            "fault",
            "half of the summer days are above 45 C: this looks like Fahrenheit",
            "t_max_c",
            f"{highest.median():g}",
            way,
        )
        return
    lowest = winter["t_min_c"].dropna()
    if len(lowest) >= FEWEST_DAYS and lowest.median() >= WINTER_MIN_C:
        yield fault_at(
            first,
            "note",
            "half of the winter nights are 20 C or warmer: is this Fahrenheit?",
            "t_min_c",
            f"{lowest.median():g}",
            way,
        )
        return
    swing = (weather["t_max_c"] - weather["t_min_c"]).dropna()
    if len(swing) >= FEWEST_DAYS and swing.median() > DAY_AND_NIGHT_C:
        yield fault_at(
            first,
            "note",
            "days are 18 C or more warmer than their nights: is this Fahrenheit?",
            "t_max_c",
            f"{swing.median():g}",
            way,
        )


def _inches(weather: pd.DataFrame) -> Iterator[Fault]:
    """Say once of a record of rain that it looks like inches, or like mm that were taken for inches."""
    rain = weather["rain_mm"].dropna()
    if len(rain) < FEWEST_RAIN_DAYS:
        return
    first, wettest = records_of(weather[weather["rain_mm"] == rain.max()].head(1))[0], float(rain.max())
    if 0 < wettest < INCHES_MM:
        yield fault_at(
            first,
            "note",
            f"the wettest of {len(rain):,} days has {wettest:g} mm of rain: are these inches?",
            "rain_mm",
            f"{wettest:g}",
            "mm; `trunkwatch load ... --table weather --units 'C, in'` turns inches",
        )
        return
    wet = rain[rain >= WET_MM]
    if len(wet) >= FEWEST_DAYS and wet.median() > TOO_WET_MM:
        yield fault_at(
            first,
            "note",
            f"half of the wet days have more than {TOO_WET_MM:g} mm of rain: were mm taken for inches?",
            "rain_mm",
            f"{wet.median():g}",
            "mm; `--units 'C, mm'` where the file has mm",
        )


def _holes(weather: pd.DataFrame, hemisphere: str) -> Iterator[Fault]:
    """Name the months of mid-winter of which no night is on file, between the first and the last day that is."""
    nights = weather[weather["t_min_c"].notna()]["date"].astype(str)
    if nights.empty:
        return
    there = set(nights.str[:7])
    years = np.arange(int(nights.min()[:4]), int(nights.max()[:4]) + 1)
    winters = {text[:4] for text in there}
    for year in years.tolist():
        for month in _WINTER[hemisphere]:
            text = f"{year}-{month:02d}"
            beside = str(year + 1 if month == 12 else year - 1 if month < 6 else year)
            if nights.min()[:7] < text < nights.max()[:7] and text not in there and winters & {str(year), beside}:
                yield Fault(
                    "note",
                    f"weather: no night of {text} is on file: nothing is said of that winter",
                    value=text,
                    expected="its days from the station, or from one near by",
                    lines=0,
                )
