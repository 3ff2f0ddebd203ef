"""trunkwatch.demo: blocks, outbreak, notes, station."""

import numpy as np

from trunkwatch.cold import Weather
from trunkwatch.demo.blocks import BLOCKS, SEASONS
from trunkwatch.demo.notes import block_tables, demo_tables
from trunkwatch.demo.outbreak import COLD_SEASON, layout, simulate
from trunkwatch.demo.station import LAST_DAY, weather_records
from trunkwatch.intake import check_frames
from trunkwatch.vineyard.records import with_ids
from trunkwatch.vineyard.tables import frame_of


def test_the_same_seed_makes_the_same_notes():
    one, two = demo_tables(5), demo_tables(5)
    assert all(one[name].equals(two[name]) for name in one)
    assert not one["symptoms"].equals(demo_tables(6)["symptoms"])


def test_the_notes_have_no_fault():
    frames = {name: with_ids(name, frame) for name, frame in demo_tables().items()}
    assert [fault for fault in check_frames(frames, today="2026-11-25") if fault.weight == "fault"] == []


def test_they_contain_what_real_notes_contain():
    tables = demo_tables()
    assert tables["rows"]["breaks"].str.len().gt(0).any()
    assert tables["rows"].groupby("block")["last"].nunique().ge(3).all()
    assert (tables["surveys"]["counted_from"] == "end").any()
    assert tables["surveys"].groupby("block")["observer"].nunique().eq(2).all()
    assert (tables["symptoms"]["void"] == "yes").sum() == 1
    assert {"missing", "dead"} <= set(tables["plants"]["reason"])
    assert {"renew_arm", "renew_trunk"} <= set(tables["work"]["kind"])
    assert {"multi_trunk", "cane_2"} <= set(tables["blocks"]["training"])
    assert len(SEASONS) >= 8


def test_truths():
    for number, block in enumerate(BLOCKS):
        truth = simulate(block, SEASONS, np.random.default_rng(number))
        new = [int((truth.infected[t] & ~truth.infected[t - 1]).sum()) for t in range(1, len(SEASONS))]
        cold = truth.winter.sum(axis=(1, 2))
        assert (cold > 0).tolist() == [block.truth == "winter" and season == COLD_SEASON for season in SEASONS]
        if block.truth == "stock":
            assert sum(new) == 0
        else:
            assert sum(new) > 0
        assert not (truth.leaf & ~truth.infected).any()


def test_layout_is_slanted_and_odd():
    starts, lengths = layout(BLOCKS[0])
    assert starts == sorted(starts)
    assert starts[-1] > 10
    assert len(set(lengths)) > 3
    assert block_tables(BLOCKS[0], SEASONS[:2], np.random.default_rng(1))["rows"][3]["start_m"] > 0


def test_the_station_has_whole_winters_one_killing_night_and_rain_to_the_last_day():
    days = {one["date"]: one for one in weather_records(5)}
    weather = Weather(frame_of("weather", list(days.values())))
    past = weather.past(SEASONS[-1] + 1, "north")
    assert tuple(one.season for one in past) == SEASONS
    assert [one.season for one in past if np.nanmin(one.t_min_c) < -15] == [COLD_SEASON]
    assert max(days) == LAST_DAY.isoformat()
    assert all(one["t_min_c"] < one["t_max_c"] and one["rain_mm"] >= 0 for one in days.values())
    assert 0.25 < np.mean([one["rain_mm"] > 0 for one in days.values()]) < 0.35
