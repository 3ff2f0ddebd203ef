"""trunkwatch.programme: uses, use_words, overview; what a record carries, and what is missing."""

import pytest
from made_programme import make_vineyard

from trunkwatch.block import open_vineyard
from trunkwatch.programme.overview import overview
from trunkwatch.programme.use_words import use_lines, use_names
from trunkwatch.programme.uses import Lack, Missing, Use

PRICES = "name,value,unit\nprice_per_t,900,EUR/t\nyield_t_ha,8,t/ha\ncrew_hour,30,EUR/h\nreplant_vine,6,EUR/vine\n"


def uses(folder, block="A", **vineyard):
    path = make_vineyard(folder / "v", 1, labels=[block], **vineyard)
    return {Use(use): [Missing.of_data(one) for one in missing] for use, missing in told(path, block)["uses"].items()}


def told(path, block):
    with open_vineyard(path) as store:
        return overview(store, block)


def ready(found):
    return [use for use, missing in found.items() if not missing]


@pytest.mark.parametrize(
    ("seasons", "cases", "carries"),
    [
        (range(2026, 2027), 4, [Use.RATES]),
        (range(2026, 2027), 5, [Use.RATES, Use.PATTERN]),
        (range(2025, 2027), 4, [Use.RATES, Use.FORECAST]),
        (range(2023, 2027), 5, [Use.RATES, Use.PATTERN, Use.FORECAST]),
        (range(2022, 2027), 5, [Use.RATES, Use.TREND, Use.PATTERN, Use.FORECAST]),
    ],
)
def test_each_use_comes_with_what_it_takes(tmp_path, seasons, cases, carries):
    assert ready(uses(tmp_path, seasons=seasons, cases=cases)) == carries


def test_prices_are_what_the_plan_waits_for(tmp_path):
    found = uses(tmp_path, seasons=range(2022, 2027), cases=5)
    assert found[Use.PLAN] == [Missing(Lack.PRICES)]
    (tmp_path / "v" / "costs.csv").write_text(PRICES, "utf-8")
    assert told(tmp_path / "v", "A")["uses"]["plan"] == []


def test_a_block_of_which_nothing_is_written_carries_nothing(tmp_path):
    found = uses(tmp_path, "Bare")
    assert ready(found) == []
    assert use_names([]) == "nothing yet"
    (line,) = use_lines(found)  # what is missing is said once
    assert line.endswith("nothing is written down of this block: scout it and log the survey")


def test_a_season_without_a_survey_counts_for_nothing(tmp_path):
    path = make_vineyard(tmp_path / "v", 1, labels=["A"], cases=5)
    (path / "surveys.csv").unlink()
    found = told(path, "A")
    assert [one["share"] for one in found["seasons"]] == [None] * len(found["seasons"])
    (line,) = use_lines({Use(use): [Missing.of_data(one) for one in missing] for use, missing in found["uses"].items()})
    assert "no season counts (2026: no survey): log which rows were scouted, and when" in line


def test_what_is_missing_is_said_in_numbers(tmp_path):
    lines = use_lines(uses(tmp_path, seasons=range(2025, 2027), cases=1))
    assert "it takes 5 seasons with the same inspections, there are 2: scout 3 more" in lines[0]
    assert "1 vine shows symptoms: with fewer than 5 nobody can say how they lie" in lines[1]


def test_vines_that_nobody_scouted_are_counted(tmp_path):
    path = make_vineyard(tmp_path / "v", 5, labels=["A"], rows=4, vines=12)  # a row is left out
    assert told(path, "A")["unscouted"] == 12
