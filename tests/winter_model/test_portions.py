"""Hours from daily extremes, and chill portions. trunkwatch.winter_model: portions."""

import datetime as dt

import numpy as np
import pytest
from winter_model.winters import station

from trunkwatch.winter_model.portions import hourly, portions, sun_hours

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
