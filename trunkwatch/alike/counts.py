"""Counts of cases by row of data: checked, and their binomial likelihood on the scale of log-odds."""

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln

__all__ = ["Floats", "Ints", "checked_counts", "log_choose", "log_likelihood_at"]

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def checked_counts(cases: ArrayLike, vines: ArrayLike) -> tuple[Floats, Floats]:
    """Return cases and vines as arrays.

    Raises
    ------
    ValueError
        If lengths differ, there is nothing, or a row has no vines or more cases than vines.
    """
    k, n = np.asarray(cases, dtype=float), np.asarray(vines, dtype=float)
    if k.shape != n.shape or k.ndim != 1 or not k.size:
        raise ValueError(
            f"{k.size} numbers of cases and {n.size} of vines: as many of each, and one at least, are needed"
        )
    if (n <= 0).any() or (k < 0).any() or (k > n).any():
        raise ValueError("a row has no vines, more cases than vines, or fewer than none")
    return k, n


def log_choose(k: Floats, n: Floats) -> Floats:
    """Return the logarithm of the number of ways to choose k of n."""
    return np.asarray(gammaln(n + 1) - gammaln(k + 1) - gammaln(n - k + 1))


def log_likelihood_at(k: Floats, n: Floats, logit: Floats) -> Floats:
    """Return the binomial log-likelihood at log-odds, without the constant."""
    return np.asarray(k * logit - n * np.logaddexp(0.0, logit))
