"""Are cases neighbors more often than chance would have it, given how many there are?"""

import itertools
import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtr

from trunkwatch.stats.chance import (
    Alternative,
    Rng,
    check_alternative,
    exact_pvalue,
    generator,
    permutation_pvalue,
)
from trunkwatch.stats.joins import Joins, half_offsets, joined_pairs
from trunkwatch.stats.labels import checked_labels, checked_strata, nothing_to_move
from trunkwatch.stats.moments import degrees, random_labelling, shared_pairs
from trunkwatch.stats.relabelling import BitBlock, null_joins
from trunkwatch.stats.result import Result
from trunkwatch.stats.runs_law import joined_pairs_law, stretches

__all__ = ["JoinCount", "JoinOrders", "join_count", "join_orders"]


@dataclass(frozen=True, slots=True)
class JoinCount(Result):
    """Case-case, mixed and free-free joins, and how far the first lies from chance.

    Attributes
    ----------
    statistic : int
        Joins between two cases (the same as `case_case`).
    case_case, case_free, free_free : int
        Joins seen; together they are `n_joins`.
    expected_case_case, variance_case_case : float
        Under random labelling, inside strata where there are any.
    z : float
        Distance from chance in standard deviations: an effect size, no test. nan where the
        variance is 0.
    pvalue : float
        By the method named; nan where no test is possible.
    pvalue_normal : float
        From z, for comparison only: far too small where cases are few.
    null_distribution : (permutations,) int array
        Case-case joins of the relabelled maps; empty where the p-value is exact.
    n_cases, n_vines, n_joins : int
        Cases, vines that count, joins between them.
    method : str
        exact (runs law), permutation, or normal.
    reason : str
        Why no test is possible; empty where one is.
    alternative : {"greater", "less", "two-sided"}
        Which way the test looked.
    """

    statistic: int
    case_case: int
    case_free: int
    free_free: int
    expected_case_case: float
    variance_case_case: float
    z: float
    pvalue: float
    pvalue_normal: float
    n_cases: int
    n_vines: int
    n_joins: int
    alternative: Alternative
    method: str
    reason: str
    null_distribution: NDArray[np.int64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"{self.case_case} case-case joins; no test: {self.reason}"
        return f"{self.case_case} case-case joins, {self.expected_case_case:.1f} expected, p = {self.pvalue:.3g}"


def join_count(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    joins: Joins = "rook",
    order: int = 1,
    strata: ArrayLike | None = None,
    alternative: Alternative = "greater",
    permutations: int = 9999,
    rng: Rng = None,
) -> JoinCount:
    """Join-count test of aggregation under random labelling.

    Parameters
    ----------
    cases : (rows, stations) bool array_like
        The cases.
    vines : (rows, stations) bool array_like
        The vines that count; nothing else enters the test.
    joins : {"rook", "row", "across", "queen", "diagonal"}, offsets, or (k, 2) int array
        Which vines are neighbors; see `trunkwatch.stats.joins.half_offsets`. An array names
        pairs of flat cell indices.
    order : int
        How many vines apart.
    strata : (rows, stations) array_like, optional
        Labels move only inside a stratum (a row, a cultivar, a sub-block).
    alternative : {"greater", "less", "two-sided"}
        "greater" tests for clustering.
    permutations : int
        Labellings drawn where no exact law serves; 0 leaves the normal approximation.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    JoinCount
        Joins seen and expected, z and p-value; nan with a reason where no test is possible.

    Raises
    ------
    ValueError
        If the shapes differ, a case lies outside the vines that count, or a rule is unknown.

    Notes
    -----
    Along the row (``joins="row"``, order 1, no strata) the p-value is exact: runs theory over
    all stretches between gaps. The normal p is given for comparison and never used where
    labellings are drawn: joins are skewed when cases are few.

    References
    ----------
    .. [1] Moran, P.A.P. (1948) J. R. Stat. Soc. B 10, 243-251.
    .. [2] Madden, L.V., Louie, R., Abt, J.J. and Knoke, J.K. (1982) Phytopathology 72, 195-198.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> found = tw.stats.join_count(cases, vines, joins="row")
    >>> print(found)
    2 case-case joins, 1.0 expected, p = 0.239
    >>> found.method, found.n_joins
    ('exact', 15)
    >>> print(tw.stats.join_count(cases, vines, joins="rook", permutations=999, rng=1))
    4 case-case joins, 1.8 expected, p = 0.049
    """
    check_alternative(alternative)
    marked, mask = checked_labels(cases, vines)
    groups = checked_strata(strata, mask)
    pairs = joined_pairs(joins, mask, order)
    seen = _counts(marked, pairs)
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    mean, variance = _moments(pairs, mask, marked, groups)
    reason = _no_test(n_cases, n_vines, len(pairs), variance)
    z = (seen[0] - mean) / math.sqrt(variance) if variance > 1e-12 else math.nan
    normal = _normal_pvalue(z, alternative)
    null = np.empty(0, dtype=np.int64)
    pvalue, method = math.nan, "none"
    if not reason:
        along = isinstance(joins, str) and joins == "row" and order == 1 and groups is None
        if along:
            law = joined_pairs_law(stretches(mask), n_cases)
            pvalue, method = exact_pvalue(seen[0], np.arange(law.size), law, alternative), "exact"
            pvalue = max(pvalue, 1e-12)  # the law is exact to about 1e-13
        elif permutations:
            null = null_joins(marked, mask, joins, order, permutations, generator(rng), groups)
            pvalue, method = permutation_pvalue(seen[0], null, alternative), "permutation"
        else:
            pvalue, method = normal, "normal"
    return JoinCount(
        seen[0],
        *seen,
        mean,
        variance,
        z,
        pvalue,
        normal,
        n_cases,
        n_vines,
        len(pairs),
        alternative,
        method,
        reason,
        null,
    )


def _counts(marked: NDArray[np.bool_], pairs: NDArray[np.int64]) -> tuple[int, int, int]:
    flat = marked.ravel()
    ends = flat[pairs[:, 0]].astype(np.int64) + flat[pairs[:, 1]]
    kinds = np.bincount(ends, minlength=3)
    return int(kinds[2]), int(kinds[1]), int(kinds[0])


def _moments(
    pairs: NDArray[np.int64],
    mask: NDArray[np.bool_],
    marked: NDArray[np.bool_],
    strata: NDArray[np.int64] | None,
) -> tuple[float, float]:
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    if not len(pairs):
        return 0.0, 0.0
    if strata is None:
        moments = random_labelling(len(pairs), shared_pairs(degrees(pairs, mask.size)), n_cases, n_vines)
        return moments.case_case, moments.case_case_variance
    return _stratified_moments(pairs, marked, mask, strata)


def _stratified_moments(
    pairs: NDArray[np.int64], marked: NDArray[np.bool_], mask: NDArray[np.bool_], strata: NDArray[np.int64]
) -> tuple[float, float]:
    """Mean and variance when labels move only inside strata.

    The probability that a set of vines are all cases is a product over the strata they lie in,
    so the sum over pairs of joins is taken class by class: a class is the pair of strata that
    a join connects.
    """
    group, flat_mask, flat = strata.ravel(), mask.ravel(), marked.ravel()
    total = np.bincount(group[flat_mask])
    held = np.bincount(group[flat_mask & flat], minlength=total.size)
    p = np.array([[_chance(held[s], total[s], k) for k in range(5)] for s in range(total.size)])
    a = np.sort(group[pairs], axis=1)
    kinds, kind, size = np.unique(a, axis=0, return_inverse=True, return_counts=True)
    kind = kind.reshape(-1)
    both = np.where(kinds[:, 0] == kinds[:, 1], p[kinds[:, 0], 2], p[kinds[:, 0], 1] * p[kinds[:, 1], 1])
    mean = float((size * both).sum())
    shared, threes = _shared(pairs, kind, kinds.shape[0], group, p)
    second = mean + threes
    apart = np.outer(size, size) - np.diag(size) - shared
    second += float((apart * _four(kinds, p)).sum())
    return mean, max(second - mean * mean, 0.0)


def _chance(cases: int, vines: int, k: int) -> float:
    share = 1.0
    for step in range(k):
        share *= (cases - step) / (vines - step) if vines > step else 0.0
    return max(share, 0.0)


def _four(kinds: NDArray[np.int64], p: NDArray[np.float64]) -> NDArray[np.float64]:
    """Chance that two joins without a common vine are both case-case, by their classes."""
    count = np.zeros((len(kinds), p.shape[0]), dtype=np.int64)
    np.add.at(count, (np.arange(len(kinds)), kinds[:, 0]), 1)
    np.add.at(count, (np.arange(len(kinds)), kinds[:, 1]), 1)
    out = np.ones((len(kinds), len(kinds)))
    for stratum in range(p.shape[0]):
        together = count[:, stratum][:, None] + count[:, stratum][None, :]
        out *= p[stratum][together]
    return out


#: So many pairs of joins are held at a time.
_HELD = 2_000_000


def _meeting(
    pairs: NDArray[np.int64], size: int
) -> Iterator[tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]]:
    """Yield the ordered pairs of joins that share a vine, in parts: the vine, and the two joins."""
    ends = pairs.ravel()
    order = np.argsort(ends, kind="stable")
    centre, joins = ends[order], order // 2
    degree = np.bincount(centre, minlength=size)[centre]  # of the vine of each end
    first = np.searchsorted(centre, centre)
    bounds = np.searchsorted(np.cumsum(degree), np.arange(0, int(degree.sum()) + _HELD, _HELD))
    for start, stop in itertools.pairwise([*bounds.tolist(), len(centre)]):
        if start == stop:
            continue
        many = degree[start:stop]
        one = np.repeat(np.arange(start, stop), many)
        step = np.arange(one.size) - np.repeat(np.cumsum(many) - many, many)
        other = first[one] + step
        apart = one != other
        one, other = one[apart], other[apart]
        yield centre[one], joins[one], joins[other]


def _shared(
    pairs: NDArray[np.int64],
    kind: NDArray[np.int64],
    kinds: int,
    group: NDArray[np.int64],
    p: NDArray[np.float64],
) -> tuple[NDArray[np.float64], float]:
    """Count the ordered pairs of joins that share a vine by their classes, and sum the chance that all three are cases."""
    counted, total = np.zeros(kinds * kinds), 0.0
    ends = pairs.sum(axis=1)
    for centre, one, other in _meeting(pairs, group.size):
        counted += np.bincount(kind[one] * kinds + kind[other], minlength=kinds * kinds)
        total += float(_three(group[centre], group[ends[one] - centre], group[ends[other] - centre], p).sum())
    return counted.reshape(kinds, kinds), total


def _three(
    a: NDArray[np.int64], b: NDArray[np.int64], c: NDArray[np.int64], p: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Chance that three vines of these strata are all cases."""
    before_b = (a == b).astype(np.int64)
    before_c = (a == c).astype(np.int64) + (b == c)
    # Within a stratum the chances of one, two, three cases stand to each other as its draws without replacement.
    steps = np.divide(p[:, 1:], p[:, :-1], out=np.zeros_like(p[:, 1:]), where=p[:, :-1] > 0)
    chance: NDArray[np.float64] = steps[a, 0] * steps[b, before_b] * steps[c, before_c]
    return chance


def _no_test(cases: int, vines: int, joins: int, variance: float) -> str:
    if vines == 0:
        return "no vine counts"
    reason = nothing_to_move(cases, vines, fewest=2)
    if reason:
        return reason
    if joins == 0:
        return "no two vines are neighbors"
    if variance <= 1e-12:
        return "every labelling makes the same number of joins"
    return ""


def _normal_pvalue(z: float, alternative: Alternative) -> float:
    if math.isnan(z):
        return math.nan
    above, below = float(ndtr(-z)), float(ndtr(z))
    if alternative == "greater":
        return above
    return below if alternative == "less" else min(1.0, 2 * min(above, below))


@dataclass(frozen=True, slots=True)
class JoinOrders(Result):
    """One test over several orders of neighbors.

    Attributes
    ----------
    orders : tuple of int
        How many vines apart.
    counts : tuple of JoinCount
        The test of each order by itself (their own p-values are not corrected).
    statistic : float
        Largest z over the orders.
    pvalue : float
        Permutation p of that largest z: one p for all orders.
    pvalues : tuple of float
        Of each order, corrected for all of them by the same maximum.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    orders: tuple[int, ...]
    counts: tuple[JoinCount, ...]
    statistic: float
    pvalue: float
    pvalues: tuple[float, ...]
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"orders {self.orders[0]} to {self.orders[-1]}: no test: {self.reason}"
        return (
            f"largest z {self.statistic:.2f} over orders {self.orders[0]} to {self.orders[-1]}, p = {self.pvalue:.3g}"
        )


def join_orders(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    joins: Joins = "row",
    orders: Sequence[int] = (1, 2, 3, 4, 5),
    permutations: int = 9999,
    rng: Rng = None,
) -> JoinOrders:
    """Join counts at several orders with one maximum-statistic p-value over them, for clustering.

    Parameters
    ----------
    cases, vines, joins, permutations, rng
        As in `join_count`; `joins` must be a named rule.
    orders : sequence of int
        How many vines apart.

    Returns
    -------
    JoinOrders
        The count of each order, one p-value over all, and each order's own, corrected.

    Raises
    ------
    ValueError
        As in `join_count`, or if there is no order or no permutation.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> found = tw.stats.join_orders(cases, vines, orders=(1, 2), permutations=199, rng=1)
    >>> print(found)
    largest z 1.30 over orders 1 to 2, p = 0.35
    """
    if not isinstance(joins, str):
        raise ValueError("joins must be a named rule here: orders of pairs of your own are not known")
    if not len(orders) or permutations < 1:
        raise ValueError(f"{len(orders)} orders and {permutations} permutations: one of each at least is needed")
    marked, mask = checked_labels(cases, vines)
    counts = tuple(join_count(marked, mask, joins=joins, order=k, permutations=0) for k in orders)
    usable = [i for i, found in enumerate(counts) if not found.reason]
    if not usable:
        return JoinOrders(tuple(orders), counts, math.nan, math.nan, (math.nan,) * len(counts), counts[0].reason)
    offsets = [half_offsets(joins, orders[i]) for i in usable]
    block = BitBlock(mask, [offset for group in offsets for offset in group])
    separate = []
    for group in offsets:
        part = BitBlock(mask, [offset for group_ in offsets for offset in group_])
        part.shifts = [dr * part.stride + ds for dr, ds in group if dr < mask.shape[0] and abs(ds) < mask.shape[1]]
        separate.append(part)
    chance = generator(rng)
    null = np.concatenate(
        [
            np.column_stack([part.count(found) for part in separate])
            for found in block.batches(counts[0].n_cases, permutations, chance)
        ]
    )
    mean = np.array([counts[i].expected_case_case for i in usable])
    deviation = np.sqrt([counts[i].variance_case_case for i in usable])
    largest = ((null - mean) / deviation).max(axis=1)
    seen = {i: counts[i].z for i in usable}
    corrected = tuple(permutation_pvalue(seen[i], largest) if i in seen else math.nan for i in range(len(counts)))
    top = max(seen.values())
    return JoinOrders(tuple(orders), counts, top, permutation_pvalue(top, largest), corrected, "")
