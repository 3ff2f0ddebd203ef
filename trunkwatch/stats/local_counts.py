"""Which cases have more cases around them than chance gives: look here first, no proof."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln

from trunkwatch.stats.chance import holm_of
from trunkwatch.stats.joins import Joins, joined_pairs
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.result import Result

__all__ = ["LocalCount", "local_count"]


@dataclass(frozen=True, slots=True)
class LocalCount(Result):
    """Cases around each case.

    Attributes
    ----------
    statistic : int
        Largest number of case neighbors.
    pvalue : float
        Smallest corrected p; nan where no test is possible.
    counts : (rows, stations) int array
        Case neighbors of each case, -1 elsewhere.
    pvalues, corrected : (rows, stations) float array
        Exact p of each case, and corrected for the number of cases (Holm); nan elsewhere.
    n_cases : int
        Cases.
    n_vines : int
        Vines that count.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: int
    pvalue: float
    n_cases: int
    n_vines: int
    reason: str
    counts: NDArray[np.int64] = field(repr=False, compare=False)
    pvalues: NDArray[np.float64] = field(repr=False, compare=False)
    corrected: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"local counts: no test: {self.reason}"
        return f"at most {self.statistic} cases around a case, corrected p = {self.pvalue:.3g}"


def local_count(cases: ArrayLike, vines: ArrayLike, *, joins: Joins = "queen", order: int = 1) -> LocalCount:
    """Local join counts with exact p-values.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    joins, order
        Which vines are neighbors, as in `trunkwatch.stats.joins.half_offsets`.

    Returns
    -------
    LocalCount
        Neighbors that are cases, p-values, and p-values corrected by Holm's rule, (rows, stations) arrays.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or the rule is unknown.

    Notes
    -----
    Given that a vine is a case, the number of cases among its k neighbors is hypergeometric
    under random labelling: n - 1 vines, n1 - 1 cases, k draws. The tests depend on each other;
    Holm's correction holds all the same.

    References
    ----------
    .. [1] Anselin, L. and Li, X. (2019) J. Geogr. Syst. 21, 189-210.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> found = tw.stats.local_count(cases, vines)
    >>> print(found)
    at most 3 cases around a case, corrected p = 0.263
    >>> found.counts[0].tolist()
    [-1, 3, 3, -1, -1, -1]
    """
    marked, mask = checked_labels(cases, vines)
    pairs = joined_pairs(joins, mask, order)
    flat = marked.ravel()
    ends, others = pairs.ravel(), pairs[:, ::-1].ravel()
    around = np.bincount(ends, minlength=flat.size)
    near = np.bincount(ends[flat[others]], minlength=flat.size)
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    counts = np.where(flat, near, -1).reshape(marked.shape)
    pvalues = np.full(flat.size, math.nan)
    reason = nothing_to_move(n_cases, n_vines, fewest=2) or ("" if len(pairs) else "no two vines are neighbors")
    if not reason:
        at = np.flatnonzero(flat)
        kinds, kind = np.unique(np.column_stack([around[at], near[at]]), axis=0, return_inverse=True)
        tails = np.array([_tail(int(k), int(seen), n_vines - 1, n_cases - 1) for k, seen in kinds])
        pvalues[at] = tails[kind.reshape(-1)]
    corrected = holm_of(pvalues)
    shape = marked.shape
    return LocalCount(
        int(near[flat].max(initial=0)),
        float(np.nanmin(corrected)) if not reason else math.nan,
        n_cases,
        n_vines,
        reason,
        counts,
        pvalues.reshape(shape),
        corrected.reshape(shape),
    )


def _tail(draws: int, seen: int, vines: int, cases: int) -> float:
    took = np.arange(seen, min(draws, cases) + 1)
    took = took[draws - took <= vines - cases]

    def choose(n: int, k: NDArray[np.int64] | int) -> NDArray[np.float64]:
        return np.asarray(gammaln(n + 1) - gammaln(np.add(k, 1)) - gammaln(n - np.asarray(k) + 1))

    logs = choose(cases, took) + choose(vines - cases, draws - took) - choose(vines, draws)
    return min(1.0, float(np.exp(logs).sum()))
