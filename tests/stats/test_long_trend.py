"""trunkwatch.stats: years_trend; is it getting worse: against weighted least squares of statsmodels, sizes, and sentences."""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from scipy.special import expit

from trunkwatch.stats.years_trend import long_trend

YEARS = list(range(2013, 2025))


def test_without_swing_it_is_weighted_least_squares():
    """Statsmodels WLS of the log-odds on the year, weights one over the variance of the count, covariance unscaled (scale 1)."""
    k, n = np.array([20, 22, 25, 26, 30, 31, 36, 38]), np.full(8, 500)
    y, v = np.log((k + 0.5) / (n - k + 0.5)), 1 / (k + 0.5) + 1 / (n - k + 0.5)
    x = np.arange(8.0)
    beside = sm.WLS(y, sm.add_constant(x), weights=1 / v).fit(cov_type="fixed scale")
    found = long_trend(k, n, list(range(2017, 2025)))
    assert found.swing == 0
    assert math.log(found.statistic) == pytest.approx(beside.params[1], rel=1e-10)
    half = 2.446911851144969 * beside.bse[1]  # the 97.5 % point of t with 6 degrees, R qt(0.975, 6)
    assert math.log(found.high) - math.log(found.statistic) == pytest.approx(half, rel=1e-6)


def test_with_swing_it_is_weighted_least_squares_with_the_swing_in_the_weights():
    k, n = np.array([20, 60, 15, 70, 30, 80, 36, 90, 20, 100]), np.full(10, 600)
    y, v = np.log((k + 0.5) / (n - k + 0.5)), 1 / (k + 0.5) + 1 / (n - k + 0.5)
    found = long_trend(k, n, list(range(2015, 2025)))
    assert found.swing > 0.4
    beside = sm.WLS(y, sm.add_constant(np.arange(10.0)), weights=1 / (v + found.swing**2)).fit()
    scale = max(1.0, beside.scale)
    assert math.log(found.statistic) == pytest.approx(beside.params[1], rel=1e-10)
    error = beside.bse[1] * math.sqrt(scale / beside.scale)
    assert math.log(found.high) - math.log(found.low) == pytest.approx(2 * 2.306004135204166 * error, rel=1e-6)
    assert found.verdict == "cannot tell"


def test_missed_years_are_distances():
    k = [20, 24, 29, 35, 42]
    every, third = long_trend(k, [500] * 5, range(2020, 2025)), long_trend(k, [500] * 5, range(2012, 2025, 3))
    assert math.log(third.statistic) == pytest.approx(math.log(every.statistic) / 3)
    assert third.pvalue == pytest.approx(every.pvalue)


def simulated(rng, seasons, slope, swing, vines=500, share=0.06):
    odds = (
        np.log(share / (1 - share)) + slope * (np.arange(seasons) - seasons / 2) + swing * rng.standard_normal(seasons)
    )
    return rng.binomial(vines, expit(odds)), [vines] * seasons, list(range(2000, 2000 + seasons))


@pytest.mark.parametrize(("seasons", "swing"), [(5, 0.0), (5, 0.4), (8, 0.2), (12, 0.5), (16, 0.0)])
def test_size_without_a_trend(seasons, swing):
    rng = np.random.default_rng(seasons)
    wrong = np.mean([long_trend(*simulated(rng, seasons, 0.0, swing)).pvalue <= 0.05 for _ in range(1500)])
    assert wrong <= 0.05 + 3 * math.sqrt(0.05 * 0.95 / 1500)


def test_limits_hold_the_truth_and_a_trend_is_found():
    rng = np.random.default_rng(5)
    told = [long_trend(*simulated(rng, 14, math.log(1.098), 0.25)) for _ in range(600)]
    assert np.mean([one.low <= 1.098 <= one.high for one in told]) > 0.93
    assert np.mean([one.verdict == "worse" for one in told]) > 0.8


def test_what_is_said():
    worse = long_trend([10, 14, 18, 24, 30, 40, 52, 66, 80, 95], [600] * 10, range(2017, 2027))
    assert worse.verdict == "worse"
    assert str(worse).startswith("It is getting worse: more shows from year to year (2017 to 2026: odds of showing +")
    better = long_trend([95, 80, 66, 52, 40, 30, 24, 18, 14, 10], [600] * 10, range(2017, 2027))
    assert better.verdict == "better"
    assert better.statistic == pytest.approx(1 / worse.statistic)
    flat = long_trend([300] * 10, [1000] * 10, range(2017, 2027))
    assert (flat.verdict, flat.statistic) == ("neither", pytest.approx(1.0))
    few = long_trend([1, 2, 3, 4], [100] * 4, range(2017, 2021))
    assert few.verdict == "cannot tell"
    assert "With 4 seasons" in str(few)
    assert long_trend([], [], []).verdict == "cannot tell"


@pytest.mark.parametrize(
    ("cases", "vines", "years"),
    [([1, 2], [10], [2020, 2021]), ([11], [10], [2020]), ([1], [0], [2020]), ([1, 1], [10, 10], [2021, 2020])],
)
def test_what_cannot_be(cases, vines, years):
    with pytest.raises(ValueError, match=r"years|season"):
        long_trend(cases, vines, years)
