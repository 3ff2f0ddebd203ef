"""How often would new cases lie near old ones if nothing had spread at all?

The vines that have been cases by now are taken as infected from the start; the seasons in which they showed
first are shuffled among them. The test of new against earlier cases is run on each shuffle. The share that it
calls positive is the false-positive share for this very block: its record, incidence, coverage and pattern.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri

from trunkwatch.stats.chance import Rng, generator
from trunkwatch.stats.joins import Joins, joined_pairs
from trunkwatch.stats.result import Result
from trunkwatch.stats.shares import wilson

__all__ = ["FalsePositive", "false_positive_share"]

LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class FalsePositive(Result):
    """Share of static records that the test would call new near old, with 95 % limits of the simulation.

    Attributes
    ----------
    share, low, high : float
        Share with 95 % limits, 0 to 1; nan where there is none.
    runs : int
        Records that were shuffled.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    share: float
    low: float
    high: float
    runs: int
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"false-positive share: {self.reason}"
        return f"{100 * self.share:.0f} % of static records ({100 * self.low:.0f} to {100 * self.high:.0f} %)"


def false_positive_share(
    first: ArrayLike,
    cases: ArrayLike,
    looked_at: ArrayLike,
    *,
    joins: Joins = "queen",
    runs: int = 400,
    rng: Rng = None,
) -> FalsePositive:
    """Simulate the test of new against earlier cases on static records of this block.

    Parameters
    ----------
    first : (rows, stations) int array_like
        Number (from 0) of the season in which each case showed first.
    cases : (rows, stations) bool array_like
        Vines that have been a case by now.
    looked_at : (seasons, rows, stations) bool array_like
        Vines that count in each season.
    joins : as in `trunkwatch.stats.joins.half_offsets`
        Which vines are neighbors.
    runs : int
        Shuffles; vines looked at in the same seasons are shuffled among each other.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    FalsePositive
        Share of records without any spread that the test calls new near old, with 95 % limits of the simulation.

    Raises
    ------
    ValueError
        If shapes differ or there is no run.

    Notes
    -----
    The test is that of all seasons together by its normal approximation (z of 1.645), one season given its past.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> first = np.zeros((4, 8), dtype=int)
    >>> first[1, 3:6] = [1, 2, 1]
    >>> cases = np.zeros((4, 8), dtype=bool)
    >>> cases[1, 1:6] = True
    >>> looked_at = np.ones((3, 4, 8), dtype=bool)
    >>> print(tw.stats.false_positive_share(first, cases, looked_at, runs=50, rng=1))
    8 % of static records (3 to 19 %)
    """
    seen = np.asarray(looked_at, dtype=bool)
    mask, season = np.asarray(cases, dtype=bool), np.asarray(first, dtype=np.int64)
    if mask.shape != season.shape or seen.ndim != 3 or seen.shape[1:] != mask.shape:
        raise ValueError(f"cases {mask.shape}, first {season.shape}, looked_at {seen.shape}: one grid is needed")
    if runs < 1:
        raise ValueError(f"runs is {runs}: 1 or more is needed")
    flat = np.flatnonzero(mask)
    if flat.size < 2 or np.unique(season[mask]).size < 2:
        return FalsePositive(math.nan, math.nan, math.nan, 0, "there are no earlier and later cases")
    pairs = joined_pairs(joins, np.asarray(seen.any(axis=0)), 1)
    if not mask.ravel()[pairs].any():
        return FalsePositive(math.nan, math.nan, math.nan, 0, "no case has a neighbor that was scouted")
    chance = generator(rng)
    labels = season.ravel()[flat]
    looks = seen.reshape(len(seen), -1)
    group = np.unique(looks[:, flat].T, axis=0, return_inverse=True)[1].reshape(-1)
    shuffled = np.tile(labels, (runs, 1))
    for code in np.unique(group):
        at = np.flatnonzero(group == code)
        shuffled[:, at] = chance.permuted(shuffled[:, at], axis=1)
    z = _pooled_z(shuffled, flat, looks, pairs)
    hits = int(np.count_nonzero(z >= ndtri(1 - LEVEL)))
    low, high = wilson(hits, runs)
    return FalsePositive(hits / runs, low, high, runs, "")


def _pooled_z(
    labels: NDArray[np.int64], flat: NDArray[np.int64], looks: NDArray[np.bool_], pairs: NDArray[np.int64]
) -> NDArray[np.float64]:
    """Return z over all seasons of each labelling; only joins that touch a case enter, so the work is small."""
    runs, vines = len(labels), looks.shape[1]
    number = np.full(vines, -1, dtype=np.int64)
    number[flat] = np.arange(flat.size)
    both = np.concatenate([pairs, pairs[:, ::-1]])
    both = both[number[both[:, 1]] >= 0]  # from any vine to a case
    source, case = both[:, 0], number[both[:, 1]]
    order = np.argsort(source, kind="stable")
    source, case = source[order], case[order]
    start = np.flatnonzero(np.append(True, source[1:] != source[:-1]))
    owner = source[start]
    own = number[owner]
    total = np.zeros((3, runs))
    for t in range(1, len(looks)):
        before = looks[:t].any(axis=0)
        at_risk = looks[t] & before
        old = labels < t  # (runs, cases)
        count = np.add.reduceat(old[:, case], start, axis=1, dtype=np.int64).astype(float)
        never = np.ones((runs, owner.size), dtype=bool)
        never[:, own >= 0] = ~old[:, own[own >= 0]]
        risk = at_risk[owner][None] & never
        size = int(at_risk.sum()) - (old & at_risk[flat][None]).sum(axis=1)
        new = (labels == t) & at_risk[flat][None]
        m = new.sum(axis=1)
        is_new = np.zeros((runs, owner.size), dtype=bool)
        is_new[:, own >= 0] = new[:, own[own >= 0]]
        sums, squares = (count * risk).sum(axis=1), (count**2 * risk).sum(axis=1)
        safe = np.maximum(size, 2)
        mean = sums / safe
        spread = np.maximum(squares - safe * mean**2, 0.0) / (safe - 1)
        total += np.vstack([(count * is_new).sum(axis=1), m * mean, m * (1 - m / safe) * spread])
    z = np.zeros(runs)
    np.divide(total[0] - total[1], np.sqrt(total[2]), out=z, where=total[2] > 1e-12)
    return z
