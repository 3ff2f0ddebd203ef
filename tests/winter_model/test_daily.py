"""Hardiness from day to day, to the printed digits. trunkwatch.winter_model: daily, cultivars."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from winter_model.winters import made_up, winter_of

from trunkwatch.winter_model.cultivars import CULTIVARS, Basis, Group, Kind, cultivar_named, members
from trunkwatch.winter_model.daily import daily_curve

DAYS = (0, 30, 60, 90, 120, 150, 180, 200, 210, 220, 230, 240, 250)
#: Hardiness of the made-up winter after these days, and the day on which the second phase sets in.
MADE_UP = {
    "Merlot": ((-10.30, -12.93, -20.57, -24.27, -24.50, -24.62, -24.69, -24.71, -24.72, -23.66, -20.38, -14.91, -7.55), 92),
    "Riesling": ((-12.60, -14.57, -22.54, -25.73, -26.06, -26.09, -26.10, -26.10, -26.10, -24.84, -20.90, -14.33, -5.81), 106),
    "Chardonnay": ((-11.80, -15.29, -22.24, -25.17, -25.47, -25.51, -25.54, -25.55, -24.86, -22.42, -18.19, -12.23, -5.28), 99),
    "Semillon": ((-10.40, -12.78, -19.29, -21.37, -21.67, -21.89, -22.02, -22.06, -22.07, -22.06, -19.50, -12.57, -3.56), 76),
    "Concord": ((-12.80, -15.94, -24.81, -28.81, -29.32, -29.43, -29.47, -29.47, -28.61, -25.56, -20.36, -13.63, -7.45), 99),
    "Marquette": ((-11.50, -13.93, -22.02, -27.39, -28.42, -28.74, -28.85, -25.33, -20.51, -14.23, -10.63, -10.21, -10.20), 99),
    "Frontenac": ((-10.50, -11.00, -21.15, -26.85, -28.39, -29.40, -29.79, -28.49, -23.88, -17.85, -13.32, -11.24, -10.64), 76),
}  # fmt: skip
#: New York from 7 September 2013: hardiness on these days, and the day of budbreak.
NEW_YORK = {
    "Merlot": ((-10.30, -18.87, -23.34, -24.43, -24.15, -20.06, -4.90), "2014-05-07"),
    "Riesling": ((-12.60, -21.04, -25.06, -26.02, -25.70, -21.24, -3.68), "2014-05-04"),
    "Concord": ((-12.80, -22.96, -27.88, -29.22, -28.27, -21.90, -6.08), "2014-05-01"),
    "Marquette": ((-11.50, -20.02, -25.77, -27.47, -22.92, -11.55), ""),
}  # fmt: skip
ON = ("2013-10-15", "2013-12-01", "2014-01-01", "2014-02-01", "2014-03-01", "2014-04-01", "2014-05-01")


@pytest.mark.parametrize("name", MADE_UP)
def test_the_made_up_winter_to_the_printed_digits(name):
    curve = daily_curve(made_up(), CULTIVARS[name])
    wanted, second = MADE_UP[name]
    np.testing.assert_allclose(curve.half_c[list(DAYS)], wanted, atol=0.00501)
    assert int(curve.second_phase) == second


@pytest.mark.parametrize("name", NEW_YORK)
def test_a_winter_of_new_york_to_the_printed_digits(name):
    days, low, high, _ = winter_of("new_york_2012_2015", 2013)
    curve = daily_curve((low + high) / 2, CULTIVARS[name])
    wanted, budbreak = NEW_YORK[name]
    at = [days.index(dt.date.fromisoformat(day)) for day in ON[: len(wanted)]]
    np.testing.assert_allclose(curve.half_c[at], wanted, atol=0.00501)
    assert (days[curve.budbreak].isoformat() if curve.budbreak >= 0 else "") == budbreak


@pytest.mark.parametrize(("year", "cold"), [(2012, -596), (2013, -508), (2014, -348)])
def test_the_cold_of_seattle_never_reaches_the_second_phase(year, cold):
    days, low, high, _ = winter_of("seattle_2012_2015", year)
    curve = daily_curve((low + high) / 2, CULTIVARS["Riesling"])
    assert curve.cold_sum[-1] == pytest.approx(cold, abs=0.5)
    assert curve.second_phase == curve.budbreak == -1
    if year == 2013:
        assert curve.half_c[days.index(dt.date(2014, 4, 6))] == pytest.approx(-25.96, abs=0.005)


@pytest.mark.parametrize(("year", "cold"), [(2012, -973), (2013, -1236), (2014, -1211)])
def test_the_cold_of_new_york(year, cold):
    _, low, high, _ = winter_of("new_york_2012_2015", year)
    assert daily_curve((low + high) / 2, CULTIVARS["Merlot"]).cold_sum[-1] == pytest.approx(cold, abs=0.5)


def test_the_whole_table_is_there_with_what_it_stands_on():
    assert len(CULTIVARS) == 28
    kinds = [one.kind for one in CULTIVARS.values()]
    assert [kinds.count(kind) for kind in Kind] == [21, 2, 5]
    for one in CULTIVARS.values():
        assert one.hardiest_c < one.start_c <= one.softest_c, one.name
        assert one.basis is Basis.CODE
        assert (one.spread is None) == (one.kind is Kind.HYBRID) == (one.budbreak_c is None)
    assert sum(one.error.basis is Basis.MEASURED for one in CULTIVARS.values()) == 8
    assert CULTIVARS["Petite Pearl"].theta == 1
    assert CULTIVARS["La Crescent"].threshold_c == (11, -1)
    assert CULTIVARS["Sunbelt"].spread == (0.8216, 0.9389, -1.6544, 0.9991)
    assert CULTIVARS["Concord"].error.sd_c == pytest.approx((2.46**2 - 0.87**2) ** 0.5, abs=0.005)


@pytest.mark.parametrize("name", ["Pinot noir", "Pinot", "Cabernet", "Merlo", "Rieslin", "Muscat", ""])
def test_no_cultivar_is_guessed_by_likeness(name):
    assert cultivar_named(name) is None


@pytest.mark.parametrize(("spelt", "name"), [("Gewürztraminer", "Gewurztraminer"), ("CABERNET  franc", "Cabernet franc"),
                                             ("Sémillon", "Semillon"), ("petite-pearl", "Petite Pearl")])  # fmt: skip
def test_the_same_name_spelt_otherwise(spelt, name):
    assert cultivar_named(spelt) is CULTIVARS[name]


def test_every_cultivar_is_of_one_group():
    groups = [{one.name for one in members(group)} for group in Group]
    assert sum(map(len, groups)) == 28
    assert set.union(*groups) == set(CULTIVARS)
    assert {"Sangiovese", "Semillon"} <= groups[0]
    assert {"Riesling", "Cabernet franc"} <= groups[1]
    assert groups[2] == {"Concord", "Sunbelt"}


WINTERS = st.lists(st.floats(-30, 25), min_size=2, max_size=120).map(np.array)


@given(WINTERS, st.sampled_from(sorted(CULTIVARS)))
@settings(max_examples=60, deadline=None)
def test_hardiness_stays_between_its_limits_and_several_winters_run_as_each_alone(mean, name):
    cultivar = CULTIVARS[name]
    both = daily_curve(np.stack([mean, mean[::-1]]), cultivar)
    alone = daily_curve(mean[::-1], cultivar)
    assert (both.half_c[1] == alone.half_c).all()
    assert both.second_phase[1] == alone.second_phase
    assert both.half_c.min() >= cultivar.hardiest_c
    assert both.half_c.max() <= cultivar.softest_c


@given(WINTERS, st.sampled_from(sorted(CULTIVARS)))
@settings(max_examples=40, deadline=None)
def test_fahrenheit_turned_into_celsius_gives_the_same_curve(mean, name):
    again = ((mean * 1.8 + 32) - 32) / 1.8
    np.testing.assert_allclose(
        daily_curve(again, CULTIVARS[name]).half_c, daily_curve(mean, CULTIVARS[name]).half_c, atol=1e-6
    )


def test_a_missing_day_leaves_the_state_as_it_is():
    mean = made_up()
    mean[100] = np.nan
    curve = daily_curve(mean, CULTIVARS["Merlot"])
    assert curve.half_c[100] == curve.half_c[99]
    assert np.isfinite(curve.half_c).all()
