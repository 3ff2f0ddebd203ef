"""One p-value for the clustering of all seasons together: whole vine histories shuffled over the block."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trunkwatch.stats.chance import Rng, generator, permutation_pvalue
from trunkwatch.stats.joins import Joins, joined_pairs
from trunkwatch.stats.moments import degrees, random_labelling, shared_pairs
from trunkwatch.stats.result import Result

__all__ = ["AllSeasons", "all_seasons"]

CHUNK = 64


@dataclass(frozen=True, slots=True)
class AllSeasons(Result):
    """Join counts of every season, and one p for the series.

    Attributes
    ----------
    seen : (seasons,) int array
        Case-case joins.
    expected, deviation : (seasons,) float array
        Under random labelling of each season by itself.
    statistic : float
        Sum of the deviations from chance, each in standard deviations.
    pvalue : float
        One for all seasons.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    seen: NDArray[np.int64] = field(compare=False)
    expected: NDArray[np.float64] = field(compare=False)
    deviation: NDArray[np.float64] = field(compare=False)
    statistic: float
    pvalue: float
    reason: str

    def __str__(self) -> str:
        return f"all seasons: no test: {self.reason}" if self.reason else f"all seasons: p = {self.pvalue:.3g}"


def all_seasons(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    joins: Joins = "rook",
    strata: ArrayLike | None = None,
    permutations: int = 999,
    rng: Rng = None,
) -> AllSeasons:
    """Test the join counts of all seasons together.

    Parameters
    ----------
    cases, vines : (seasons, rows, stations) bool array_like
        Cases and vines that count.
    joins : as in `trunkwatch.stats.joins.half_offsets`
        Which vines are neighbors.
    strata : (rows, stations) int array_like, optional
        Histories move only inside a stratum.
    permutations : int
        Shuffles of whole histories among vines that count in the same seasons, so that the same vine showing
        year after year is no evidence.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    AllSeasons
        Joins of each season, (seasons,) arrays, and one p-value for all of them.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the vines that count, or there is no permutation.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.zeros((3, 4, 8), dtype=bool)
    >>> cases[0, 1, 1:3] = cases[1, 1, 1:4] = cases[2, 1, 2:5] = True
    >>> vines = np.ones_like(cases)
    >>> found = tw.stats.all_seasons(cases, vines, permutations=99, rng=1)
    >>> print(found)
    all seasons: p = 0.01
    >>> found.seen
    array([1, 2, 2])
    """
    if permutations < 1:
        raise ValueError(f"permutations is {permutations}: 1 or more is needed")
    shown, mask = np.asarray(cases, dtype=bool), np.asarray(vines, dtype=bool)
    if shown.ndim != 3 or shown.shape != mask.shape or (shown & ~mask).any():
        raise ValueError("cases and vines: (seasons, rows, stations), every case among the vines, are needed")
    pairs = [joined_pairs(joins, one, 1) for one in mask]
    flat = shown.reshape(len(shown), -1)
    seen = np.array([int((flat[t][p[:, 0]] & flat[t][p[:, 1]]).sum()) for t, p in enumerate(pairs)], dtype=np.int64)
    moments = [
        random_labelling(len(p), shared_pairs(degrees(p, flat.shape[1])), int(flat[t].sum()), int(mask[t].sum()))
        for t, p in enumerate(pairs)
    ]
    expected = np.array([one.case_case for one in moments])
    deviation = np.sqrt([one.case_case_variance for one in moments])
    use = np.flatnonzero(deviation > 1e-6)
    if not use.size:
        return AllSeasons(seen, expected, deviation, math.nan, math.nan, "no season can be tested")
    statistic = float(((seen - expected) / np.where(deviation > 1e-6, deviation, 1.0))[use].sum())
    alike = mask.reshape(len(mask), -1)
    kinds = np.zeros(alike.shape[1], dtype=np.int64) if strata is None else np.asarray(strata, dtype=np.int64).ravel()
    if kinds.size != alike.shape[1]:
        raise ValueError(f"strata has {kinds.size} cells but the block has {alike.shape[1]}: the same grid is needed")
    null = _null(flat, np.vstack([alike, kinds]), pairs, permutations, generator(rng))
    scores = ((null[:, use] - expected[use]) / deviation[use]).sum(axis=1)
    return AllSeasons(seen, expected, deviation, statistic, permutation_pvalue(statistic, scores), "")


def _null(
    flat: NDArray[np.bool_],
    alike: NDArray[np.int64],
    pairs: list[NDArray[np.int64]],
    permutations: int,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """Join counts of shuffled histories, (permutations, seasons); vines that never were a case carry nothing."""
    groups = np.unique(alike.T, axis=0, return_inverse=True)[1].reshape(-1)
    ever = np.asarray(flat.any(axis=0))
    out = np.zeros((permutations, len(flat)))
    members = [np.flatnonzero(groups == code) for code in np.unique(groups[ever])]
    for start in range(0, permutations, CHUNK):
        many = min(CHUNK, permutations - start)
        placed = np.zeros((many, flat.shape[1], len(flat)), dtype=bool)
        line = np.arange(many)[:, None]
        for group in members:
            moved = group[ever[group]]
            placed[line, _some(group, moved.size, many, rng)] = flat[:, moved].T
        for t, joined in enumerate(pairs):
            map_ = placed[:, :, t]
            out[start : start + many, t] = (map_[:, joined[:, 0]] & map_[:, joined[:, 1]]).sum(axis=1)
    return out


def _some(group: NDArray[np.int64], size: int, many: int, rng: np.random.Generator) -> NDArray[np.int64]:
    """Draw `size` of the group in random order, (many, size)."""
    keys = rng.random((many, group.size))
    if size == group.size:
        return np.asarray(group[np.argsort(keys, axis=1)])
    picked = np.argpartition(keys, size - 1, axis=1)[:, :size]
    order = np.argsort(np.take_along_axis(keys, picked, axis=1), axis=1)
    return np.asarray(group[np.take_along_axis(picked, order, axis=1)])
