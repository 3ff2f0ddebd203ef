"""trunkwatch.alike: counts, one_effect, pooled; against values printed by others.

Herds: cases of a lung disease of cattle, 15 herds, 4 periods (Lesnoff et al. 2004, Prev. Vet. Med. 63). Seeds: germination on 21
plates (Crowder 1978, Appl. Stat. 27:34-37). Batters: 18 shares of 45 (Efron & Morris 1977). Trials: 13 of a vaccine (Colditz et al. 1994).
Values of R 4.2: lme4 (nAGQ 1 and 25), metafor; the batters' as printed in the paper.
"""

import numpy as np
import pytest
from statsmodels.stats.meta_analysis import combine_effects

from trunkwatch.alike.counts import checked_counts
from trunkwatch.alike.one_effect import fit_one_effect, restricted_sd
from trunkwatch.alike.pooled import pool, shrink

HERD = [1, 1, 1, 1, 2, 2, 2, 3, 3, 3, 3, 4, 4, 4, 4, 5, 5, 5, 5, 6, 6, 6, 6, 7, 7, 7, 7, 8, 9, 9, 9, 9, 10, 10, 10, 10, 11, 11, 11, 11,
        12, 12, 12, 12, 13, 13, 13, 13, 14, 14, 14, 14, 15, 15, 15, 15]  # fmt: skip
SICK = [2, 3, 4, 0, 3, 1, 1, 8, 2, 0, 2, 2, 0, 2, 0, 5, 0, 0, 1, 3, 0, 0, 1, 8, 1, 3, 0, 12, 2, 0, 0, 0, 1, 1, 0, 2, 0, 5, 3, 1, 2, 1, 0, 0,
        1, 2, 0, 0, 11, 0, 0, 0, 1, 1, 1, 0]  # fmt: skip
SIZE = [14, 12, 9, 5, 22, 18, 21, 22, 16, 16, 20, 10, 10, 9, 6, 18, 25, 24, 4, 17, 17, 18, 20, 16, 10, 9, 5, 34, 9, 6, 8, 6, 22, 22, 18, 22,
        25, 27, 22, 22, 10, 8, 6, 5, 21, 24, 19, 23, 19, 2, 3, 2, 19, 15, 15, 15]  # fmt: skip
PERIOD = [1, 2, 3, 4, 1, 2, 3, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4, 1, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4,
          1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4, 1, 2, 3, 4]  # fmt: skip
SOWN = [39, 62, 81, 51, 39, 6, 74, 72, 51, 79, 13, 16, 30, 28, 45, 4, 12, 41, 30, 51, 7]
CAME_UP = [10, 23, 23, 26, 17, 5, 53, 55, 32, 46, 10, 8, 10, 8, 23, 0, 3, 22, 15, 32, 3]
OTHER_SEED = [0] * 11 + [1] * 10
OTHER_ROOT = [0] * 5 + [1] * 6 + [0] * 5 + [1] * 5
HITS = [18, 17, 16, 15, 14, 14, 13, 12, 11, 11, 10, 10, 10, 10, 10, 9, 8, 7]
REST = [
    0.346,
    0.298,
    0.276,
    0.222,
    0.273,
    0.27,
    0.263,
    0.21,
    0.269,
    0.23,
    0.264,
    0.256,
    0.303,
    0.264,
    0.226,
    0.285,
    0.316,
    0.2,
]
TREATED = (
    [4, 6, 3, 62, 33, 180, 8, 505, 29, 17, 186, 5, 27],
    [123, 306, 231, 13598, 5069, 1541, 2545, 88391, 7499, 1716, 50634, 2498, 16913],
)
OTHERS = [11, 29, 11, 248, 47, 372, 10, 499, 45, 65, 141, 3, 29], [139, 303, 220, 12867, 5808, 1451, 629, 88391, 7277, 1665, 27338, 2341, 17854]  # fmt: skip


def herds(nodes):
    period = np.array(PERIOD)
    design = np.column_stack([np.ones(56), *(period == p for p in (2, 3, 4))])
    return fit_one_effect(SICK, SIZE, design, np.array(HERD) - 1, nodes=nodes)


def test_herds_by_25_nodes():
    fit = herds(25)
    assert fit.fixed == pytest.approx([-1.3992, -0.9914, -1.1278, -1.5795], abs=6e-5)
    assert fit.sd == pytest.approx(0.64752, abs=6e-6)


def test_herds_by_laplace():
    """The optimum itself; lme4 stops at -1.3983, -0.9919, -1.1282, -1.5797, sd 0.64207, a log-likelihood 0.001 lower."""
    fit = herds(1)
    assert fit.fixed == pytest.approx([-1.3985, -0.9923, -1.1287, -1.5803], abs=6e-5)
    assert fit.sd == pytest.approx(0.64226, abs=1e-5)
    assert fit.log_likelihood == pytest.approx(-92.026, abs=6e-4)
    assert fit.fixed == pytest.approx([-1.3983, -0.9919, -1.1282, -1.5797], abs=7e-4)
    assert np.sqrt(np.diag(fit.covariance))[:4] == pytest.approx([0.232, 0.305, 0.326, 0.428], abs=2e-3)


def test_seeds_by_25_nodes():
    seed, root = np.array(OTHER_SEED), np.array(OTHER_ROOT)
    fit = fit_one_effect(
        CAME_UP, SOWN, np.column_stack([np.ones(21), seed, root, seed * root]), np.arange(21), nodes=25
    )
    assert fit.fixed == pytest.approx([-0.5484, 0.0970, 1.3370, -0.8105], abs=6e-5)
    assert fit.sd == pytest.approx(0.2362, abs=6e-5)


def test_batters():
    shares = np.array(HITS) / 45
    mean = shares.mean()
    found = shrink(shares, np.full(18, mean * (1 - mean) / 45))
    assert found.kept == pytest.approx(np.full(18, 0.212), abs=6e-4)
    assert [round(value, 3) for value in (found.values[0], found.values[-1])] == [0.294, 0.242]
    times = ((shares - REST) ** 2).sum() / ((found.values - REST) ** 2).sum()
    assert times == pytest.approx(3.53, abs=6e-3)


def trials():
    """Log risk ratios and their variances; the second line of each arm is of all people in it."""
    (a, treated), (c, others) = (tuple(np.array(one, dtype=float) for one in arm) for arm in (TREATED, OTHERS))
    return np.log(a / treated * others / c), 1 / a - 1 / treated + 1 / c - 1 / others


def test_trials():
    moments, likelihood, mandel = (pool(*trials(), method=method) for method in ("DL", "REML", "PM"))
    assert (moments.mean, moments.error, moments.between) == pytest.approx((-0.7141, 0.1787, 0.3088), abs=6e-5)
    assert likelihood.between == pytest.approx(0.3132, abs=6e-5)
    assert mandel.between == pytest.approx(0.3181, abs=6e-5)
    assert likelihood.error_of_scatter == pytest.approx(0.1808, abs=6e-5)


def test_trials_as_in_statsmodels():
    values, variances = trials()
    for ours, theirs in (("DL", "chi2"), ("PM", "iterated")):
        beside, found = (
            combine_effects(values, variances, method_re=theirs, atol=1e-8),
            pool(values, variances, method=ours),
        )
        assert found.between == pytest.approx(beside.tau2, rel=1e-6)
        assert found.mean == pytest.approx(beside.mean_effect_re, rel=1e-6)
        assert found.error_of_scatter == pytest.approx(beside.sd_eff_w_re_hksj, rel=1e-6)


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="more cases than vines"):
        checked_counts([3], [2])
    with pytest.raises(ValueError, match="as many of each"):
        checked_counts([], [])
    with pytest.raises(ValueError, match="both cases and free vines"):
        fit_one_effect([0, 0], [5, 5], np.ones((2, 1)), [0, 1])
    with pytest.raises(ValueError, match="'ML'"):
        pool([1, 2], [1, 1], method="ML")
    with pytest.raises(ValueError, match="two at least"):
        pool([1], [1])
    with pytest.raises(ValueError, match="four at least"):
        shrink([1, 2, 3], [1, 1, 1])
    with pytest.raises(ValueError, match="above 0"):
        pool([1, 2], [1, 0])


def test_without_differences_between_groups_the_sd_is_nought_and_the_fit_plain_logistic():
    fit = fit_one_effect([10, 10, 10, 10], [100] * 4, np.ones((4, 1)), range(4))
    assert fit.sd == 0
    assert fit.fixed[0] == pytest.approx(np.log(1 / 9), abs=1e-4)
    assert np.sqrt(fit.covariance[0, 0]) == pytest.approx(1 / 6, rel=1e-2)  # 1 / sqrt(n p (1 - p))


def test_restricted_is_larger_than_the_most_likely_of_all_and_the_same_without_columns_to_speak_of():
    seed, root = np.array(OTHER_SEED), np.array(OTHER_ROOT)
    design = np.column_stack([np.ones(21), seed, root, seed * root])
    assert restricted_sd(CAME_UP, SOWN, design) > 0.2362
    rng = np.random.default_rng(3)
    cases = rng.binomial(200, 1 / (1 + np.exp(3 - rng.normal(0, 0.7, 400))))
    plain = fit_one_effect(cases, [200] * 400, np.ones((400, 1)), range(400))
    assert restricted_sd(cases, [200] * 400, np.ones((400, 1))) == pytest.approx(plain.sd, rel=0.005)


def test_restricted_sd_of_few_rows_with_many_columns_is_right_on_the_mean():
    """20 rows and 8 columns, true sd 0.8: all most likely together gives 0.6 or so."""
    rng = np.random.default_rng(4)
    restricted, plain = [], []
    for _ in range(60):
        design = np.column_stack([np.ones(20), rng.normal(size=(20, 7))])
        cases = rng.binomial(300, 1 / (1 + np.exp(2.5 - rng.normal(0, 0.8, 20))))
        restricted.append(restricted_sd(cases, [300] * 20, design))
        plain.append(fit_one_effect(cases, [300] * 20, design, range(20), nodes=11).sd)
    assert np.mean(np.square(restricted)) == pytest.approx(0.64, rel=0.15)
    assert np.mean(np.square(plain)) < 0.5
