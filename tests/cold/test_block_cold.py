"""What the winter did to a block's buds. trunkwatch.cold: days, models, block_cold, words."""

import datetime as dt

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from winter_model.made import made_winters
from winter_model.winters import STATIONS, lincoln

from trunkwatch.cold import Weather, Why, cold_of_block
from trunkwatch.cold.days import DAILY_FROM, DAILY_TO, day_in, gap_in, season_at
from trunkwatch.cold.models import daily_course
from trunkwatch.cold.words import CAUTIONS, cold_lines, cold_title, detail_lines, of_100
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.winter_model.cultivars import CULTIVARS, Group, members
from trunkwatch.winter_model.serves import Gate, Serves


def _station(name):
    table = pd.read_csv(STATIONS / f"{name}.csv")
    return frame_of("weather", [{str(key): cell for key, cell in line.items()} for line in table.to_dict("records")])


@pytest.fixture(scope="module")
def new_york():
    return Weather(_station("new_york_2012_2015"))


@pytest.fixture(scope="module")
def seattle():
    return Weather(_station("seattle_2012_2015"))


def _lincoln(without=()):
    days, low, high = lincoln()
    return Weather(
        frame_of(
            "weather",
            [
                {"date": day.isoformat(), "t_min_c": a, "t_max_c": b}
                for day, a, b in zip(days, low, high, strict=True)
                if day.isoformat() not in without
            ],
        )
    )


def _cold(weather, day, cultivar="Riesling", **given):
    return cold_of_block("Top", cultivar, weather, day, hemisphere="north", **given)


def test_a_cold_winter_is_told_by_the_daily_model(new_york):
    found = _cold(new_york, dt.date(2015, 2, 21), latitude=40.7)
    assert (found.why, found.season, found.as_of) == (None, 2015, dt.date(2015, 2, 21))
    assert found.verdict.serves is Serves.DAILY
    assert found.coldest == (dt.date(2015, 2, 20), -16.0)
    soft, hardy = found.half_dies_c
    assert -24 < soft < -22
    assert -28 < hardy < -26
    assert found.killed[1] < 0.01
    assert found.look_from is None
    assert found.other.serves is Serves.CHILL
    text = " ".join(cold_lines(found))
    assert "Half of the buds would die somewhere between -23 and -28 C, as they stand on 21 February 2015." in text
    assert "killed so far, likely fewer than 1 of 100" in text
    assert "not worth the walk yet" in text


def test_seattle_is_refused_by_the_daily_model_in_words(seattle):
    merlot = _cold(seattle, dt.date(2014, 4, 6), "Merlot", latitude=47.6)
    assert (merlot.why, merlot.killed, merlot.half_dies_c) == (Why.REFUSED, None, None)
    assert merlot.verdict.gate is Gate.MILD_WINTER
    assert "No model for this winter" in cold_lines(merlot)[0]
    assert "500 are needed" in cold_lines(merlot)[0]
    riesling = _cold(seattle, dt.date(2014, 2, 10), latitude=47.6)
    assert riesling.verdict.serves is Serves.CHILL
    assert riesling.half_dies_c[1] > -24
    assert "By the model by chill portions" in " ".join(cold_lines(riesling))
    blind = _cold(seattle, dt.date(2014, 4, 6))
    assert blind.why is Why.REFUSED
    assert "With the block's latitude" in cold_lines(blind)[0]


def test_the_killing_night_of_lincoln_is_a_range_and_worth_a_look():
    weather = _lincoln()
    found = {name: _cold(weather, dt.date(2016, 12, 31), name) for name in ("Merlot", "Riesling", "Concord")}
    assert all(one.why is None for one in found.values()), [one.verdict for one in found.values()]
    for name, share in (("Merlot", 0.97), ("Riesling", 0.49), ("Concord", 0.10)):
        low, high = found[name].killed
        assert low < share < high
        assert high - low > 0.3
        assert found[name].look_from == dt.date(2016, 12, 19)
    text = " ".join(cold_lines(found["Riesling"]))
    assert "Coldest night so far: -25.0 C on 18 December 2016." in text
    assert "worth the walk from 19 December 2016 on" in text
    assert "cut about 125 buds, 4 from a cane" in text


def test_a_cultivar_that_is_not_known_is_not_guessed_but_a_group_may_stand_in(new_york):
    day = dt.date(2015, 2, 21)
    assert _cold(new_york, day, "Pinot noir").why is Why.UNKNOWN_CULTIVAR
    assert "none is guessed by likeness" in cold_lines(_cold(new_york, day, "Pinot noir"))[0]
    assert _cold(new_york, day, "").why is Why.NO_CULTIVAR
    group = _cold(new_york, day, "Pinot noir", stand_in=Group.MEDIUM)
    assert (group.why, len(group.of)) == (None, len(members(Group.MEDIUM)))
    assert 'the group "medium" stands in for it' in cold_lines(group)[0]
    for one in members(Group.MEDIUM):
        alone = _cold(new_york, day, one.name)
        assert group.half_dies_c[0] >= alone.half_dies_c[0]
        assert group.half_dies_c[1] <= alone.half_dies_c[1]
        assert group.killed[1] >= alone.killed[1]
    assert _cold(new_york, day, "Merlot", stand_in=Group.HYBRID).stand_in is None  # a known cultivar needs none


def test_a_group_is_refused_where_one_of_its_members_is(seattle):
    day = dt.date(2013, 3, 10)
    assert _cold(seattle, day, "Sauvignon blanc").why is None
    assert _cold(seattle, day, "Riesling").why is Why.REFUSED
    group = _cold(seattle, day, "Pinot noir", stand_in=Group.MEDIUM)
    assert (group.why, group.verdict.gate) == (Why.REFUSED, Gate.MILD_WINTER)


def test_hybrids_have_no_spring(new_york):
    winter = _cold(new_york, dt.date(2015, 2, 21), "Marquette")
    spring = _cold(new_york, dt.date(2015, 4, 20), "Marquette")
    assert winter.why is None
    assert (spring.why, spring.half_dies_c, spring.budbreak) == (Why.NO_SPRING, None, None)
    assert "hybrids in spring" in cold_lines(spring)[0]
    assert any("not published for hybrids" in line for line in detail_lines(winter))


def test_after_budbreak_frost_counts(new_york):
    found = _cold(new_york, dt.date(2014, 5, 12))
    assert found.budbreak == dt.date(2014, 5, 4)
    assert found.half_dies_c is None
    text = " ".join(cold_lines(found))
    assert "buds broke about 4 May 2014" in text
    assert "worth the walk" not in text
    summer = " ".join(cold_lines(_cold(new_york, dt.date(2014, 7, 1))))
    assert "killed by budbreak" in summer
    assert "weather on file ends" not in summer


def test_weather_that_is_not_there_has_holes_or_ends_early():
    assert _cold(Weather(frame_of("weather", [])), dt.date(2016, 12, 31)).why is Why.NO_WEATHER
    gone = {(dt.date(2016, 11, 1) + dt.timedelta(days=k)).isoformat() for k in range(12)}
    found = _cold(_lincoln(gone), dt.date(2016, 12, 31))
    assert found.why is Why.HOLES
    assert (found.gap.first, found.gap.last, found.gap.days) == (dt.date(2016, 11, 1), dt.date(2016, 11, 12), 12)
    assert "12 days are missing, 1 November 2016 to 12 November 2016" in cold_lines(found)[0]
    late = _cold(_lincoln(), dt.date(2017, 1, 20))
    assert "The weather on file ends on 31 December 2016" in cold_lines(late)[-1]


@pytest.mark.parametrize("cultivar", ["Merlot", "Concord", "Frontenac"])
def test_the_mirror_south_of_the_equator_gives_the_same_answer(cultivar):
    table = made_winters(2016, 2022, colder=3, seed=3)
    shift = (day_in(2022, DAILY_FROM, "north") - day_in(2022, DAILY_FROM, "south")).days
    moved = table.assign(
        date=[(dt.date.fromisoformat(day) - dt.timedelta(days=shift)).isoformat() for day in table["date"]]
    )
    day = dt.date(2022, 1, 20)
    north = cold_of_block("Top", cultivar, Weather(table), day, hemisphere="north")
    south = cold_of_block("Top", cultivar, Weather(moved), day - dt.timedelta(days=shift), hemisphere="south")
    assert north.why is south.why is None
    assert north.killed == south.killed
    assert north.half_dies_c == south.half_dies_c
    assert north.season == south.season == 2022
    assert (north.worst_night - south.worst_night).days == shift


def test_a_leap_day_moves_nothing_before_it_and_the_days_after_keep_their_dates():
    table = made_winters(2019, 2021, colder=3, seed=4)
    weather = Weather(table)
    leap, plain = weather.winter(2020, "north"), weather.winter(2021, "north")
    assert len(leap.t_min_c) == len(plain.t_min_c) + 1
    for winter in (leap, plain):
        assert winter.day(winter.at((3, 1))).month == 3
        assert winter.day(winter.at(DAILY_TO)).day == 15
    # The same days, one year with 29 February and one without: the curve is the same up to it.
    first = (day_in(2021, DAILY_FROM, "north") - day_in(2020, DAILY_FROM, "north")).days
    moved = table.assign(
        date=[(dt.date.fromisoformat(day) + dt.timedelta(days=first)).isoformat() for day in table["date"]]
    )
    one, other = (
        daily_course([w.winter(season, "north")], CULTIVARS["Merlot"])
        for w, season in ((weather, 2020), (Weather(moved), 2021))
    )
    np.testing.assert_array_equal(one.half_c[0, :250], other.half_c[0, :250])


@given(st.integers(0, 200), st.integers(1, 60), st.floats(0, 12))
@settings(max_examples=25, deadline=None)
def test_a_later_look_never_lowers_the_share_and_a_colder_night_never_kills_less(at, later, colder):
    table = made_winters(2020, 2022, colder=6, seed=9)
    weather = Weather(table)
    day = dt.date(2021, 9, 20) + dt.timedelta(days=at)
    early, late = (
        cold_of_block("Top", "Merlot", weather, one, hemisphere="north")
        for one in (day, day + dt.timedelta(days=later))
    )
    if early.killed is not None and late.killed is not None:
        assert late.killed[0] >= early.killed[0]
        assert late.killed[1] >= early.killed[1]
    # The last night alone colder, by which no curve of the days before is moved.
    deeper = table.copy()
    deeper.loc[deeper["date"] == day.isoformat(), "t_min_c"] -= colder
    colder_one = cold_of_block("Top", "Merlot", Weather(deeper), day, hemisphere="north")
    if early.killed is not None and colder_one.killed is not None:
        assert colder_one.killed[0] >= early.killed[0]
        assert colder_one.killed[1] >= early.killed[1]


def test_seasons_and_days_of_both_halves_of_the_earth():
    assert season_at(dt.date(2026, 9, 6), "north") == 2026
    assert season_at(dt.date(2026, 9, 7), "north") == 2027
    assert season_at(dt.date(2026, 3, 6), "south") == 2026
    assert season_at(dt.date(2026, 3, 7), "south") == 2027
    assert day_in(2027, DAILY_TO, "south") == dt.date(2026, 11, 15)
    assert day_in(2027, (8, 31), "south") == dt.date(2026, 2, 28)


def test_a_short_gap_is_no_hole(new_york):
    winter = new_york.winter(2014, "north")
    winter.t_min_c[100:110] = np.nan
    assert gap_in(winter, winter.at(DAILY_TO)) is None
    winter.t_min_c[110] = np.nan
    assert gap_in(winter, winter.at(DAILY_TO)).days == 11


def test_words_never_say_more_than_is_known(new_york):
    assert [of_100(share) for share in (0, 0.004, 0.2, 0.999)] == ["fewer than 1", "fewer than 1", "20", "more than 99"]
    found = _cold(new_york, dt.date(2015, 2, 21), latitude=40.7)
    assert cold_title(found) == "Block Top, Riesling, winter 2014/15"
    details = " ".join(detail_lines(found))
    assert "as public research code gives them" in details
    assert "measured at one site in Washington" in details
    assert len(CAUTIONS) == 2
    assert max(map(len, CAUTIONS)) <= 80
