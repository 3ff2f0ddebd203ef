"""When to prune a block. trunkwatch.cold: window, window_words."""

import datetime as dt
import time

import numpy as np
import pytest
from winter_model.made import made_winters

from trunkwatch.cold import Weather, cold_of_block, window_of
from trunkwatch.cold.models import daily_course
from trunkwatch.cold.window_words import BY_CLIMATE, basis_lines, stretch_words, window_lines, window_table
from trunkwatch.winter_model.best_days import ENOUGH_WINTERS, HangsOn
from trunkwatch.winter_model.cultivars import CULTIVARS, Basis, ModelError
from trunkwatch.winter_model.kill import winter_kill
from trunkwatch.winter_model.spare_buds import early_cut_cost


def _window(table, day=dt.date(2026, 1, 20), cultivar="Merlot", **given):
    weather = Weather(table)
    return window_of(cold_of_block("Top", cultivar, weather, day, hemisphere="north", latitude=44.0), weather, **given)


@pytest.fixture(scope="module")
def cold_place():
    return made_winters(2010, 2026, colder=6, seed=2)


@pytest.fixture(scope="module")
def mild_place():
    return made_winters(2010, 2026, colder=-10, seed=2)


def test_where_it_freezes_it_hangs_on_the_aging_of_wounds(cold_place):
    window = _window(cold_place)
    assert window.best.hangs_on == (HangsOn.WOUND_AGING,)
    assert 0 < window.best.flip.at < 1
    assert len(window.winters) >= ENOUGH_WINTERS
    text = " ".join(window_lines(window))
    assert "When to prune: cannot tell. It hangs on whether a wound ages while it is frozen" in text
    assert "By the calendar" in text
    assert "best day flips where" in text


def test_where_it_is_mild_late_cuts_are_best_under_both_rules(mild_place):
    window = _window(mild_place)
    assert HangsOn.WOUND_AGING not in window.best.hangs_on
    near = [one for one in window.best.stretches if one.regret <= 0.15]
    assert all(window.day(one.first) >= dt.date(2026, 4, 1) for one in near)
    # The daily model is refused and no other knows Merlot, but some night was too cold to be harmless.
    assert (window.best.hangs_on, window.harmless) == ((HangsOn.NO_HARDINESS,), False)


def test_where_no_night_can_harm_spare_buds_are_not_at_stake():
    table = made_winters(2010, 2026, colder=-10, seed=2)
    window = _window(table.assign(t_min_c=np.maximum(table["t_min_c"], -5.0)))
    assert window.harmless
    assert window.best.told
    text = " ".join(window_lines(window))
    assert "Best time to prune, by open wounds: 16 to 30 April" in text
    assert "No night of past winters was colder than -8 C" in text


def test_a_mild_place_with_a_cultivar_of_the_chill_model_names_its_stretches(mild_place):
    window = _window(mild_place, cultivar="Riesling")
    assert window.best.hangs_on == ()
    assert [stretch_words(window, one) for one in window.best.best] == ["16 to 30 April"]
    assert window_lines(window)[0].startswith(
        "Best time to prune, by open wounds: 16 to 30 April. From the best stretch to the worst it lies 0 % of the way"
    )
    assert window.best.best[0].crop_lost < 0.01 < window.best.stretches[0].crop_lost


def test_the_stretches_are_what_is_left_of_the_winter(cold_place):
    window = _window(cold_place)
    assert window.from_day == dt.date(2026, 1, 20)
    assert [stretch_words(window, one) for one in window.best.stretches][:3] == [
        "20 to 31 January",
        "1 to 15 February",
        "16 to 28 February",
    ]
    assert stretch_words(window, window.best.stretches[-1]) == "16 to 30 April"
    early = _window(cold_place, dt.date(2025, 10, 1))
    assert early.from_day == dt.date(2025, 11, 1)
    assert len(early.best.stretches) == 12
    assert _window(cold_place, dt.date(2026, 5, 10)) is None
    joined = _window(cold_place, dt.date(2026, 1, 29))
    assert stretch_words(joined, joined.best.stretches[0]) == "29 January to 15 February"


def test_few_past_winters_are_said(cold_place):
    window = _window(cold_place[cold_place["date"] >= "2020-07-01"])
    assert len(window.winters) == 5
    assert HangsOn.FEW_WINTERS in window.best.hangs_on
    assert "more past winters: 10 are the least" in window_lines(window)[0]
    assert _window(cold_place[cold_place["date"] >= "2025-07-01"]) is None


def test_no_rain_on_file_says_nothing_of_wounds(cold_place):
    window = _window(cold_place.assign(rain_mm=np.nan))
    assert HangsOn.NO_RAIN in window.best.hangs_on
    assert "rain, of which none is on file" in window_lines(window)[0]


def test_a_final_cut_before_the_cold_gives_crop_away_and_a_long_one_less(cold_place):
    window = _window(cold_place, dt.date(2025, 11, 1))
    first, last = window.best.stretches[0], window.best.stretches[-1]
    assert first.crop_lost > 0.01
    assert first.crop_lost_long < first.crop_lost
    assert last.crop_lost < first.crop_lost
    assert np.diff([one.crop_lost for one in window.best.stretches]).max() <= 1e-9
    assert any("gives away" in line for line in window_lines(window))


def test_what_an_early_cut_gives_away_is_the_mean_over_the_models_error(cold_place):
    """The five middles of fifths against draws of the error."""
    weather = Weather(cold_place)
    cultivar, season = CULTIVARS["Merlot"], 2026
    window = window_of(cold_of_block("Top", "Merlot", weather, dt.date(2025, 9, 8), hemisphere="north"), weather)
    course = daily_course(weather.past(season, "north"), cultivar)
    rng = np.random.default_rng(1)
    costs = []
    for z in rng.normal(size=300):
        moved = ModelError(cultivar.error.bias_c + z * cultivar.error.sd_c, 0.0, Basis.OWN)
        killed = winter_kill(course.t_min_c, course.half_c, course.tenth_c, course.ninety_c, moved, until=course.ends)
        costs.append(early_cut_cost(killed.low)[:, 60].mean())
    day = course.offset + 60
    assert window.crop_lost[day] == pytest.approx(np.mean(costs), rel=0.15)
    assert window.crop_lost[day] > 0.02


def test_the_table_keeps_to_80_columns(cold_place):
    lines = window_table(_window(cold_place, dt.date(2025, 11, 1)))
    assert max(map(len, lines)) <= 78
    assert len(lines) >= 14
    assert any("South Africa" in line for line in BY_CLIMATE)
    assert any("South Australia" in line for line in BY_CLIMATE)


def test_29_february_of_past_winters_changes_no_day_of_this_one(cold_place):
    """A past winter's figures stand on the same days of the calendar, leap year or not."""
    weather = Weather(cold_place)
    found = cold_of_block("Top", "Merlot", weather, dt.date(2026, 1, 20), hemisphere="north")
    window = window_of(found, weather)
    assert len(window.calendar) == len(weather.winter(2026, "north").t_min_c)
    assert np.isfinite(window.calendar).all()


@pytest.mark.parametrize("cultivar", ["Merlot", "Riesling"])
def test_thirty_winters_take_less_than_a_second(cultivar):
    weather = Weather(made_winters(1994, 2026, colder=2))
    start = time.process_time()
    window = window_of(
        cold_of_block("Top", cultivar, weather, dt.date(2025, 12, 1), hemisphere="north", latitude=44.0), weather
    )
    taken = time.process_time() - start
    assert len(window.winters) == 30
    assert taken < 1.0


def test_every_figure_of_the_stretches_says_what_it_stands_on(cold_place):
    text = " ".join(basis_lines(_window(cold_place)))
    assert "2.7 % less a day by the calendar, or 0.39 % less a degree-day" in text
    assert "reckoned by us from two points of Elena and Luque 2016" in text
    assert "a vine carries 2 times the nodes" in text
    assert "what stands there at first is our own" in text
    warm = _window(made_winters(2010, 2026, colder=2, seed=2), dt.date(2026, 1, 30))
    assert warm.frost_of == len(warm.winters)
    assert "how the delay grows to that is our own figure" in " ".join(basis_lines(warm))
