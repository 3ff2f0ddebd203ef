"""Growth of damage from percents at successive looks, deaths that nobody writes, and neighbors that stand.

trunkwatch.forecast: growth, estimate, priors.
"""

import numpy as np
import pytest
from walked_blocks import walked_block

from trunkwatch.block import load
from trunkwatch.forecast.estimate import counts_of, estimate
from trunkwatch.forecast.growth import Growth, growth_by_season
from trunkwatch.forecast.priors import PRIORS
from trunkwatch.forecast.vine_years import before_season, steps_of

YEARS = range(2018, 2027)


def history_of(symptoms, vines=80, **tables):
    return load(walked_block(YEARS, vines=vines, training="bilateral", symptoms=symptoms, **tables), "A", 2026).history


def written(true, seed, error=7.0):
    """Percents of one arm of two as scouts write them: in steps of 5 with an error; `true` is (vines, years)."""
    rough = 5 * np.round((true + np.random.default_rng(seed).normal(0, error, true.shape)) / 5)
    return [
        {
            "position": str(v + 1),
            "date": f"{year}-01-15",
            "symptom": "dead_arm",
            "arm": "end",
            "percent": float(np.clip(p, 5, 100)),
        }
        for v, line in enumerate(rough)
        for year, p in zip(YEARS, line, strict=True)
    ]


def learnt(symptoms, **tables):
    found = Growth()
    for one in growth_by_season(history_of(symptoms, **tables)).values():
        found = found.plus(one)
    return found


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("arm", [40.0, 75.0, 90.0])
def test_errors_of_writing_are_no_growth(arm, seed):
    """Arms that stay as they are, also just at the edge of a class (75 % of an arm is 37.5 % of the vine)."""
    found = learnt(written(np.full((60, len(YEARS)), arm), seed))
    assert found.years.sum() == pytest.approx(60 * (len(YEARS) - 1), rel=0.02)
    assert abs(found.points.sum()) < 60  # less than a percent of a vine in eight years
    assert found.classes_grown().sum() / found.years.sum() < 0.01


@pytest.mark.parametrize("a_year", [4.0, 8.0])
def test_growth_is_found_again(a_year):
    """An arm of two: half as many points of the vine. Damage that stood at the first look came in at 20 %, 17.5 below the edge."""
    true = np.clip(20.0 + a_year * np.arange(len(YEARS)) + np.zeros((70, 1)), 0, 100)
    found = learnt(written(true, 1))
    assert found.points[0] / found.years[0] == pytest.approx(a_year / 2, rel=0.1)
    assert found.classes_grown()[0] / found.years[0] == pytest.approx(a_year / 2 / 17.5, rel=0.1)


def test_a_cut_begins_anew_and_what_comes_back_is_counted_apart():
    lines = [
        {"position": "3", "date": f"{year}-01-15", "symptom": "dead_arm", "arm": "end", "percent": percent}
        for year, percent in ((2019, 20), (2020, 40), (2023, 100), (2024, 100))
    ]
    cut = [{"position": "3", "date": "2021-02-10", "kind": "renew_trunk"}]
    found = learnt(lines, work=cut)
    assert found.first.tolist() == [1, 0, 0]
    assert found.again.tolist() == [0, 1, 0]  # the whole of one arm is half of the vine
    assert (found.years[0], found.points[0]) == (1, 10)  # nothing of 2020 to 2023
    assert learnt(lines).again.tolist() == [0, 0, 0]


def test_percents_of_a_season_of_its_own_and_shares_by_class():
    lines = [
        {"position": "3", "date": "2020-01-15", "symptom": "dead_arm", "arm": "end", "percent": 30},
        {"position": "4", "date": "2020-01-15", "symptom": "dead_arm", "arm": "end"},
    ]
    found = learnt(lines)
    assert (found.vines.tolist(), found.shares.tolist(), found.years.tolist()) == ([1, 0, 0], [15, 0, 0], [0, 0])
    assert found.dead_shares((0.25, 0.5, 0.85)) == pytest.approx(((0.15 + 5 * 0.25) / 6, 0.5, 0.85))


def test_deaths_that_nobody_writes_are_not_known_and_not_none():
    leaves = [{"position": "5", "date": "2024-01-15", "symptom": "dead_arm", "arm": "end"}]
    silent = estimate(steps_of(history_of(leaves, vines=200)))
    assert silent.counts.unwritten > 1000
    assert silent.mean("death_sound") == pytest.approx(PRIORS["death_sound"].mean)
    few = estimate(steps_of(history_of(leaves, vines=80)))
    assert few.counts.unwritten == 0
    assert few.mean("death_sound") < PRIORS["death_sound"].mean
    spoken = estimate(
        steps_of(history_of([*leaves, {"position": "9", "date": "2022-01-15", "symptom": "dead"}], vines=200))
    )
    assert spoken.counts.unwritten == 0
    assert spoken.mean("death_sound") < PRIORS["death_sound"].mean / 2


def test_only_what_stands_as_a_case_is_a_neighbor():
    lines = [{"position": p, "date": "2022-01-15", "symptom": "dead_arm", "arm": "end"} for p in ("10", "20", "30")]
    plants = [{"position": "20", "removed": "2023-11-20", "reason": "dead"}]
    work = [{"position": "30", "date": "2024-02-10", "kind": "renew_trunk"}]
    history = history_of(lines, plants=plants, work=work)
    near = before_season(history, len(history.looks)).near_row[0]
    station = {int(p): k for k, p in enumerate(history.grid.position[0])}
    assert [int(near[station[p]]) for p in (9, 11, 19, 21, 29, 31)] == [1, 1, 0, 0, 0, 0]


def test_own_cuts_of_other_blocks_weigh_more_than_their_other_records():
    cuts = [
        {"position": str(p), "date": f"{year}-02-10", "kind": "renew_trunk"}
        for year in range(2019, 2024)
        for p in range(year - 2018, 80, 6)
    ]
    symptoms = [
        {"position": str(p), "date": f"{year}-01-15", "symptom": "dead_arm", "arm": "end"}
        for year in range(2019, 2024)
        for p in range(year - 2018, 80, 6)
    ]
    other = steps_of(history_of(symptoms, work=cuts))
    own = steps_of(history_of([]))
    counts = counts_of(other)
    assert counts.vines["relapse_1"] > 60
    alone, leaning = estimate(own), estimate(own, [other])
    added = sum(getattr(leaning, part)["relapse_1"] - getattr(alone, part)["relapse_1"] for part in ("alpha", "beta"))
    assert added == pytest.approx(min(counts.vines["relapse_1"], 200))
    assert leaning.mean("relapse_1") < alone.mean("relapse_1")
