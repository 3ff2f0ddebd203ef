"""trunkwatch.stats: row_runs, lags, local_counts, gradients, dispersion_indices, beta_binomial, sample_size.

Sources: `spdep` is R spdep 1.2-7, `R` is R 4.2.2, `scipy` is scipy 1.17, `exact` is full enumeration or integer
arithmetic, ISPM 31 as in TCVN 8597:2010, table B.2.
"""

import itertools
import math
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from trunkwatch.stats.beta_binomial import fit_beta_binomial
from trunkwatch.stats.dispersion_indices import dispersion, dispersion_by_size, of_counts, quadrat_counts
from trunkwatch.stats.gradients import gradient, ring_index
from trunkwatch.stats.join_counts import join_count
from trunkwatch.stats.lags import lag_pairs
from trunkwatch.stats.local_counts import local_count
from trunkwatch.stats.row_runs import _runs_law, runs
from trunkwatch.stats.sample_size import (
    NEIGHBOURS_WARNING,
    clusters_for_precision,
    rows_to_walk,
    vines_for_half_width,
    vines_for_precision,
    vines_to_detect,
    zero_limit,
)


def row(text):
    return np.array([[c == "1" for c in text]])


def test_runs_of_a_published_sequence():
    """20 symbols: U 11, E 10.9, exact P(U >= 11) 0.5700167 (documentation of a sequence-statistics module); V 4.6373684, P(U <= 11) 0.6050250 exact."""
    line = row("10001101100100111101")
    few, many = runs(line, np.ones_like(line)), runs(line, np.ones_like(line), alternative="greater")
    assert (few.statistic, few.expected) == (11, pytest.approx(10.9))
    assert few.variance == pytest.approx(4.6373684, abs=1e-7)
    assert few.pvalue == pytest.approx(0.6050250, abs=1e-7)
    assert many.pvalue == pytest.approx(0.5700167, abs=1e-7)


def test_runs_of_a_40_vine_row():
    """Z -2.414847 with 0.5, exact P(U <= 11) 0.009204041, doublets 7, E 3.3 (R tseries 0.10.53, spdep, exact)."""
    line = row("0001110000110000011110000000010000001100")
    found = runs(line, np.ones_like(line))
    assert (found.statistic, found.expected, found.doublets) == (11, pytest.approx(17.8), 7)
    assert found.z == pytest.approx(-2.414847, abs=1e-6)
    assert found.pvalue == pytest.approx(0.009204041, abs=1e-9)
    assert found.expected_doublets == pytest.approx(3.3)


def test_runs_by_rows(grid_a):
    """Grid A: sums U 28, E 34.5, V 6.795455, Z -2.301664, exact 0.013554838; row by row as counted."""
    found = runs(grid_a, np.ones_like(grid_a))
    assert [one.runs for one in found.rows] == [5, 3, 4, 3, 2, 3, 5, 3]
    assert [one.pvalue for one in found.rows] == pytest.approx(
        [0.490909, 0.054545, 0.454545, 1, 0.166667, 0.181818, 0.278788, 1], abs=1e-6
    )
    assert (found.statistic, found.expected, found.variance) == (
        28,
        pytest.approx(34.5),
        pytest.approx(6.795455, abs=1e-6),
    )
    assert found.z == pytest.approx(-2.301664, abs=1e-6)
    assert found.pvalue == pytest.approx(0.013554838, abs=1e-9)


@pytest.mark.parametrize(("vines", "cases"), [(6, 2), (7, 3), (5, 5), (8, 4)])
def test_runs_law_by_enumeration(vines, cases):
    seen = Counter()
    for picked in itertools.combinations(range(vines), cases):
        line = np.isin(np.arange(vines), picked)
        seen[1 + int((line[1:] != line[:-1]).sum())] += 1
    law = _runs_law(vines, cases)
    for k in range(max(law.size, max(seen) + 1)):
        assert (law[k] if k < law.size else 0) == pytest.approx(seen[k] / math.comb(vines, cases))


@given(
    hnp.arrays(np.int8, hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=8), elements=st.integers(0, 2))
)
@settings(max_examples=50, deadline=None)
def test_runs_are_mixed_joins_plus_stretches(raw):
    vines, cases = raw > 0, raw == 2
    found = runs(cases, vines)
    mixed = join_count(cases, vines, joins="row", permutations=0).case_free
    assert sum(one.runs for one in found.rows) == mixed + len(found.rows)


#: Lag (rows, stations): observed, joins, z under random labelling (formula, agrees with spdep).
LAGS = [((1, -1), 4, 77, 1.31), ((1, 0), 6, 84, 2.60), ((1, 1), 6, 77, 2.84), ((0, 1), 6, 88, 2.47), ((0, 4), 0, 64, -1.61), ((2, 1), 4, 66, 1.66), ((3, -3), 3, 45, 1.61)]  # fmt: skip


@pytest.mark.parametrize(("lag", "seen", "joins", "z"), LAGS)
def test_lag_map_of_grid_a(grid_a, lag, seen, joins, z):
    found = lag_pairs(grid_a, np.ones_like(grid_a), permutations=0)
    observed, expected, score = found.at(*lag)
    assert observed == seen
    assert expected == pytest.approx(joins * 17 * 16 / (96 * 95))
    assert score == pytest.approx(z, abs=5e-3)
    alone = join_count(grid_a, np.ones_like(grid_a), joins=[lag], permutations=0)
    assert (alone.case_case, alone.z) == (seen, pytest.approx(score))


def test_lag_map_with_gaps_meets_join_counts(grid_a, gap_mask):
    found = lag_pairs(grid_a, gap_mask, max_rows=3, max_stations=5, permutations=0)
    for dr in range(4):
        for ds in range(-5, 6):
            if dr or ds > 0:
                alone = join_count(grid_a, gap_mask, joins=[(dr, ds)], permutations=0)
                assert found.at(dr, ds) == (
                    alone.case_case,
                    pytest.approx(alone.expected_case_case),
                    pytest.approx(alone.z),
                )


def test_one_p_for_all_lags(grid_a):
    """A focus stands out of its envelope; of 60 random maps at most 9 do at the 5 % level (99.9 % limit)."""
    stripes = np.zeros((9, 16), dtype=bool)
    stripes[2, 3:8] = stripes[6, 9:14] = True
    found = lag_pairs(stripes, np.ones_like(stripes), max_rows=2, max_stations=2, permutations=999, rng=1)
    assert found.pvalue < 0.05
    assert lag_pairs(grid_a, np.ones_like(grid_a), permutations=99, rng=1).reason == ""
    assert found.statistic > found.limit
    rng = np.random.default_rng(4)
    low = 0
    for _ in range(60):
        cases = rng.random((9, 16)) < 0.2
        low += (
            lag_pairs(cases, np.ones_like(cases), max_rows=3, max_stations=4, permutations=99, rng=rng).pvalue <= 0.05
        )
    assert low <= 9


def test_local_counts(grid_a):
    """Grid A: rook 4 of 4 exact p 0.000571690, 2 of 4 0.130602834; queen 5 of 8 0.003052271 (scipy hypergeom; esda 2.9.0 counts)."""
    vines = np.ones_like(grid_a)
    rook, queen = local_count(grid_a, vines, joins="rook"), local_count(grid_a, vines)
    assert rook.counts[1, 3] == rook.counts[6, 8] == 4
    assert rook.pvalues[1, 3] == pytest.approx(0.000571690, abs=1e-9)
    assert rook.pvalues[0, 2] == pytest.approx(
        1 - sum(math.comb(16, k) * math.comb(79, 3 - k) for k in (0, 1)) / math.comb(95, 3)
    )
    assert queen.pvalues[1, 3] == pytest.approx(0.003052271, abs=1e-9)
    assert rook.counts[grid_a].sum() == 2 * join_count(grid_a, vines, permutations=0).case_case == 24
    assert rook.pvalue == pytest.approx(17 * 0.000571690, abs=1e-7)
    assert np.isnan(rook.pvalues[~grid_a]).all()
    assert local_count(vines, vines).reason == "every vine is a case"


def test_gradients_of_grid_a(grid_a):
    """Ring 1.94117647, E 2.08333333, Var 0.05265308, z -0.619521; row and position index likewise (formula)."""
    vines = np.ones_like(grid_a)
    r, s = np.indices(grid_a.shape) + 1
    told = [
        (ring_index(vines), 1.94117647, 2.08333333, 0.05265308, -0.619521),
        (r, 4.23529412, 4.5, 0.25681115, -0.522344),
        (s, 6.35294118, 6.5, 0.58292054, -0.192613),
    ]
    for covariate, seen, mean, variance, z in told:
        found = gradient(grid_a, vines, covariate, permutations=999, rng=1)
        assert (found.statistic, found.expected, found.variance, found.z) == pytest.approx(
            (seen, mean, variance, z), abs=1e-6
        )
        assert found.pvalue > 0.3
    assert np.bincount(ring_index(vines).ravel())[1:].tolist() == [36, 28, 20, 12]
    assert np.bincount(ring_index(vines)[grid_a])[1:].tolist() == [6, 7, 3, 1]


def test_gradient_inside_strata_and_errors(grid_a):
    vines = np.ones_like(grid_a)
    r, s = np.indices(grid_a.shape)
    assert gradient(grid_a, vines, r, strata=r, permutations=99, rng=1).reason.startswith("the covariate is the same")
    within = gradient(grid_a, vines, s, strata=r, permutations=4999, rng=1)
    assert within.null_distribution.mean() == pytest.approx(within.expected, abs=0.05)
    assert within.null_distribution.var() == pytest.approx(within.variance, rel=0.1)
    with pytest.raises(ValueError, match="missing for 1"):
        gradient(grid_a, vines, np.where(s + r == 0, np.nan, s))


#: quadrat: D, chi-square p, C(alpha) z, ANOVA ICC (Grid A; formula, R).
QUADRATS = [((2, 2), 1.71245427, 0.017988, 2.56440804, 0.22748092), ((2, 3), 1.13894267, 0.313859, 0.20994281, 0.02511774), ((1, 4), 0.81737835, 0.712787, -0.86671631, -0.06317411), ((4, 3), 1.54196362, 0.147872, 0.72949296, 0.04705345)]  # fmt: skip


@pytest.mark.parametrize(("quadrat", "index", "chi", "z", "icc"), QUADRATS)
def test_quadrats_of_grid_a(grid_a, quadrat, index, chi, z, icc):
    found = dispersion(grid_a, np.ones_like(grid_a), quadrat=quadrat)
    assert (found.statistic, found.c_alpha, found.rho) == pytest.approx((index, z, icc), abs=1e-7)
    assert found.chi_square_p == pytest.approx(chi, abs=1e-6)


def test_beta_binomial(grid_a):
    """Grid A 2 x 2: p 0.180609, theta 0.192781, ll -27.877437, LR 3.399489; Skellam's counts (data from memory) and unequal n (scipy, R optim)."""
    x, n = quadrat_counts(grid_a, np.ones_like(grid_a), (2, 2))
    assert x.tolist() == [0, 4, 1, 0, 1, 0, 0, 1, 0, 1, 0, 1, 1, 0, 0, 1, 1, 0, 1, 0, 0, 1, 3, 0]
    fit = fit_beta_binomial(x, n)
    assert (fit.p, fit.theta, fit.rho) == pytest.approx((0.180609, 0.192781, 0.161623), abs=2e-5)
    assert (fit.log_likelihood, fit.statistic) == pytest.approx((-27.877437, 3.399489), abs=1e-5)
    counts = np.repeat([0, 1, 2, 3], [32, 103, 122, 80])
    skellam = fit_beta_binomial(counts, np.full(counts.size, 3))
    assert (skellam.p, skellam.theta, skellam.log_likelihood) == pytest.approx(
        (0.58071243, 0.09489153, -436.812952), abs=1e-5
    )
    x, n = np.array([0, 1, 2, 5, 0, 3, 8, 1]), np.array([5, 6, 7, 8, 5, 9, 10, 6])
    unequal = of_counts(x, n)
    assert (unequal.c_alpha, unequal.rho) == pytest.approx((3.349133, 0.259372), abs=1e-6)
    assert (unequal.fit.p, unequal.fit.theta, unequal.fit.statistic) == pytest.approx(
        (0.319308, 0.265024, 5.410390), abs=1e-4
    )
    assert not dispersion(grid_a, np.ones_like(grid_a), quadrat=(1, 4)).fit.clumped
    assert len(dispersion_by_size(grid_a, np.ones_like(grid_a))) == 6
    assert dispersion(~grid_a & False, np.ones_like(grid_a)).reason == "there is no case"


def test_sizes_for_precision():
    assert [vines_for_precision(p, 0.2) for p in (0.01, 0.02, 0.05, 0.1, 0.2)] == [2475, 1225, 475, 225, 100]
    assert vines_for_half_width(0.05, 0.02) == 457
    assert [clusters_for_precision(0.05, 0.2, 10, rho) for rho in (0, 0.02, 0.05, 0.1, 0.2)] == [48, 57, 69, 91, 133]
    assert vines_for_precision(0.05, 0.2, block=500) < 475


@pytest.mark.parametrize(
    ("block", "confidence", "sizes"),
    [
        (None, 0.95, [59, 149, 299, 598, 2995]), (None, 0.99, [90, 228, 459, 919, 4603]), (1000, 0.95, [57, 138, 258, 450, 950]),
        (200, 0.95, [51, 105, 155, 190, None]), (1000, 0.8, [31, 77, 148, 275, 800]), (1000, 0.9, [44, 108, 205, 369, 900]),
        (2000, 0.9, [45, 111, 217, 411, 1368]), (10000, 0.8, [32, 80, 159, 316, 1486]),
    ],
)  # fmt: skip
def test_sizes_to_detect(block, confidence, sizes):
    """5, 2, 1, 0.5 and 0.1 % (ISPM 31; exact)."""
    found = [vines_to_detect(p, confidence=confidence, block=block) for p in (0.05, 0.02, 0.01, 0.005, 0.001)]
    assert found == sizes


def test_detection_with_symptoms_that_come_and_go():
    assert [vines_to_detect(0.01, sensitivity=se) for se in (0.3, 0.5, 0.7)] == [998, 598, 427]
    assert zero_limit(60) == pytest.approx(0.0487029, abs=1e-7)
    assert zero_limit(300) == pytest.approx(0.0099361, abs=1e-7)


def test_rows_to_walk():
    plan = rows_to_walk(40, 8, rng=1)
    assert len(set(plan.rows)) == 8
    assert np.diff(plan.rows).tolist() == [5] * 7
    assert "5 apart" in plan.warning
    assert "side by side" in NEIGHBOURS_WARNING
    with pytest.raises(ValueError, match="1 to 4"):
        rows_to_walk(4, 5)
