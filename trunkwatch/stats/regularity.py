"""How far are the counts from being even? The least carrying that makes them so, and where it goes out and in."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trunkwatch.stats.chance import Alternative, Rng, check_alternative, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_counts, checked_places
from trunkwatch.stats.result import Result
from trunkwatch.stats.transport import carry

__all__ = ["MOST_VINES", "RegularityDistance", "regularity_distance"]

#: Vines that count, at most: beyond, one map takes seconds and the matrix of distances hundreds of megabytes.
MOST_VINES = 2_500
#: Relabelled maps in which a vine must hold its own count for the mean over them.
_FEWEST_HELD = 20


@dataclass(frozen=True, slots=True)
class RegularityDistance(Result):
    """How far counts are from even, beside relabelled maps.

    Attributes
    ----------
    statistic : float
        Index of aggregation: the distance over that of relabelled maps; above 1 clustered, below 1 regular.
    pvalue : float
        Chance of so large a distance.
    distance : float
        Least sum of what is carried times meters until all vines have the mean count.
    expected : float
        Mean distance of relabelled maps.
    patch_index, gap_index : float
        Mean local index of vines above, and below, the mean count (the latter as a positive number); about 1 by chance.
    patch_pvalue, gap_pvalue : float
        Chance of so large a mean.
    n_cases : int
        Sum of the counts.
    n_vines : int
        Vines that count.
    reason : str
        Why there is no figure or no test; empty where there is.
    local : (rows, stations) float array
        Local index of each vine: above 0 where something is carried out (1.5 and more: in a patch), below 0 where it is
        carried in (-1.5 and less: in a gap); nan where no vine counts or nothing is carried.
    local_held : (rows, stations) float array
        The same beside only those relabelled maps in which the vine holds its own count; nan too where they are under 20.
    null_distribution : (permutations,) float array
        The distance of each relabelled map.
    """

    statistic: float
    pvalue: float
    distance: float
    expected: float
    patch_index: float
    patch_pvalue: float
    gap_index: float
    gap_pvalue: float
    n_cases: int
    n_vines: int
    reason: str
    local: NDArray[np.float64] = field(repr=False, compare=False)
    local_held: NDArray[np.float64] = field(repr=False, compare=False)
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"distance to regularity: no test: {self.reason}"
        return (
            f"index of aggregation {self.statistic:.3f}, p = {self.pvalue:.3g}; "
            f"patches {self.patch_index:.2f}, p = {self.patch_pvalue:.3g}; gaps {self.gap_index:.2f}, p = {self.gap_pvalue:.3g}"
        )


def regularity_distance(
    counts: ArrayLike,
    vines: ArrayLike,
    *,
    row_spacing: float | None = None,
    vine_spacing: float | None = None,
    places: ArrayLike | None = None,
    alternative: Alternative = "greater",
    permutations: int = 199,
    rng: Rng = None,
) -> RegularityDistance:
    """Measure how far counts, or 0 and 1, must be carried until all vines have the same, beside relabelled maps.

    Parameters
    ----------
    counts : (rows, stations) int array_like
        Whole numbers from 0 on: shoots with symptoms, cases of a plot, or 0 and 1. Masked, or NaN, does not count.
    vines : (rows, stations) bool array_like
        The vines (or plots) that count, at most 2,500.
    row_spacing, vine_spacing : float, optional
        Meters. Either both, or `places`.
    places : (rows, stations, 2) float array_like, optional
        Meters east and north of each vine, where rows are not straight or there are none.
    alternative : {"greater", "less", "two-sided"}
        Clustered, regular, or either.
    permutations : int
        Relabelled maps: the same counts on the same vines in any order.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    RegularityDistance
        The index of aggregation with its p-value, and local indices, (rows, stations) arrays.

    Raises
    ------
    ValueError
        If shapes differ, a count is no whole number from 0 on or lies outside the mask, more than 2,500 vines count, a
        spacing is not above 0, or neither or both of spacings and places are given.

    Notes
    -----
    The distance is exact, the least of all plans. Several plans may be as short, and local indices depend on the plan:
    the one with the least sum of squared lengths is taken. A map of 500 vines with 200 relabelled ones takes
    some seconds, one of 2,000 vines minutes.

    References
    ----------
    .. [1] Perry, J.N. (1995) Spatial analysis by distance indices. J. Anim. Ecol. 64, 303-314. (content from memory)
    .. [2] Perry, J.N., Winder, L., Holland, J.M. and Alston, R.D. (1999) Red-blue plots for detecting clusters in count
       data. Ecol. Lett. 2, 106-113. (content from memory)
    .. [3] Li, B., Madden, L.V. and Xu, X. (2012) Spatial analysis by distance indices: an alternative local clustering
       index for studying spatial patterns. Methods Ecol. Evol. 3, 368-377. (content from memory)

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> counts = np.zeros((5, 8), dtype=int)
    >>> counts[1:3, 1:4] = [[2, 3, 1], [1, 2, 1]]
    >>> counts[4, 6] = 1
    >>> even = tw.stats.regularity_distance(
    ...     counts, np.ones_like(counts), row_spacing=2.5, vine_spacing=1.5, permutations=99, rng=1
    ... )
    >>> print(even)
    index of aggregation 1.216, p = 0.08; patches 1.26, p = 0.05; gaps 1.21, p = 0.08
    >>> float(even.local[2, 2].round(2)), float(even.local[4, 7].round(2))
    (1.2, -0.39)
    """
    check_alternative(alternative)
    amounts, mask = checked_counts(counts, vines)
    at = checked_places(mask, row_spacing, vine_spacing, places)
    values = amounts[mask]
    if values.size > MOST_VINES:
        raise ValueError(
            f"{values.size} vines count: at most {MOST_VINES}; take a part of the block, or counts of plots"
        )
    blank = np.full(mask.shape, math.nan)
    reason = _no_test(values)
    if reason:
        return _without(int(values.sum()), values.size, reason, 0.0 if values.size else math.nan, blank)
    length = np.hypot(*(at[:, None] - at[None]).transpose(2, 0, 1))
    distance, seen = _flows(values, length)
    if not permutations:
        return _without(int(values.sum()), values.size, "no permutations asked for", distance, blank)
    chance = generator(rng)
    drawn = np.stack([values, *(chance.permutation(values) for _ in range(permutations))])
    null, flows = np.empty(permutations), np.empty(drawn.shape)
    flows[0] = seen
    for number in range(permutations):
        null[number], flows[number + 1] = _flows(drawn[number + 1], length)
    index = _local(drawn, flows)
    above = drawn * values.size > values.sum()
    patches, gaps = _mean_over(index, above), _mean_over(index, ~above)
    local, held = blank.copy(), blank.copy()
    sign = np.where(above[0], 1.0, -1.0)
    local[mask], held[mask] = sign * index[0], sign * _held(drawn, flows)
    expected = float(null.mean())
    return RegularityDistance(
        distance / expected,
        permutation_pvalue(distance, null, alternative),
        distance,
        expected,
        float(patches[0]),
        permutation_pvalue(float(patches[0]), patches[1:], alternative),
        float(gaps[0]),
        permutation_pvalue(float(gaps[0]), gaps[1:], alternative),
        int(values.sum()),
        values.size,
        "",
        local,
        held,
        null,
    )


def _no_test(values: NDArray[np.int64]) -> str:
    if not values.any():
        return "there is no case"
    return "every vine has the same count" if values.min() == values.max() else ""


def _without(total: int, vines: int, reason: str, distance: float, blank: NDArray[np.float64]) -> RegularityDistance:
    lost = math.nan
    return RegularityDistance(
        lost, lost, distance, lost, lost, lost, lost, lost, total, vines, reason, blank, blank, np.empty(0)
    )


def _flows(values: NDArray[np.int64], length: NDArray[np.float64]) -> tuple[float, NDArray[np.float64]]:
    """Return the distance to regularity, and how far on average each vine's surplus or lack is carried; nan for none."""
    # Surplus times the number of vines is a whole number; the common divisor keeps the programme's figures small.
    surplus = values * values.size - values.sum()
    unit = int(np.gcd.reduce(surplus))
    sources, targets = np.flatnonzero(surplus > 0), np.flatnonzero(surplus < 0)
    plan = carry(surplus[sources] / unit, -surplus[targets] / unit, length[np.ix_(sources, targets)])
    ends = np.concatenate([sources[plan.source], targets[plan.target]])
    amount = np.tile(plan.amount, 2)
    metres = amount * np.tile(length[sources[plan.source], targets[plan.target]], 2)
    total, far = (np.bincount(ends, weights=weights, minlength=values.size) for weights in (amount, metres))
    mean = np.divide(far, total, out=np.full(values.size, math.nan), where=total > 0)
    return plan.cost * unit / values.size, mean


def _local(drawn: NDArray[np.int64], flows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the mean way of every vine over what its place and its count let expect, all maps alike.

    The expectations are over all maps, the one seen among them: it is then one map of many, and p-values are exact.
    """
    carried = ~np.isnan(flows)
    ways = np.where(carried, flows, 0.0)
    kinds, kind = np.unique(drawn, return_inverse=True)
    kind = kind.reshape(drawn.shape)
    by_place = ways.sum(axis=0) / np.maximum(carried.sum(axis=0), 1)
    times = np.bincount(kind[carried], minlength=kinds.size)
    by_count = np.bincount(kind[carried], weights=ways[carried], minlength=kinds.size) / np.maximum(times, 1)
    overall = ways.sum() / carried.sum()
    expected = by_place[None, :] * by_count[kind] / overall
    index = np.divide(ways, expected, out=np.full(flows.shape, math.nan), where=carried & (expected > 0))
    return np.asarray(index, dtype=np.float64)


def _held(drawn: NDArray[np.int64], flows: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the way of every vine seen, over its mean on relabelled maps in which it has the same count."""
    same = (drawn[1:] == drawn[0]) & ~np.isnan(flows[1:])
    number = same.sum(axis=0)
    mean = np.where(same, flows[1:], 0.0).sum(axis=0) / np.maximum(number, 1)
    index = np.divide(flows[0], mean, out=np.full(mean.shape, math.nan), where=(number >= _FEWEST_HELD) & (mean > 0))
    return np.asarray(index, dtype=np.float64)


def _mean_over(index: NDArray[np.float64], which: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Return the mean index of each map over its vines of one kind."""
    use = which & ~np.isnan(index)
    return np.asarray(np.where(use, index, 0.0).sum(axis=1) / np.maximum(use.sum(axis=1), 1), dtype=np.float64)
