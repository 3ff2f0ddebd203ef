"""Hardiness by chill portions, to the printed digits. trunkwatch.winter_model: chill_curve."""

import datetime as dt

import numpy as np
import pytest
from winter_model.winters import station

from trunkwatch.winter_model.chill_curve import CHILL_SETS, chill_curve

ON = ((2013, 10, 15), (2013, 12, 1), (2014, 1, 1), (2014, 2, 1), (2014, 3, 1), (2014, 4, 1))
NEW_YORK = {
    "Riesling": ((-6.35, -17.74, -21.63, -23.07, -22.45, -15.87), (2014, 5, 8)),
    "Concord": ((-6.23, -20.53, -25.74, -27.42, -25.86, -16.49), (2014, 5, 1)),
    "Cabernet Sauvignon": ((-6.00, -15.76, -20.00, -21.37, -21.09, -16.42), (2014, 5, 13)),
}
SEATTLE = {"Riesling": (2014, 3, 28), "Cabernet Sauvignon": (2014, 4, 5), "Concord": (2014, 3, 6)}


def _run(name, latitude, cultivar, year=2013):
    days, low, high, _ = station(name, dt.date(year, 8, 1), dt.date(year + 1, 5, 20))
    doy = np.array([day.timetuple().tm_yday for day in days])
    return days, chill_curve(low, high, doy, latitude, CHILL_SETS[cultivar])


@pytest.mark.parametrize("cultivar", NEW_YORK)
def test_a_winter_of_new_york_to_the_printed_digits(cultivar):
    days, curve = _run("new_york_2012_2015", 40.7, cultivar)
    wanted, budbreak = NEW_YORK[cultivar]
    np.testing.assert_allclose(curve.half_c[[days.index(dt.date(*day)) for day in ON]], wanted, atol=0.00501)
    assert days[curve.budbreak] == dt.date(*budbreak)


@pytest.mark.parametrize("cultivar", SEATTLE)
def test_a_winter_of_seattle_where_the_daily_model_breaks(cultivar):
    days, curve = _run("seattle_2012_2015", 47.6, cultivar)
    assert days[curve.budbreak] == dt.date(*SEATTLE[cultivar])
    if cultivar == "Riesling":
        assert curve.half_c.min() == pytest.approx(-19.3, abs=0.0501)
        assert days[int(curve.half_c.argmin())] == dt.date(2013, 12, 12)


def test_a_missing_day_leaves_the_state_and_the_portions_as_they_are():
    days, low, high, _ = station("new_york_2012_2015", dt.date(2013, 8, 1), dt.date(2014, 5, 20))
    low[150] = np.nan
    doy = np.array([day.timetuple().tm_yday for day in days])
    curve = chill_curve(low, high, doy, 40.7, CHILL_SETS["Riesling"])
    assert curve.half_c[150] == curve.half_c[149]
    assert curve.portions[151] >= curve.portions[149]
    assert np.isfinite(curve.half_c).all()


def test_several_winters_run_as_each_alone():
    _, low, high, _ = station("new_york_2012_2015", dt.date(2013, 8, 1), dt.date(2014, 5, 20))
    doy = np.arange(len(low)) % 365 + 1
    both = chill_curve(np.stack([low, low - 3]), np.stack([high, high - 3]), doy, 40.7, CHILL_SETS["Concord"])
    alone = chill_curve(low - 3, high - 3, doy, 40.7, CHILL_SETS["Concord"])
    np.testing.assert_array_equal(both.half_c[1], alone.half_c)


def test_the_mirror_south_of_the_equator_is_nearly_the_same_curve():
    """The sun of the other half-year differs by minutes, no more."""
    days, low, high, _ = station("new_york_2012_2015", dt.date(2013, 8, 1), dt.date(2014, 5, 20))
    doy = np.array([day.timetuple().tm_yday for day in days])
    mirrored = (doy + 181) % 365 + 1
    north = chill_curve(low, high, doy, 40.7, CHILL_SETS["Riesling"])
    south = chill_curve(low, high, mirrored, -40.7, CHILL_SETS["Riesling"])
    np.testing.assert_allclose(south.half_c[:250], north.half_c[:250], atol=0.35)
