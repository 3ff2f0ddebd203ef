"""Counts of buds on record beside the model. trunkwatch.cold: counts, noted."""

import datetime as dt
from dataclasses import replace

import pytest
from winter_model.made import made_winters

from trunkwatch.cold import Weather, cold_of_block
from trunkwatch.cold.counts import counts_of
from trunkwatch.cold.noted import bud_counts, noted_budbreak
from trunkwatch.cold.words import part_count_lines
from trunkwatch.vineyard.tables import frame_of
from trunkwatch.winter_model.bud_count import kill_from_count

ASKED = dt.date(2027, 3, 1)


@pytest.fixture(scope="module")
def weather():
    return Weather(made_winters(2010, 2027, colder=7, seed=7))


@pytest.fixture(scope="module")
def cold(weather):
    found = cold_of_block("B", "Merlot", weather, ASKED, hemisphere="north")
    assert found.killed is not None
    return found


def _counts(cold, weather, *records, own="Merlot"):
    lines = [{"block": "B", "buds": 100, "primary_dead": 20, **record} for record in records]
    return counts_of(cold, weather, bud_counts(frame_of("bud_counts", lines)), own)


def test_the_last_count_of_each_part_stands_and_counts_of_a_day_are_put_together(cold, weather):
    found = _counts(
        cold,
        weather,
        {"date": "2027-01-10", "primary_dead": 90},
        {"date": "2027-02-20", "observer": "a", "canes": 25},
        {"date": "2027-02-20", "observer": "b", "canes": 20, "primary_dead": 30},
        {"date": "2027-02-20", "part": "hollow", "primary_dead": 60},
    )
    assert [(one.part, one.found.dead, one.found.counted, one.canes) for one in found] == [
        ("", 50, 200, 45),
        ("hollow", 60, 100, None),
    ]
    assert found[0].found.share < found[1].found.share


def test_a_count_of_another_winter_cultivar_or_later_day_is_not_of_this(cold, weather):
    others = [
        {"date": "2026-02-20"},
        {"date": "2027-02-20", "cultivar": "Concord"},
        {"date": "2027-03-02"},
    ]
    assert _counts(cold, weather, *others) == ()
    assert _counts(cold, weather, {"date": "2027-02-20"}, own="Concord") == ()
    assert len(_counts(cold, weather, {"date": "2027-02-20", "cultivar": "merlot"})) == 1


def test_the_model_beside_a_count_is_that_of_the_day_of_the_count(cold, weather):
    (found,) = _counts(cold, weather, {"date": "2026-12-01", "canes": 25})
    by_then = cold_of_block("B", "Merlot", weather, dt.date(2026, 12, 1), hemisphere="north")
    assert found.model == by_then.killed != cold.killed
    assert found.found == kill_from_count(20, 100, by_then.killed, buds_per_cane=4)


def test_a_count_before_the_worst_night_says_so_and_gives_no_nodes(cold, weather):
    late = replace(cold, worst_night=dt.date(2027, 2, 10), look_from=dt.date(2027, 2, 11))
    (before,), (after,) = (_counts(late, weather, {"date": day}) for day in ("2027-02-01", "2027-02-20"))
    assert (before.colder_since, after.colder_since) == (dt.date(2027, 2, 10), None)
    told = " ".join(part_count_lines([before], 2.0))
    assert "has not seen the night of 10 February 2027" in told
    assert "times the nodes" not in told
    assert "times the nodes" in " ".join(part_count_lines([after], 2.0))


def test_secondary_buds_are_said_where_they_were_looked_at(cold, weather):
    with_them = _counts(cold, weather, {"date": "2027-02-20", "secondary_dead": 4, "secondary_alive": 16})
    assert "Secondary buds: 4 of 20 dead." in part_count_lines(with_them, 2.0)
    assert "Secondary" not in " ".join(part_count_lines(_counts(cold, weather, {"date": "2027-02-20"}), 2.0))


def test_what_is_noted_is_typed_and_in_the_order_of_its_days():
    broke = noted_budbreak(frame_of("budbreak", [{"block": "B", "date": day} for day in ("2027-05-02", "2026-04-28")]))
    assert [one.date for one in broke] == [dt.date(2026, 4, 28), dt.date(2027, 5, 2)]
    (count,) = bud_counts(frame_of("bud_counts", [{"block": "B", "date": "2027-02-20", "buds": 10, "primary_dead": 0}]))
    assert (count.buds, count.primary_dead, count.canes, count.secondary_dead) == (10, 0, None, None)
