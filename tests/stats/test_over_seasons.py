"""trunkwatch.stats: limits over seasons cover, steps are no showy seasons, and what happens with few or no cases."""

import math

import numpy as np
import pytest
from scipy.stats import ttest_1samp

from trunkwatch.stats.beta_binomial import fit_beta_binomial
from trunkwatch.stats.chance import exact_pvalue, permutation_pvalue
from trunkwatch.stats.clark_evans_index import clark_evans
from trunkwatch.stats.dispersion_indices import of_counts, quadrat_counts
from trunkwatch.stats.edges import edge
from trunkwatch.stats.false_positive import false_positive_share
from trunkwatch.stats.focus_sizes import foci
from trunkwatch.stats.gradients import focus_gradient
from trunkwatch.stats.hazard import hazard_by_age, hazard_trend
from trunkwatch.stats.near_old import new_near_old
from trunkwatch.stats.shares import incidence_of_rows, wilson
from trunkwatch.stats.step import one_season_step
from trunkwatch.stats.survival import log_rank
from trunkwatch.stats.trend import change, usual_swing


def showy(rng, mean, swing, seasons):
    """New cases whose variance is `swing` times their mean (negative binomial)."""
    size = mean / (swing - 1)
    return np.minimum(rng.negative_binomial(size, 1 / swing, seasons), 900)


@pytest.mark.parametrize("seasons", [4, 6, 8])
def test_limits_of_the_yearly_factor_cover_where_seasons_are_showy(seasons):
    """No change, swing 5: of 300 records at least 268 hold a factor of 1 (0.1 % point of 93 %)."""
    rng = np.random.default_rng(seasons)
    held = [hazard_trend(showy(rng, 15, 5, seasons), np.full(seasons, 1000)) for _ in range(300)]
    told = [one for one in held if not one.reason]
    assert sum(one.low <= 1 <= one.high for one in told) >= len(told) - 35


def test_limits_of_the_yearly_factor_use_students_t_beyond_counting():
    """Slope and covariance by statsmodels; 4 degrees of freedom: t 2.776 (table)."""
    import statsmodels.api as sm

    new, risk = np.array([2, 14, 6, 30, 11, 41]), np.full(6, 400)
    fit = sm.GLM(new, sm.add_constant(np.arange(6.0)), family=sm.families.Poisson(), offset=np.log(risk)).fit(
        scale="X2"
    )
    found = hazard_trend(new, risk)
    assert found.swing == pytest.approx(fit.scale)
    assert found.swing > 2
    assert math.log(found.high / found.ratio) == pytest.approx(2.776445 * fit.bse[1], rel=1e-5)
    assert math.log(found.ratio / found.low) == pytest.approx(2.776445 * fit.bse[1], rel=1e-5)


def test_a_season_without_vines_at_risk_keeps_its_place_in_time():
    new, risk = np.array([4, 8, 0, 32, 64]), np.array([1000, 1000, 0, 1000, 1000])
    found = hazard_trend(new, risk)
    assert (found.ratio, found.seasons) == (pytest.approx(2.0, rel=1e-6), 4)
    told = hazard_by_age([5, 6], [0, 1], [0, 4])
    assert told[0].hazard.reason == "no vine was scouted"
    assert told[1].cumulative == pytest.approx(0.25)


@pytest.mark.parametrize(("mean", "swing"), [(8, 3), (30, 6)])
def test_a_showy_season_is_no_step(mean, swing):
    """Eight seasons, variance 3 and 6 times the mean: at most 34 of 300 called (0.1 % point of 7 %)."""
    rng = np.random.default_rng(swing)
    hits = sum(one_season_step(showy(rng, mean, swing, 8), np.full(8, 1000)).pvalue <= 0.05 for _ in range(300))
    assert hits <= 34


def test_a_step_out_of_nothing_is_found():
    """One bad winter in a block that had next to no cases: no slope can be fitted to the other seasons."""
    for new in ([0, 0, 0, 0, 0, 90, 3], [0, 0, 0, 90, 0, 0, 0]):
        found = one_season_step(new, [500] * 7)
        assert found.new == 90
        assert found.pvalue < 0.001
        assert found.expected < 1
    assert one_season_step([0] * 6, [100] * 6).reason == "there is no new case"
    assert one_season_step([0, 0, 0, 0, 1], [100] * 5).pvalue > 0.05
    with pytest.raises(ValueError, match="as many seasons"):
        one_season_step([1, 2], [1])


def test_a_rise_has_its_own_place_in_the_line():
    """Cases double every season; the fourth is what the others give, although it is left out of their line."""
    found = [one_season_step([4, 8, 16, middle, 64, 128], [10_000] * 6) for middle in (32, 120)]
    assert found[0].pvalue == 1.0
    assert (found[1].season, found[1].expected) == (3, pytest.approx(32, rel=1e-4))


def test_seasons_alike_do_not_make_the_next_vine_an_increase():
    """The change of one vine in a hundred is counting, however still the seasons before were."""
    assert usual_swing([5, 5, 5, 5, 6], [100] * 5).verdict == "inside"
    assert usual_swing([5, 5, 5, 5, 5, 40], [100] * 6).verdict == "outside"
    rng = np.random.default_rng(1)
    hits = sum(usual_swing(list(rng.binomial(400, 0.08, 7)), [400] * 7).verdict == "outside" for _ in range(400))
    assert hits <= 34  # P(more of 400 at 5 %) is 0.001
    with pytest.raises(ValueError, match="more cases than vines"):
        usual_swing([5], [4])


def test_swing_by_hand():
    """Log odds of 10, 20, 40, 20, 30 of 100: t(2) 4.302653 (table)."""
    k = np.array([10, 20, 40, 20, 30])
    odds = np.log((k + 0.5) / (100.5 - k))
    steps = np.diff(odds)[:3]
    half = 4.302653 * steps.std(ddof=1) * math.sqrt(4 / 3)
    found = usual_swing(k.tolist(), [100] * 5)
    assert found.low == pytest.approx(1 / (1 + math.exp(-(odds[3] + steps.mean() - half))))
    assert found.high == pytest.approx(1 / (1 + math.exp(-(odds[3] + steps.mean() + half))))
    assert (found.statistic, found.seasons, found.verdict) == (0.3, 5, "inside")


def test_newcombe_limits_of_a_change():
    """36 in both, 12 only later, 2 only earlier, none in neither: 0.0569 to 0.3404 (Newcombe 1998, method 10; from memory)."""
    one, two = np.zeros((1, 50), dtype=bool), np.zeros((1, 50), dtype=bool)
    one[0, :38] = two[0, :36] = two[0, 38:] = True
    found = change(one, two, np.ones_like(one))
    assert (found.low, found.high) == pytest.approx((0.0569, 0.3404), abs=5e-5)
    back = change(two, one, np.ones_like(one))
    assert (back.low, back.high) == pytest.approx((-0.3404, -0.0569), abs=5e-5)


def test_limits_of_a_change_cover():
    rng = np.random.default_rng(2)
    held = 0
    for _ in range(400):
        one = rng.random((1, 150)) < 0.2
        two = np.where(one, rng.random((1, 150)) < 0.6, rng.random((1, 150)) < 0.05)
        found = change(one, two, np.ones_like(one))
        held += found.low <= 0.2 * 0.6 + 0.8 * 0.05 - 0.2 <= found.high
    assert held >= 366  # P(fewer of 400 at 95 %) is 0.001
    same = change(one, one, np.ones_like(one))
    assert math.isnan(same.pvalue)
    assert same.low < 0 < same.high


def test_rows_without_a_case_still_have_limits():
    """No case in 5 rows of 40: the limits of 0 of 200, not 0 to 0."""
    none, all_ = incidence_of_rows([0] * 5, [40] * 5), incidence_of_rows([40] * 5, [40] * 5)
    assert (none.low, none.high) == wilson(0, 200)
    assert (all_.low, all_.high) == wilson(200, 200)
    assert str(none) == "0.0 % (0.0 to 1.9 %) from 5 rows"
    assert str(incidence_of_rows([1], [9])) == "no incidence from rows: two rows at least are needed"


def test_limits_from_rows_cover():
    """Rows that differ (beta-binomial, rho 0.1): of 400 samples of 12 rows at least 352 hold the truth (0.1 % point of 93 %)."""
    rng = np.random.default_rng(3)
    held = 0
    for _ in range(400):
        cases = rng.binomial(40, rng.beta(1.8, 7.2, 12))
        found = incidence_of_rows(cases, [40] * 12)
        held += found.low <= 0.2 <= found.high
    assert held >= 352


def test_thousands_of_new_cases_are_no_trouble():
    """More than a few hundred new cases take the inverted law; its mean and variance are the moments, its p not 0."""
    rng = np.random.default_rng(4)
    old = rng.random((60, 100)) < 0.2
    risk = ~old
    new = np.zeros_like(old)
    new.flat[rng.choice(np.flatnonzero(risk), 900, replace=False)] = True
    found = new_near_old(old, new, risk)
    law = found.null_distribution
    values = np.arange(law.size)
    assert found.method == "exact"
    assert values @ law == pytest.approx(found.expected)
    assert (values - found.expected) ** 2 @ law == pytest.approx(found.variance)
    half = np.indices(old.shape)[1] < 50
    apart = new_near_old(old & half, risk & half, ~(old & half))
    assert 0 < apart.pvalue <= 1e-12


def test_bays_of_any_kind_by_number():
    """Bays of two and three vines, one vine in none; `whole_only` keeps the largest."""
    bays = np.array([[0, 0, 1, 1, 1, -1, 2, 2, 2]])
    cases, vines = np.array([[1, 0, 1, 1, 0, 1, 0, 0, 1]]), np.ones((1, 9))
    assert [part.tolist() for part in quadrat_counts(cases, vines, bays)] == [[1, 2, 1], [2, 3, 3]]
    assert [part.tolist() for part in quadrat_counts(cases, vines, bays, whole_only=True)] == [[2, 1], [3, 3]]
    gap = np.ones((2, 4))
    gap[0, 1] = 0
    assert quadrat_counts(gap * 0, gap, (1, 2), whole_only=True)[1].tolist() == [2, 2, 2]
    assert quadrat_counts(gap * 0, gap, (1, 3))[1].tolist() == [2, 1, 3, 1]
    singles = of_counts(np.array([1, 0, 1]), np.array([1, 1, 1]))
    assert singles.reason == "every group has a single vine"
    two = of_counts(np.array([3, 0]), np.array([4, 1]))
    assert two.reason == ""
    # ANOVA by hand: between (4 (3/4 - 3/5)^2 + (3/5)^2) / 1, within 3/4 over 3, mean size 5 - 17/5.
    between, within, size = 4 * 0.15**2 + 0.6**2, 0.25, 1.6
    assert two.rho == pytest.approx((between - within) / (between + (size - 1) * within))
    assert two.deff == pytest.approx(1 + two.rho * 1.5)
    assert of_counts(np.array([1]), np.array([4])).reason == "fewer than two groups"


def test_p_of_the_likelihood_ratio():
    """Half of the chi-square tail: LR 3.841459 would be 0.025 (table); groups all or none are rho 1."""
    counts = np.array([0, 4, 1, 0, 1, 0, 0, 1, 0, 1, 0, 1, 1, 0, 0, 1, 1, 0, 1, 0, 0, 1, 3, 0])
    fit = fit_beta_binomial(counts, np.full(24, 4))
    assert fit.pvalue == pytest.approx(0.5 * math.erfc(math.sqrt(fit.statistic / 2)), rel=1e-9)
    assert fit_beta_binomial(np.array([5, 5, 0, 0, 0]), np.full(5, 5)).rho == pytest.approx(1, abs=1e-3)
    for bad in ([0, 0], [4, 4]):
        with pytest.raises(ValueError, match="both cases and free vines"):
            fit_beta_binomial(np.array(bad), np.array([4, 4]))


def test_ties_but_for_rounding():
    third = 0.1 + 0.2
    assert permutation_pvalue(0.3, [third, 0.3, 0.0]) == 0.75
    assert permutation_pvalue(third, [0.3, 0.3, 1.0], "less") == 0.75
    assert exact_pvalue(third, [0.0, 0.3], [0.5, 0.5]) == 0.5
    assert exact_pvalue(third, [0.0, 0.3, 0.7], [0.2, 0.3, 0.5], "less") == pytest.approx(0.5)
    assert permutation_pvalue(1e9 + 0.5, [1e9]) == 1.0  # one part in a thousand million
    assert permutation_pvalue(0.0, [-5e-10, -1.0]) == pytest.approx(2 / 3)
    assert exact_pvalue(0.0, [-5e-10, -1.0], [0.5, 0.5]) == 0.5


def test_seeds_repeat_and_differ(grid_a):
    """The same seed draws the same foci, another seed others."""
    one, two, three = (foci(grid_a, np.ones_like(grid_a), permutations=199, rng=seed) for seed in (1, 1, 2))
    assert np.array_equal(one.null_distribution, two.null_distribution)
    assert not np.array_equal(one.null_distribution, three.null_distribution)


def test_five_foci_are_enough_and_four_are_not():
    cases = np.zeros((3, 15), dtype=bool)
    cases[1, ::3] = True
    place = np.indices(cases.shape)[1]
    assert focus_gradient(cases, np.ones_like(cases), place).n_foci == 5
    # Places 0, 3, 6, 9, 12: mean 6, standard deviation 4.743416, one below the mean 7 of all places: Student's t on 4.
    found = focus_gradient(cases, np.ones_like(cases), place)
    assert (found.statistic, found.expected, found.error) == pytest.approx((6, 7, 4.743416 / math.sqrt(5)), abs=1e-6)
    assert found.pvalue == pytest.approx(ttest_1samp([0, 3, 6, 9, 12], 7).pvalue)
    cases[1, 12] = False
    assert focus_gradient(cases, np.ones_like(cases), place).reason == "4 foci, 5 are needed"


def test_size_of_the_gradient_over_foci():
    """Eight foci of any size anywhere: of 300 blocks at most 38 below 0.05 (0.1 % point of 8 %)."""
    rng = np.random.default_rng(6)
    hits = 0
    for _ in range(300):
        cases = np.zeros((20, 50), dtype=bool)
        for row, station, long in zip(
            rng.integers(0, 19, 8), rng.integers(0, 46, 8), rng.integers(1, 5, 8), strict=True
        ):
            cases[row : row + 2, station : station + long] = True
        found = focus_gradient(cases, np.ones_like(cases), np.indices(cases.shape)[1])
        hits += not found.reason and found.pvalue <= 0.05
    assert hits <= 38


def test_edge_says_what_it_counted(grid_a):
    assert str(edge(grid_a, np.ones_like(grid_a))).startswith("6 of 36 vines at the edge and 11 of 60 inside are cases")
    corner = np.zeros((5, 5), dtype=bool)
    corner[0, 0] = True
    assert str(edge(corner, np.ones_like(corner))).startswith(
        "1 of 16 vines at the edge and 0 of 9 inside are cases, p"
    )
    own = edge(corner, np.ones_like(corner), rings=np.where(np.indices((5, 5))[1] < 2, 1, 3))
    assert own.rings == ((1, 10), (0, 15))


def test_static_records_shuffle_all_vines_looked_at_alike():
    """A wave over a block in which every vine falls ill: shuffled among all it is chance, kept in place it never is."""
    first, cases = np.indices((8, 12))[1] // 3, np.ones((8, 12), dtype=bool)
    whole = false_positive_share(first, cases, np.ones((4, 8, 12)), runs=200, rng=1)
    assert whole.share < 0.15
    assert whole.low < whole.share < whole.high
    assert whole.runs == 200
    looked = np.ones((4, 8, 12), dtype=bool)
    for season in range(1, 4):  # those who showed first in a season, and only they, were missed in the one before
        looked[season - 1][first == season] = False
    assert false_positive_share(first, cases, looked, runs=20, rng=1).share in (0.0, 1.0)


def test_log_rank_with_late_entry():
    """Two groups of three, by hand: at 2 the risk is 2 and 3 (the late vine is not watched yet), at 4 it is 2 and 2."""
    time, event = [2, 4, 6, 4, 5, 6], [1, 1, 0, 1, 0, 0]
    group, entry = ["a", "a", "a", "b", "b", "b"], [0, 0, 3, 0, 0, 0]
    found = log_rank(time, event, group, entry=entry)
    assert found.observed == (2, 1)
    assert found.expected == pytest.approx((2 / 5 + 2 * 2 / 5, 3 / 5 + 2 * 3 / 5))
    variance = 2 / 5 * 3 / 5 + 2 * (5 - 2) / (5 - 1) * (2 / 5 * 3 / 5)
    assert found.statistic == pytest.approx((2 - 1.2) ** 2 / variance)


def test_clark_and_evans_wants_metres(grid_a):
    for spacing in ({"row_spacing": 0, "vine_spacing": 1}, {"row_spacing": 1, "vine_spacing": 0}):
        with pytest.raises(ValueError, match="above 0"):
            clark_evans(grid_a, np.ones_like(grid_a), **spacing)
