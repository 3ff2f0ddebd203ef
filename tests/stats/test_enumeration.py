"""trunkwatch.stats: every labelling of small maps with gaps counted one by one, by plain loops over cells."""

import itertools
import math
from collections import Counter

import numpy as np
import pytest

from trunkwatch.stats.dispersion_indices import of_counts, quadrat_counts
from trunkwatch.stats.focus_sizes import foci
from trunkwatch.stats.gradients import gradient
from trunkwatch.stats.history_shuffle import all_seasons
from trunkwatch.stats.join_counts import join_count, join_orders
from trunkwatch.stats.joins import offsets_within
from trunkwatch.stats.lags import lag_pairs
from trunkwatch.stats.local_counts import local_count
from trunkwatch.stats.near_old import _inverted_law, _stratum_law, new_near_old
from trunkwatch.stats.nearest import nearest_neighbour
from trunkwatch.stats.nearest_kinds import nearest_kind
from trunkwatch.stats.row_runs import runs

#: Maps with gaps: 1 a vine, 0 none.
MASKS = {
    "3 x 3": np.ones((3, 3), dtype=bool),
    "3 x 4": np.array([[1, 1, 0, 1], [1, 1, 1, 1], [1, 0, 1, 1]], dtype=bool),
    "4 x 5": np.array([[1, 1, 1, 0, 1], [0, 1, 1, 1, 1], [1, 1, 0, 1, 1], [1, 0, 0, 1, 1]], dtype=bool),
}
OFFSETS = {
    "row": [(0, 1)], "across": [(1, 0)], "rook": [(0, 1), (1, 0)], "queen": [(0, 1), (1, 0), (1, 1), (1, -1)],
    "diagonal": [(1, 1), (1, -1)],
}  # fmt: skip


def cells_of(mask):
    return [tuple(cell) for cell in np.argwhere(mask).tolist()]


def labellings(mask, cases):
    """Yield every set of so many cells."""
    return (set(picked) for picked in itertools.combinations(cells_of(mask), cases))


def pairs_in(picked, offsets):
    return sum((r + dr, s + ds) in picked for r, s in picked for dr, ds in offsets)


def as_map(mask, picked):
    out = np.zeros_like(mask)
    for cell in picked:
        out[cell] = True
    return out


@pytest.mark.parametrize("mask", MASKS.values(), ids=MASKS)
@pytest.mark.parametrize("rule", OFFSETS)
def test_joins(mask, rule):
    """Moments, and both one-sided p of the last labelling."""
    cases = 4
    counts = [pairs_in(picked, OFFSETS[rule]) for picked in labellings(mask, cases)]
    last = as_map(mask, list(labellings(mask, cases))[len(counts) // 3])
    seen = pairs_in(set(cells_of(last)), OFFSETS[rule])
    for alternative, share in (
        ("greater", np.mean(np.array(counts) >= seen)),
        ("less", np.mean(np.array(counts) <= seen)),
    ):
        found = join_count(last, mask, joins=rule, permutations=4000, rng=1, alternative=alternative)
        assert found.case_case == seen
        assert (found.expected_case_case, found.variance_case_case) == pytest.approx((np.mean(counts), np.var(counts)))
        assert found.pvalue == pytest.approx(share, abs=1e-10 if rule == "row" else 0.035)
        assert found.pvalue_normal == pytest.approx(
            0.5 * math.erfc((found.z if alternative == "greater" else -found.z) / math.sqrt(2))
        )


def test_two_sided_doubles_the_smaller_tail(grid_a):
    for rule in ("row", "queen"):
        one, two = (
            join_count(grid_a, np.ones_like(grid_a), joins=rule, alternative=a, permutations=999, rng=5)
            for a in ("greater", "two-sided")
        )
        assert two.pvalue == pytest.approx(2 * one.pvalue)
        assert two.pvalue_normal == pytest.approx(2 * one.pvalue_normal)


@pytest.mark.parametrize("mask", MASKS.values(), ids=MASKS)
def test_every_lag(mask):
    cases = 3
    given = as_map(mask, list(labellings(mask, cases))[7])
    found = lag_pairs(given, mask, max_rows=2, max_stations=3, permutations=3000, rng=2)
    lags = [
        (dr, ds)
        for dr in range(found.max_rows + 1)
        for ds in range(-found.max_stations, found.max_stations + 1)
        if dr or ds > 0
    ]
    counts = {lag: np.array([pairs_in(picked, [lag]) for picked in labellings(mask, cases)]) for lag in lags}
    largest = np.full(len(counts[lags[0]]), -np.inf)
    for lag, many in counts.items():
        seen, mean, z = found.at(*lag)
        assert seen == pairs_in(set(cells_of(given)), [lag])
        assert mean == pytest.approx(many.mean())
        if many.std() > 0:
            assert z == pytest.approx((seen - many.mean()) / many.std())
            largest = np.maximum(largest, (many - many.mean()) / many.std())
        else:
            assert math.isnan(z)
    assert found.pvalue == pytest.approx(np.mean(largest >= found.statistic - 1e-9), abs=0.035)
    assert found.limit == pytest.approx(np.quantile(found.null_distribution, 0.95))
    ahead = found.max_stations
    assert np.isnan(found.ratio[0, : ahead + 1]).all()
    assert np.isnan(found.z[0, : ahead + 1]).all()


@pytest.mark.parametrize("mask", MASKS.values(), ids=MASKS)
def test_local_counts(mask):
    """Given that a vine is a case, the others fall on the other vines at random."""
    cases = 4
    given = as_map(mask, list(labellings(mask, cases))[3])
    found = local_count(given, mask)
    both = [*OFFSETS["queen"], *[(-r, -s) for r, s in OFFSETS["queen"]]]
    own = []
    for cell in cells_of(given):
        others = [one for one in cells_of(mask) if one != cell]
        near = {(cell[0] + r, cell[1] + s) for r, s in both}
        seen = len(near & set(cells_of(given)))
        tail = np.mean([len(near & set(p)) >= seen for p in itertools.combinations(others, cases - 1)])
        assert found.counts[cell] == seen
        assert found.pvalues[cell] == pytest.approx(tail)
        own.append(found.pvalues[cell])
    ordered = np.minimum(1, np.maximum.accumulate(np.sort(own) * np.arange(cases, 0, -1)))
    assert np.sort(found.corrected[given]) == pytest.approx(ordered)
    assert found.pvalue == pytest.approx(ordered[0])
    assert found.statistic == found.counts.max()


def test_runs_given_the_cases_of_every_stretch():
    """Two rows, one broken by a gap; the law of the summed runs over all labellings that keep each stretch's cases."""
    mask = np.array([[1, 1, 1, 1, 0, 1, 1, 1], [1, 1, 1, 1, 1, 0, 0, 1]], dtype=bool)
    given = np.array([[1, 1, 0, 0, 0, 1, 0, 1], [0, 1, 1, 0, 0, 0, 0, 1]], dtype=bool)
    parts = [("1100", 2), ("101", 2), ("01100", 2)]
    total = Counter({0: 1})
    for text, cases in parts:
        law = Counter()
        for picked in itertools.combinations(range(len(text)), cases):
            line = np.isin(np.arange(len(text)), picked)
            law[1 + int((line[1:] != line[:-1]).sum())] += 1
        total = Counter({a + b: 0 for a in total for b in law}) + _sum_of(total, law)
    seen = 2 + 3 + 3
    few = sum(n for k, n in total.items() if k <= seen) / sum(total.values())
    many = sum(n for k, n in total.items() if k >= seen) / sum(total.values())
    found = runs(given, mask)
    assert (found.statistic, len(found.rows)) == (seen, 4)
    assert found.pvalue == pytest.approx(few)
    assert runs(given, mask, alternative="greater").pvalue == pytest.approx(many)
    assert runs(given, mask, alternative="two-sided").pvalue == pytest.approx(min(1, 2 * min(few, many)))
    values = [k for k, n in total.items() for _ in range(n)]
    assert (found.expected, found.variance) == pytest.approx((np.mean(values), np.var(values)))


def _sum_of(one, other):
    out = Counter()
    for a, b in itertools.product(one, other):
        out[a + b] += one[a] * other[b]
    return out


@pytest.mark.parametrize("mask", MASKS.values(), ids=MASKS)
def test_foci_of_every_labelling(mask):
    """Components by flood fill over sets."""
    cases = 4
    for neighbours in ("queen", "rook"):
        step = OFFSETS[neighbours]
        both = [*step, *[(-r, -s) for r, s in step]]
        told = np.array([_sizes(picked, both) for picked in labellings(mask, cases)])
        given = as_map(mask, next(iter(labellings(mask, cases))))
        found = foci(given, mask, neighbours=neighbours, permutations=4000, rng=2)
        assert (found.statistic, found.single, found.largest) == tuple(told[0])
        means = (found.expected, found.expected_single, found.expected_largest)
        assert means == pytest.approx(tuple(told.mean(axis=0)), abs=0.08)
        assert found.pvalue == pytest.approx(np.mean(told[:, 0] <= found.statistic), abs=0.035)
        assert found.largest_pvalue == pytest.approx(np.mean(told[:, 2] >= found.largest), abs=0.035)


def _sizes(picked, steps):
    left, sizes = set(picked), []
    while left:
        front, size = [left.pop()], 0
        while front:
            r, s = front.pop()
            size += 1
            near = {(r + dr, s + ds) for dr, ds in steps} & left
            left -= near
            front += near
        sizes.append(size)
    return len(sizes), sum(size == 1 for size in sizes), max(sizes)


@pytest.mark.parametrize("mask", MASKS.values(), ids=MASKS)
def test_means_over_the_cases(mask):
    rng = np.random.default_rng(5)
    field = rng.normal(size=mask.shape)
    cases = 3
    means = np.array([np.mean([field[cell] for cell in picked]) for picked in labellings(mask, cases)])
    given = as_map(mask, list(labellings(mask, cases))[11])
    seen = field[given].mean()
    tails = {"greater": np.mean(means >= seen - 1e-12), "less": np.mean(means <= seen + 1e-12)}
    tails["two-sided"] = min(1, 2 * min(tails.values()))
    for alternative, tail in tails.items():
        found = gradient(given, mask, field, alternative=alternative, permutations=4000, rng=3)
        assert (found.statistic, found.expected, found.variance) == pytest.approx((seen, means.mean(), means.var()))
        assert found.pvalue == pytest.approx(tail, abs=0.05)
        plain = gradient(given, mask, field, alternative=alternative, permutations=0)
        assert plain.pvalue == plain.pvalue_normal == pytest.approx(found.pvalue_normal)
        above = 0.5 * math.erfc(found.z / math.sqrt(2))
        told = {"greater": above, "less": 1 - above, "two-sided": 2 * min(above, 1 - above)}
        assert plain.pvalue == pytest.approx(told[alternative])


@pytest.mark.parametrize("mask", MASKS.values(), ids=MASKS)
def test_nearest_cases_and_nearest_kinds(mask):
    """Distances by hand in metres; ties at the nearest shared; `neighbours` of 2 too."""
    cases, row_m, vine_m = 4, 2.5, 1.2

    def away(a, b):
        return round(math.hypot((a[0] - b[0]) * row_m, (a[1] - b[1]) * vine_m), 9)

    near = np.array([np.mean([min(away(a, b) for b in p if b != a) for a in p]) for p in labellings(mask, cases)])
    given = as_map(mask, list(labellings(mask, cases))[5])
    found = nearest_neighbour(given, mask, row_spacing=row_m, vine_spacing=vine_m, permutations=3000, rng=4)
    assert found.statistic == pytest.approx(near[5])
    assert found.expected == pytest.approx(near.mean(), rel=0.03)
    assert found.pvalue == pytest.approx(np.mean(near <= near[5] + 1e-9), abs=0.035)
    own = [min(away(a, b) for b in cells_of(given) if b != a) for a in cells_of(given)]
    assert found.share_within == pytest.approx([np.mean(np.array(own) <= r) for r in found.radii])
    for neighbours in (1, 2):
        weight = {}
        for a in cells_of(mask):
            others = sorted((away(a, b), b) for b in cells_of(mask) if b != a)
            reach = others[neighbours - 1][0]
            nearer, tied = [b for d, b in others if d < reach], [b for d, b in others if d == reach]
            weight |= {(a, b): 1.0 for b in nearer}
            weight |= {(a, b): (neighbours - len(nearer)) / len(tied) for b in tied}
        sums = np.array([sum(w for (a, b), w in weight.items() if a in p and b in p) for p in labellings(mask, cases)])
        kind = nearest_kind(
            given, mask, row_spacing=row_m, vine_spacing=vine_m, neighbours=neighbours, permutations=3000, rng=5
        )
        assert (kind.statistic, kind.expected, kind.variance) == pytest.approx((sums[5], sums.mean(), sums.var()))
        assert kind.pvalue == pytest.approx(np.mean(sums >= sums[5] - 1e-9), abs=0.035)


def test_index_of_quadrats_over_all_labellings():
    """Quadrats that tile a block of M vines looked at whole: the index is M / (M - 1) on average, exactly."""
    mask = np.ones((2, 4), dtype=bool)
    seen = Counter(tuple(quadrat_counts(as_map(mask, p), mask, (2, 2))[0].tolist()) for p in labellings(mask, 2))
    found = {x: of_counts(np.array(x), np.array([4, 4])).statistic for x in seen}
    assert sum(n * found[x] for x, n in seen.items()) / 28 == pytest.approx(8 / 7)


def test_new_near_old_by_all_ways_to_fall_ill():
    mask = MASKS["4 x 5"]
    old = as_map(mask, [(0, 0), (1, 2), (3, 4)])
    risk = mask & ~old
    both = [*OFFSETS["queen"], *[(-r, -s) for r, s in OFFSETS["queen"]]]
    weight = {(r, s): sum((r + a, s + b) in set(cells_of(old)) for a, b in both) for r, s in cells_of(risk)}
    sums = np.array([sum(weight[cell] for cell in p) for p in labellings(risk, 4)])
    new = as_map(mask, list(labellings(risk, 4))[40])
    tails = {"greater": np.mean(sums >= sums[40]), "less": np.mean(sums <= sums[40])}
    tails["two-sided"] = min(1, 2 * min(tails.values()))
    for alternative, tail in tails.items():
        found = new_near_old(old, new, risk, alternative=alternative)
        assert found.statistic == sums[40]
        assert (found.expected, found.variance) == pytest.approx((sums.mean(), sums.var()))
        assert found.pvalue == pytest.approx(tail)
    assert (found.n_old, found.n_new, found.n_at_risk) == (3, 4, len(cells_of(risk)))


@pytest.mark.parametrize(("size", "new"), [(40, 7), (150, 30), (150, 110)])
def test_the_inverted_law_is_the_counted_one(size, new):
    rng = np.random.default_rng(size)
    at = rng.choice(9, size, p=[0.5, 0.2, 0.1, 0.08, 0.05, 0.04, 0.01, 0.01, 0.01])
    counted, inverted = _stratum_law(at, new), _inverted_law(at, new)
    counted, inverted = (np.pad(law, (0, max(counted.size, inverted.size) - law.size)) for law in (counted, inverted))
    assert inverted == pytest.approx(counted, abs=3e-13)


def test_histories_shuffled_every_way():
    """Two seasons on a row of five, of which the last vine counts in the second only: four histories in every order."""
    cases = np.array([[[1, 1, 0, 0, 0]], [[0, 1, 1, 0, 1]]], dtype=bool)
    vines = np.array([[[1, 1, 1, 1, 0]], [[1, 1, 1, 1, 1]]], dtype=bool)
    found = all_seasons(cases, vines, joins="row", permutations=4000, rng=6)
    scores = []
    for order in itertools.permutations(range(4)):
        moved = cases[:, 0][:, [*order, 4]]
        scores.append(sum((moved[t, 1:] & moved[t, :-1]).sum() / found.deviation[t] for t in range(2)))
    # Along a row all pairs of neighbours stand in the same seasons but the last, which joins in the second only.
    shift = (found.expected / found.deviation).sum()
    assert found.statistic == pytest.approx(scores[0] - shift)
    assert found.pvalue == pytest.approx(np.mean(np.array(scores) >= scores[0] - 1e-9), abs=0.035)


def test_orders_by_one_maximum(grid_a):
    """The maximum over a single order is that order's own test; over more it is a larger p."""
    vines = np.ones_like(grid_a)
    one = join_orders(grid_a, vines, joins="across", orders=(1,), permutations=4999, rng=7)
    own = join_count(grid_a, vines, joins="across", permutations=4999, rng=8)
    assert one.statistic == pytest.approx(own.z)
    assert one.pvalue == pytest.approx(own.pvalue, abs=0.01)
    more = join_orders(grid_a, vines, joins="across", orders=(1, 2, 3, 4, 5), permutations=4999, rng=7)
    assert [test.n_joins for test in more.counts] == [84, 72, 60, 48, 36]
    assert one.pvalue < more.pvalue == more.pvalues[0] <= 5 * one.pvalue + 0.01
    assert more.statistic == max(test.z for test in more.counts)
    assert min(more.pvalues) == more.pvalue


def test_offsets_in_a_band_of_metres():
    """Vines closer than a metre; a band leaves out its inner limit and takes its outer one."""
    assert offsets_within(1.5, 2.0, 0.5) == [(0, 1), (0, 2), (0, 3)]
    assert offsets_within(2.0, 2.0, 0.5, beyond_m=1.5) == [(0, 4), (1, 0)]
    for numbers in ((0, 1, 1), (1, 0, 1), (1, 1, 0)):
        with pytest.raises(ValueError, match="above 0"):
            offsets_within(*numbers)
    with pytest.raises(ValueError, match="widen the band"):
        offsets_within(0.4, 2.0, 0.5)


def test_strata_of_two_vines():
    """Two pairs of vines with one case each: of the pair 0, 2 the mean is 1 and the variance 1, of 5, 9 they are 7 and 4."""
    strata, field = np.array([[0, 0, 1, 1]]), np.array([[0, 2, 5, 9]])
    found = gradient([[1, 0, 0, 1]], np.ones((1, 4)), field, strata=strata, permutations=99, rng=1)
    assert (found.statistic, found.expected, found.variance) == pytest.approx((4.5, 4, 5 / 4))
