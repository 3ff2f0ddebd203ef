"""trunkwatch.pattern: cold_or_disease, cold_signs, cold_weights, winters, winter_words."""

import math
from dataclasses import replace

import numpy as np
import pytest
from calibration.winter_on_worlds import block_of, made_weather, opened, with_weather

from trunkwatch.block import load
from trunkwatch.block.opening import laid_out
from trunkwatch.history import BlockRecords, read_block
from trunkwatch.pattern.cold_or_disease import Answer, Sign, Speaks, _answer, winter_sheet
from trunkwatch.pattern.cold_signs import COLD_BRINGS, ShownLater, _later_says, step_says
from trunkwatch.pattern.cold_weights import DECIDES, MOST, WEIGHTS, State, weight
from trunkwatch.pattern.winter_words import sign_words, winter_sentences
from trunkwatch.pattern.winters import Hardness, Winter, cold_night, winters_on_file
from trunkwatch.stats.shares import incidence
from trunkwatch.stats.step import season_against_others
from trunkwatch.vineyard.records import standing, with_ids
from trunkwatch.vineyard.tables import empty_frame, frame_of


def winters(*lows, first=2010):
    """One mid-winter night for each of the seasons from `first` on."""
    return tuple(
        Winter(first + k, Hardness.MID_WINTER, f"{first + k}-01-10", low, math.nan) for k, low in enumerate(lows)
    )


def days_of(lows):
    """Sixty days of January and February of each season, all at -2 C but one."""
    return frame_of(
        "weather",
        [
            {
                "date": f"{season}-{1 + day // 30:02d}-{1 + day % 28:02d}",
                "t_min_c": low if day == 9 else -2.0,
                "t_max_c": 5.0,
            }
            for season, low in lows.items()
            for day in [*range(28), *range(30, 58)]
        ],
    )


def never(season):
    return None


def test_an_ordinary_winter_of_minus_21_speaks_for_nothing():
    ordinary = cold_night(winters(-19, -22, -20.5, -18, -21, -20), 2014, never)
    assert (ordinary.rank, ordinary.winters, ordinary.unusual) == (2, 6, False)
    assert weight(State.ORDINARY_WINTER) == 1
    coldest = cold_night(winters(-16, -18, -15, -17, -21, -16), 2014, never)
    assert (coldest.rank, coldest.unusual) == (1, True)
    assert (
        weight(State.UNUSUAL_WINTER, winters=6, times=3) == 2
    )  # any of six is the coldest by chance, at three times of the winter
    assert weight(State.UNUSUAL_WINTER, winters=60) == weight(State.UNUSUAL_WINTER, winters=6, far_out=True) == 5
    far = cold_night(winters(-16, -18, -15, -17, -31, -16), 2014, never)
    assert far.far_out
    assert not coldest.far_out


def test_fewer_than_five_winters_are_said_to_be_too_few():
    few = cold_night(winters(-12, -14, -31), 2012, never)
    assert (few.enough, few.unusual) == (False, False)
    told = sign_words(Sign("cold", State.NOTHING_TO_SAY, 1.0, few))
    assert "the coldest of 3 winters on file" in told
    assert "5 winters are needed to call one unusual" in told
    alone = cold_night(winters(-31), 2010, never)
    assert "no other winter is on file" in sign_words(Sign("cold", State.NOTHING_TO_SAY, 1.0, alone))


def test_a_winter_as_cold_without_a_jump_takes_the_word_away():
    lows = winters(-16, -24.5, -15, -17, -25, -16)
    assert cold_night(lows, 2014, never).unusual
    quiet = cold_night(lows, 2014, lambda _: False)
    assert (quiet.as_cold, quiet.quiet, quiet.unusual) == (1, 1, False)
    assert "1 other was as cold (within 1 degree), and 1 of them came and went without a jump" in sign_words(
        Sign("cold", State.ORDINARY_WINTER, 1.0, quiet)
    )
    assert cold_night(lows, 2014, lambda _: True).unusual


def test_a_mild_winter_is_never_unusual():
    mild = cold_night(winters(-3, -4, -2, -3, -9, -4), 2014, never)
    assert (mild.rank, mild.far_out, mild.unusual) == (1, True, False)
    assert "not cold enough to kill" in sign_words(Sign("cold", State.ORDINARY_WINTER, 1.0, mild))


def test_winters_are_read_by_the_harvest_they_come_before():
    found = winters_on_file(days_of({2020: -20.0, 2021: -25.0, 2022: -18.0}), "north", 2021)
    assert [(one.season, one.lowest_c, one.hardness) for one in found] == [
        (2020, -20.0, Hardness.MID_WINTER),
        (2021, -25.0, Hardness.MID_WINTER),
    ]
    fall = frame_of(
        "weather", [{"date": f"2020-10-{day:02d}", "t_min_c": -9.0 if day == 20 else 4.0} for day in range(1, 29)]
    )
    assert [(one.season, one.hardness) for one in winters_on_file(fall, "north", 2030)] == [(2021, Hardness.BEFORE)]
    assert [(one.season, one.hardness) for one in winters_on_file(fall, "south", 2030)] == [(2021, Hardness.AFTER)]
    assert winters_on_file(fall.head(5), "north", 2030) == ()  # five days are no winter on file
    assert winters_on_file(empty_frame("weather"), "north", 2030) == ()


def test_no_sign_decides_by_itself_and_missing_ones_weigh_nothing():
    assert MOST < DECIDES
    assert all(1 / MOST <= one <= MOST for one in WEIGHTS.values())
    assert {weight(state) for state in (State.NOTHING_TO_SAY, State.ORDINARY_WINTER)} == {1.0}


def signs(*states):
    return [Sign("step", state, weight(state), None) for state in states]


@pytest.mark.parametrize(("states", "answer"), [
    ([State.JUMP], Answer.CANNOT_TELL),
    ([State.JUMP, State.SUDDEN], Answer.COLD),
    ([State.JUMP, State.SUDDEN, State.ORDINARY_WINTER], Answer.CANNOT_TELL),
    ([State.STRIPED_LEAVES], Answer.CANNOT_TELL),
    ([State.STRIPED_LEAVES, State.NO_JUMP], Answer.DISEASE),
    ([State.JUMP, State.SUDDEN, State.STRIPED_LEAVES, State.WORSE_LATER], Answer.BOTH),
    ([State.JUMP, State.GROWN_OVER, State.STRIPED_LEAVES, State.WORSE_LATER], Answer.CANNOT_TELL),
        ([State.SUDDEN, State.GROWN_OVER, State.STRIPED_LEAVES, State.WORSE_LATER], Answer.CANNOT_TELL),
    ([], Answer.CANNOT_TELL),
])  # fmt: skip
def test_signs_are_weighed_together(states, answer):
    assert _answer(signs(*states), 20) is answer
    assert _answer(signs(*states), 4) is Answer.CANNOT_TELL
    assert _answer(signs(*states), None) is Answer.CANNOT_TELL


def test_no_jump_speaks_only_where_its_limits_rule_out_what_cold_brings():
    years = list(range(2010, 2018))
    ruled_out = season_against_others([40, 42, 37, 41, 38, 40, 39, 38], [800] * 8, years, 2017, brings=COLD_BRINGS)
    assert step_says(ruled_out) is State.NO_JUMP
    words = sign_words(Sign("step", State.NO_JUMP, 0.1, ruled_out))
    assert (
        "That rules out 3 times as many; a winter that brought 3 times as many would have stood out in 100 of 100"
        in words
    )
    few = season_against_others([1, 0, 2, 1, 0, 1, 1, 1], [800] * 8, years, 2017, brings=COLD_BRINGS)
    assert few.pvalue > 0.2
    assert step_says(few) is State.NOTHING_TO_SAY
    assert "does not rule one out" in sign_words(Sign("step", State.NOTHING_TO_SAY, 1.0, few))


def test_what_comes_later_speaks_only_where_its_limits_do():
    none = incidence(0, 0)
    assert _later_says(ShownLater(2, incidence(15, 20), none, none)) is State.WORSE_LATER
    assert _later_says(ShownLater(2, incidence(8, 20), none, none)) is State.NOTHING_TO_SAY
    assert _later_says(ShownLater(2, incidence(2, 30), incidence(20, 30), none)) is State.GROWN_OVER
    assert _later_says(ShownLater(2, incidence(2, 30), none, incidence(18, 30))) is State.GROWN_OVER
    assert _later_says(ShownLater(2, incidence(2, 7), incidence(20, 30), none)) is State.NOTHING_TO_SAY


@pytest.mark.parametrize("world", ["cold_winter", "along_and_cold"])
def test_a_cold_winter_is_seen_at_the_time(world):
    for seed in range(2):
        reading, placed, weather, season, _ = block_of(world, seed)
        at_the_time = opened(reading, placed, season, season)
        weather = weather[weather["date"] <= f"{season}-12-31"]
        found = winter_sheet(at_the_time, weather)
        assert (found.answer, found.later) == (Answer.COLD, 0)
        assert winter_sentences(found)[0] == f"Season {season}: the new cases fit cold."
        before = winter_sheet(opened(reading, placed, season - 1, season - 1), weather)
        assert before.answer not in (Answer.COLD, Answer.BOTH)
        assert [one.speaks for one in before.signs if one.name == "cold"] == [Speaks.NEITHER]


def test_disease_is_not_called_cold_for_a_cold_night():
    answers = []
    for seed in range(4):
        reading, placed, weather, season, _ = block_of("along", seed)
        seen = opened(reading, placed, season, season)
        bare = winter_sheet(seen, weather)
        assert any("No temperatures" in sign_words(one) for one in bare.signs)
        night = with_weather(bare, seen, made_weather(seed, season, "one of -31 C that killed nothing", season))
        assert [one.speaks for one in night.signs if one.name == "cold"] == [Speaks.COLD]
        assert night.answer not in (Answer.COLD, Answer.BOTH)
        answers.append(bare.answer)
    assert set(answers) <= {Answer.DISEASE, Answer.CANNOT_TELL}
    assert Answer.DISEASE in answers


def test_a_sheet_at_the_time_knows_nothing_of_later_years(pytestconfig):
    sample = pytestconfig.rootpath / "sample_blocks"
    at_the_time = winter_sheet(load(sample, "Hollow", 2021), empty_frame("weather"))
    later = winter_sheet(replace(load(sample, "Hollow"), season=2021), empty_frame("weather"))
    stain = [next(one.facts for one in sheet.signs if one.name == "stain") for sheet in (at_the_time, later)]
    assert stain[0] is None or stain[0].cuts < stain[1].cuts
    assert {one.state for one in at_the_time.signs if one.name == "later"} == {State.NOTHING_TO_SAY}
    assert (at_the_time.later > 0, later.later > 0) == (False, True)


def test_young_vines_and_cultivars_are_said_and_weigh_nothing():
    rows = [
        {
            "block": "B",
            "row": str(n + 1),
            "row_order": n + 1,
            "first": 1,
            "last": 20,
            "cultivar": "one" if n < 5 else "other",
        }
        for n in range(10)
    ]
    planted = [{"block": "B", "row": "1", "position": str(k + 1), "planted": "2021-04-10"} for k in range(10)]
    surveys = [
        {"survey": f"w{year}", "block": "B", "date": f"{year}-02-10", "look": "dormant", "covered": "1..10"}
        for year in range(2018, 2023)
    ]
    dead = [
        {
            "block": "B",
            "row": str(r),
            "position": str(k),
            "date": "2022-02-10",
            "symptom": "dead_arm",
            "arm": "start",
            "percent": 80,
        }
        for r, k in [(1, 2), (1, 3), *((row, 5) for row in range(2, 9))]
    ]
    line = {
        "block": "B",
        "row_spacing_m": 2.5,
        "vine_spacing_m": 1.2,
        "training": "bilateral",
        "planted": 2000,
        "hemisphere": "north",
    }
    tables = {"rows": rows, "plants": planted, "surveys": surveys, "symptoms": dead, "work": []}
    frames = {name: standing(with_ids(name, frame_of(name, made))) for name, made in tables.items()}
    grid, placed, records = laid_out(BlockRecords(block=line, **frames))
    sheet = winter_sheet(opened(read_block(records, grid), placed, 2022, 2022), empty_frame("weather"))
    by_name = {one.name: one for one in sheet.signs}
    assert sheet.new == 7
    assert (by_name["young"].facts.share.cases, by_name["young"].facts.share.vines) == (2, 10)
    assert by_name["cultivar"].facts.shares == (("one", 4, 90), ("other", 3, 100))
    assert {by_name[name].speaks for name in ("young", "cultivar")} == {Speaks.NEITHER}
    assert "2 of 10 vines under three years show dead wood." in sign_words(by_name["young"])
    assert "By cultivar: one 4 of 90, other 3 of 100" in sign_words(by_name["cultivar"])


def test_every_sentence_stands_for_what_was_found(pytestconfig):
    sheet = winter_sheet(load(pytestconfig.rootpath / "sample_blocks", "Mill", 2021), empty_frame("weather"))
    sentences = winter_sentences(sheet)
    assert sentences[0].startswith("Season 2021: ")
    assert "Symptoms are not a diagnosis." in sentences[-1]
    assert len(sentences) >= len(sheet.signs) + 3
    too_few = replace(sheet, new=2, answer=Answer.CANNOT_TELL)
    assert "2 new cases are too few to weigh: 5 are needed." in winter_sentences(too_few)
    assert np.isclose(sheet.weight, math.prod(one.weight for one in sheet.signs))
