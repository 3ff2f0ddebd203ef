"""trunkwatch.stats: check values that stand in no other file, each with its source.

Sources: `spdep` is R spdep 1.2-7 (joincount.test, joincount.multi), `tseries` R tseries 0.10.53, `spatstat` R spatstat
3.0.3; `exact` is full enumeration in integers; `formula` is the published formula worked in numpy; `textbook` are
formulas from memory of textbooks of plant-disease epidemiology, worked by hand.
"""

import math

import numpy as np
import pytest

from trunkwatch.stats.dispersion_indices import dispersion, of_counts, quadrat_counts
from trunkwatch.stats.focus_sizes import foci
from trunkwatch.stats.join_counts import join_count
from trunkwatch.stats.joins import half_offsets, joined_pairs, offsets_within
from trunkwatch.stats.local_counts import _tail, local_count
from trunkwatch.stats.moments import degrees, free_sampling, random_labelling, shared_pairs
from trunkwatch.stats.near_old import new_near_old
from trunkwatch.stats.nearest_kinds import _log_odds, segregation
from trunkwatch.stats.progress import audpc, fit_lines
from trunkwatch.stats.row_runs import runs
from trunkwatch.stats.sample_size import vines_to_detect, zero_limit
from trunkwatch.stats.shares import clopper_pearson, incidence, wilson


def moments_of(cases, vines, rule, order=1):
    pairs = joined_pairs(half_offsets(rule, order), vines)
    return random_labelling(
        len(pairs), shared_pairs(degrees(pairs, vines.size)), int(np.sum(cases)), int(np.sum(vines))
    )


#: rule, cases: J, D; E and Var of case-case, mixed, free-free on a full 3 x 3 map (exact).
THREE = [
    ("rook", 3, 12, 22, (1, 11 / 21), (6, 41 / 21), (5, 20 / 21)), ("rook", 4, 12, 22, (2, 50 / 63), (20 / 3, 50 / 21), (10 / 3, 20 / 21)),
    ("queen", 3, 20, 80, (5 / 3, 50 / 63), (10, 50 / 21), (25 / 3, 200 / 63)),
    ("queen", 4, 20, 80, (10 / 3, 100 / 63), (100 / 9, 1100 / 567), (50 / 9, 200 / 81)),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "cases", "joins", "shared", "both", "mixed", "neither"), THREE)
def test_moments_of_three_by_three(rule, cases, joins, shared, both, mixed, neither):
    vines = np.ones((3, 3), dtype=bool)
    pairs = joined_pairs(rule, vines)
    assert (len(pairs), shared_pairs(degrees(pairs, 9))) == (joins, shared)
    found, other = random_labelling(joins, shared, cases, 9), random_labelling(joins, shared, 9 - cases, 9)
    assert (found.case_case, found.case_case_variance) == pytest.approx(both)
    assert (found.mixed, found.mixed_variance) == pytest.approx(mixed)
    assert (other.case_case, other.case_case_variance) == pytest.approx(neither)


def test_free_sampling_on_three_by_three_and_grid_a():
    """P = 1/3 on 3 x 3 (exact, 512 labellings); Grid A rook and queen (spdep)."""
    rook, queen = free_sampling(12, 22, 1 / 3), free_sampling(20, 80, 1 / 3)
    assert (rook.case_case, rook.case_case_variance, rook.mixed, rook.mixed_variance) == pytest.approx(
        (4 / 3, 184 / 81, 16 / 3, 328 / 81)
    )
    assert (queen.case_case, queen.case_case_variance, queen.mixed, queen.mixed_variance) == pytest.approx(
        (20 / 9, 160 / 27, 80 / 9, 80 / 9)
    )
    rook, queen = free_sampling(172, 460, 17 / 96), free_sampling(326, 2012, 17 / 96)
    assert (rook.case_case, rook.case_case_variance) == pytest.approx((5.39366319, 9.42866191), abs=1e-7)
    assert (queen.case_case, queen.case_case_variance) == pytest.approx((10.22287326, 28.29082425), abs=1e-7)


#: rule, order: E and Var of mixed joins of Grid A (spdep).
MIXED = [
    ("row", 1, 25.91754386, 8.09937324), ("across", 1, 24.73947368, 8.07048713), ("rook", 1, 50.65701754, 15.89723137),
    ("queen", 1, 96.01271930, 41.10886030), ("diagonal", 1, 45.35570175, 19.07154758), ("row", 2, 23.56140351, 7.95678603),
    ("row", 3, 21.20526316, 7.47493889), ("queen", 2, 160.21754386, 121.98585087),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "order", "mean", "variance"), MIXED)
def test_mixed_joins_of_grid_a(grid_a, rule, order, mean, variance):
    found = moments_of(grid_a, np.ones_like(grid_a), rule, order)
    assert (found.mixed, found.mixed_variance) == pytest.approx((mean, variance), abs=1e-7)


def test_grid_a_with_gaps_in_full(grid_a, gap_mask):
    """Rook BB 12, z 3.618792, BW 38 (47.61660562, 15.89307355), D 391; queen BB 22, z 4.564493, BW 72; row and across z (spdep)."""
    rook, queen = (
        join_count(grid_a, gap_mask, permutations=0),
        join_count(grid_a, gap_mask, joins="queen", permutations=0),
    )
    assert (rook.case_case, rook.case_free, queen.case_case, queen.case_free) == (12, 38, 22, 72)
    assert (rook.z, queen.z) == pytest.approx((3.618792, 4.564493), abs=1e-6)
    told = moments_of(grid_a, gap_mask, "rook")
    assert (told.mixed, told.mixed_variance) == pytest.approx((47.61660562, 15.89307355), abs=1e-7)
    assert shared_pairs(degrees(joined_pairs("rook", gap_mask), gap_mask.size)) == 391
    for rule, z in (("row", 2.477025), ("across", 2.588466)):
        assert join_count(grid_a, gap_mask, joins=rule, permutations=0).z == pytest.approx(z, abs=1e-6)


def test_halves_and_checkerboard_of_four_by_four():
    """E 5.6, Var 1.8707692, z 3.21694; mixed 12.8, 5.3497436; checkerboard z -4.09428 and 4.84230 (spdep)."""
    vines = np.ones((4, 4), dtype=bool)
    half, board = np.indices((4, 4))[0] > 1, np.indices((4, 4)).sum(axis=0) % 2 == 0
    found, odd = join_count(half, vines, permutations=0), join_count(board, vines, permutations=0)
    assert (found.expected_case_case, found.variance_case_case, found.z) == pytest.approx(
        (5.6, 1.8707692, 3.21694), abs=1e-5
    )
    told = moments_of(half, vines, "rook")
    assert (told.mixed, told.mixed_variance) == pytest.approx((12.8, 5.3497436), abs=1e-7)
    assert (odd.case_case, odd.free_free, odd.case_free) == (0, 0, 24)
    assert odd.z == pytest.approx(-4.09428, abs=1e-5)
    assert (24 - told.mixed) / math.sqrt(told.mixed_variance) == pytest.approx(4.84230, abs=1e-5)


def test_forty_nine_neighbourhoods():
    """Columbus crime cut at 35: 116 joins, 25 low, 24 high (help page of spdep joincount.test, recomputed there).

    D, the pairs of joins that share a place, is not printed: 526 is the only whole number that gives the first variance;
    the other seven figures follow from it.
    """
    low, high = random_labelling(116, 526, 25, 49), random_labelling(116, 526, 24, 49)
    assert (low.case_case, low.case_case_variance) == pytest.approx((29.59184, 18.89550), abs=1e-4)
    assert (high.case_case, high.case_case_variance) == pytest.approx((27.22449, 17.88838), abs=1e-4)
    assert (high.mixed, high.mixed_variance) == pytest.approx((59.184, 26.233), abs=1e-3)
    assert (54 - high.case_case) / math.sqrt(high.case_case_variance) == pytest.approx(6.3307, abs=1e-4)
    free = free_sampling(116, 526, 25 / 49)
    assert (free.case_case, free.case_case_variance) == pytest.approx((30.19575, 90.76809), abs=1e-4)


def test_pepper_fields(open_data):
    """Rook, 20 x 20 quadrats: 54 cases, BB 34, E 13.628571, Var 10.345043, z 6.33367; 61, 64, 17.428571, 12.727401, 13.05418 (spdep)."""
    raw = np.genfromtxt(
        open_data / "pepper_phytophthora_1997.csv", delimiter=",", names=True, dtype=None, encoding="utf-8"
    )
    told = {"F1": (54, 34, 13.628571, 10.345043, 6.33367), "F2": (61, 64, 17.428571, 12.727401, 13.05418)}
    for name, expected in told.items():
        lines = raw[raw["field"] == name]
        cases = np.zeros((20, 20), dtype=bool)
        cases[lines["row"] - 1, lines["position"] - 1] = lines["disease"] == "Y"
        found = join_count(cases, np.ones_like(cases), permutations=0)
        assert (
            found.n_cases,
            found.case_case,
            found.expected_case_case,
            found.variance_case_case,
            found.z,
        ) == pytest.approx(expected, abs=1e-5)


#: Metres: pairs of cases within, E, Var, z of metric Grid A (formula; no edge correction needed).
BANDS = [(1.5, 6, 2.624561, 1.868185, 2.4696), (2.6, 14, 7.515789, 5.304078, 2.8155), (3.0, 24, 12.108772, 9.100582, 3.9418), (4.0, 26, 18.431579, 15.090022, 1.9483), (5.0, 29, 26.245614, 23.036833, 0.5739)]  # fmt: skip


@pytest.mark.parametrize(("radius", "seen", "mean", "variance", "z"), BANDS)
def test_pairs_of_cases_within_metres(grid_a, radius, seen, mean, variance, z):
    band = offsets_within(radius, 2.5, 1.2)
    found = join_count(grid_a, np.ones_like(grid_a), joins=band, permutations=0)
    assert found.case_case == seen
    assert (found.expected_case_case, found.variance_case_case) == pytest.approx((mean, variance), abs=1e-6)
    assert found.z == pytest.approx(z, abs=1e-4)


def test_later_rings_of_new_near_old(grid_a, grid_n):
    """Ring 2 to 5: T, E, Var (formula)."""
    told = {
        2: (26, 18.797468, 14.352360),
        3: (15, 23.696203, 23.551329),
        4: (16, 23.696203, 23.960287),
        5: (19, 22.443038, 18.581712),
    }
    for order, numbers in told.items():
        found = new_near_old(grid_a, grid_n, ~grid_a, joins="queen", order=order)
        assert (found.statistic, found.expected, found.variance) == pytest.approx(numbers, abs=1e-6)


def test_new_cases_among_themselves_and_both_years(grid_a, grid_n):
    """Vines at risk: queen J 230, D 1234, BB 3, E 2.687439, Var 2.296640; rook 122, 283, 0; both years, rook: 26, 23, z 4.0753 (formula)."""
    queen, rook = (join_count(grid_n, ~grid_a, joins=rule, permutations=0) for rule in ("queen", "rook"))
    assert (queen.n_joins, queen.case_case, rook.n_joins, rook.case_case) == (230, 3, 122, 0)
    assert (queen.expected_case_case, queen.variance_case_case) == pytest.approx((2.687439, 2.296640), abs=1e-6)
    assert (rook.expected_case_case, rook.z) == pytest.approx((1.425511, -1.3094), abs=1e-4)
    both = join_count(grid_a | grid_n, np.ones_like(grid_a), permutations=0)
    assert (both.n_cases, both.case_case) == (26, 23)
    assert (both.expected_case_case, both.variance_case_case, both.z) == pytest.approx(
        (12.258772, 6.946725, 4.0753), abs=1e-4
    )


def test_runs_and_mixed_joins_are_one_test():
    """40 vines, 12 cases: Z of the runs without correction -2.6065 (tseries), and of the mixed joins (spdep)."""
    row = np.array([[c == "1" for c in "0001110000110000011110000000010000001100"]])
    vines = np.ones_like(row)
    found, mixed = runs(row, vines), moments_of(row, vines, "row")
    assert (found.statistic - found.expected) / math.sqrt(found.variance) == pytest.approx(-2.6065, abs=1e-4)
    assert (10 - mixed.mixed) / math.sqrt(mixed.mixed_variance) == pytest.approx(-2.6065, abs=1e-4)
    assert found.variance == pytest.approx(mixed.mixed_variance)
    assert join_count(row, vines, joins="row").z == pytest.approx(2.8231, abs=1e-4)


def test_rows_one_by_one(grid_a):
    """Grid A: E and V of the runs of each row (formula)."""
    found = runs(grid_a, np.ones_like(grid_a)).rows
    assert [one.expected for one in found] == pytest.approx(
        [5.5, 5.5, 4.333333, 2.833333, 2.833333, 4.333333, 6.333333, 2.833333], abs=1e-6
    )
    assert [one.variance for one in found] == pytest.approx(
        [1.431818, 1.431818, 0.707071, 0.138889, 0.138889, 0.707071, 2.101010, 0.138889], abs=1e-6
    )


def test_runs_and_pairs_of_fifty_vines():
    """N = 50, m = 10: 17.0 runs and 1.8 neighbouring pairs expected (textbook); 20 rows of 50, 100 cases: 9.71 and 9.41 pairs."""
    row = np.zeros((1, 50), dtype=bool)
    row[0, 3:13] = True
    found = runs(row, np.ones_like(row))
    assert (found.expected, found.expected_doublets) == pytest.approx((17.0, 1.8))
    block = np.zeros((20, 50), dtype=bool)
    block.ravel()[:100] = True
    along, across = (join_count(block, np.ones_like(block), joins=rule, permutations=0) for rule in ("row", "across"))
    assert (along.n_joins, across.n_joins) == (980, 950)
    assert (along.expected_case_case, across.expected_case_case) == pytest.approx((9.71, 9.41), abs=5e-3)


def test_dixon_measures():
    """Pielou's table: covariance by r 0.351644; S_A 0.935090, S_B 0.634092 (formula)."""
    table = np.array([[137, 23], [38, 30]])
    _, variance, _, variance_free, covariance, _, _ = segregation(table, 228, 228 + 134, 4 * 228 + 162)
    assert covariance / math.sqrt(variance * variance_free) == pytest.approx(0.351644, abs=1e-6)
    assert (_log_odds(137, 23, 159, 68), _log_odds(30, 38, 67, 160)) == pytest.approx((0.935090, 0.634092), abs=1e-6)


def test_local_counts_of_grid_a(grid_a):
    """3 of 4: 0.014468148; 4 of 8: 0.025549439; 3 of 8: 0.129382526 (scipy hypergeom); rook and queen counts (esda 2.9.0)."""
    assert [_tail(k, seen, 95, 16) for k, seen in ((4, 3), (8, 4), (8, 3))] == pytest.approx(
        [0.014468148, 0.025549439, 0.129382526], abs=1e-9
    )
    vines = np.ones_like(grid_a)
    rook, queen = local_count(grid_a, vines, joins="rook").counts, local_count(grid_a, vines).counts
    assert {(1, 3), (1, 4), (2, 3), (6, 8), (6, 9), (7, 8)} == {
        (r + 1, s + 1) for r, s in np.argwhere(rook == 2).tolist()
    }
    assert queen[grid_a].sum() == 44


def test_counts_in_quadrats(grid_a):
    """2 x 3: 2 3 0 1 | 0 1 1 1 | 1 0 2 0 | 1 0 3 1; rows D 0.72502925, z -0.76371225, ICC -0.02549140; ML of 2 x 3 and 4 x 3 (formula, scipy)."""
    vines = np.ones_like(grid_a)
    x, n = quadrat_counts(grid_a, vines, (2, 3))
    assert x.tolist() == [2, 3, 0, 1, 0, 1, 1, 1, 1, 0, 2, 0, 1, 0, 3, 1]
    assert (n == 6).all()
    rows = dispersion(grid_a, vines, quadrat=(1, 12))
    assert (rows.statistic, rows.c_alpha, rows.rho) == pytest.approx((0.72502925, -0.76371225, -0.02549140), abs=1e-7)
    assert rows.chi_square_p == pytest.approx(0.650786, abs=1e-6)
    assert not rows.fit.clumped
    assert rows.deff == 1.0
    for quadrat, fitted, ratio in (
        ((2, 3), (0.177081, 0.013934, 0.013743), 0.042819),
        ((4, 3), (0.177078, 0.032550, 0.031524), 0.433084),
    ):
        fit = dispersion(grid_a, vines, quadrat=quadrat).fit
        assert (fit.p, fit.theta, fit.rho) == pytest.approx(fitted, abs=2e-5)
        assert fit.statistic == pytest.approx(ratio, abs=1e-5)


def test_skellams_counts():
    """N = 3; 32, 103, 122, 80 (data from memory): D 1.17555767, z 2.735578, LR 7.147190, rho 0.08666752 (scipy, R)."""
    counts = np.repeat([0, 1, 2, 3], [32, 103, 122, 80])
    found = of_counts(counts, np.full(counts.size, 3))
    assert (found.statistic, found.c_alpha) == pytest.approx((1.17555767, 2.735578), abs=1e-6)
    assert (found.fit.statistic, found.fit.rho) == pytest.approx((7.147190, 0.08666752), abs=2e-5)
    assert found.fit.pvalue == pytest.approx(0.5 * math.erfc(math.sqrt(7.147190 / 2)), rel=1e-4)


def test_foci_by_four_neighbours(grid_a):
    """Random labelling, rook: mean 11.965 foci, P(<= 7) 0.010, largest 3.46, P(>= 6) 0.063; queen largest P 0.332 (20,000 draws)."""
    rook = foci(grid_a, np.ones_like(grid_a), neighbours="rook", permutations=4000, rng=3)
    assert (rook.statistic, rook.largest) == (7, 6)
    assert rook.expected == pytest.approx(11.965, abs=0.15)
    assert rook.expected_largest == pytest.approx(3.46, abs=0.08)
    assert rook.pvalue == pytest.approx(0.010, abs=0.007)
    assert rook.largest_pvalue == pytest.approx(0.063, abs=0.017)
    queen = foci(grid_a, np.ones_like(grid_a), permutations=4000, rng=4)
    assert queen.largest_pvalue == pytest.approx(0.332, abs=0.03)
    assert rook.mean_size == pytest.approx(17 / 7)


#: Cases, vines: Wilson, Clopper-Pearson (R prop.test and binom.test).
MORE_LIMITS = [(17, 96, (0.1136051, 0.2654104), (0.1066770, 0.2683185)), (3, 250, (0.0040893, 0.0346808), (0.0024816, 0.0346666)), (0, 60, (0, 0.0601719), (0, 0.0596295))]  # fmt: skip


@pytest.mark.parametrize(("cases", "vines", "score", "exact"), MORE_LIMITS)
def test_more_limits(cases, vines, score, exact):
    assert wilson(cases, vines) == pytest.approx(score, abs=1e-6)
    assert clopper_pearson(cases, vines) == pytest.approx(exact, abs=1e-6)


def test_limits_in_percent_as_a_grower_reads_them():
    """Wilson 95 %: 16/200 5.0-12.6, 40/200 15.0-26.1, 0/200 up to 1.9, 24/300 5.4-11.6; none of 300: 0.99 % (worked by hand)."""
    assert str(incidence(16, 200)) == "16 of 200 vines, 8.0 % (5.0 to 12.6 %)"
    assert str(incidence(40, 200)) == "40 of 200 vines, 20.0 % (15.0 to 26.1 %)"
    assert str(incidence(0, 200)) == "0 of 200 vines, 0.0 % (0.0 to 1.9 %)"
    assert str(incidence(24, 300)) == "24 of 300 vines, 8.0 % (5.4 to 11.6 %)"
    assert round(100 * zero_limit(300), 2) == 0.99


def test_zero_found_and_detection():
    """1 - 0.05^(1/n) (exact); ISPM 31 table, 80 and 90 %, N 500 and 2000 (TCVN 8597:2010, table B.2)."""
    assert [zero_limit(n) for n in (20, 60, 96, 300)] == pytest.approx(
        [0.1391083, 0.0487029, 0.0307237, 0.0099361], abs=1e-7
    )
    shares = (0.05, 0.02, 0.01, 0.005, 0.001)
    for block, confidence, sizes in (
        (500, 0.8, [31, 74, 138, 277]),
        (500, 0.9, [43, 102, 184, 342]),
        (2000, 0.8, [32, 79, 154, 297, 1106]),
        (10000, 0.9, [45, 114, 227, 449, 2056]),
    ):
        found = [vines_to_detect(p, confidence=confidence, block=block) for p in shares]
        assert found[: len(sizes)] == sizes


def test_progress_lines_on_the_scale_of_incidence():
    """Squared correlation of seen and fitted incidence of the check series (scipy); relative area 0.725."""
    y = [0.004, 0.007, 0.012, 0.021, 0.034, 0.055, 0.081, 0.118, 0.163, 0.214, 0.268]
    lines = fit_lines(range(5, 16), y)
    told = {"exponential": 0.959756, "monomolecular": 0.860568, "logistic": 0.984668, "gompertz": 0.998146}
    assert {name: line.r_squared_back for name, line in lines.items()} == pytest.approx(told, abs=1e-6)
    assert audpc([14, 21, 28], [40, 80, 90]) / 14 / 100 == pytest.approx(0.725)
    # 0.01 to 0.50 in ten years: 0.459512 a year (textbook).
    rate = fit_lines([0, 5, 10], [0.01, 1 / (1 + math.exp(math.log(99) / 2)), 0.5])["logistic"].rate
    assert rate == pytest.approx(0.459512, abs=1e-6)
