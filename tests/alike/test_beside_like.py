"""trunkwatch.alike: beside_like, bands, age_curve, block_shares; a block beside its like, left out itself, against sums by hand."""

import math

import numpy as np
import pytest
from scipy import stats
from scipy.integrate import quad
from scipy.special import expit

from trunkwatch.alike.age_curve import age_columns
from trunkwatch.alike.bands import expected_range, midp, share_ranges
from trunkwatch.alike.beside_like import FEWEST_BLOCKS, Rows, beside_like, beside_usual
from trunkwatch.alike.block_shares import block_shares


def made(blocks, seasons, seed, sd=0.6, planted=None):
    rng = np.random.default_rng(seed)
    block, season = np.repeat(np.arange(blocks), seasons), np.tile(np.arange(seasons), blocks)
    age, cultivar = rng.integers(8, 35, blocks)[block] + season, rng.integers(0, 3, blocks)[block]
    effect = rng.normal(0, sd, blocks)
    if planted is not None:
        effect[0] = planted
    share = expit(-3.2 + effect[block] + 0.3 * cultivar + 0.02 * (age - 20))
    vines = np.full(block.size, 300)
    return Rows(
        rng.binomial(vines, share).astype(float),
        vines.astype(float),
        block,
        season,
        np.zeros_like(block),
        age.astype(float),
        (cultivar,),
    ), share


@pytest.mark.parametrize(
    ("cases", "vines", "mean", "variance", "freedom"),
    [(0, 80, -3.0, 0.5, 12.0), (17, 80, -3.0, 0.5, 12.0), (80, 80, 1.0, 0.2, 5.0), (40, 400, -3.5, 1.0, 60.0)],
)
def test_midp_is_the_sum_by_adaptive_quadrature(cases, vines, mean, variance, freedom):
    def more_at(t):
        p = expit(mean + math.sqrt(variance) * t)
        return (stats.binom.sf(cases, vines, p) + 0.5 * stats.binom.pmf(cases, vines, p)) * stats.t.pdf(t, freedom)

    more, fewer = midp(cases, vines, mean, variance, freedom)
    assert more == pytest.approx(quad(more_at, -60, 60, limit=800, points=[-5, 0, 5])[0], rel=1e-4, abs=1e-7)
    assert more + fewer == pytest.approx(1, abs=1e-9)


def test_ranges_are_the_posterior_by_adaptive_quadrature():
    cases, vines, mean, variance = 4.0, 90.0, -3.5, 0.6

    def density(t):
        return math.exp(cases * t - vines * math.log1p(math.exp(t)) - 0.5 * (t - mean) ** 2 / variance + 16)

    whole = quad(density, -12, 4)[0]
    middle, low, high = (
        float(np.log(v[0] / (1 - v[0]))) for v in share_ranges(*(np.array([v]) for v in (cases, vines, mean, variance)))
    )
    for at, below in ((middle, 0.5), (low, 0.025), (high, 0.975)):
        assert quad(density, -12, at)[0] / whole == pytest.approx(below, abs=2e-3)


def test_no_case_seen_is_a_range_from_nought():
    _, low, high = share_ranges(
        np.array([0.0, 50.0]), np.array([50.0, 50.0]), np.array([-3.0, -3.0]), np.array([0.5, 0.5])
    )
    assert low[0] == 0
    assert high[1] == 1
    assert 0 < high[0] < 0.1


def test_nine_in_ten():
    low, high = expected_range([0.0], [1.0], [1e9])
    assert (float(low[0]), float(high[0])) == pytest.approx((expit(-1.6448536), expit(1.6448536)), rel=1e-5)


@pytest.mark.parametrize("seasons", [1, 4])
def test_a_block_has_no_part_in_its_own_like(seasons):
    """What is said of its like is the same whatever the block itself shows, when all others are fitted again."""
    rows, _ = made(30, seasons, 2)
    high, low = (
        Rows(
            np.where(rows.block == 0, value, rows.cases),
            rows.vines,
            rows.block,
            rows.season,
            rows.grower,
            rows.age,
            rows.kinds,
        )
        for value in (290.0, 280.0)
    )
    first, second = beside_like(high, seasons - 1), beside_like(low, seasons - 1)
    assert first.mean[0] == pytest.approx(second.mean[0], abs=1e-4)
    # The search for the spread of blocks stops within half a percent, and starts from where the fit of all left it.
    assert first.variance[0] == pytest.approx(second.variance[0], rel=6e-3)
    assert first.unusual[0]


def test_one_step_without_a_block_is_near_the_fit_without_it():
    rows, _ = made(30, 4, 3)
    step = beside_like(rows, 3)
    for block in (1, 2, 5):
        swapped = np.where(rows.block == block, 299.0, rows.cases)  # far enough to be fitted again
        again = beside_like(Rows(swapped, rows.vines, rows.block, rows.season, rows.grower, rows.age, rows.kinds), 3)
        assert step.mean[block] == pytest.approx(again.mean[block], abs=0.1)


def test_a_block_far_from_its_like_is_named_and_no_other():
    rows, _ = made(60, 5, 4, planted=4.0)
    found = beside_like(rows, 4)
    assert np.flatnonzero(found.unusual).tolist() == [0]
    assert found.more[0] < 0.001
    rows, _ = made(60, 5, 4)
    assert not beside_like(rows, 4).unusual.any()


def test_an_unusual_block_says_nothing_of_what_is_usual():
    rows, _ = made(30, 3, 14, planted=5.0)
    first, usual = beside_like(rows, 2), beside_usual(rows, 2)
    assert np.flatnonzero(usual.unusual).tolist() == [0]
    keep = rows.block > 0
    without = beside_like(
        Rows(
            rows.cases[keep],
            rows.vines[keep],
            rows.block[keep] - 1,
            rows.season[keep],
            rows.grower[keep],
            rows.age[keep],
            (rows.kinds[0][keep],),
        ),
        2,
    )
    assert usual.like_high[1:] == pytest.approx(without.like_high)
    assert usual.low[1:] == pytest.approx(without.low)
    assert (usual.like_high[1:] < first.like_high[1:]).all()
    assert usual.more[0] == first.more[0]
    rows, _ = made(30, 3, 14)
    assert beside_usual(rows, 2).like_high == pytest.approx(beside_like(rows, 2).like_high)


def test_where_it_begins_to_be_unusual():
    rows, _ = made(60, 3, 5)
    found = beside_like(rows, 2)
    few, many = found.unusual_from(0, 300)
    assert few is None or found.like_low[0] * 300 > few
    assert many > found.like_high[0] * 300
    rare = 0.05 / 120
    assert midp(many, 300, found.mean[0], found.variance[0], found.freedom)[0] <= rare
    assert midp(many - 1, 300, found.mean[0], found.variance[0], found.freedom)[0] > rare


def test_small_blocks_are_drawn_further():
    rows, share = made(40, 3, 6)
    vines = np.where(rows.block % 2 == 0, 20.0, 2000.0)
    cases = np.random.default_rng(7).binomial(vines.astype(int), share).astype(float)
    found = beside_like(Rows(cases, vines, rows.block, rows.season, rows.grower, rows.age, rows.kinds), 2)
    raw = cases[found.at] / vines[found.at]
    away = np.abs(found.share - raw) / (np.abs(raw - expit(found.mean)) + 1e-9)
    small = vines[found.at] == 20
    assert np.median(away[small]) > 0.3
    assert np.median(away[~small]) < 0.1
    assert (found.high - found.low)[small].mean() > 2 * (found.high - found.low)[~small].mean()


def test_growers_that_differ_are_told_from_blocks():
    rng = np.random.default_rng(8)
    block, season = np.repeat(np.arange(60), 3), np.tile(np.arange(3), 60)
    grower = block // 5
    share = expit(-3 + rng.normal(0, 0.9, 12)[grower] + rng.normal(0, 0.2, 60)[block])
    rows = Rows(
        rng.binomial(400, share).astype(float), np.full(180, 400.0), block, season, grower, np.full(180, np.nan)
    )
    found = beside_like(rows, 2)
    assert found.sd_growers > 0.5
    assert found.sd_blocks < 0.4
    assert math.isnan(
        beside_like(Rows(rows.cases, rows.vines, block, season, np.zeros_like(block), rows.age), 2).sd_growers
    )


def test_too_few_blocks_are_refused():
    rows, _ = made(FEWEST_BLOCKS - 1, 3, 9)
    with pytest.raises(ValueError, match=f"{FEWEST_BLOCKS} at least"):
        beside_like(rows, 2)


def test_age_is_no_line_where_there_are_ages_enough():
    ages = np.arange(3.0, 60.0)
    columns = age_columns(ages)
    assert columns.shape[1] == 3
    truth = -((ages - 28) ** 2) / 200
    design = np.column_stack([np.ones_like(ages), columns])
    rest = truth - design @ np.linalg.lstsq(design, truth, rcond=None)[0]
    straight = truth - np.polyval(np.polyfit(ages, truth, 1), ages)
    assert rest.std() < 0.2 * straight.std()
    beyond = np.diff(
        age_columns(np.append(ages, [70.0, 80.0, 90.0]))[-3:], n=2, axis=0
    )  # straight beyond the last knot
    assert beyond == pytest.approx(np.zeros_like(beyond), abs=1e-9)


def test_few_ages_and_unknown_ones():
    assert age_columns([5, 5, 5]).shape == (3, 0)
    assert age_columns([5, 6, 7]).shape == (3, 1)
    assert age_columns([np.nan, np.nan]).shape == (2, 0)
    with_gap = age_columns([5, 6, 7, np.nan])
    assert with_gap.shape == (4, 2)
    assert with_gap[3].tolist() == [0, 1]


def test_shares_of_a_group_are_those_of_the_beta_binomial():
    rng = np.random.default_rng(12)
    held = []
    for _ in range(200):
        cases = rng.binomial(200, rng.beta(2, 48, 25))
        found = block_shares(cases, np.full(25, 200))
        held.append(found.low <= 0.04 <= found.high)
        assert found.low_block <= found.share <= found.high_block
    assert 0.89 <= np.mean(held) <= 0.99
    whole = block_shares(rng.binomial(400, rng.beta(2, 48, 4000)), np.full(4000, 400))
    assert whole.low_block == pytest.approx(stats.beta(2, 48).ppf(0.05), rel=0.15)
    assert whole.high_block == pytest.approx(stats.beta(2, 48).ppf(0.95), rel=0.05)
    assert whole.rho == pytest.approx(1 / 51, rel=0.1)


def test_shares_of_blocks_without_a_case():
    found = block_shares([0, 0, 0], [100, 100, 100])
    assert (found.share, found.low) == (0, 0)
    assert 0 < found.high < 0.02
    assert math.isnan(found.rho)
    with pytest.raises(ValueError, match="two at least"):
        block_shares([1], [10])
