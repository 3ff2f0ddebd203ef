"""Chance: the one place where alternatives, generators and p-values are handled."""

from collections.abc import Mapping
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray

Alternative = Literal["greater", "less", "two-sided"]
Rng = np.random.Generator | int | None

__all__ = [
    "Alternative",
    "Rng",
    "check_alternative",
    "exact_pvalue",
    "generator",
    "holm",
    "holm_of",
    "permutation_pvalue",
]


def generator(rng: Rng) -> np.random.Generator:
    """Make a generator of what the caller handed in (SPEC 7): a generator, a seed or nothing."""
    return rng if isinstance(rng, np.random.Generator) else np.random.Generator(np.random.SFC64(rng))


def check_alternative(alternative: str) -> None:
    """Raise ValueError unless `alternative` is one of greater, less, two-sided."""
    if alternative not in get_args(Alternative):
        raise ValueError(f"alternative is {alternative!r}: one of {', '.join(get_args(Alternative))} is needed")


def _of_tails(above: float, below: float, alternative: Alternative) -> float:
    check_alternative(alternative)
    if alternative == "greater":
        return min(1.0, above)
    if alternative == "less":
        return min(1.0, below)
    return min(1.0, 2.0 * min(above, below))


def permutation_pvalue(observed: float, null: ArrayLike, alternative: Alternative = "greater") -> float:
    """Share of labellings at least as extreme as the observed one, which is counted too.

    Parameters
    ----------
    observed : float
        The statistic of the map as it was seen.
    null : (permutations,) array_like
        The statistic of each relabelled map.
    alternative : {"greater", "less", "two-sided"}
        Two-sided doubles the smaller tail.

    Returns
    -------
    float
        ``(1 + r) / (1 + m)``, never 0 and never above 1. Values that differ from the
        observed one by rounding only (relative 1e-9) count as ties.

    References
    ----------
    .. [1] Phipson, B. and Smyth, G.K. (2010) Permutation p-values should never be zero.
       Stat. Appl. Genet. Mol. Biol. 9, article 39.
    """
    draws: NDArray[np.float64] = np.asarray(null, dtype=float)
    slack = 1e-9 * max(1.0, abs(observed))
    above = (1 + int(np.count_nonzero(draws >= observed - slack))) / (1 + draws.size)
    below = (1 + int(np.count_nonzero(draws <= observed + slack))) / (1 + draws.size)
    return _of_tails(above, below, alternative)


def exact_pvalue(
    observed: float, support: ArrayLike, probability: ArrayLike, alternative: Alternative = "greater"
) -> float:
    """Tail probability of a fully known null distribution, the observed value included.

    Parameters
    ----------
    observed : float
        The statistic of the map as it was seen.
    support, probability : (k,) array_like
        The values the statistic can take and the probability of each.
    alternative : {"greater", "less", "two-sided"}
        Two-sided doubles the smaller tail.
    """
    values: NDArray[np.float64] = np.asarray(support, dtype=float)
    mass: NDArray[np.float64] = np.asarray(probability, dtype=float)
    slack = 1e-9 * max(1.0, abs(observed))
    above = float(mass[values >= observed - slack].sum())
    below = float(mass[values <= observed + slack].sum())
    return _of_tails(above, below, alternative)


def holm(pvalues: Mapping[str, float]) -> dict[str, float]:
    """Correct p-values for their number; nan (no test) stays and does not count.

    References
    ----------
    .. [1] Holm, S. (1979) Scand. J. Stat. 6, 65-70.
    """
    corrected = holm_of(np.array(list(pvalues.values()), dtype=float))
    return dict(zip(pvalues, corrected.tolist(), strict=True))


def holm_of(pvalues: NDArray[np.float64]) -> NDArray[np.float64]:
    """Do the same for an array, (k,) to (k,)."""
    out = np.full(pvalues.size, np.nan)
    at = np.flatnonzero(~np.isnan(pvalues))
    order = at[np.argsort(pvalues[at], kind="stable")]
    scaled = pvalues[order] * np.arange(order.size, 0, -1)
    out[order] = np.minimum(1.0, np.maximum.accumulate(scaled))
    return out
