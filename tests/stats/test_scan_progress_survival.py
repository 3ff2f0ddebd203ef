"""trunkwatch.stats: scan_statistic, progress, survival.

Sources: `R` is R 4.2.2 with survival 3.5.3 and nls/glm, `scipy` is scipy 1.17 linregress; lifelines is run beside.
"""

import math
import warnings

import numpy as np
import pytest

from trunkwatch.stats.progress import audpc, fit_lines, fit_progress
from trunkwatch.stats.scan_statistic import log_likelihood_ratio, scan
from trunkwatch.stats.survival import cumulative_incidence, kaplan_meier, log_rank


def test_likelihood_ratios():
    """LLR(5 of 6 in 17 of 96) = 6.782350, (8, 12) 8.586268 (numpy)."""
    assert log_likelihood_ratio([5, 8], [6, 12], 17, 96) == pytest.approx([6.782350, 8.586268], abs=1e-6)
    assert log_likelihood_ratio(1, 50, 17, 96) == 0


def test_scan_of_grid_a(grid_a):
    """Index circles: 9.343464 with 5 of 5, a tie of (2,4) and (7,9); metres: 5.441792; stretches of row: 5.427849 (numpy)."""
    vines = np.ones_like(grid_a)
    index = scan(grid_a, vines, row_spacing=1, vine_spacing=1, permutations=999, rng=1)
    assert index.statistic == pytest.approx(9.343464, abs=1e-6)
    assert {window.centre for window in index.windows[:2]} == {(1, 3), (6, 8)}
    assert [(w.cases, w.vines) for w in index.windows[:2]] == [(5, 5)] * 2
    assert index.pvalue == pytest.approx(0.0101, abs=0.012)
    rows = scan(grid_a, vines, row_spacing=2.5, vine_spacing=1.2, family="segments", permutations=499, rng=1)
    assert rows.statistic == pytest.approx(5.427849, abs=1e-6)
    assert rows.n_windows == 8 * (12 * 11 // 2)
    assert rows.pvalue == pytest.approx(0.304, abs=0.08)


def test_windows_do_not_overlap_and_gaps_end_a_stretch(grid_a, gap_mask):
    found = scan(grid_a, gap_mask, row_spacing=2.5, vine_spacing=1.2, family="segments", permutations=0)
    cells = [cell for window in found.windows for cell in window.cells]
    assert len(cells) == len(set(cells))
    for window in found.windows:
        stations = [station for _, station in window.cells]
        assert np.diff(stations).tolist() == [1] * (len(stations) - 1)
        assert len({row for row, _ in window.cells}) == 1
    assert scan(gap_mask, gap_mask, row_spacing=1, vine_spacing=1).reason == "every vine is a case"


SERIES = (range(5, 16), [0.004, 0.007, 0.012, 0.021, 0.034, 0.055, 0.081, 0.118, 0.163, 0.214, 0.268])


@pytest.mark.parametrize(
    ("model", "rate", "error", "start", "r2", "sse", "later"),
    [
        ("exponential", 0.42591518, 0.018892, -7.38407309, 0.982600, 0.01167295, 3.109),
        ("monomolecular", 0.02937329, 0.003857, -0.19589404, 0.865668, 0.01171938, 0.324006),
        ("logistic", 0.45528847, 0.015051, -7.57996713, 0.990260, 0.00336702, 0.821391),
        ("gompertz", 0.14542944, 0.003010, -2.49216195, 0.996160, 0.00030606, 0.517162),
    ],
)
def test_transformed_lines(model, rate, error, start, r2, sse, later):
    """Check series (scipy linregress)."""
    line = fit_lines(*SERIES)[model]
    assert (line.rate, line.intercept) == pytest.approx((rate, start), abs=1e-7)
    assert (line.standard_error, line.r_squared, line.sse) == pytest.approx((error, r2, sse), abs=1e-6)
    assert line.at(20) == pytest.approx(later, abs=1e-3)


@pytest.mark.parametrize("truth", ["monomolecular", "logistic"])
def test_progress_finds_the_model_that_made_the_data(truth):
    rng = np.random.default_rng(3)
    right = 0
    for _ in range(20):
        vines, ill = 4000, 40
        new, risk, before = [], [], []
        for _season in range(14):
            y = ill / vines
            hazard = 0.05 if truth == "monomolecular" else 0.45 * y
            fresh = rng.binomial(vines - ill, -math.expm1(-hazard))
            new.append(fresh)
            risk.append(vines - ill)
            before.append(y)
            ill += fresh
        fits = fit_progress(new, risk, before)
        right += fits[0].model == truth
        best = next(fit for fit in fits if fit.model == truth)
        assert best.rate == pytest.approx(0.05 if truth == "monomolecular" else 0.45, rel=0.12)
        assert sum(best.fitted) == pytest.approx(sum(new), rel=0.12)
    assert right >= 15


def test_audpc():
    """14, 21, 28 days at 40, 80, 90: 1015 (worked example of an agricultural-experiment library)."""
    assert audpc([14, 21, 28], [40, 80, 90]) == 1015
    with pytest.raises(ValueError, match="rising"):
        audpc([2, 1], [0, 1])


TIMES = [3, 4, 4, 5, 5, 6, 6, 7, 8, 8, 8, 8]
EVENTS = [1, 1, 1, 1, 0, 1, 0, 1, 0, 0, 0, 0]


def test_kaplan_meier():
    """S(3..7), Greenwood and log-log limits at 7 (R survival 3.5.3)."""
    found = kaplan_meier(TIMES, EVENTS)
    assert found.survival == pytest.approx([0.91666667, 0.75, 0.66666667, 0.57142857, 0.45714286], abs=1e-8)
    assert found.standard_error[-1] == pytest.approx(0.15534532, abs=1e-8)
    assert (found.low[-1], found.high[-1]) == pytest.approx((0.15993551, 0.71586031), abs=1e-8)


def test_survival_beside_lifelines():
    lifelines = pytest.importorskip("lifelines")
    from lifelines.statistics import multivariate_logrank_test

    rng = np.random.default_rng(8)
    time = rng.integers(2, 15, 120).astype(float)
    entry = np.minimum(rng.integers(0, 6, 120), time - 1).astype(float)
    event, group = rng.random(120) < 0.6, rng.integers(0, 3, 120)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = lifelines.KaplanMeierFitter().fit(time, event, entry=entry).survival_function_
        rank = multivariate_logrank_test(time, group, event)
    ours = kaplan_meier(time, event, entry=entry)
    assert ours.survival == pytest.approx(theirs.loc[ours.times].to_numpy().ravel())
    mine = log_rank(time, event, group)
    assert (mine.statistic, mine.pvalue) == pytest.approx((rank.test_statistic, rank.p_value))
    assert sum(mine.observed) == pytest.approx(sum(mine.expected)) == event.sum()


def test_competing_ends_by_hand():
    """Four vines: disease at 1, cold at 2, still there at 3, disease at 4. CIF of disease 1/4, then 1/4 + 1/2 * 1."""
    found = cumulative_incidence([1, 2, 3, 4], [1, 2, 0, 1])
    assert found.share[1] == pytest.approx([0.25, 0.25, 0.75])
    assert found.share[2] == pytest.approx([0, 0.25, 0.25])
    assert found.at(1, 3.5) == pytest.approx(0.25)
    every = cumulative_incidence(TIMES, EVENTS)
    assert 1 - every.share[1][-1] == pytest.approx(kaplan_meier(TIMES, EVENTS).survival[-1])
    assert log_rank([1, 2], [1, 0], ["a", "a"]).reason == "a single group"
    with pytest.raises(ValueError, match="end before they enter"):
        kaplan_meier([1], [1], entry=[2])
