"""How far the cold came to the buds as a sign. trunkwatch.pattern: winter_margin; trunkwatch.cold: margins."""

import datetime as dt
from dataclasses import replace

import pytest
from calibration.winter_on_worlds import block_of, opened
from winter_model.made import made_winters

from trunkwatch.cold.margins import margins_of
from trunkwatch.pattern.cold_or_disease import Sign, winter_sheet
from trunkwatch.pattern.cold_weights import State
from trunkwatch.pattern.winter_margin import CountedBuds, SeasonMargin, margin_night
from trunkwatch.pattern.winter_words import sign_words, winter_sentences
from trunkwatch.pattern.winters import ColdNight
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import frame_of


def margins(*values, first=2015, **of_last):
    found = {
        first + k: SeasonMargin(first + k, f"{first + k}-01-10", value - 22, value, (0.1, 0.6))
        for k, value in enumerate(values)
    }
    last = max(found)
    found[last] = replace(found[last], **of_last)
    return found


def beside(found, jumped=lambda _: None):
    return margin_night(found, "Merlot", max(found), jumped)


def test_the_closest_winter_that_reached_the_buds_is_unusual():
    found = beside(margins(5, 6, 4, 7, 5, -2))
    assert (found.rank, found.winters, found.unusual, found.enough, found.far_out) == (1, 6, True, True, True)
    assert not beside(margins(5, 6, 4, 7, 5, 1)).unusual  # the coldest, and no bud was reached
    assert not beside(margins(5, 6, -3, 7, 5, -2)).unusual
    assert not beside(margins(5, 4, -2)).enough
    assert margin_night(margins(5, 6), "Merlot", 1999, lambda _: None) is None


def test_a_winter_as_close_that_brought_no_jump_takes_it_back():
    found = margins(5, 6, -1.5, 7, 5, -2)
    assert beside(found).unusual
    quiet = beside(found, lambda _: False)
    assert (quiet.as_close, quiet.quiet, quiet.unusual) == (1, 1, False)


def test_counted_buds_speak_before_the_model():
    few = margins(5, 4, 3, 6, 6, counted=CountedBuds(40, 100, 0.3, 0.5))
    assert beside(few).unusual
    whole = margins(5, 6, 4, 7, 5, -4, counted=CountedBuds(2, 100, 0.01, 0.06))
    assert not beside(whole).unusual
    assert beside(margins(1, 2, counted=CountedBuds(40, 100, 0.3, 0.5))).enough
    unsure = margins(5, 6, 4, 7, 5, -2, counted=CountedBuds(2, 10, 0.1, 0.4))
    assert beside(unsure).unusual  # a count that cannot tell leaves it to the model


def test_the_sign_takes_the_margin_where_there_is_one_and_the_bare_night_else():
    reading, placed, weather, season, _ = block_of("along", 0)
    seen = opened(reading, placed, season, season)
    close = margins(5, 6, 4, 7, 5, -2, first=season - 5)
    (sign,) = [one for one in winter_sheet(seen, weather, ("Merlot", close)).signs if one.name == "cold"]
    assert (sign.state, sign.weight) == (State.UNUSUAL_WINTER, 5)
    assert "2.0 C below what kills half of the buds of Merlot as they stood then" in sign_words(sign)
    (bare,) = [one for one in winter_sheet(seen, weather, ("Merlot", {})).signs if one.name == "cold"]
    (before,) = [one for one in winter_sheet(seen, weather).signs if one.name == "cold"]
    assert bare == before
    assert bare.facts is None or isinstance(bare.facts, ColdNight)


@pytest.mark.parametrize(("last", "more", "state"), [
    (1.0, {"killed": (0.0, 0.6)}, State.NOTHING_TO_SAY),  # buds may have died, and another winter came closer
    (8.0, {"killed": (0.0, 0.02)}, State.ORDINARY_WINTER),
    (-4.0, {"counted": CountedBuds(2, 100, 0.01, 0.06)}, State.ORDINARY_WINTER),
    (-4.0, {"counted": CountedBuds(2, 10, 0.1, 0.4), "killed": (0.5, 1.0)}, State.UNUSUAL_WINTER),
])  # fmt: skip
def test_only_a_winter_that_spared_the_buds_stands_against_cold(last, more, state):
    reading, placed, weather, season, _ = block_of("along", 0)
    seen = opened(reading, placed, season, season)
    found = margins(5, 6, 0, 7, 5, last, first=season - 5, **more)
    sheet = winter_sheet(seen, weather, ("Merlot", found))
    (sign,) = [one for one in sheet.signs if one.name == "cold"]
    assert sign.state is state
    assert ("does not rule cold out" in sign_words(sign)) == (state is State.NOTHING_TO_SAY)
    spared = [line for line in winter_sentences(sheet) if "the buds were spared that winter" in line]
    assert not spared or state is State.ORDINARY_WINTER


def test_the_words_say_what_was_counted():
    found = beside(margins(5, 6, 4, 7, 5, counted=CountedBuds(40, 100, 0.3, 0.5)))
    told = sign_words(Sign("cold", State.UNUSUAL_WINTER, 5.0, found))
    assert "Counted that winter: 40 of 100 dead (likely 30 to 50 of 100)." in told
    assert "5.0 C above" in told


@pytest.fixture(scope="module")
def weather():
    return made_winters(2010, 2027, colder=5, seed=7)


def store_of(weather, **block):
    store = Store.in_memory()
    store.append(
        {
            "blocks": frame_of(
                "blocks",
                [
                    {
                        "block": "B",
                        "latitude": 44,
                        "longitude": -30,
                        "vine_spacing_m": 1.5,
                        "row_spacing_m": 2.5,
                        **block,
                    }
                ],
            ),
            "rows": frame_of("rows", [{"block": "B", "row": "1", "last": 9}]),
            "weather": weather,
            "bud_counts": frame_of(
                "bud_counts",
                [
                    {"block": "B", "date": "2024-03-01", "buds": 100, "primary_dead": dead, "part": part}
                    for dead, part in ((10, "hill top"), (60, "hollow"))
                ],
            ),
        }
    )
    return store


def test_every_whole_winter_has_its_margin_and_a_killing_night_is_found(weather):
    cultivar, found = margins_of(store_of(weather, cultivar="Merlot"), "B", 2027)
    assert cultivar == "Merlot"
    assert list(found) == list(range(2011, 2028))
    assert found[2024].counted.dead == 60  # the part that was hit worst
    assert found[2023].counted is None
    colder = weather.copy()
    night = colder["date"] == "2020-01-20"
    colder.loc[night, "t_min_c"] = -34.0
    _, after = margins_of(store_of(colder, cultivar="Merlot"), "B", 2027)
    assert after[2020].day == "2020-01-20"
    assert after[2020].margin_c < -5 < found[2020].margin_c
    assert after[2019] == found[2019]
    assert after[2020].killed[1] >= found[2020].killed[1]
    assert max(margins_of(store_of(weather, cultivar="Merlot"), "B", 2022)[1]) == 2022


def test_where_no_model_serves_there_is_no_margin(weather):
    assert margins_of(store_of(weather, cultivar="Pinot noir"), "B", 2027)[1] == {}
    assert margins_of(store_of(weather), "B", 2027)[1] == {}
    mild = weather.assign(t_min_c=weather["t_min_c"] + 15, t_max_c=weather["t_max_c"] + 15)
    assert margins_of(store_of(mild, cultivar="Merlot"), "B", 2027)[1] == {}


def test_a_winter_under_way_has_none_yet(weather):
    early = weather[weather["date"] <= dt.date(2027, 1, 10).isoformat()]
    assert 2027 not in margins_of(store_of(early, cultivar="Merlot"), "B", 2027)[1]
