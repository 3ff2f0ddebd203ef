"""Exposure of a cut under both rules of aging, and where the best day flips. trunkwatch.winter_model: wounds."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from winter_model.winters import station

from trunkwatch.winter_model.wounds import CALENDAR, PER_DAY, PER_DEGREE_DAY, WARMTH, exposure, flip, spore_days

CUT_ON = ((11, 1), (12, 1), (1, 1), (1, 15), (3, 1), (4, 15))
#: Mean of the winters 2012/13 to 2014/15: by the calendar and by warmth.
FLIP = {
    ("seattle_2012_2015", 0): ((18.2, 18.1, 15.8, 14.8, 14.0, 8.3), (16.9, 20.5, 17.3, 15.2, 10.9, 6.2)),
    ("new_york_2012_2015", 0): ((9.6, 11.6, 7.0, 6.2, 7.7, 6.9), (11.7, 17.3, 14.7, 13.3, 8.8, 4.6)),
    ("new_york_2012_2015", -8): ((5.0, 4.7, 1.9, 1.5, 4.3, 6.6), (18.7, 17.1, 12.5, 11.5, 11.2, 7.5)),
}


def _mean(name, colder, blend):
    """Mean exposure by day of the year from 7 September on, 29 February left out."""
    out = []
    for year in (2012, 2013, 2014):
        days, low, high, rain = station(name, dt.date(year, 9, 7), dt.date(year + 1, 6, 15))
        low, high = low + colder, high + colder
        both = exposure(spore_days(rain, high), (low + high) / 2, blend)
        out.append(both[..., [(day.month, day.day) != (2, 29) for day in days]])
    return np.mean(out, axis=0)


def _at(month, day):
    return (dt.date(2013 if month > 8 else 2014, month, day) - dt.date(2013, 9, 7)).days


@pytest.mark.parametrize("place", FLIP)
def test_the_flip_to_the_printed_digits(place):
    calendar, warmth = FLIP[place]
    at = [_at(*day) for day in CUT_ON]
    np.testing.assert_allclose(_mean(*place, CALENDAR)[at], calendar, atol=0.0501)
    np.testing.assert_allclose(_mean(*place, WARMTH)[at], warmth, atol=0.0501)


def test_where_it_is_cold_the_best_day_flips_and_where_it_is_mild_it_does_not():
    blends = np.linspace(0, 1, 21)
    days = np.arange(282)
    allowed = (days >= _at(11, 1)) & (days <= _at(4, 15))
    cold = flip(_mean("new_york_2012_2015", -8, blends), blends, allowed)
    mild = flip(_mean("seattle_2012_2015", 0, blends), blends, allowed)
    assert mild.at is None
    assert cold.by_calendar < _at(2, 1)
    assert cold.by_warmth > _at(4, 1)
    assert 0 < cold.at < 1
    assert mild.by_calendar > _at(4, 1)


def test_both_rules_leave_a_tenth_after_84_days_at_seven_degrees():
    assert np.exp(-PER_DAY * 84) == pytest.approx(0.10, abs=0.005)
    assert np.exp(-PER_DEGREE_DAY * 84 * 7) == pytest.approx(0.10, abs=0.002)


def test_by_hand():
    wet = np.array([True, False, True])
    mean = np.array([10.0, -5.0, 3.0])
    by_calendar = exposure(wet, mean, CALENDAR)
    assert by_calendar[0] == pytest.approx(1 + np.exp(-2 * 0.027))
    by_warmth = exposure(wet, mean, WARMTH)
    assert by_warmth[0] == pytest.approx(1 + np.exp(-0.039))
    assert by_warmth[1] == pytest.approx(1.0)


@given(st.lists(st.tuples(st.booleans(), st.floats(-20, 25)), min_size=1, max_size=80), st.floats(0, 1))
@settings(max_examples=60, deadline=None)
def test_more_spore_days_never_lower_it_and_warmer_days_never_raise_it(days, blend):
    wet, mean = np.array([day[0] for day in days]), np.array([day[1] for day in days])
    own = exposure(wet, mean, blend)
    assert (exposure(np.ones_like(wet), mean, blend) >= own).all()
    assert (exposure(wet, mean + 5, blend) <= own + 1e-9).all()
    assert (own <= len(days)).all()


def test_rain_below_the_limit_or_in_frost_is_no_spore_day():
    rain = np.array([0.9, 1.0, 5.0, np.nan])
    assert spore_days(rain, np.array([5.0, 5.0, 1.7, 5.0])).tolist() == [False, True, False, False]
