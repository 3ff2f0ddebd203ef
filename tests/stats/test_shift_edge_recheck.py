"""trunkwatch.stats: shift, edge, hazard, recheck, rows as clusters.

Sources: `scipy` is scipy 1.17, `R` is R 4.2.2 (prop.trend.test, lm, glm); statsmodels is run beside.
"""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from statsmodels.stats.inter_rater import cohens_kappa

from trunkwatch.stats.edge import distance_line, distance_logit, edge
from trunkwatch.stats.hazard import hazard_by_age, hazard_trend
from trunkwatch.stats.incidence import incidence_of_rows
from trunkwatch.stats.recheck import recheck
from trunkwatch.stats.shift import shifted_mean


def test_every_shift_is_met_once(grid_a, gap_mask):
    """Against shifting by hand."""
    rng = np.random.default_rng(3)
    values = rng.normal(size=grid_a.shape)
    cases = grid_a & gap_mask
    found = shifted_mean(cases, gap_mask, values)
    means = []
    for down in range(grid_a.shape[0]):
        for along in range(grid_a.shape[1]):
            moved = np.roll(cases, (down, along), axis=(0, 1)) & gap_mask
            if (down or along) and moved.sum() >= 0.5 * cases.sum():
                means.append(values[moved].mean())
    assert np.sort(found.null_distribution) == pytest.approx(np.sort(means))
    assert found.pvalue == (1 + sum(m >= found.statistic for m in means)) / (1 + len(means))
    assert found.statistic == pytest.approx(values[cases].mean())


def test_a_clump_near_nothing_of_its_own_is_no_nearness():
    """One clump anywhere: labelling at random would call it near whatever field is high there; shifts do not."""
    rng = np.random.default_rng(11)
    hits = 0
    for _ in range(200):
        cases = np.zeros((20, 40), dtype=bool)
        row, station = rng.integers(0, 17), rng.integers(0, 36)
        cases[row : row + 3, station : station + 4] = True
        field = np.add.outer(np.arange(20) - 9.5, np.zeros(40)) * rng.choice([-1, 1])
        hits += shifted_mean(cases, np.ones_like(cases), field).pvalue <= 0.05
    assert hits <= 20  # P(more than 20 of 200 at 5 %) is 0.0005


def test_shifts_that_say_nothing(grid_a):
    none = np.zeros_like(grid_a)
    assert shifted_mean(none, np.ones_like(grid_a), grid_a).reason == "there is no case"
    with pytest.raises(ValueError, match="a number for every vine"):
        shifted_mean(grid_a, np.ones_like(grid_a), np.full(grid_a.shape, np.nan))


def test_edge_of_grid_a(grid_a):
    """Rings 36, 28, 20, 12 with 6, 7, 3, 1; OR 0.890909, two-sided p 1.0; trend 0.38785, p 0.5334 (scipy, R)."""
    found = edge(grid_a, np.ones_like(grid_a))
    assert found.rings == ((6, 36), (7, 28), (3, 20), (1, 12))
    assert found.odds_ratio == pytest.approx(0.890909, abs=1e-6)
    assert found.pvalue == pytest.approx(1)
    assert (found.trend, found.trend_pvalue) == pytest.approx((0.38785, 0.5334), abs=1e-4)
    assert edge(np.ones_like(grid_a), np.ones_like(grid_a)).reason == "every vine is a case"
    thin = np.ones((1, 9), dtype=bool)
    assert edge(np.eye(1, 9, dtype=bool), thin).reason == "there is no edge to compare with an inside"


def test_two_sided_exact_p_against_scipy():
    from scipy.stats import fisher_exact

    rng = np.random.default_rng(5)
    for _ in range(30):
        vines = rng.random((7, 11)) < 0.9
        cases = vines & (rng.random((7, 11)) < 0.3)
        found = edge(cases, vines)
        assert found.pvalue == pytest.approx(fisher_exact(found.table).pvalue, rel=1e-9)


DISTANCE, SHARE = [1, 3, 5, 8, 12, 20], [0.42, 0.27, 0.20, 0.14, 0.10, 0.06]


@pytest.mark.parametrize(
    ("shape", "logit", "slope", "intercept", "fit"),
    [
        ("exponential", False, -0.09764882, -1.01393140, 0.943929), ("power", False, -0.64362700, -0.70992239, 0.962262),
        ("exponential", True, -0.11875617, -0.60811467, 0.908500), ("power", True, -0.80707029, -0.19677284, 0.984589),
    ],
)  # fmt: skip
def test_lines_over_distance(shape, logit, slope, intercept, fit):
    """Linear regressions (scipy)."""
    found = distance_line(DISTANCE, SHARE, shape, logit=logit)
    assert (found.slope, found.intercept) == pytest.approx((slope, intercept), abs=1e-7)
    assert found.fit == pytest.approx(fit, abs=1e-6)


def test_binomial_fit_over_distance_against_statsmodels():
    cases, vines = np.array([21, 13, 10, 0, 5, 3]), np.array([50, 50, 50, 20, 50, 50])
    for shape, x in (("exponential", np.array(DISTANCE, float)), ("power", np.log(DISTANCE))):
        fit = sm.GLM(np.column_stack([cases, vines - cases]), sm.add_constant(x), family=sm.families.Binomial()).fit()
        found = distance_logit(DISTANCE, cases, vines, shape)
        assert (found.intercept, found.slope) == pytest.approx(tuple(fit.params), abs=1e-6)
        assert found.fit == pytest.approx(fit.deviance, abs=1e-6)
    with pytest.raises(ValueError, match="distances above 0"):
        distance_line([0, 1], [0.1, 0.2], "power")


def test_rows_as_clusters(grid_a):
    """Eight rows of twelve: SE 0.03317485, deff 0.725029, t(7) limits 0.0986373 to 0.2555294 (formula)."""
    found = incidence_of_rows(grid_a.sum(axis=1), [12] * 8)
    assert found.error == pytest.approx(0.03317485, abs=1e-8)
    assert (found.low, found.high, found.deff) == pytest.approx((0.0986373, 0.2555294, 0.725029), abs=1e-6)
    assert incidence_of_rows([3], [10]).reason == "two rows at least are needed"


def test_hazards_multiply_to_the_cumulative_incidence():
    told = hazard_by_age([5, 6, 6, 7], [4, 3, 0, 2], [100, 56, 40, 93])
    assert [(h.age, h.hazard.cases, h.hazard.vines) for h in told] == [(5, 4, 100), (6, 3, 96), (7, 2, 93)]
    assert told[-1].cumulative == pytest.approx(9 / 100)  # a fixed cohort of 100


def test_trend_of_new_cases_against_statsmodels():
    new, risk = np.array([12, 9, 9, 5, 3, 4]), np.array([300, 288, 279, 270, 265, 262])
    x = sm.add_constant(np.arange(6.0))
    fit = sm.GLM(new, x, family=sm.families.Poisson(), offset=np.log(risk)).fit(scale="X2")
    found = hazard_trend(new, risk)
    assert found.ratio == pytest.approx(math.exp(fit.params[1]), rel=1e-7)
    plain = sm.GLM(new, x, family=sm.families.Poisson(), offset=np.log(risk)).fit()
    assert found.swing == pytest.approx(max(1.0, fit.scale))
    assert math.log(found.high / found.ratio) == pytest.approx(
        1.959964 * plain.bse[1] * math.sqrt(found.swing), rel=1e-4
    )
    assert hazard_trend([1, 0, 0], [10, 9, 9]).reason.startswith("four seasons")


def test_recheck_against_statsmodels_and_a_known_share_missed():
    rng = np.random.default_rng(8)
    sick = rng.random(4000) < 0.3
    first, second = sick & (rng.random(4000) < 0.7), sick & (rng.random(4000) < 0.8)
    found = recheck(first[:2000], second[:2000], cases=int(first.sum()), vines=4000)
    assert found.corrected_low < sick.mean() < found.corrected_high
    assert found.seen_again_low < 0.7 < found.seen_again_high
    kappa = cohens_kappa([[found.both, found.first_only], [found.second_only, found.neither]])
    assert (found.kappa, found.kappa_low, found.kappa_high) == pytest.approx(
        (kappa.kappa, kappa.kappa_low, kappa.kappa_upp), abs=1e-9
    )


def test_recheck_is_refused_under_thirty_cases():
    found = recheck([True] * 29 + [False] * 11, [True] * 29 + [False] * 11, cases=100, vines=1000)
    assert found.reason == "the recheck saw 29 cases, 30 are needed"
    assert math.isnan(found.corrected)
    with pytest.raises(ValueError, match="the same vines"):
        recheck([True], [True, False], cases=1, vines=2)


def test_foci_count_once_in_a_gradient(grid_a):
    """Against cluster-robust standard errors of statsmodels (a mean, clusters the foci)."""
    from scipy.ndimage import label

    from trunkwatch.stats.gradient import focus_gradient

    x = np.indices(grid_a.shape)[1].astype(float)
    number = label(grid_a, np.ones((3, 3)))[0][grid_a]
    fit = sm.OLS(x[grid_a] - x.mean(), np.ones(17)).fit(
        cov_type="cluster", cov_kwds={"groups": number, "use_correction": False}, use_t=True
    )
    found = focus_gradient(grid_a, np.ones_like(grid_a), x)
    assert found.n_foci == 7
    assert found.error == pytest.approx(float(fit.bse[0]) * math.sqrt(7 / 6), rel=1e-9)
    one = np.zeros_like(grid_a)
    one[:2, :3] = True
    assert focus_gradient(one, np.ones_like(one), x).reason == "1 focus, 5 are needed"
