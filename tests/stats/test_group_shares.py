"""trunkwatch.stats: shares_by_group."""

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.stats import f as f_law

from trunkwatch.stats.shares_by_group import group_shares


def test_is_the_quasi_binomial_of_statsmodels():
    """Reference: statsmodels 0.15 GLM, binomial, scale of Pearson, run beside on the same pieces of ground."""
    rng = np.random.default_rng(3)
    vines = rng.random((18, 75)) < 0.95
    groups = np.repeat([0, 1, 2, 0, 1, 2], 3)[:, None] * np.ones((1, 75), dtype=int)
    slope = np.broadcast_to(np.arange(75) * 1.2, (18, 75))
    cases = vines & (rng.random(vines.shape) < np.where(groups == 1, 0.25, 0.12) * (0.6 + slope / 90))
    found = group_shares(cases, vines, groups, covariates=[slope])
    k, n, x, kind = [], [], [], []
    for row in range(0, 18, 3):
        for piece in range(3):
            part = np.s_[row : row + 3, 25 * piece : 25 * piece + 25]
            k.append(cases[part].sum())
            n.append(vines[part].sum())
            x.append(slope[part][vines[part]].mean())
            kind.append(groups[row, 0])
    k, n, x, kind = (np.array(one, dtype=float) for one in (k, n, x, kind))
    small = np.column_stack([np.ones(18), x])
    large = np.column_stack([small, kind == 1, kind == 2])
    y = np.column_stack([k, n - k])
    wide = sm.GLM(y, large, family=sm.families.Binomial()).fit()
    narrow = sm.GLM(y, small, family=sm.families.Binomial()).fit()
    swing = wide.pearson_chi2 / (18 - 4)
    expected = (narrow.deviance - wide.deviance) / 2 / max(1.0, swing)
    assert found.pieces == 18
    assert found.swing == pytest.approx(max(1.0, swing), rel=1e-5)
    assert found.statistic == pytest.approx(expected, rel=1e-5)
    assert found.pvalue == pytest.approx(f_law.sf(expected, 2, 14), rel=1e-5)
    assert found.cases == {code: int((cases & (groups == code)).sum()) for code in range(3)}


@pytest.mark.parametrize("clumped", [False, True])
def test_alike_groups_differ_in_few_of_many_blocks(clumped):
    """400 blocks: more than 32 of a true 5 % come once in 200 runs; foci that reach over pieces bring about 8 % (33 here)."""
    rng = np.random.default_rng(11)
    vines = np.ones((12, 100), dtype=bool)
    groups = np.where(np.arange(12) < 6, 0, 1)[:, None] * np.ones((1, 100), dtype=int)
    hits = 0
    for _ in range(400):
        chance = np.full(vines.shape, 0.05)
        if clumped:
            for _ in range(8):
                r, s = rng.integers(0, 11), rng.integers(0, 95)
                chance[r : r + 2, s : s + 5] = 0.8
        hits += group_shares(rng.random(vines.shape) < chance, vines, groups).pvalue <= 0.05
    assert hits <= (44 if clumped else 32)


def test_a_slope_is_not_taken_for_groups_once_it_is_taken_off():
    rng = np.random.default_rng(5)
    vines = np.ones((20, 100), dtype=bool)
    across = np.broadcast_to(np.arange(20)[:, None] * 2.5, vines.shape)
    halves = (across > 24).astype(int)
    plain = taken = 0
    for _ in range(60):
        cases = rng.random(vines.shape) < 0.03 + 0.25 * across / across.max()
        plain += group_shares(cases, vines, halves).pvalue <= 0.05
        taken += group_shares(cases, vines, halves, covariates=[across]).pvalue <= 0.05
    assert plain == 60
    assert taken <= 12


def test_what_cannot_be_tested_says_why():
    vines = np.ones((2, 30), dtype=bool)
    halves = np.array([[0] * 30, [1] * 30])
    some = np.zeros_like(vines)
    some[0, :3] = True
    assert group_shares(some, vines, np.zeros_like(halves)).reason == "one group"
    assert group_shares(~vines, vines, halves).reason == "no case"
    assert group_shares(vines, vines, halves).reason == "cases only"
    assert group_shares(some[:, :20], vines[:, :20], halves[:, :20]).reason == "2 pieces of ground are too few"
    assert str(group_shares(some, vines, np.zeros_like(halves))) == "groups: no test: one group"
    with pytest.raises(ValueError, match="the same grid is needed"):
        group_shares(some, vines, halves[:1])
    left = group_shares(some, vines, np.where(halves == 1, -1, 0))
    assert left.vines == {0: 30}
