"""Closed moments of join counts, under random labelling and under free sampling.

With J joins, D pairs of joins that share a vine, n vines and m cases, and
``p_k = m(m-1)...(m-k+1) / n(n-1)...(n-k+1)``::

    E[case-case]   = J p_2
    Var[case-case] = J p_2 + 2 D p_3 + (J(J-1) - 2D) p_4 - (J p_2)^2

References
----------
.. [1] Moran, P.A.P. (1948) The interpretation of statistical maps. J. R. Stat. Soc. B 10, 243-251.
.. [2] Cliff, A.D. and Ord, J.K. (1981) Spatial Processes. Pion, London. (cited from memory)
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.stats.result import Result

__all__ = ["Moments", "degrees", "falling", "free_sampling", "random_labelling", "shared_pairs", "weighted"]


@dataclass(frozen=True, slots=True)
class Moments(Result):
    """Mean and variance of the case-case and the mixed count.

    Attributes
    ----------
    case_case, case_case_variance : float
        Mean and variance of the joins between two cases.
    mixed, mixed_variance : float
        Of the joins between a case and a free vine.
    """

    case_case: float
    case_case_variance: float
    mixed: float
    mixed_variance: float


def falling(cases: int, vines: int, k: int) -> float:
    """Probability that k given vines are all cases under random labelling, 0 where k > vines."""
    if k > vines:
        return 0.0
    share = 1.0
    for step in range(k):
        share *= (cases - step) / (vines - step)
    return max(share, 0.0)


def degrees(pairs: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    """Count the joins of every cell, (size,) int array."""
    return np.bincount(pairs.ravel(), minlength=size)


def shared_pairs(joins_of_each: NDArray[np.int64]) -> int:
    """Count the pairs of joins that share a vine, from the joins of each vine."""
    counts = joins_of_each.astype(np.int64)
    return int((counts * (counts - 1)).sum() // 2)


def random_labelling(joins: int, shared: int, cases: int, vines: int) -> Moments:
    """Return the moments when the case labels fall on a random subset of the vines.

    Parameters
    ----------
    joins, shared : int
        Joins, and pairs of joins that share a vine.
    cases, vines : int
        Cases, and vines that count.

    Returns
    -------
    Moments
        Mean and variance of case-case and of mixed joins.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> found = tw.stats.random_labelling(joins=12, shared=22, cases=4, vines=9)
    >>> round(found.case_case, 3), round(found.case_case_variance, 4)
    (2.0, 0.7937)
    """
    two, three, four = (falling(cases, vines, k) for k in (2, 3, 4))
    apart = joins * (joins - 1) - 2 * shared
    mean = joins * two
    variance = mean + 2 * shared * three + apart * four - mean * mean
    free = vines - cases
    both = cases * free / (vines * (vines - 1)) if vines > 1 else 0.0
    mixed = 2 * joins * both
    crossed = (
        4 * apart * cases * (cases - 1) * free * (free - 1) / (vines * (vines - 1) * (vines - 2) * (vines - 3))
        if vines > 3
        else 0.0
    )
    mixed_variance = mixed + 2 * shared * both + crossed - mixed * mixed
    return Moments(mean, max(variance, 0.0), mixed, max(mixed_variance, 0.0))


def free_sampling(joins: int, shared: int, share: float) -> Moments:
    """Return the moments when each vine is a case on its own with a known probability.

    For comparison with older texts only: with the share estimated from the map itself the
    variance is too large.

    Parameters
    ----------
    joins, shared : int
        Joins, and pairs of joins that share a vine.
    share : float
        Chance of a vine to be a case, 0 to 1.

    Returns
    -------
    Moments
        Mean and variance of case-case and of mixed joins.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> found = tw.stats.free_sampling(joins=24, shared=52, share=0.5)
    >>> found.case_case, found.case_case_variance
    (6.0, 11.0)
    """
    p, q = share, 1.0 - share
    return Moments(
        joins * p**2,
        joins * p**2 + 2 * shared * p**3 - (joins + 2 * shared) * p**4,
        2 * joins * p * q,
        2 * (joins + shared) * p * q - 4 * (joins + 2 * shared) * p**2 * q**2,
    )


def weighted(s0: float, s1: float, s2: float, cases: int, vines: int) -> tuple[float, float]:
    """Return mean and variance of the weighted sum over ordered pairs of cases.

    Parameters
    ----------
    s0 : float
        Sum of the weights.
    s1 : float
        Half the sum of (w_ij + w_ji)^2.
    s2 : float
        Sum over vines of (row sum + column sum)^2.
    cases, vines : int
        Cases, and vines that count.
    """
    two, three, four = (falling(cases, vines, k) for k in (2, 3, 4))
    mean = s0 * two
    variance = s1 * two + (s2 - 2 * s1) * three + (s0 * s0 + s1 - s2) * four - mean * mean
    return mean, max(variance, 0.0)
