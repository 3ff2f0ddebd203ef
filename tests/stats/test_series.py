"""trunkwatch.stats: step, history_shuffle, and the orders and shifts of near_old."""

import numpy as np
import pytest

from trunkwatch.stats.history_shuffle import all_seasons
from trunkwatch.stats.join_counts import join_count
from trunkwatch.stats.near_old import near_old_orders, new_near_old, shifted_near_old
from trunkwatch.stats.step import one_season_step, season_against_others


def test_a_step_is_found_and_a_slow_rise_is_none():
    winter = one_season_step([4, 5, 6, 48, 5, 7, 6], [500, 496, 491, 485, 437, 432, 425])
    assert (winter.season, winter.new) == (3, 48)
    assert winter.expected == pytest.approx(5.8, abs=0.8)
    assert winter.pvalue < 0.01
    rise = one_season_step([4, 6, 8, 11, 15, 21, 28], [500] * 7)
    assert rise.pvalue > 0.3
    assert one_season_step([1, 2, 1, 40], [100] * 4).reason == "4 seasons with vines at risk, 5 are needed"


def test_steps_are_rare_in_even_seasons():
    rng = np.random.default_rng(2)
    hits = sum(one_season_step(rng.poisson(8, 8), np.full(8, 400)).pvalue <= 0.05 for _ in range(400))
    assert hits <= 32  # P(more of 400 at 5 %) is 0.007


def test_one_season_against_the_others_and_what_its_limits_exclude():
    years, vines = list(range(2010, 2018)), [800] * 8
    jump = season_against_others([10, 9, 12, 11, 8, 10, 9, 60], vines, years, 2017)
    assert jump.expected == pytest.approx(9.4, abs=1)
    assert jump.low > 2
    assert jump.pvalue < 0.001
    quiet = season_against_others([60, 62, 57, 61, 58, 60, 59, 58], vines, years, 2017)
    assert quiet.high < 2  # twice as many is ruled out
    assert quiet.power > 0.95
    open_ = season_against_others([1, 0, 2, 1, 0, 1, 1, 1], vines, years, 2017)
    assert open_.pvalue > 0.2
    assert open_.high > 2  # and yet nothing is ruled out
    assert open_.power < 0.5
    with pytest.raises(ValueError, match="year is 2030: one of 2010, 2011"):
        season_against_others([1] * 8, vines, years, 2030)
    assert (
        season_against_others([1, 2], [9, 9], [2010, 2011], 2010).reason
        == "1 other seasons with vines at risk, 3 are needed"
    )


def test_the_power_of_one_season_is_how_often_it_comes_out():
    rng, years = np.random.default_rng(5), list(range(8))
    rows = [[*rng.poisson(10, 7), rng.poisson(20)] for _ in range(400)]
    found = [season_against_others(row, [900] * 8, years, 7, brings=2.0) for row in rows]
    seen = np.mean([one.pvalue <= 0.05 for one in found])
    assert seen == pytest.approx(np.mean([one.power for one in found]), abs=0.12)
    calm = [season_against_others(rng.poisson(10, 8), [900] * 8, years, 7).pvalue <= 0.05 for _ in range(400)]
    assert np.mean(calm) < 0.08


def test_all_seasons_counts_each_as_join_count_does(grid_a, gap_mask, grid_n):
    shown, mask = np.stack([grid_a & gap_mask, grid_n & gap_mask]), np.stack([gap_mask, gap_mask])
    found = all_seasons(shown, mask, permutations=499, rng=1)
    for t in range(2):
        one = join_count(shown[t], mask[t], permutations=0)
        assert found.seen[t] == one.case_case
        assert (found.expected[t], found.deviation[t] ** 2) == pytest.approx(
            (one.expected_case_case, one.variance_case_case)
        )
    assert found.pvalue < 0.1


def test_a_vine_that_shows_every_year_is_no_evidence():
    """One random set of vines shows in all eight seasons: season by season the tests repeat each other."""
    rng = np.random.default_rng(4)
    hits = 0
    for _ in range(200):
        same = np.broadcast_to(rng.random((10, 20)) < 0.1, (8, 10, 20))
        hits += all_seasons(same, np.ones_like(same), permutations=99, rng=rng).pvalue <= 0.05
    assert hits <= 20  # P(more of 200 at 5 %) is 0.0005
    with pytest.raises(ValueError, match="every case among the vines"):
        all_seasons(np.ones((1, 2, 2)), np.zeros((1, 2, 2)))


def test_orders_of_new_near_old(grid_a, grid_n):
    """Within-row 1: 7, exact p 0.000681385; across-row 1: 4, 0.113719 (exact enumeration)."""
    found = near_old_orders(grid_a, grid_n, ~grid_a)
    assert set(found) == {(rule, k) for rule in ("row", "across") for k in range(1, 6)}
    assert found["row", 1][0].pvalue == pytest.approx(0.000681385, abs=1e-8)
    assert found["row", 1][1] == pytest.approx(10 * 0.000681385, abs=1e-7)
    assert found["across", 1][0].pvalue == pytest.approx(0.113719, abs=1e-6)


def test_shifted_new_cases_by_hand_and_size(grid_a, grid_n):
    found = shifted_near_old(grid_a, grid_n, ~grid_a)
    assert found.statistic * 9 == pytest.approx(16)  # queen: T = 16
    down = np.roll(grid_n, 1, axis=0) & ~grid_a
    count = sum(
        np.roll(np.pad(grid_a, 1), (i, j), axis=(0, 1))[1:-1, 1:-1].astype(int)
        for i in (-1, 0, 1)
        for j in (-1, 0, 1)
        if i or j
    )
    assert np.isclose(found.null_distribution, count[down].mean()).any()
    rng = np.random.default_rng(7)
    labels = shifts = 0
    for _ in range(150):  # new cases clump among themselves, apart from the old ones
        old = rng.random((16, 40)) < 0.06
        start = rng.integers(0, 34, 3)
        new = np.zeros_like(old)
        for row, station in zip(rng.integers(0, 14, 3), start, strict=True):
            new[row : row + 2, station : station + 5] = True
        new &= ~old
        labels += new_near_old(old, new, ~old).pvalue <= 0.05
        shifts += shifted_near_old(old, new, ~old).pvalue <= 0.05
    assert shifts <= 16  # P(more of 150 at 5 %) is 0.002
    assert labels > shifts
