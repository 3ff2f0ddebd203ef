"""The user's own forecast after what was measured. trunkwatch.cold: ahead, ahead_words."""

import datetime as dt

import numpy as np
import pytest
from winter_model.made import made_winters

from trunkwatch.cold import Weather, ahead_of, cold_ahead, cold_of_block, window_of
from trunkwatch.cold.ahead import MOST_DAYS
from trunkwatch.cold.ahead_words import ahead_lines, left_out_lines
from trunkwatch.cold.window_words import window_lines, window_table
from trunkwatch.errors import RecordError
from trunkwatch.vineyard.tables import frame_of

DAY = dt.date(2027, 1, 20)


def _forecast(first=DAY + dt.timedelta(days=1), lows=(-12.0, -26.0, -14.0), rain=0.0):
    return frame_of(
        "weather",
        [
            {"date": (first + dt.timedelta(days=k)).isoformat(), "t_min_c": low, "t_max_c": low + 8, "rain_mm": rain}
            for k, low in enumerate(lows)
        ],
    )


@pytest.fixture(scope="module")
def table():
    """Winters up to the day asked about, none after it."""
    whole = made_winters(2010, 2027, colder=5, seed=7)
    return whole[whole["date"] <= DAY.isoformat()]


@pytest.fixture(scope="module")
def weather(table):
    return Weather(table)


def _cold(weather):
    return cold_of_block("Top", "Merlot", weather, DAY, hemisphere="north")


def test_a_forecast_night_kills_only_in_the_forecast(weather):
    now = _cold(weather)
    ahead = ahead_of(_forecast(), weather, DAY)
    then = cold_ahead(now, ahead)
    assert then.coldest == (dt.date(2027, 1, 22), -26.0)
    assert then.cold.killed[1] > now.killed[1]
    assert (_cold(weather).killed, _cold(weather).coldest) == (now.killed, now.coldest)
    text = " ".join(ahead_lines(now, then))
    assert text.startswith(
        "By your own forecast for 21 to 23 January, not measured: coldest night -26.0 C on 22 January."
    )
    assert "primary buds killed by then are likely" in text


def test_days_that_are_not_ahead_or_too_far_are_left_out_and_told(weather):
    ahead = ahead_of(_forecast(first=dt.date(2027, 1, 18), lows=[-10.0] * 25), weather, DAY)
    assert (ahead.days[0], len(ahead.days)) == (dt.date(2027, 1, 21), MOST_DAYS)
    assert (ahead.past, ahead.far, ahead.measured) == (3, 6, ())
    lines = left_out_lines(ahead)
    assert lines == (
        "Forecast: days of the file left out because they are not after 20 January 2027: 3.",
        "Forecast: days of the file left out because they lie more than 16 days ahead: 6; past winters go on there.",
    )


def test_a_measured_day_stands_in_place_of_its_forecast(table):
    measured = frame_of("weather", [{"date": "2027-01-22", "t_min_c": -9.0, "t_max_c": 1.0}])
    both = Weather(frame_of("weather", [*table.to_dict("records"), *measured.to_dict("records")]))
    ahead = ahead_of(_forecast(), both, DAY)
    assert ahead.measured == (dt.date(2027, 1, 22),)
    assert ahead.days == (dt.date(2027, 1, 21), dt.date(2027, 1, 23))
    winter = ahead.weather.winter(2027, "north")
    assert [winter.t_min_c[(day - winter.first).days] for day in (*ahead.days, *ahead.measured)] == [-12.0, -14.0, -9.0]
    assert left_out_lines(ahead) == ("Forecast: days of the file measured since: 1; what was measured stands.",)
    then = cold_ahead(_cold(both), ahead)
    assert then.coldest == (dt.date(2027, 1, 23), -14.0)
    gone = ahead_of(_forecast(first=dt.date(2027, 1, 22), lows=[-20.0]), both, DAY)
    assert (gone.days, gone.last) == ((), dt.date(2027, 1, 22))
    assert ahead_lines(_cold(both), cold_ahead(_cold(both), gone)) == ()


def test_a_day_with_one_measured_temperature_is_still_forecast(table):
    half = frame_of("weather", [{"date": "2027-01-22", "t_min_c": -9.0}])
    both = Weather(frame_of("weather", [*table.to_dict("records"), *half.to_dict("records")]))
    ahead = ahead_of(_forecast(), both, DAY)
    assert (ahead.measured, len(ahead.days)) == ((), 3)
    assert (np.diff(ahead.weather.ordinals) > 0).all()


def test_no_day_that_can_be_taken_is_refused(weather):
    for first in (dt.date(2027, 1, 10), dt.date(2027, 3, 1)):
        with pytest.raises(
            RecordError, match=rf"no day from 1 to 16 days after 2027-01-20: it holds {first.isoformat()} to"
        ):
            ahead_of(_forecast(first=first), weather, DAY)
    with pytest.raises(RecordError, match="it holds no day"):
        ahead_of(_forecast(lows=()), weather, DAY)


def test_the_window_takes_forecast_days_and_past_winters_go_on_after_them(weather):
    bare = window_of(_cold(weather), weather)
    ahead = ahead_of(_forecast(rain=30.0), weather, DAY)
    window = window_of(_cold(weather), weather, ahead=ahead)
    first = (DAY - window.first).days
    works, before = window.by_winter["workable"], bare.by_winter["workable"]
    assert (works[:, first + 1 : first + 4] == 0).all()  # 30 mm of rain: no crew works
    assert (works[:, first + 4 :] == before[:, first + 4 :]).all()
    assert window.forecast == ahead.days
    text = " ".join(window_lines(window))
    assert "past winters after your own forecast to 23 January" in text
    assert "* partly your own forecast, not measured." in text
    lines = window_table(window)
    assert [line for line in lines if "January*" in line] == [lines[2]]
    assert "*" not in "".join(window_table(bare))


def test_what_a_forecast_does_not_say_is_taken_from_past_winters(weather):
    dry = _forecast()
    ahead = ahead_of(dry.assign(rain_mm=np.nan), weather, DAY)
    window = window_of(_cold(weather), weather, ahead=ahead)
    tomorrow = (DAY - window.first).days + 1
    rain = np.array([one.rain_mm[tomorrow] for one in weather.past(2027, "north")])
    assert 0 < (rain >= 2).sum() < rain.size
    assert (window.by_winter["workable"][:, tomorrow] == (rain < 2)).all()


def test_an_inspection_that_a_forecast_would_make_worth_the_walk(table):
    mild = table.assign(t_min_c=np.maximum(table["t_min_c"], -9.0), t_max_c=np.maximum(table["t_max_c"], -8.0))
    weather = Weather(mild)
    now = _cold(weather)
    assert now.look_from is None
    then = cold_ahead(now, ahead_of(_forecast(lows=(-28.0,)), weather, DAY))
    assert "If it comes so, an inspection of the buds is worth the walk from 22 January 2027 on." in ahead_lines(
        now, then
    )
