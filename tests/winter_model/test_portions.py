"""Hours from daily extremes, and chill portions. trunkwatch.winter_model: portions.

Portions are held to those of a climate-index library, xclim, which turns Celsius into Kelvin by 273.15: given Kelvin by our 273 it
must agree to the last digits, given Celsius it lies up to 2 % off, above in one winter and below in another.
"""

import datetime as dt

import numpy as np
import pytest
import xarray
from winter_model.winters import station
from xclim.indices import chill_portions

from trunkwatch.winter_model.portions import KELVIN, hourly, portions, sun_hours

HUNDRED_DAYS = 2400


@pytest.mark.parametrize(
    ("celsius", "wanted"), [(0, 12.48), (2, 64.43), (4, 72.84), (6, 83.06), (8, 83.37), (10, 78.05), (12, 61.00)]
)
def test_a_hundred_days_of_one_temperature(celsius, wanted):
    assert portions(np.full(HUNDRED_DAYS, float(celsius)))[-1] == pytest.approx(wanted, abs=0.00501)


def test_half_days_of_six_and_twelve_degrees():
    assert portions(np.tile(np.repeat([6.0, 12.0], 12), 100))[-1] == pytest.approx(77.30, abs=0.00501)


def test_a_winter_of_new_york():
    days, low, high, _ = station("new_york_2012_2015", dt.date(2013, 8, 1), dt.date(2014, 4, 30))
    hours = hourly(low, high, np.array([day.timetuple().tm_yday for day in days]), 40.7)
    by_day = portions(hours.reshape(-1)).reshape(-1, 24).mean(axis=1)
    on = [
        dt.date(2013, 10, 15),
        dt.date(2013, 12, 1),
        dt.date(2014, 1, 1),
        dt.date(2014, 2, 1),
        dt.date(2014, 3, 1),
        dt.date(2014, 4, 1),
    ]
    np.testing.assert_allclose(
        by_day[[days.index(day) for day in on]], [0.0, 27.0, 46.7, 64.4, 77.3, 98.7], atol=0.0501
    )


def test_hours_keep_to_the_extremes_and_a_missing_day_is_missing():
    low, high = np.array([0.0, 2.0, np.nan, -3.0]), np.array([10.0, 12.0, np.nan, 4.0])
    hours = hourly(low, high, np.arange(300, 304), 45.0)
    assert np.isnan(hours[2]).all()
    for day in (0, 1, 3):
        assert np.isfinite(hours[day]).all()
        assert hours[day].max() <= high[day] + 1e-9
        assert hours[day].max() > high[day] - 0.5
    assert portions(hours.reshape(-1))[-1] >= 0


def test_days_are_long_in_summer_and_equal_at_the_equinox():
    rise, down = sun_hours(np.array([80.0, 172.0, 355.0]), 45.0)
    length = down - rise
    assert length[0] == pytest.approx(12.2, abs=0.2)
    assert length[1] == pytest.approx(15.6, abs=0.2)
    assert length[2] == pytest.approx(8.8, abs=0.2)
    south = np.subtract(*sun_hours(np.array([355.0]), -45.0)[::-1])
    assert south == pytest.approx(15.6, abs=0.2)


def test_several_winters_count_as_each_alone():
    hours = np.random.default_rng(5).normal(6, 5, (3, 500))
    together = portions(hours)
    for k in range(3):
        assert (together[k] == portions(hours[k])).all()


def _by_library(hours_c, units, off=0.0):
    """Portions of hours from 1 August on, to the end, by the climate-index library."""
    begin = np.datetime64("2013-08-01T00:00", "ns")
    days = begin + np.arange(hours_c.size).astype("timedelta64[h]")
    series = xarray.DataArray(hours_c + off, dims="time", coords={"time": days}, attrs={"units": units})
    return float(chill_portions(series, freq="YS-AUG")[0])


def _hours_of_new_york(year=2013, last=(7, 31)):
    days, low, high, _ = station("new_york_2012_2015", dt.date(year, 8, 1), dt.date(year + 1, *last))
    return hourly(low, high, np.array([day.timetuple().tm_yday for day in days]), 40.7).reshape(-1)


def _hours_up_and_down(seed):
    rng = np.random.default_rng(seed)
    slow = np.repeat(rng.normal(6, 5, 365), 24)
    return slow + 5 * np.sin(2 * np.pi * np.arange(365 * 24) / 24)


@pytest.mark.parametrize(
    "hours", [_hours_of_new_york(), *map(_hours_up_and_down, range(3))], ids=["station", "a", "b", "c"]
)
def test_portions_are_those_of_a_climate_index_library(hours):
    ours = portions(hours[1:])[-1]  # the library takes its first hour for the start, with nothing summed yet
    assert ours > 50
    assert ours == pytest.approx(_by_library(hours, "K", KELVIN), rel=1e-9)


@pytest.mark.parametrize(("year", "more"), [(2012, 1.0098), (2013, 0.9846), (2014, 0.9929)])
def test_the_kelvin_of_the_library_gives_other_totals(year, more):
    """Up to 2 % more or less by the end of April, from winter to winter."""
    hours = _hours_of_new_york(year, (4, 30))
    assert KELVIN == 273.0
    theirs = _by_library(hours, "degC")
    assert theirs == pytest.approx(_by_library(hours, "K", 273.15), rel=1e-6)
    assert theirs / portions(hours)[-1] == pytest.approx(more, abs=2e-4)
