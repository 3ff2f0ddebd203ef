"""trunkwatch.stats: lags_by_risk, risk_labellings: by hand, against every map, and where nothing but the ground differs."""

import math
from itertools import combinations

import numpy as np
import pytest
from scipy.special import expit

from trunkwatch.stats import lag_pairs, lag_pairs_by_risk
from trunkwatch.stats.risk_labellings import risk_labellings

CASES = np.array([[0, 1, 1, 0, 0, 0], [1, 1, 1, 0, 0, 0], [0, 1, 0, 0, 0, 1]])
VINES = np.array([[1, 1, 1, 1, 0, 1], [1, 1, 1, 1, 1, 1], [1, 1, 0, 1, 1, 1]])


@pytest.mark.parametrize("even", [{"risk": np.full(CASES.shape, 0.3)}, {"strata": np.full(CASES.shape, "A")}])
def test_an_even_risk_is_the_plain_statistic(even):
    found = lag_pairs_by_risk(CASES, VINES, permutations=0, **even)
    plain = lag_pairs(CASES, VINES, permutations=0)
    np.testing.assert_array_equal(found.observed, plain.observed)
    np.testing.assert_allclose(found.ratio, plain.ratio, rtol=1e-9)
    drawn = lag_pairs_by_risk(CASES, VINES, permutations=4999, rng=1, **even)
    use = ~np.isnan(plain.z) & (plain.expected > 0.5)
    np.testing.assert_allclose(drawn.z[use], plain.z[use], atol=0.12)
    assert drawn.pvalue == pytest.approx(lag_pairs(CASES, VINES, permutations=4999, rng=2).pvalue, abs=0.05)


def test_pairs_and_expectation_by_hand():
    """A row of four, risks .5 .5 .1 .1, cases on the first two: one pair of four apart by one."""
    risk = [[0.5, 0.5, 0.1, 0.1]]
    found = lag_pairs_by_risk([[1, 1, 0, 0]], np.ones((1, 4)), risk=risk, permutations=0)
    everything = 1.2**2 - (0.25 + 0.25 + 0.01 + 0.01)
    assert found.at(0, 1)[:2] == (1, pytest.approx((0.25 + 0.05 + 0.01) * 2 / everything))
    assert found.at(0, 2)[:2] == (0, pytest.approx((0.05 + 0.05) * 2 / everything))
    strata = lag_pairs_by_risk([[1, 1, 0, 1]], np.ones((1, 4)), strata=[["a", "a", "b", "b"]], permutations=0)
    # Both of a are cases, one of b: the pair inside a is sure, that inside b impossible, those between half.
    assert strata.at(0, 1)[:2] == (1, pytest.approx(1 + 0.5 + 0))
    assert strata.at(0, 2)[:2] == (1, pytest.approx(0.5 + 0.5))


@pytest.mark.parametrize("cases", [1, 2, 4])
def test_maps_come_as_often_as_their_chance(cases):
    """Every map of five vines: the product of the odds of its cases over the sum for all maps with as many."""
    risk = np.array([0.1, 0.3, 0.5, 0.8, 0.2])
    odds = risk / (1 - risk)
    drawn = np.concatenate(list(risk_labellings(risk, cases, 40_000, np.random.default_rng(cases), chunk=7_000)))
    assert (drawn.sum(axis=1) == cases).all()
    kinds = list(combinations(range(5), cases))
    weights = np.array([odds[list(kind)].prod() for kind in kinds])
    for kind, chance in zip(kinds, weights / weights.sum(), strict=True):
        share = drawn[:, list(kind)].all(axis=1).mean()
        assert share == pytest.approx(chance, abs=4.5 * math.sqrt(chance * (1 - chance) / 40_000) + 1e-4)


def test_many_vines_of_uneven_risk_keep_their_number_of_cases():
    risk = expit(np.linspace(-9, 3, 3000))
    (drawn,) = risk_labellings(risk, 700, 50, np.random.default_rng(1))
    assert (drawn.sum(axis=1) == 700).all()
    means = drawn.mean(axis=0).reshape(10, 300).mean(axis=1)
    assert (np.diff(means) > -0.01).all()
    with pytest.raises(ValueError, match="vines times cases are at most 100000000"):
        next(risk_labellings(np.full(30_000, 0.3), 10_000, 1, np.random.default_rng(1)))


def test_a_slope_without_clusters_stands_out_only_where_the_slope_is_not_told():
    rng = np.random.default_rng(11)
    rows, stations = np.indices((20, 40))
    risk = expit(-2.2 + 3 * (rows / 20 + stations / 40 - 1))
    plain = beside = 0
    for _ in range(30):
        cases = rng.random(risk.shape) < risk
        plain += lag_pairs(cases, np.ones_like(cases), permutations=99, rng=rng).pvalue <= 0.05
        beside += lag_pairs_by_risk(cases, np.ones_like(cases), risk=risk, permutations=99, rng=rng).pvalue <= 0.05
    assert plain >= 20
    assert beside <= 5  # of 30 at a true size of 5 %, more than 5 come once in 300


def test_clusters_on_a_slope_stand_out_beside_the_slope():
    rng = np.random.default_rng(12)
    rows, stations = np.indices((20, 40))
    risk = expit(-2.8 + 3 * (rows / 20 + stations / 40 - 1))
    first = rng.random(risk.shape) < risk
    cases = first.copy()
    cases[:, 1:] |= first[:, :-1]
    found = lag_pairs_by_risk(cases, np.ones_like(cases), risk=risk, permutations=199, rng=1)
    assert found.pvalue == pytest.approx(0.005)
    assert found.at(0, 1)[2] > found.limit
    assert found.ratio[0, found.max_stations + 1] > 1.5
    again = lag_pairs_by_risk(cases, np.ones_like(cases), risk=risk, permutations=199, rng=1)
    np.testing.assert_array_equal(found.null_distribution, again.null_distribution)


def test_where_there_is_no_test_a_reason_stands():
    risk = np.full((2, 3), 0.5)
    for cases, reason in ((np.zeros((2, 3)), "there is no case"), (np.ones((2, 3)), "every vine is a case")):
        found = lag_pairs_by_risk(cases, np.ones((2, 3)), risk=risk, permutations=9, rng=1)
        assert found.reason == reason
        assert math.isnan(found.pvalue)
    fixed = lag_pairs_by_risk([[1, 1, 0]], [[1, 1, 1]], strata=[["a", "a", "b"]], permutations=9, rng=1)
    assert fixed.reason == "in every stratum all vines are cases, or none"
    lone = lag_pairs_by_risk([[1, 0, 0, 1, 0]], [[1, 0, 0, 1, 1]], risk=np.full((1, 5), 0.2), max_stations=0, rng=1)
    assert lone.reason == "no two vines lie at any of the lags"
    assert (
        lag_pairs_by_risk([[1, 1, 0]], [[1, 1, 1]], risk=[[0.2, 0.3, 0.2]], permutations=0).reason
        == "no permutations asked for"
    )


@pytest.mark.parametrize(
    ("more", "message"),
    [
        ({}, "neither of risk and strata given"),
        ({"risk": np.full((3, 6), 0.2), "strata": np.zeros((3, 6))}, "both of risk and strata given"),
        ({"risk": np.full((3, 5), 0.2)}, r"risk is \(3, 5\) but vines is \(3, 6\)"),
        ({"risk": np.zeros((3, 6))}, "risk is 0 at row index 0, station index 0"),
        ({"risk": np.ma.masked_all((3, 6))}, "risk is nan at row index 0"),
        ({"strata": np.zeros((2, 6))}, r"strata is \(2, 6\)"),
        ({"risk": np.full((3, 6), 0.2), "max_rows": -1}, "max_rows is -1"),
    ],
)
def test_what_is_no_risk_is_refused(more, message):
    with pytest.raises(ValueError, match=message):
        lag_pairs_by_risk(CASES, VINES, **more)
