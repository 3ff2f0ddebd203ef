"""Do neighbouring cases come close in time: what foci from the planting stock would not do.

Foci that were infected from the start lie close together, but which of their vines shows first
is chance. Given where the cases are, the seasons of their first symptoms can then be shuffled
among them without a change. Where disease passes from vine to vine, neighbours follow each other
and the seasons cannot be shuffled.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trunkwatch.stats.chance import Alternative, Rng, check_alternative, generator, permutation_pvalue
from trunkwatch.stats.joins import Joins, joined_pairs
from trunkwatch.stats.labels import checked_mask

__all__ = ["FirstCaseTiming", "first_case_timing"]

#: With fewer neighbouring pairs of cases nothing is said (our own convention).
FEWEST_PAIRS = 10


@dataclass(frozen=True, slots=True)
class FirstCaseTiming:
    """Seasons between the first symptoms of neighbouring cases.

    Attributes
    ----------
    statistic : float
        Mean number of seasons between the first symptoms of two neighbouring cases.
    expected : float
        The same with the seasons shuffled among the cases.
    low, high : float
        Where 95 of 100 shuffles lie.
    pvalue : float
        Chance of so small a mean if it does not matter where a case lies; nan where no test is possible.
    n_pairs, n_cases : int
        Neighbouring pairs of cases, and cases.
    """

    statistic: float
    expected: float
    low: float
    high: float
    pvalue: float
    n_pairs: int
    n_cases: int
    alternative: Alternative
    reason: str
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"timing of neighbours: no test: {self.reason}"
        return (
            f"{self.statistic:.2f} seasons between the first symptoms of neighbours, {self.expected:.2f} if it were "
            f"shuffled, p = {self.pvalue:.3g}"
        )


def first_case_timing(
    first: ArrayLike,
    cases: ArrayLike,
    *,
    joins: Joins = "queen",
    strata: ArrayLike | None = None,
    alternative: Alternative = "less",
    permutations: int = 9999,
    rng: Rng = None,
) -> FirstCaseTiming:
    """Compare the first seasons of neighbouring cases with shuffled ones.

    Parameters
    ----------
    first : (rows, stations) array_like
        Season of the first symptoms of each case; ignored elsewhere.
    cases : (rows, stations) bool array_like
        Vines that have been a case by now.
    joins : see `trunkwatch.stats.joins.half_offsets`
        Which vines are neighbours.
    strata : (rows, stations) array_like, optional
        Seasons are shuffled only among cases of one stratum: rows that were first walked in
        different seasons, cultivars, plantings.
    alternative : {"less", "greater", "two-sided"}
        "less": neighbours come closer in time than chance would have it.
    permutations : int
        Shuffles.
    rng : Generator, int or None
        Source of chance.

    Raises
    ------
    ValueError
        If shapes differ or a case has no season.

    Notes
    -----
    It cannot be explained by foci that were there from the start with symptoms that come and go by
    chance. It can be explained by anything that makes neighbours fall ill together: spread, but
    also a wet corner in one season, a crew, a scout who walked a part of the block later; and a
    test that finds nothing is no proof that nothing spreads.

    References
    ----------
    .. [1] Knox, E.G. (1964) Appl. Stat. 13, 25-29. (from memory)
    .. [2] Mantel, N. (1967) Cancer Res. 27, 209-220. (from memory)
    """
    check_alternative(alternative)
    marked = checked_mask(cases, "cases")
    season = np.asarray(first, dtype=float)
    if season.shape != marked.shape:
        raise ValueError(f"first is {season.shape} but cases is {marked.shape}: the same grid is needed")
    times = season[marked]
    if np.isnan(times).any():
        raise ValueError(f"{int(np.isnan(times).sum())} case(s) without a first season")
    pairs = joined_pairs(joins, marked)
    place = np.full(marked.size, -1, dtype=np.int64)
    place[np.flatnonzero(marked)] = np.arange(times.size)
    left, right = place[pairs[:, 0]], place[pairs[:, 1]]
    group = (
        np.zeros(times.size, dtype=np.int64)
        if strata is None
        else np.unique(np.asarray(strata)[marked], return_inverse=True)[1]
    )
    nothing = np.empty(0)
    reason = _no_test(times, len(pairs))
    if reason:
        return FirstCaseTiming(
            math.nan, math.nan, math.nan, math.nan, math.nan, len(pairs), times.size, alternative, reason, nothing
        )  # fmt: skip
    seen = float(np.abs(times[left] - times[right]).mean())
    null = _shuffled(times, group.reshape(-1), left, right, permutations, generator(rng))
    low, high = (float(v) for v in np.quantile(null, [0.025, 0.975]))
    return FirstCaseTiming(
        seen, float(null.mean()), low, high, permutation_pvalue(seen, null, alternative), len(pairs), times.size,
        alternative, "", null,
    )  # fmt: skip


def _no_test(times: NDArray[np.float64], pairs: int) -> str:
    if times.size < 2:
        return "there are fewer than two cases"
    if pairs < FEWEST_PAIRS:
        return f"only {pairs} neighbouring pairs of cases"
    return "all cases showed first in one season" if np.ptp(times) == 0 else ""


def _shuffled(
    times: NDArray[np.float64],
    group: NDArray[np.int64],
    left: NDArray[np.int64],
    right: NDArray[np.int64],
    permutations: int,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    order = np.argsort(group, kind="stable")
    out = []
    for start in range(0, permutations, 256):
        size = min(256, permutations - start)
        # Sorting random keys within groups shuffles the seasons inside each group and nowhere else.
        keys = group[None, :] + rng.random((size, times.size))
        mixed = np.empty((size, times.size))
        mixed[:, order] = times[np.argsort(keys, axis=1)]
        out.append(np.abs(mixed[:, left] - mixed[:, right]).mean(axis=1))
    return np.concatenate(out)
