"""trunkwatch.stats: hand-counted, published and brute-force values.

The modules: chance, labels, joins, moments, relabelling, runs_law, join_count, new_near_old, foci,
nearest_neighbour, incidence, trend.

Sources: `spdep` is R spdep 1.2-7 (joincount.test, joincount.multi); `exact` is full enumeration or
exact dynamic programming; `esda` is its documentation string (join_counts.py); Madden et al. is Madden,
Hughes & van den Bosch 2007, The Study of Plant Disease Epidemics, fig. 9.13.
"""

import itertools
import math
import warnings
from collections import Counter

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from trunkwatch.stats.chance import exact_pvalue, generator, holm, holm_of, permutation_pvalue
from trunkwatch.stats.focus_sizes import foci
from trunkwatch.stats.join_counts import join_count, join_orders
from trunkwatch.stats.joins import half_offsets, joined_pairs, offsets_within
from trunkwatch.stats.labels import checked_labels, checked_strata, nothing_to_move
from trunkwatch.stats.moments import degrees, free_sampling, random_labelling, shared_pairs, weighted
from trunkwatch.stats.near_old import new_near_old
from trunkwatch.stats.nearest import nearest_neighbour
from trunkwatch.stats.relabelling import BitBlock, plain_labellings, stratified_labellings
from trunkwatch.stats.runs_law import joined_pairs_law, stretches
from trunkwatch.stats.shares import clopper_pearson, incidence, wilson
from trunkwatch.stats.trend import change, usual_swing

#: rule, order: joins, case-case, expected, variance, z, mixed (Grid A; spdep).
GRID_A = [
    ("row", 1, 88, 6, 2.62456140, 1.86818504, 2.469564, 20),
    ("across", 1, 84, 6, 2.50526316, 1.80613312, 2.600397, 18),
    ("rook", 1, 172, 12, 5.12982456, 3.60616091, 3.617806, 38),
    ("queen", 1, 326, 22, 9.72280702, 7.36532952, 4.523796, 74),
    ("diagonal", 1, 154, 10, 4.59298246, 3.54791063, 2.870592, 36),
    ("row", 2, 80, 2, 2.38596491, 1.73854328, -0.292722, 27),
    ("row", 3, 72, 0, 2.14736842, 1.58674984, -1.704717, 27),
    ("across", 2, 72, 2, 2.14736842, 1.58674984, -0.116990, 19),
    ("queen", 2, 544, 13, 16.22456140, 15.30061072, -0.824359, 165),
]


@pytest.mark.parametrize(("rule", "order", "joins", "seen", "mean", "variance", "z", "mixed"), GRID_A)
def test_grid_a(grid_a, rule, order, joins, seen, mean, variance, z, mixed):
    found = join_count(grid_a, np.ones_like(grid_a), joins=rule, order=order, permutations=0)
    assert (found.n_joins, found.case_case, found.case_free) == (joins, seen, mixed)
    assert found.case_case + found.case_free + found.free_free == joins
    assert found.expected_case_case == pytest.approx(mean, abs=1e-7)
    assert found.variance_case_case == pytest.approx(variance, abs=1e-7)
    assert found.z == pytest.approx(z, abs=1e-6)


@pytest.mark.parametrize(
    ("rule", "joins", "mean", "variance"),
    [("row", 79, 2.62368742, 1.85790868), ("across", 76, 2.52405372, 1.80327182), ("rook", 155, 5.14774115, 3.58542298), ("queen", 294, 9.76410256, 7.18598867)],
)  # fmt: skip
def test_grid_a_with_gaps(grid_a, gap_mask, rule, joins, mean, variance):
    """A gap is taken out of the graph, not coded 0 (spdep)."""
    found = join_count(grid_a, gap_mask, joins=rule, permutations=0)
    assert found.n_joins == joins
    assert found.expected_case_case == pytest.approx(mean, abs=1e-7)
    assert found.variance_case_case == pytest.approx(variance, abs=1e-7)


@pytest.mark.parametrize(("rule", "pvalue"), [("across", 0.01813546), ("rook", 0.0011358349), ("queen", 0.0003285754)])
def test_permutation_p_meets_the_exact_law(grid_a, rule, pvalue):
    """The exact p (by dynamic programming over all C(96, 17) labellings) within four standard errors."""
    found = join_count(grid_a, np.ones_like(grid_a), joins=rule, permutations=99_999, rng=1)
    assert abs(found.pvalue - pvalue) < 4 * math.sqrt(pvalue / 99_999) + 1e-5
    assert found.null_distribution.mean() == pytest.approx(found.expected_case_case, abs=0.02)


def test_along_the_row_is_exact(grid_a):
    found = join_count(grid_a, np.ones_like(grid_a), joins="row")
    assert found.method == "exact"
    assert found.pvalue == pytest.approx(0.02321036, abs=1e-8)  # exact


def test_row_strata(grid_a):
    """Rows keep their totals: E 2.3333, Var 1.50505, exact P(>= 6) 0.007251231."""
    rows = np.repeat(np.arange(8)[:, None], 12, axis=1)
    found = join_count(grid_a, np.ones_like(grid_a), joins="row", strata=rows, permutations=99_999, rng=2)
    assert found.expected_case_case == pytest.approx(2.33333333, abs=1e-8)
    assert found.variance_case_case == pytest.approx(1.50505051, abs=1e-8)
    assert abs(found.pvalue - 0.007251231) < 4 * math.sqrt(0.00725 / 99_999)


def test_stratified_moments_by_brute_force():
    """A 3 x 4 map with a gap, strata of odd shape, every labelling that keeps the totals."""
    vines = np.ones((3, 4), dtype=bool)
    vines[1, 2] = False
    strata = np.array([[0, 0, 1, 1], [0, 1, 1, 1], [2, 2, 2, 1]])
    cases = np.zeros_like(vines)
    for cell in ((0, 0), (1, 0), (0, 3), (2, 1)):
        cases[cell] = True
    pairs = joined_pairs("queen", vines)
    flat, group = vines.ravel(), strata.ravel()
    choices = [
        list(itertools.combinations(np.flatnonzero(flat & (group == code)), int(cases.ravel()[group == code].sum())))
        for code in (0, 1, 2)
    ]
    counts = []
    for picked in itertools.product(*choices):
        marked = {cell for part in picked for cell in part}
        counts.append(sum(a in marked and b in marked for a, b in pairs.tolist()))
    found = join_count(cases, vines, joins="queen", strata=strata, permutations=0)
    assert found.expected_case_case == pytest.approx(np.mean(counts))
    assert found.variance_case_case == pytest.approx(np.var(counts))


def test_published_arrays():
    """Madden et al. fig. 9.13; free sampling E and sd as printed; 4 x 4 lower half as in esda."""
    a = np.array([[int(c) for c in row] for row in ("10110", "11000", "10100", "10010", "01011")], dtype=bool)
    found = join_count(a, np.ones_like(a), permutations=0)
    assert (found.case_case, found.case_free) == (7, 23)
    assert (found.expected_case_case, found.variance_case_case, found.z) == pytest.approx(
        (8.8, 3.0296, -1.0341), abs=1e-3
    )
    pairs = joined_pairs("rook", np.ones_like(a))
    free = free_sampling(len(pairs), shared_pairs(degrees(pairs, 25)), 12 / 25)
    assert (free.mixed, math.sqrt(free.mixed_variance)) == pytest.approx((19.97, 3.17), abs=5e-3)
    assert (free.case_case, math.sqrt(free.case_case_variance)) == pytest.approx((9.22, 4.23), abs=5e-3)
    half = np.zeros((4, 4), dtype=bool)
    half[2:] = True
    lower = join_count(half, np.ones_like(half), permutations=0)
    assert (lower.case_case, lower.case_free, lower.free_free, lower.n_joins) == (10, 4, 10, 24)


@pytest.mark.parametrize(
    ("rule", "cases", "law"),
    [("rook", 3, {0: 22, 1: 40, 2: 22}), ("rook", 4, {0: 6, 1: 28, 2: 56, 3: 32, 4: 4}), ("queen", 4, {0: 1, 1: 8, 2: 28, 3: 24, 4: 45, 5: 16, 6: 4})],
)  # fmt: skip
def test_whole_null_distribution_of_three_by_three(rule, cases, law):
    """All labellings of a 3 x 3 map (exact); the drawn null agrees (chi-square, seeded)."""
    vines = np.ones((3, 3), dtype=bool)
    pairs = joined_pairs(rule, vines).tolist()
    counted = Counter(
        sum(a in s and b in s for a, b in pairs) for s in map(set, itertools.combinations(range(9), cases))
    )
    assert counted == law
    marked = np.zeros(9, dtype=bool)
    marked[:cases] = True
    null = join_count(marked.reshape(3, 3), vines, joins=rule, permutations=20_000, rng=4).null_distribution
    total = sum(law.values())
    chi = sum((np.count_nonzero(null == k) - 20_000 * n / total) ** 2 / (20_000 * n / total) for k, n in law.items())
    assert chi < 25  # 99.9 % point of chi-square with at most 6 degrees of freedom is 22.5


@pytest.mark.parametrize("lengths", [[3], [4, 2], [5, 1, 3], [4, 4, 4]])
def test_runs_law_is_exact(lengths):
    cuts = np.cumsum([0, *lengths])
    pairs = [(i, i + 1) for a, b in itertools.pairwise(cuts) for i in range(a, b - 1)]
    for cases in range(sum(lengths) + 1):
        seen = Counter(
            sum(a in s and b in s for a, b in pairs)
            for s in map(set, itertools.combinations(range(sum(lengths)), cases))
        )
        law = joined_pairs_law(np.array(lengths), cases)
        total = math.comb(sum(lengths), cases)
        for k in range(max(law.size, max(seen) + 1)):
            assert (law[k] if k < law.size else 0.0) == pytest.approx(seen[k] / total, abs=1e-11)


def test_runs_of_a_40_vine_row():
    """12 cases, 7 doublets, exact P(runs <= 11) = P(doublets + gaps) 0.009204041 (exact; R tseries z -2.6065)."""
    row = np.array([[int(c) for c in "0001110000110000011110000000010000001100"]], dtype=bool)
    found = join_count(row, np.ones_like(row), joins="row")
    assert (found.n_cases, found.case_case, found.case_free) == (12, 7, 10)
    assert (found.expected_case_case, found.variance_case_case) == pytest.approx((3.3, 1.7177), abs=5e-5)
    assert stretches(np.array([[1, 1, 0, 1], [0, 0, 0, 0], [1, 1, 1, 1]], dtype=bool)).tolist() == [2, 1, 4]


@pytest.mark.parametrize("cases", [2, 3, 5, 7])
def test_every_subset_is_equally_likely(cases):
    """The bit strings draw all C(10, k) subsets alike: chi-square within its 99.99 % limits."""
    vines = np.ones((2, 5), dtype=bool)
    block = BitBlock(vines, [(0, 1)])
    drawn = np.concatenate(list(block.batches(cases, 60_000, np.random.default_rng(cases))))
    assert (np.bitwise_count(drawn).sum(axis=1) == cases).all()
    _, counts = np.unique(drawn, axis=0, return_counts=True)
    subsets = math.comb(10, cases)
    assert counts.size == subsets
    chi = ((counts - 60_000 / subsets) ** 2 / (60_000 / subsets)).sum()
    df = subsets - 1
    assert abs(chi - df) < 4.5 * math.sqrt(2 * df)


@given(
    hnp.arrays(bool, hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=14)),
    st.integers(0, 2**32),
    st.sampled_from(["rook", "queen", "row", "across"]),
)
@settings(max_examples=60, deadline=None)
def test_bit_counts_are_plain_counts(vines, seed, rule):
    cases = vines & (np.random.default_rng(seed).random(vines.shape) < 0.4)
    block = BitBlock(vines, half_offsets(rule))
    assert (
        int(block.count(block.pack(cases[vines]))[0]) == join_count(cases, vines, joins=rule, permutations=0).case_case
    )


GRIDS = hnp.arrays(
    np.int8, hnp.array_shapes(min_dims=2, max_dims=2, min_side=2, max_side=9), elements=st.integers(0, 2)
)


@given(GRIDS)
@settings(max_examples=60, deadline=None)
def test_properties(raw):
    """0 gap, 1 free, 2 case: turning, transposing, an all-gap border."""
    vines, cases = raw > 0, raw == 2

    def told(c, v, rule):
        found = join_count(c, v, joins=rule, permutations=0)
        assert found.case_case + found.case_free + found.free_free == found.n_joins
        return found.case_case, found.n_joins, round(found.expected_case_case, 9), round(found.variance_case_case, 9)

    for rule in ("rook", "queen", "row"):
        here = told(cases, vines, rule)
        assert here == told(cases[::-1, ::-1], vines[::-1, ::-1], rule)
        assert here == told(np.pad(cases, 2), np.pad(vines, 2), rule)
    assert told(cases, vines, "row") == told(cases.T, vines.T, "across")


def test_esda_on_an_irregular_grid():
    """esda.Join_Counts counts the same joins on a random grid with gaps, rook and queen."""
    esda = pytest.importorskip("esda")
    graph = pytest.importorskip("libpysal.graph").Graph
    rng = np.random.default_rng(9)
    vines = rng.random((9, 17)) > 0.15
    cases = vines & (rng.random(vines.shape) < 0.3)
    place = np.full(vines.size, -1)
    place[np.flatnonzero(vines)] = np.arange(vines.sum())
    for rule in ("rook", "queen"):
        left, right = place[joined_pairs(rule, vines)].T
        alone = np.setdiff1d(np.arange(vines.sum()), np.concatenate([left, right]))
        focal, other = np.concatenate([left, right, alone]), np.concatenate([right, left, alone])
        weights = np.concatenate([np.ones(2 * left.size), np.zeros(alone.size)])
        order = np.lexsort([other, focal])  # the graph numbers its vines in the order in which they come
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            made = graph.from_arrays(focal[order], other[order], weights[order])
            theirs = esda.Join_Counts(cases[vines].astype(int), made, permutations=9)
        ours = join_count(cases, vines, joins=rule, permutations=0)
        assert (ours.case_case, ours.case_free, ours.free_free) == (theirs.bb, theirs.bw, theirs.ww)


def test_size_under_chance():
    """Of 400 random maps with gaps at most 36 have p <= 0.05: the exact 99.9 % limit of a true 5 %."""
    rng = np.random.default_rng(12)
    low = 0
    for _ in range(400):
        vines = rng.random((10, 21)) > 0.05
        cases = vines & (rng.random(vines.shape) < 0.12)
        low += join_count(cases, vines, permutations=199, rng=rng).pvalue <= 0.05
    assert low <= 36


@pytest.mark.parametrize("value", [0, 1])
def test_degenerate_maps_answer_with_a_reason(value):
    grid = np.full((4, 5), bool(value))
    for found in (
        join_count(grid, np.ones_like(grid)),
        join_orders(grid, np.ones_like(grid)),
        foci(grid, np.ones_like(grid)),
        nearest_neighbour(grid, np.ones_like(grid), row_spacing=2, vine_spacing=1),
        new_near_old(~grid & False, grid, np.ones_like(grid)),
    ):
        assert found.reason
        assert math.isnan(found.pvalue)
    one = np.zeros((1, 1), dtype=bool)
    assert join_count(one, one).reason == "no vine counts"


def test_wrong_arguments():
    vines = np.ones((3, 4), dtype=bool)
    with pytest.raises(ValueError, match=r"\(4, 3\).*\(3, 4\)"):
        checked_labels(vines.T, vines)
    with pytest.raises(ValueError, match="outside the vines"):
        join_count(vines, ~vines)
    with pytest.raises(ValueError, match="one of row"):
        half_offsets("knight")
    with pytest.raises(ValueError, match="greater"):
        join_count(vines, vines, alternative="more")
    with pytest.raises(ValueError, match="itself"):
        joined_pairs(np.array([[1, 1]]), vines)
    with pytest.raises(ValueError, match="same grid"):
        checked_strata(np.zeros(3), vines)
    assert offsets_within(2.6, 2.5, 1.2) == [(0, 1), (0, 2), (1, 0)]
    assert joined_pairs(np.array([[0, 5], [5, 0], [1, 2]]), vines).tolist() == [[0, 5], [1, 2]]


def test_strata_keep_their_totals():
    labels, strata = np.array([1, 1, 0, 0, 1, 0], dtype=bool), np.array([0, 0, 0, 1, 1, 1])
    (drawn,) = stratified_labellings(labels, strata, 50, np.random.default_rng(1))
    assert (drawn[:, :3].sum(axis=1) == 2).all()
    assert (drawn[:, 3:].sum(axis=1) == 1).all()
    (plain,) = plain_labellings(3, 6, 40, np.random.default_rng(1))
    assert (plain.sum(axis=1) == 3).all()


def test_pvalues_are_never_zero_and_count_ties():
    assert permutation_pvalue(5, [1, 2, 3]) == 0.25
    assert permutation_pvalue(2, [1, 2, 3]) == 0.75
    assert permutation_pvalue(0, [1, 2, 3], "two-sided") == 0.5
    assert exact_pvalue(2, [0, 1, 2], [0.5, 0.3, 0.2]) == pytest.approx(0.2)
    assert generator(3).random() == generator(3).random()
    assert holm({"a": 0.01, "b": 0.04, "c": float("nan")}) == pytest.approx(
        {"a": 0.02, "b": 0.04, "c": float("nan")}, nan_ok=True
    )
    # By hand: 3 x 0.01, then 2 x 0.014 lifted to it, then 0.9.
    assert holm_of(np.array([0.9, 0.01, np.nan, 0.014])) == pytest.approx([0.9, 0.03, np.nan, 0.03], nan_ok=True)


def test_where_no_labelling_differs_from_another_there_is_nothing_to_move():
    told = [nothing_to_move(*of) for of in ((0, 0), (0, 5), (1, 1), (1, 5), (5, 5), (4, 5))]
    assert told == ["there is no case", "there is no case", "every vine is a case", "", "every vine is a case", ""]
    assert [nothing_to_move(one, 5, fewest=2) for one in (0, 1, 2)] == [
        "there is no case",
        "there is a single case",
        "",
    ]


#: rule, order: statistic, expected, variance, exact p, table, odds ratio, Fisher p (exact; scipy fisher_exact).
NEAR = [
    ("row", 1, 7, 2.278481, 1.527122, 0.000681385, ((7, 13), (2, 57)), 15.3462, 0.00068139),
    ("across", 1, 4, 2.050633, 1.421000, 0.113719, ((4, 14), (5, 56)), 3.2, 0.11372),
    ("rook", 1, 11, 4.329114, 3.243193, 0.000658432, ((7, 25), (2, 45)), 6.3, 0.020217),
    ("queen", 1, 16, 8.430380, 6.817694, 0.00512922, ((8, 42), (1, 28)), 5.3333, 0.087823),
]


@pytest.mark.parametrize(("rule", "order", "t", "mean", "variance", "p", "table", "odds", "fisher"), NEAR)
def test_new_near_old(grid_a, grid_n, rule, order, t, mean, variance, p, table, odds, fisher):
    found = new_near_old(grid_a, grid_n, ~grid_a, joins=rule, order=order)
    assert (found.statistic, found.table) == (t, table)
    assert (found.expected, found.variance) == pytest.approx((mean, variance), abs=1e-6)
    assert found.pvalue == pytest.approx(p, rel=1e-5)
    assert (found.odds_ratio, found.fisher) == pytest.approx((odds, fisher), rel=1e-4)


@pytest.mark.parametrize(
    ("order", "t", "p"), [(2, 26, 0.0387317), (3, 15, 0.973361), (4, 16, 0.957909), (5, 19, 0.816973)]
)
def test_new_near_old_rings(grid_a, grid_n, order, t, p):
    found = new_near_old(grid_a, grid_n, ~grid_a, joins="queen", order=order)
    assert found.statistic == t
    assert found.pvalue == pytest.approx(p, rel=1e-5)


def test_new_near_old_by_brute_force():
    """A 3 x 5 map with a gap and two strata: every way to place the new cases."""
    rng = np.random.default_rng(3)
    vines = rng.random((3, 5)) > 0.1
    old = vines & (rng.random(vines.shape) < 0.3)
    risk = vines & ~old
    at = np.flatnonzero(risk)
    new = np.zeros(vines.size, dtype=bool)
    new[at[[0, 3, 5]]] = True
    strata = np.repeat(np.arange(5)[None, :] > 2, 3, axis=0)
    pairs = joined_pairs("queen", vines).tolist()
    weight = {
        cell: sum((a == cell and old.ravel()[b]) or (b == cell and old.ravel()[a]) for a, b in pairs)
        for cell in at.tolist()
    }
    found = new_near_old(old, new.reshape(vines.shape), risk)
    totals = [sum(weight[c] for c in picked) for picked in itertools.combinations(at.tolist(), 3)]
    assert found.pvalue == pytest.approx(np.mean(np.array(totals) >= found.statistic))
    group = strata.ravel()
    halves = [[c for c in at.tolist() if group[c] == g] for g in (False, True)]
    many = [int(new[h].sum()) for h in halves]
    totals = [
        sum(weight[c] for c in (*p, *q))
        for p in itertools.combinations(halves[0], many[0])
        for q in itertools.combinations(halves[1], many[1])
    ]
    assert new_near_old(old, new.reshape(vines.shape), risk, strata=strata).pvalue == pytest.approx(
        np.mean(np.array(totals) >= found.statistic)
    )


def test_foci(grid_a, open_data):
    """Published counts of foci, and those of Grid A.

    Grid A (scipy.ndimage): 6, 6 and five single. Watermelon day 65: 12 foci, 2 single; day 74: 10 and 2
    (as published). Laranjeira et al. 1998: sizes 11, 5, 5, 1 by eight neighbours, nine foci by four.
    """
    found = foci(grid_a, np.ones_like(grid_a), permutations=2000, rng=1)
    assert [focus.size for focus in found.foci] == [6, 6, 1, 1, 1, 1, 1]
    assert [(f.along, f.across, round(f.compactness, 6)) for f in found.foci[:2]] == [(3, 3, 0.666667)] * 2
    assert found.expected == pytest.approx(8.754, abs=0.1)
    assert found.pvalue == pytest.approx(0.239, abs=0.04)
    raw = np.genfromtxt(open_data / "watermelon_gummy_stem_blight.csv", delimiter=",", names=True)
    for day, (number, single) in {65: (12, 2), 74: (10, 2)}.items():
        lines = raw[raw["days_after_planting"] == day]
        grid = np.zeros((16, 12), dtype=bool)
        grid[lines["row"].astype(int) - 1, lines["position"].astype(int) - 1] = lines["severity"] > 0
        seen = foci(grid, np.ones_like(grid), permutations=0)
        assert (seen.statistic, seen.single) == (number, single)
    text = [line.split(",") for line in (open_data / "foci_12x9.csv").read_text().splitlines()[1:]]
    small = np.array(text, dtype=float)[-12:, -9:] > 0
    if small.sum() == 22:
        assert [f.size for f in foci(small, np.ones_like(small), permutations=0).foci] == [11, 5, 5, 1]
        assert foci(small, np.ones_like(small), neighbours="rook", permutations=0).statistic == 9


def test_nearest_neighbour(grid_a):
    """Metric Grid A: mean 2.515249 m (R spatstat 3.0.3); under random labelling mean 2.517019, sd 0.281589, P 0.4966."""
    found = nearest_neighbour(grid_a, np.ones_like(grid_a), row_spacing=2.5, vine_spacing=1.2, permutations=4999, rng=1)
    assert found.statistic == pytest.approx(2.515249, abs=1e-6)
    assert found.expected == pytest.approx(2.517019, abs=0.02)
    assert found.null_distribution.std() == pytest.approx(0.281589, abs=0.01)
    assert found.pvalue == pytest.approx(0.4966, abs=0.03)
    assert found.share_within[found.radii < 2.4].tolist() == pytest.approx([0.588235], abs=1e-6)


#: Newcombe 1998 and R prop.test(correct=FALSE), binom.test.
LIMITS = [
    (81, 263, (0.2552885, 0.3662096), (0.2527367, 0.3676219)), (15, 148, (0.0623864, 0.1604872), (0.0578440, 0.1616505)),
    (0, 20, (0, 0.1611252), (0, 0.1684335)), (1, 29, (0.0061132, 0.1717552), (0.0008726, 0.1776443)),
    (96, 96, (0.9615244, 1), (0.9623031, 1)),
]  # fmt: skip


@pytest.mark.parametrize(("cases", "vines", "score", "exact"), LIMITS)
def test_limits(cases, vines, score, exact):
    assert wilson(cases, vines) == pytest.approx(score, abs=1e-6)
    assert clopper_pearson(cases, vines) == pytest.approx(exact, abs=1e-6)


def test_incidence():
    assert str(incidence(12, 240)) == "12 of 240 vines, 5.0 % (2.9 to 8.5 %)"
    assert incidence(0, 0).reason == "no vine was scouted"
    clustered = incidence(17, 96, deff=1.71245427)
    assert (clustered.low, clustered.high) == pytest.approx((0.0989276, 0.2966562), abs=1e-6)
    with pytest.raises(ValueError, match="5 cases among 3"):
        incidence(5, 3)


def test_change_and_swing():
    """A pair of seasons counted by hand: 12 only later, 2 only earlier of 50."""
    one, two = np.zeros((2, 25), dtype=bool), np.zeros((2, 25), dtype=bool)
    one.ravel()[:38] = two.ravel()[:36] = True
    two.ravel()[38:50] = True
    found = change(one, two, np.ones_like(one))
    assert (found.only_later, found.only_earlier, found.earlier, found.later) == (12, 2, 38, 48)
    assert found.pvalue == pytest.approx(2 * sum(math.comb(14, k) for k in range(3)) / 2**14)
    assert found.statistic == pytest.approx(0.2)
    assert found.low < 0.2 < found.high
    assert usual_swing([1, 2, 3], [100] * 3).verdict == "cannot tell"
    assert usual_swing([5, 5, 6, 5, 6, 5, 40], [100] * 7).verdict == "outside"
    assert usual_swing([5, 6, 5, 7, 5, 6, 7], [100] * 7).verdict == "inside"


def test_general_weights_meet_the_plain_moments():
    pairs = joined_pairs("rook", np.ones((8, 12), dtype=bool))
    degree = degrees(pairs, 96)
    plain = random_labelling(len(pairs), shared_pairs(degree), 17, 96)
    mean, variance = weighted(2 * len(pairs), 4 * len(pairs), float((4 * degree**2).sum()), 17, 96)
    assert (mean / 2, variance / 4) == pytest.approx((plain.case_case, plain.case_case_variance))
    assert (plain.mixed, plain.mixed_variance) == pytest.approx((50.65701754, 15.89723137), abs=1e-7)  # spdep
