"""What is wrong or odd in the weather of a vineyard. trunkwatch.intake: check_weather."""

import datetime as dt

import pytest

from trunkwatch.intake.check_weather import check_weather
from trunkwatch.vineyard.tables import frame_of


def _frame(first, last, low, high, without=()):
    days = [first + dt.timedelta(days=k) for k in range((last - first).days + 1)]
    return frame_of(
        "weather",
        [
            {"date": day.isoformat(), "t_min_c": low(day), "t_max_c": high(day), "read_from": f"weather.csv:{k + 2}"}
            for k, day in enumerate(days)
            if day.isoformat()[:7] not in without
        ],
    )


def _season(day, winter, summer):
    return winter if day.month in (11, 12, 1, 2, 3) else summer


def _usual(**more):
    first, last = dt.date(2020, 9, 1), dt.date(2022, 5, 15)
    return _frame(first, last, lambda day: _season(day, -8.0, 12.0), lambda day: _season(day, 2.0, 26.0), **more)


def test_a_usual_record_has_no_fault():
    assert check_weather(_usual(), "north") == []
    assert check_weather(frame_of("weather", []), "north") == []


def test_a_lowest_above_the_highest_names_its_line():
    frame = _usual()
    frame.loc[10, ["t_min_c", "t_max_c"]] = [15.0, 3.0]
    (fault,) = check_weather(frame, "north")
    assert fault.weight == "fault"
    assert str(fault).startswith(
        "weather.csv, line 12, column t_min_c: the lowest temperature of 2020-09-11 is above its highest ('15 above 3')"
    )


@pytest.mark.parametrize(("winter", "summer", "weight", "says"), [
    ((18.0, 36.0), (54.0, 80.0), "fault", "warmer than any ever measured"),
    ((18.0, 36.0), (40.0, 50.0), "fault", "summer days are above 45"),
    ((26.0, 36.0), (30.0, 40.0), "note", "winter nights are 20 C or warmer"),
    ((10.0, 32.0), (12.0, 40.0), "note", "warmer than their nights"),
])  # fmt: skip
def test_fahrenheit_called_celsius(winter, summer, weight, says):
    first, last = dt.date(2020, 9, 1), dt.date(2021, 8, 31)
    frame = _frame(
        first, last, lambda day: _season(day, winter[0], summer[0]), lambda day: _season(day, winter[1], summer[1])
    )
    (fault,) = check_weather(frame, "north")
    assert (fault.weight, says in fault.problem) == (weight, True)
    assert "--units F" in fault.expected


def test_a_month_of_mid_winter_that_is_missing():
    (fault,) = check_weather(_usual(without=("2021-01", "2021-04")), "north")
    assert (fault.weight, fault.value) == ("note", "2021-01")
    assert [fault.value for fault in check_weather(_usual(without=("2021-07", "2021-01")), "south")] == ["2021-07"]


def test_the_other_half_of_the_earth_has_its_summer_in_january():
    first, last = dt.date(2020, 9, 1), dt.date(2021, 8, 31)
    frame = _frame(
        first, last, lambda day: 30.0 if day.month in (1, 2) else 5.0, lambda day: 46.0 if day.month in (1, 2) else 15.0
    )
    assert [fault.weight for fault in check_weather(frame, "south")] == ["fault"]
    assert [fault.weight for fault in check_weather(frame, "north")] == ["note"]


def _with_rain(factor, days=700):
    first = dt.date(2020, 9, 1)
    return frame_of(
        "weather",
        [
            {
                "date": (first + dt.timedelta(days=k)).isoformat(),
                "t_min_c": 2.0,
                "t_max_c": 9.0,
                "rain_mm": round((0, 0, 4.0, 25.0, 11.0)[k % 5] * factor, 2),
                "read_from": f"weather.csv:{k + 2}",
            }
            for k in range(days)
        ],
    )


@pytest.mark.parametrize(("factor", "says"), [
    (1 / 25.4, "the wettest of 700 days has 0.98 mm of rain: are these inches?"),
    (25.4, "half of the wet days have more than 60 mm of rain: were mm taken for inches?"),
])  # fmt: skip
def test_rain_in_another_unit(factor, says):
    (fault,) = check_weather(_with_rain(factor), "north")
    assert (fault.weight, fault.column, fault.problem) == ("note", "rain_mm", says)
    assert "--units" in fault.expected


def test_usual_rain_a_dry_place_and_a_short_record_say_nothing_of_units():
    assert check_weather(_with_rain(1.0), "north") == []
    assert check_weather(_with_rain(0.0), "north") == []
    assert check_weather(_with_rain(1 / 25.4, days=200), "north") == []
