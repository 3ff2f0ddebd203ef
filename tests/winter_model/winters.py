"""Winters to run the models over: the made-up one, and those of the stations beside this module."""

import csv
import datetime as dt
from pathlib import Path

import numpy as np

STATIONS = Path(__file__).parent / "stations"


def made_up(days=251):
    """Mean temperatures of a made-up winter, from the start day on."""
    return 7 + 13 * np.cos(2 * np.pi * (np.arange(days) + 54) / 365)


def station(name, first, last):
    """Lowest, highest and rain of a station by day, from the first to the last day; nan where a day is missing."""
    with (STATIONS / f"{name}.csv").open() as file:
        lines = {line["date"]: line for line in csv.DictReader(file)}
    days = [first + dt.timedelta(days=k) for k in range((last - first).days + 1)]
    cells = [lines.get(day.isoformat()) for day in days]
    columns = [
        np.array([float(line[column]) if line else np.nan for line in cells])
        for column in ("t_min_c", "t_max_c", "rain_mm")
    ]
    return days, *columns


def winter_of(name, year):
    """The same of one winter, from the start day of the daily model in a year to 15 May."""
    return station(name, dt.date(year, 9, 7), dt.date(year + 1, 5, 15))


def lincoln():
    """Days, lowest and highest of 2016 at Lincoln, Nebraska, turned from Fahrenheit into Celsius."""
    with (STATIONS / "lincoln_2016.csv").open() as file:
        lines = list(csv.DictReader(file))
    celsius = [np.array([(float(line[column] or "nan") - 32) / 1.8 for line in lines]) for column in ("TMIN", "TMAX")]
    return [dt.date.fromisoformat(line["DATE"]) for line in lines], *celsius
