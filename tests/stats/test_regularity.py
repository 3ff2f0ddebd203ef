"""trunkwatch.stats: regularity, transport: by hand, against every plan, against another algorithm, and against every labelling."""

import math
from itertools import combinations, permutations

import numpy as np
import pytest
from scipy.optimize import linear_sum_assignment, linprog

from trunkwatch.stats import regularity, regularity_distance
from trunkwatch.stats.transport import carry

SPACE = {"row_spacing": 2.5, "vine_spacing": 1.5}


def row(*counts, permutations=0, **more):
    return regularity_distance(
        [counts], np.ones((1, len(counts))), row_spacing=1, vine_spacing=1, permutations=permutations, **more
    )


def by_assignment(values, at):
    """Carry unit by unit, each surplus unit to a unit of lack: an assignment, by an algorithm that knows no prices."""
    surplus = values * len(values) - values.sum()
    out = np.repeat(np.arange(len(values)), np.maximum(surplus, 0))
    into = np.repeat(np.arange(len(values)), np.maximum(-surplus, 0))
    length = np.hypot(*(at[out][:, None] - at[into][None]).transpose(2, 0, 1))
    source, target = linear_sum_assignment(length)
    return length[source, target].sum() / len(values)


def test_three_vines_by_hand():
    """3, 0, 0: one unit is carried one meter and one two meters; from the middle both go one meter."""
    assert row(3, 0, 0).distance == pytest.approx(3)
    assert row(0, 3, 0).distance == pytest.approx(2)
    drawn = row(3, 0, 0, permutations=99, rng=1)
    assert set(drawn.null_distribution.round(9)) == {2.0, 3.0}
    assert drawn.expected == pytest.approx(8 / 3, abs=4 * math.sqrt(2 / 9 / 99))
    assert drawn.statistic == pytest.approx(3 / drawn.expected)
    assert drawn.pvalue == pytest.approx(2 / 3, abs=0.2)
    # The end vine, its count held, is always carried 1.5 m; the middle one without always gets its unit from 1 m.
    assert drawn.local_held[0, :2] == pytest.approx([1, -1])
    assert drawn.local_held[0, 2] == pytest.approx(-2 / 1.5, rel=0.15)


def test_local_indices_by_hand_over_all_three_maps():
    """How far each vine's is carried on the map of 3, 0, 0, of 0, 3, 0 and of 0, 0, 3."""
    ways = np.array([[1.5, 1, 2], [1, 1, 1], [2, 1, 1.5]])
    maps = np.array([[3, 0, 0], [0, 3, 0], [0, 0, 3]])
    of_three, of_none, place = (1.5 + 1 + 1.5) / 3, (1 + 2 + 1 + 1 + 2 + 1) / 6, (1.5, 1, 1.5)
    by_hand = [1.5 / (place[0] * of_three), 1 / (place[1] * of_none), 2 / (place[2] * of_none)]
    assert regularity._local(maps, ways)[0] == pytest.approx(np.array(by_hand) * 12 / 9)
    assert regularity._flows(maps[0], np.abs(np.subtract.outer(range(3), range(3))).astype(float)) == (
        pytest.approx(3),
        pytest.approx(ways[0]),
    )


def test_of_plans_as_short_the_one_without_a_long_way_is_taken():
    """1, 1, 0, 0: two ways of 2 m are as long as one of 3 m and one of 1 m."""
    plan = carry(np.ones(2), np.ones(2), np.array([[2.0, 3.0], [1.0, 2.0]]))
    assert sorted(zip(plan.source.tolist(), plan.target.tolist(), strict=True)) == [(0, 0), (1, 1)]
    assert plan.cost == pytest.approx(4)
    assert row(1, 1, 0, 0).distance == pytest.approx(2)


@pytest.mark.parametrize("seed", range(12))
def test_no_plan_of_all_is_shorter(seed):
    """Every way to match 4 units with 4, one by one."""
    rng = np.random.default_rng(seed)
    length = rng.integers(1, 6, (4, 4)).astype(float) if seed % 2 else rng.random((4, 4))
    least = min(sum(length[i, j] for i, j in enumerate(order)) for order in permutations(range(4)))
    assert carry(np.ones(4), np.ones(4), length).cost == pytest.approx(least, rel=1e-9)


@pytest.mark.parametrize("seed", range(8))
def test_the_distance_is_that_of_other_algorithms(seed):
    """Assignment of units, and the linear programme over all ways, on grids with gaps."""
    rng = np.random.default_rng(seed)
    vines = rng.random((5, 7)) > 0.1
    counts = np.where(vines, rng.negative_binomial(1, 0.5, (5, 7)) if seed % 2 else rng.random((5, 7)) < 0.2, 0)
    found = regularity_distance(counts, vines, permutations=0, **SPACE)
    at = np.argwhere(vines) * [2.5, 1.5]
    values = counts[vines].astype(int)
    assert found.distance == pytest.approx(by_assignment(values, at), rel=1e-9)
    surplus = values - values.mean()
    out, into = np.flatnonzero(surplus > 0), np.flatnonzero(surplus < 0)
    length = np.hypot(*(at[out][:, None] - at[into][None]).transpose(2, 0, 1))
    places = np.vstack([np.kron(np.eye(len(out)), np.ones(len(into))), np.kron(np.ones(len(out)), np.eye(len(into)))])
    whole = linprog(length.ravel(), A_eq=places, b_eq=np.concatenate([surplus[out], -surplus[into]]))
    assert found.distance == pytest.approx(whole.fun, rel=1e-7)


def test_a_block_of_hundreds_of_vines_against_another_library():
    """Where the library of optimal transport is installed: its network simplex, on 600 vines."""
    ot = pytest.importorskip("ot", reason="a library of optimal transport, to compare with, is not installed")
    rng = np.random.default_rng(3)
    at = np.argwhere(np.ones((20, 30))) * [2.5, 1.2]
    sick = rng.random(600) < 0.08
    length = np.hypot(*(at[sick][:, None] - at[~sick][None]).transpose(2, 0, 1))
    supply, demand = np.full(sick.sum(), float((~sick).sum())), np.full((~sick).sum(), float(sick.sum()))
    assert carry(supply, demand, length).cost == pytest.approx(
        ot.emd2(supply, demand, length, numItermax=10**7), rel=1e-9
    )


@pytest.mark.long
def test_expectation_and_p_are_those_of_every_labelling():
    """All 84 ways to lay three cases on a block of 3 x 3."""
    ones = np.ones((3, 3))
    distances = []
    for cells in combinations(range(9), 3):
        labels = np.zeros(9, dtype=bool)
        labels[list(cells)] = True
        distances.append(regularity_distance(labels.reshape(3, 3), ones, permutations=0, **SPACE).distance)
    cases = [[1, 1, 0], [1, 0, 0], [0, 0, 0]]
    drawn = regularity_distance(cases, ones, permutations=299, rng=2, **SPACE)
    seen = np.array(distances)
    assert drawn.expected == pytest.approx(seen.mean(), abs=4 * seen.std() / math.sqrt(299))
    exact = (seen >= drawn.distance - 1e-9).mean()
    assert drawn.pvalue == pytest.approx(exact, abs=4 * math.sqrt(exact * (1 - exact) / 299) + 4e-3)
    assert set(drawn.null_distribution.round(6)) <= set(seen.round(6))


def test_a_patch_is_a_patch_and_scattered_counts_are_not():
    counts = np.zeros((8, 12), dtype=int)
    counts[:3, :4] = 3
    found = regularity_distance(counts, np.ones_like(counts), permutations=99, rng=1, **SPACE)
    assert found.pvalue == found.patch_pvalue == found.gap_pvalue == 0.01
    assert found.statistic > 2
    assert (found.local[:3, :4] > 1.5).sum() >= 8
    assert (found.local[counts == 0] < 0).all()
    even = np.zeros_like(counts)
    even[::4, 1::3] = even[2::4, ::3] = 1
    regular = regularity_distance(even, np.ones_like(counts), alternative="less", permutations=99, rng=1, **SPACE)
    assert regular.statistic < 0.8
    assert regular.pvalue == 0.01


def test_a_mirror_turns_nothing_but_the_map():
    rng = np.random.default_rng(5)
    counts = rng.poisson(0.7, (4, 6))
    found = regularity_distance(counts, np.ones((4, 6)), permutations=0, **SPACE).distance
    for turned in (counts[::-1], counts[:, ::-1]):
        assert regularity_distance(turned, np.ones((4, 6)), permutations=0, **SPACE).distance == pytest.approx(found)
    places = np.stack(np.meshgrid(np.arange(6) * 1.5, np.arange(4) * 2.5), axis=-1)[..., ::-1] + [100.0, -40.0]
    assert regularity_distance(counts, np.ones((4, 6)), places=places, permutations=0).distance == pytest.approx(found)


def test_what_is_masked_or_empty_does_not_count():
    counts = np.array([[2.0, 0.0, np.nan], [0.0, 1.0, 0.0]])
    found = regularity_distance(counts, np.ones((2, 3)), permutations=0, **SPACE)
    plain = regularity_distance(np.nan_to_num(counts), ~np.isnan(counts), permutations=0, **SPACE)
    hidden = regularity_distance(np.ma.masked_invalid(counts), np.ones((2, 3)), permutations=0, **SPACE)
    assert found.distance == plain.distance == hidden.distance > 0
    assert found.n_vines == plain.n_vines == hidden.n_vines == 5
    assert found.n_cases == 3


@pytest.mark.parametrize(
    ("counts", "reason"),
    [([0, 0, 0], "there is no case"), ([2, 2, 2], "every vine has the same count"), ([3, 0, 0], "no permutations")],
)
def test_where_there_is_no_test_a_reason_stands(counts, reason):
    found = row(*counts)
    assert reason in found.reason
    assert reason in str(found)
    assert math.isnan(found.pvalue)
    assert found.distance == (3 if counts[0] == 3 else 0)


@pytest.mark.parametrize(
    ("counts", "more", "message"),
    [
        ([[1.5, 0]], SPACE, r"counts is 1\.5 at row index 0, station index 0"),
        ([[-1, 0]], SPACE, "counts is -1"),
        ([[1, 0, 0]], SPACE, r"counts is \(1, 3\) but vines is \(1, 2\)"),
        ([["many", 0]], SPACE, "whole numbers from 0 on are needed"),
        ([[1, 0]], {}, "or neither"),
        ([[1, 0]], {"row_spacing": 2.0}, "vine_spacing None: meters above 0"),
        ([[1, 0]], {"row_spacing": 2.0, "vine_spacing": 0.0}, r"vine_spacing 0\.0"),
        ([[1, 0]], {**SPACE, "places": np.zeros((1, 2, 2))}, "beside spacings"),
        ([[1, 0]], {"places": np.zeros((1, 2))}, r"places is \(1, 2\)"),
        ([[1, 0]], {"places": np.full((1, 2, 2), np.nan)}, "row index 0, station index 0 has no place"),
        ([[1, 0]], {**SPACE, "alternative": "more"}, "alternative is 'more'"),
    ],
)
def test_what_cannot_be_measured_is_refused(counts, more, message):
    with pytest.raises(ValueError, match=message):
        regularity_distance(counts, [[1, 1]], **more)


def test_counts_outside_the_mask_and_too_many_vines_are_refused():
    with pytest.raises(ValueError, match="counts is 1 outside the vines that count, at row index 0, station index 1"):
        regularity_distance([[1, 1]], [[1, 0]], **SPACE)
    with pytest.raises(ValueError, match="2550 vines count: at most 2500"):
        regularity_distance(np.eye(51, 50), np.ones((51, 50)), **SPACE)
