"""trunkwatch.alike: crossed, season_trend, counts; sparse Laplace against a dense one by hand, one_effect, and truths that are known."""

import math
import time

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit, gammaln

from trunkwatch.alike.crossed import fit_crossed
from trunkwatch.alike.one_effect import fit_one_effect
from trunkwatch.alike.season_trend import season_trend


def made(blocks, seasons, seed, own=0.25):
    """Invented counts with blocks, growers and seasons that differ."""
    rng = np.random.default_rng(seed)
    block, season = np.repeat(np.arange(blocks), seasons), np.tile(np.arange(seasons), blocks)
    grower = (np.arange(blocks) % max(3, blocks // 6))[block]
    logit = (
        -3
        + rng.normal(0, 0.8, blocks)[block]
        + rng.normal(0, 0.5, blocks)[grower]
        + rng.normal(0, 0.4, seasons)[season]
    )
    logit += rng.normal(0, own, block.size)
    vines = rng.integers(200, 800, blocks)[block]
    return rng.binomial(vines, expit(logit)), vines, block, grower, season, logit


def by_hand(k, n, x, codes, log_sds):
    """Laplace's restricted log-likelihood with dense matrices: all effects, rows' own too, in one vector, by a general optimizer."""
    parts = [x, *((one[:, None] == np.arange(one.max() + 1)).astype(float) for one in codes), np.eye(k.size)]
    z = np.hstack(parts)
    prior = np.concatenate(
        [
            np.full(x.shape[1], 1e-6),
            *(np.full(part.shape[1], math.exp(-2 * s)) for part, s in zip(parts[1:], log_sds, strict=True)),
        ]
    )

    def loss(theta):
        logit = z @ theta
        value = -(k * logit - n * np.logaddexp(0, logit)).sum() + 0.5 * (prior * theta * theta).sum()
        return value, prior * theta - z.T @ (k - n * expit(logit))

    best = minimize(
        loss,
        np.zeros(z.shape[1]),
        jac=True,
        method="L-BFGS-B",
        options={"maxiter": 20000, "maxfun": 40000, "ftol": 1e-15, "gtol": 1e-9},
    )
    p = expit(z @ best.x)
    hessian = z.T @ ((n * p * (1 - p))[:, None] * z) + np.diag(prior)
    constant = (gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1)).sum()
    scale = (
        0.5 * np.log(prior[x.shape[1] :]).sum()
        - 0.5 * np.linalg.slogdet(hessian)[1]
        + 0.5 * x.shape[1] * math.log(2 * math.pi)
    )
    return constant - best.fun + scale, best.x, np.linalg.inv(hessian), z


def test_sparse_is_dense_by_hand():
    k, n, block, grower, season, _ = made(12, 4, 3)
    x = np.column_stack([np.ones(k.size), season - 1.5])
    sds = [0.7, 0.4, 0.3]
    fit = fit_crossed(k, n, x, [block, grower], held=sds)
    value, theta, covariance, z = by_hand(k, n, x, [block, grower], np.log(sds))
    assert fit.log_likelihood == pytest.approx(value, abs=1e-4)
    assert fit.fixed == pytest.approx(theta[:2], abs=1e-4)
    assert fit.logit == pytest.approx(z @ theta, abs=1e-4)
    assert fit.covariance[:2, :2] == pytest.approx(covariance[:2, :2], rel=1e-3)
    assert fit.variance == pytest.approx(np.einsum("ij,jk,ik->i", z, covariance, z), rel=1e-3)


def test_the_standard_deviations_are_the_most_likely():
    k, n, block, _, season, _ = made(20, 5, 4)
    x = np.ones((k.size, 1))
    fit = fit_crossed(k, n, x, [block, season])
    best = np.append(fit.sds, fit.row_sd)
    here = by_hand(k, n, x, [block, season], np.log(best))[0]
    for place in range(3):
        for factor in (0.7, 1.4):
            other = best.copy()
            other[place] *= factor
            assert by_hand(k, n, x, [block, season], np.log(other))[0] < here


def test_one_set_without_own_effects_is_near_the_quadrature():
    k, n, block, *_ = made(60, 3, 5, own=0.0)
    season = np.tile(np.arange(3), 60)
    x = np.column_stack([np.ones(k.size), season == 1, season == 2])
    beside, fit = fit_one_effect(k, n, x, block, nodes=25), fit_crossed(k, n, x, [block], own=False)
    assert fit.fixed == pytest.approx(beside.fixed, abs=0.02)
    assert fit.sds[0] == pytest.approx(beside.sd, rel=0.03)  # restricted, so a little larger
    assert fit.sds[0] >= beside.sd * 0.995


def test_truths_are_inside_the_ranges_and_sds_near():
    k, n, block, grower, season, logit = made(200, 6, 6)
    fit = fit_crossed(k, n, np.ones((k.size, 1)), [block, grower, season])
    held = np.mean(np.abs(fit.logit - logit) <= 1.645 * np.sqrt(fit.variance))
    assert 0.87 <= held <= 0.93
    assert fit.row_sd == pytest.approx(0.25, abs=0.03)
    assert math.hypot(fit.sds[0], fit.sds[1]) == pytest.approx(math.hypot(0.8, 0.5), rel=0.15)


def test_without_its_own_count_a_row_is_what_the_others_say():
    """A row of a new block with one vine weighs next to nothing: with and without it all else says the same of it."""
    k, n, block, _, _, _ = made(20, 3, 7)
    k, n, block = np.append(k, 0), np.append(n, 1), np.append(block, 20)
    fit = fit_crossed(k, n, np.ones((k.size, 1)), [block], held=[0.8, 0.25])
    others = fit_crossed(k[:-1], n[:-1], np.ones((k.size - 1, 1)), [block[:-1]], held=[0.8, 0.25])
    mean, variance = fit.without_own
    assert mean[-1] == pytest.approx(others.fixed[0], abs=0.02)
    assert variance[-1] == pytest.approx(others.covariance[0, 0] + 0.8**2 + 0.25**2, rel=0.02)


def test_believed_before_keeps_what_nothing_is_known_of():
    k, n, block, *_ = made(12, 2, 8)
    x = np.column_stack([np.ones(k.size), np.zeros(k.size)])
    fit = fit_crossed(k, n, x, [block], prior_sd=[np.inf, 0.7])
    assert fit.fixed[1] == pytest.approx(0, abs=1e-9)
    assert fit.covariance[1, 1] == pytest.approx(0.49, rel=1e-6)


def test_a_region_of_300_blocks_in_time():
    k, n, block, grower, season, _ = made(300, 10, 9)
    begun = time.process_time()
    fit_crossed(k, n, np.ones((k.size, 1)), [block, grower, season])
    assert time.process_time() - begun < 10


def test_what_cannot_be_is_refused():
    with pytest.raises(ValueError, match="2 counts, 1 rows"):
        fit_crossed([1, 2], [5, 5], [[1.0]], [[0, 1]])
    with pytest.raises(ValueError, match="no random effect"):
        fit_crossed([1, 2], [5, 5], np.ones((2, 1)), [], own=False)


def test_a_trend_is_held_by_as_many_seasons_as_there_are():
    """A hundred blocks in five seasons with a common swing know no more of the trend than the five seasons do."""
    rng = np.random.default_rng(10)
    swing = np.array([0.5, -0.6, 0.4, -0.5, 0.6])
    block, season = np.repeat(np.arange(100), 5), np.tile(np.arange(5), 100)
    cases = rng.binomial(500, expit(-3 + rng.normal(0, 0.5, 100)[block] + swing[season]))
    found = season_trend(cases, np.full(500, 500), block, season + 2020)
    assert found.verdict == "cannot tell"
    assert math.log(found.high) - math.log(found.low) > 0.5
    assert found.swing == pytest.approx(np.std(swing, ddof=2), rel=0.3)


def test_blocks_that_come_late_make_no_trend():
    """The worst blocks enter the survey in the last seasons: the share of all rises, the odds of no block do."""
    rng = np.random.default_rng(11)
    block, season = np.repeat(np.arange(40), 8), np.tile(np.arange(8), 40)
    keep = (block < 20) | (season >= 4)
    block, season = block[keep], season[keep]
    cases = rng.binomial(400, np.where(block < 20, 0.02, 0.15))
    found = season_trend(cases, np.full(cases.size, 400), block, season + 2018)
    assert found.low < 1 < found.high
    assert found.high < 1.1
    assert cases[season == 7].mean() > 3 * cases[season == 0].mean()


def test_four_seasons_or_one_block_are_no_trend():
    assert math.isnan(season_trend([3] * 8, [50] * 8, [0, 1] * 4, np.repeat([2020, 2021, 2022, 2023], 2)).statistic)
    assert math.isnan(season_trend([3] * 6, [50] * 6, [0] * 6, range(2018, 2024)).statistic)
