"""Labellings of a map whose vines are not all as likely to be cases, with a fixed number of cases."""

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

__all__ = ["MOST_CHANCES", "risk_labellings"]

#: Chances held at a time, vines times cases: 400 MB.
MOST_CHANCES = 100_000_000


def risk_labellings(
    risk: NDArray[np.float64], cases: int, permutations: int, rng: np.random.Generator, chunk: int = 256
) -> Iterator[NDArray[np.bool_]]:
    """Yield maps of vines that fall ill independently by their risk, given that `cases` of them do.

    Parameters
    ----------
    risk : (vines,) float array
        Chance of each vine, between 0 and 1.
    cases : int
        Cases of every map.
    permutations : int
        How many maps.
    rng : Generator
        Source of chance.
    chunk : int
        Maps a batch.

    Yields
    ------
    (chunk, vines) bool array
        Exact draws: vine by vine, from the chance of each given how many cases are left for it and those after it.

    Raises
    ------
    ValueError
        If vines times cases are more than 100 million.
    """
    odds = np.log(risk) - np.log1p(-risk)
    rare = min(cases, risk.size - cases)
    if rare * risk.size > MOST_CHANCES:
        raise ValueError(
            f"{risk.size} vines and {cases} cases: vines times cases are at most {MOST_CHANCES}; take strata, or a part of the block"
        )
    # Where cases are the larger part, the others are drawn: they are as good, and fewer.
    swapped = rare != cases
    table = _chances(-odds if swapped else odds, rare)
    for start in range(0, permutations, chunk):
        size = min(chunk, permutations - start)
        left = np.full(size, rare)
        labels = np.empty((size, risk.size), dtype=bool)
        for vine, keys in enumerate(rng.random((risk.size, size))):
            labels[:, vine] = keys < table[vine, left]
            left -= labels[:, vine]
        yield ~labels if swapped else labels


def _chances(odds: NDArray[np.float64], cases: int) -> NDArray[np.float32]:
    """Return the chance of every vine to be a case, given how many cases fall on it and the vines after it."""
    from scipy.optimize import brentq
    from scipy.special import expit

    # Odds may be multiplied by any number; the one that lets expect `cases` keeps the sums far from 0.
    wide = float(np.abs(odds).max()) + 50.0
    shift = float(brentq(lambda by: float(expit(odds + by).sum()) - max(cases, 0.5), -wide, wide))
    chance = expit(odds + shift)
    table = np.zeros((odds.size, cases + 1), dtype=np.float32)
    after = np.zeros(cases + 1)  # how likely so many cases among the vines after this one are
    after[0] = 1.0
    for vine in range(odds.size - 1, -1, -1):
        with_it = np.append(0.0, after[:-1]) * chance[vine]
        now = with_it + after * (1 - chance[vine])
        table[vine] = np.divide(with_it, now, out=np.zeros_like(now), where=now > 0)
        after = now
    return table
