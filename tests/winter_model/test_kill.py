"""What a night killed, as a range, and which model may say so. trunkwatch.winter_model: kill, serves."""

import datetime as dt

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from winter_model.winters import lincoln, made_up, winter_of

from trunkwatch.winter_model.cultivars import CULTIVARS, Basis, ModelError
from trunkwatch.winter_model.daily import daily_curve
from trunkwatch.winter_model.kill import kill_share, ten_and_ninety, winter_kill
from trunkwatch.winter_model.serves import Gate, Serves, gate, spring_ends, which_model

NO_ERROR = ModelError(0.0, 0.0, Basis.OWN)
POINTS = (
    (-15, 0.004),
    (-17, 0.036),
    (-18, 0.100),
    (-19, 0.250),
    (-20, 0.500),
    (-21, 0.675),
    (-22, 0.812),
    (-23, 0.900),
    (-25, 0.975),
)


@pytest.mark.parametrize(("celsius", "share"), POINTS)
def test_the_curve_through_its_points(celsius, share):
    assert float(kill_share(np.array(celsius), -20.0, -18.0, -23.0)) == pytest.approx(share, abs=0.0006)


@pytest.mark.parametrize(("name", "share"), [("Merlot", 0.97), ("Riesling", 0.49), ("Concord", 0.10)])
def test_the_killing_night_of_lincoln(name, share):
    days, low, high = lincoln()
    start = days.index(dt.date(2016, 9, 7))
    low, high, days = low[start:], high[start:], days[start:]
    curve = daily_curve((low + high) / 2, CULTIVARS[name])
    killed = winter_kill(low, curve.half_c, *ten_and_ninety(curve.half_c, CULTIVARS[name].spread), NO_ERROR)
    night = days.index(dt.date(2016, 12, 18))
    assert low[night] == pytest.approx(-25.0, abs=0.01)
    assert killed.night_low[night] == killed.night_high[night] == pytest.approx(share, abs=0.006)


def test_with_the_models_error_the_share_is_a_range():
    days, low, high = lincoln()
    start = days.index(dt.date(2016, 9, 7))
    low, high = low[start:], high[start:]
    curve = daily_curve((low + high) / 2, CULTIVARS["Riesling"])
    killed = winter_kill(
        low, curve.half_c, *ten_and_ninety(curve.half_c, CULTIVARS["Riesling"].spread), CULTIVARS["Riesling"].error
    )
    below, above = killed.range_now
    assert 0.05 < below < 0.49
    assert 0.9 < above < 1


def test_an_error_on_the_hopeful_side_kills_more():
    lows, curve = np.array([0.0, -22.0]), np.array([-22.0, -22.0])
    told = [
        winter_kill(lows, curve, curve + 1.4, curve - 1.4, ModelError(bias, 1.0, Basis.OWN)).range_now
        for bias in (-0.8, 0.0)
    ]
    assert told[0][0] > told[1][0]
    assert told[0][1] > told[1][1]


NIGHTS = st.lists(st.floats(-40, 15), min_size=2, max_size=60).map(np.array)


@given(NIGHTS, st.integers(0, 59), st.floats(0, 15))
@settings(max_examples=80, deadline=None)
def test_a_colder_night_never_kills_less_and_a_later_look_never_lowers_the_share(nights, at, colder):
    curve = np.full(nights.shape, -21.0)
    at = at % nights.size
    deeper = nights.copy()
    deeper[at] -= colder
    one, other = (
        winter_kill(low, curve, curve + 1.6, curve - 1.2, CULTIVARS["Merlot"].error) for low in (nights, deeper)
    )
    for side in ("low", "high"):
        assert (getattr(other, side) >= getattr(one, side) - 1e-12).all()
        assert (np.diff(getattr(one, side)) >= 0).all()
    assert (one.low <= one.high).all()


def test_a_night_that_is_missing_says_nothing():
    killed = winter_kill(np.array([0.0, np.nan]), *(np.full(2, at) for at in (-20.0, -18.0, -22.0)), NO_ERROR)
    assert np.isnan(killed.night_low[1])
    assert killed.range_now == (killed.low[0], killed.high[0])


def test_nights_after_budbreak_do_not_count():
    lows, curve = np.array([0.0, -5.0, -30.0]), np.full(3, -20.0)
    held = winter_kill(lows, curve, curve + 1, curve - 1, NO_ERROR, until=2)
    assert held.range_now[1] < 0.01
    assert winter_kill(lows, curve, curve + 1, curve - 1, NO_ERROR, until=-1).range_now[1] > 0.99


def test_without_lines_other_cultivars_steps_stand_in():
    tenth, ninety = ten_and_ninety(np.array([-28.0]), None)
    assert (tenth[0], ninety[0]) == pytest.approx((-26.6, -29.4))
    for one in CULTIVARS.values():
        for half in (one.softest_c, one.hardiest_c):
            tenth, ninety = ten_and_ninety(np.array([half]), one.spread)
            assert ninety[0] < half < tenth[0]


MARCH_FIRST = 175


def _riesling(name, year):
    _, low, high, _ = winter_of(name, year)
    return daily_curve((low + high) / 2, CULTIVARS["Riesling"])


def _gate(second, day, past, cold_sum=None):
    course = np.zeros(260) if cold_sum is None else cold_sum
    return gate(second, day, MARCH_FIRST, past, course, CULTIVARS["Riesling"].second_phase_at)


def test_new_york_passes_the_gate_and_seattle_is_refused():
    cold, mild = (
        np.array([int(_riesling(name, year).second_phase) for year in (2012, 2013, 2014)])
        for name in ("new_york_2012_2015", "seattle_2012_2015")
    )
    assert _gate(-1, 80, cold) is Gate.USUAL
    assert _gate(-1, 80, mild) is Gate.MILD_PLACE
    assert _gate(-1, MARCH_FIRST, cold) is Gate.MILD_WINTER
    assert _gate(-1, 80, cold[:2]) is Gate.UNKNOWN
    assert _gate(120, 130, cold) is Gate.REACHED
    assert _gate(120, 130, cold[:1]) is Gate.REACHED
    assert _gate(120, 130, mild) is Gate.MILD_PLACE  # one cold winter makes no cold place
    assert _gate(120, 130, np.array([120, 130, 140, 150, -1])) is Gate.REACHED  # four of five
    assert _gate(120, 130, np.array([120, 130, 140, -1])) is Gate.MILD_PLACE
    assert _gate(180, 190, cold) is Gate.MILD_WINTER
    assert {one for one in Gate if not one.holds} == {Gate.MILD_WINTER, Gate.MILD_PLACE, Gate.UNKNOWN}


def test_without_past_winters_the_pace_never_lets_seattle_through():
    none = np.array([], dtype=int)
    for year in (2012, 2013, 2014):
        course = _riesling("seattle_2012_2015", year).cold_sum
        assert {_gate(-1, day, none, course) for day in range(MARCH_FIRST)} == {Gate.UNKNOWN}
    for year in (2013, 2014):
        cold = _riesling("new_york_2012_2015", year)
        assert {
            _gate(-1, day, none, cold.cold_sum) for day in range(int(cold.second_phase) - 15, int(cold.second_phase))
        } == {Gate.ON_PACE}


@pytest.mark.parametrize(("found", "knows", "latitude", "serves"), [
    (Gate.REACHED, True, True, Serves.DAILY), (Gate.MILD_PLACE, True, True, Serves.CHILL),
    (Gate.MILD_PLACE, True, False, Serves.NONE), (Gate.UNKNOWN, False, True, Serves.NONE),
])  # fmt: skip
def test_which_model_serves(found, knows, latitude, serves):
    told = which_model(
        found,
        chill_knows=knows,
        latitude_known=latitude,
        cold_sum=-508,
        needed=-700,
        past_second_phase=np.array([-1, 170, 176]),
        march_first=MARCH_FIRST,
    )
    assert told.serves is serves
    assert (told.winters, told.reached, told.cold_sum) == (3, 1, -508)


def test_hybrids_have_no_spring():
    hybrid = CULTIVARS["Marquette"]
    curve = daily_curve(made_up(), hybrid)
    ends = int(spring_ends(curve.half_c, hybrid.softest_c, curve.second_phase))
    assert 210 < ends < 230
    assert curve.budbreak == -1
    assert spring_ends(curve.half_c[:150], hybrid.softest_c, curve.second_phase) == -1
