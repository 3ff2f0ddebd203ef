"""trunkwatch.stats: nearest_kinds, clark_evans_index, power_law.

Sources: `spatstat` is R spatstat 3.0.3; `formula` is the published formula worked by hand in numpy.
"""

import math

import numpy as np
import pytest

from trunkwatch.stats.clark_evans_index import clark_evans
from trunkwatch.stats.moments import weighted
from trunkwatch.stats.nearest_kinds import nearest_kind, nearest_weights, segregation
from trunkwatch.stats.power_law import binary_power_law

METRES = {"row_spacing": 2.5, "vine_spacing": 1.2}


def test_trees_of_two_kinds():
    """Douglas fir and ponderosa pine (Pielou's table, analysed by Dixon 1994; inputs from memory): C = 19.67 published."""
    n, mutual, q = 228, 134, 162
    table = [[137, 23], [38, 30]]
    mean, variance, mean_free, variance_free, _, chi, p = segregation(table, n, n + mutual, 4 * n + q)
    assert (mean, variance) == pytest.approx((112.070485, 32.678746), abs=1e-6)
    assert (mean_free, variance_free) == pytest.approx((20.070485, 18.815574), abs=1e-6)
    assert chi == pytest.approx(19.669414, abs=1e-5)
    assert p == pytest.approx(5.36e-5, rel=1e-2)


def test_ties_are_shared_on_the_lattice(grid_a):
    """T 6, E 2.863158, Var 2.260288, z 2.086463; S0 96, S1 108, S2 392 (formula)."""
    found = nearest_kind(grid_a, np.ones_like(grid_a), **METRES, permutations=1999, rng=1)
    assert found.statistic == pytest.approx(6)
    assert (found.expected, found.variance, found.z) == pytest.approx((2.863158, 2.260288, 2.086463), abs=1e-6)
    weights = nearest_weights(np.argwhere(np.ones_like(grid_a)) * [2.5, 1.2])
    assert (weights.s0, weights.s1, weights.s2) == pytest.approx((96, 108, 392))
    assert np.array(found.table).sum(axis=1) == pytest.approx([17, 79])
    assert found.null_distribution.mean() == pytest.approx(found.expected, abs=0.15)
    assert found.null_distribution.var() == pytest.approx(found.variance, rel=0.15)


@pytest.mark.parametrize(
    ("neighbours", "seen", "expected", "variance", "z"),
    [(2, 12, 5.726316, 7.695709, 2.261509), (4, 16, 11.452632, 15.164716, 1.167731), (8, 41, 22.905263, 27.022010, 3.480915)],
)  # fmt: skip
def test_cases_among_the_k_nearest(grid_a, neighbours, seen, expected, variance, z):
    """Cuzick and Edwards (1990) with the k-th tie shared (formula)."""
    found = nearest_kind(grid_a, np.ones_like(grid_a), **METRES, neighbours=neighbours, permutations=0)
    assert (found.statistic, found.expected) == pytest.approx((seen, expected), abs=1e-6)
    assert (found.variance, found.z) == pytest.approx((variance, z), abs=1e-5)
    assert math.isnan(found.pvalue)


def test_moments_of_the_table_by_enumeration():
    """All 20 labellings of three cases on two rows of three, one metre apart both ways."""
    from itertools import combinations

    vines = np.ones((2, 3), dtype=bool)
    both, neither = [], []
    for chosen in combinations(range(6), 3):
        cases = np.zeros(6, dtype=bool)
        cases[list(chosen)] = True
        found = nearest_kind(cases.reshape(2, 3), vines, row_spacing=1, vine_spacing=1, permutations=0)
        both.append(found.statistic)
        neither.append(found.free_free)
    assert found.expected == pytest.approx(np.mean(both))
    assert found.variance == pytest.approx(np.var(both))
    weights = nearest_weights(np.argwhere(vines).astype(float))
    table = [[1.0, 2.0], [2.0, 1.0]]
    assert segregation(table, weights.s0, weights.s1, weights.s2)[4] == pytest.approx(
        np.cov(both, neither, bias=True)[0, 1]
    )


def test_nearest_kinds_that_cannot_be_told(grid_a, gap_mask):
    whole = np.ones_like(grid_a)
    for cases, reason in ((whole, "every vine is a case"), (np.zeros_like(whole), "there is no case")):
        found = nearest_kind(cases, whole, **METRES)
        assert (found.reason, math.isnan(found.pvalue)) == (reason, True)
    assert nearest_kind(np.zeros_like(whole), np.zeros_like(whole), **METRES).reason == "no vine counts"
    gaps = nearest_kind(grid_a & gap_mask, gap_mask, **METRES, permutations=199, rng=2)
    assert 0 < gaps.pvalue <= 1
    with pytest.raises(ValueError, match="neighbours is 3 of 2"):
        nearest_weights([[0, 0], [1, 1]], 3)
    assert weighted(0, 0, 0, 1, 2) == (0.0, 0.0)


def test_clark_and_evans_with_its_warning(grid_a):
    """R 1.2221912, Donnelly 1.0905320, d 2.515249, z 1.752587 and 0.641007 (spatstat, Davis); two foci are missed."""
    found = clark_evans(grid_a, np.ones_like(grid_a), **METRES)
    assert (found.statistic, found.donnelly) == pytest.approx((1.2221912, 1.0905320), abs=1e-6)
    assert (found.mean_distance, found.z) == pytest.approx((2.515249, 1.752587), abs=1e-6)
    # 0.641007 with 0.041 for 0.0412 in the mean; the standard error is 0.3260543.
    corrected = found.mean_distance / found.donnelly
    assert (found.mean_distance - corrected) / found.z_donnelly == pytest.approx(0.3260543, abs=1e-6)
    assert found.z_donnelly == pytest.approx(0.641007, abs=1e-3)
    assert "lattice" in str(found)
    whole = clark_evans(np.ones_like(grid_a), np.ones_like(grid_a), **METRES)
    assert whole.statistic == pytest.approx(1.385641, abs=1e-6)
    single = np.zeros_like(grid_a)
    single[0, 0] = True
    assert clark_evans(single, np.ones_like(grid_a), **METRES).reason == "there is a single case"


def test_no_report_and_no_verdict_uses_clark_and_evans(pytestconfig):
    room = pytestconfig.rootpath / "trunkwatch"
    users = {path.name for path in room.rglob("*.py") if "clark_evans" in path.read_text()}
    assert users == {"clark_evans_index.py"}  # its own; the names that `trunkwatch.stats` gives stand in its stub


def test_power_law_recovers_a_line():
    """Groups whose variance is A times the binomial to the power b by construction."""
    blocks = []
    for share in (0.1, 0.2, 0.3, 0.4, 0.5):
        n, groups = 1000.0, 400
        binomial = share * (1 - share) / n
        spread = math.sqrt(10**1.2 * binomial**1.4 * (groups - 1) / groups) * n
        cases = np.full(groups, share * n) + spread * np.where(np.arange(groups) % 2, 1, -1)
        blocks.append((cases, n))
    found = binary_power_law(blocks)
    assert (found.slope, found.log10_intercept) == pytest.approx((1.4, 1.2), abs=1e-9)
    assert found.r_squared == pytest.approx(1)
    assert binary_power_law(blocks[:3]).reason == "3 blocks with cases, 5 are needed"


def test_power_law_of_chance_is_one():
    rng = np.random.default_rng(4)
    blocks = [(rng.binomial(10, share, 400), 10) for share in (0.02, 0.05, 0.1, 0.2, 0.3, 0.5)]
    found = binary_power_law(blocks)
    assert found.slope == pytest.approx(1, abs=0.08)
    assert 10**found.log10_intercept == pytest.approx(1, abs=0.25)
