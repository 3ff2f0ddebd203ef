"""Past counts and budbreak beside the model. trunkwatch.cold: was_it_right, right_words."""

import datetime as dt

import pytest
from winter_model.made import made_winters

from trunkwatch.cold import Weather, cold_of_block
from trunkwatch.cold.noted import bud_counts, noted_budbreak
from trunkwatch.cold.right_words import right_lines
from trunkwatch.cold.was_it_right import was_it_right
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.winter_model.cultivars import Group

ASKED = dt.date(2027, 2, 1)


@pytest.fixture(scope="module")
def weather():
    return Weather(made_winters(2010, 2027, colder=7, seed=7))


@pytest.fixture(scope="module")
def cold(weather):
    return cold_of_block("B", "Merlot", weather, ASKED, hemisphere="north")


def _right(cold, weather, counts=(), broke=()):
    tables = (
        bud_counts(frame_of("bud_counts", [{"block": "B", "buds": 100, **one} for one in counts])),
        noted_budbreak(frame_of("budbreak", [{"block": "B", "date": day} for day in broke])),
    )
    return was_it_right(cold, weather, *tables, "Merlot")


def test_past_counts_are_set_beside_the_range_of_their_day(cold, weather):
    found = _right(cold, weather, [{"date": f"{year}-03-15", "primary_dead": 95} for year in (2022, 2024, 2026)])
    then = cold_of_block("B", "Merlot", weather, dt.date(2024, 3, 15), hemisphere="north")
    assert (found.kills[1].low, found.kills[1].high) == then.killed
    assert found.kills[1].inside == (then.killed[0] <= 0.95 <= then.killed[1])
    assert found.offset.counts == found.offset.winters == 3


def test_what_was_learned_moves_this_winters_range(cold, weather):
    soft = _right(cold, weather, [{"date": f"{year}-03-15", "primary_dead": 99} for year in range(2020, 2027)]).offset
    hard = _right(cold, weather, [{"date": f"{year}-03-15", "primary_dead": 0} for year in range(2020, 2027)]).offset
    assert hard.mean_c < soft.mean_c
    told = [cold_of_block("B", "Merlot", weather, ASKED, hemisphere="north", site=site) for site in (hard, soft)]
    assert told[0].half_dies_c[0] < told[1].half_dies_c[0]
    assert told[0].killed[1] <= told[1].killed[1]
    assert told[1].site is soft


def test_this_winters_count_and_other_cultivars_teach_nothing(cold, weather):
    found = _right(
        cold,
        weather,
        [
            {"date": "2027-01-15", "primary_dead": 50},
            {"date": "2026-01-15", "primary_dead": 50, "cultivar": "Concord"},
        ],
    )
    assert (found.kills, found.offset) == ((), None)
    assert right_lines(found) == ()


def test_budbreak_is_set_beside_the_models_and_the_mean_date_must_be_beaten():
    weather = Weather(made_winters(2010, 2027, colder=4, seed=7))
    cold = cold_of_block("B", "Merlot", weather, ASKED, hemisphere="north")
    first = _right(cold, weather, broke=["2024-05-10", "2025-05-10", "2026-05-10"])
    model = {one.noted.year: one.model for one in first.breaks}
    found = _right(cold, weather, broke=[(day + dt.timedelta(days=6)).isoformat() for day in model.values()])
    assert [one.days_late for one in found.breaks] == [6, 6, 6]
    assert 2 < found.days.mean < 6
    by_model, by_mean = found.rmse
    assert by_model == pytest.approx(6 - 2 * 6 / 6.5**2 / (2 / 6.5**2 + 1 / 25))
    assert by_mean > 0
    assert "6 days after the model's" in " ".join(right_lines(found))
    assert _right(cold, weather, broke=["2026-05-10"]).rmse is None


def test_a_winter_of_which_no_model_speaks_is_named(cold, weather):
    found = _right(cold, weather, [{"date": "2009-03-15", "primary_dead": 95}], broke=["2008-05-01"])
    assert (found.kills, found.breaks, found.no_model) == ((), (), (2008, 2009))
    assert "No model speaks of 2008, 2009" in " ".join(right_lines(found))


def test_a_group_that_stands_in_learns_nothing(weather):
    found = cold_of_block("B", "Pinot noir", weather, ASKED, hemisphere="north", stand_in=Group.TENDER)
    assert was_it_right(found, weather, [], [], "Pinot noir").offset is None


def test_the_lines_say_how_often_it_was_right_and_how_far_off(cold, weather):
    told = " ".join(right_lines(_right(cold, weather, [{"date": "2026-03-15", "primary_dead": 100, "part": "hollow"}])))
    assert "Past counts that lay in the model's range, which is to hold 8 of 10: 0 of 1." in told
    assert "15 March 2026, hollow: 100 of 100 dead" in told
    assert "warmer here than the model says" in told
    assert "our own figures" in told
