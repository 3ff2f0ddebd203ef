"""Of which kind is the nearest vine: the nearest-neighbor contingency table, with ties shared.

Every vine has two equally near neighbors in its row, so "the" nearest neighbor does not exist on
a lattice. Ties are shared: of two equally near vines each counts one half.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.spatial import cKDTree
from scipy.special import chdtrc

from trunkwatch.stats.chance import Alternative, Rng, check_alternative, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.moments import falling, weighted
from trunkwatch.stats.relabelling import plain_labellings
from trunkwatch.stats.result import Result

__all__ = ["NearestKind", "Weights", "nearest_kind", "nearest_weights", "segregation"]

#: Distances within this share of each other are the same.
SAME = 1e-6


@dataclass(frozen=True, slots=True)
class Weights:
    """Which vines are nearest to which: `weight[k]` of `to[k]` as a neighbor of `of[k]`; sums for the moments."""

    of: NDArray[np.int64]
    to: NDArray[np.int64]
    weight: NDArray[np.float64]
    s0: float
    s1: float
    s2: float


@dataclass(frozen=True, slots=True)
class NearestKind(Result):
    """The contingency table of nearest neighbors.

    Attributes
    ----------
    table : ((float, float), (float, float))
        Vines by their own kind (case, free) and that of their nearest neighbors (case, free).
    statistic, expected, variance, z : float
        Cases whose nearest neighbor is a case, and its exact moments under random labelling.
    pvalue : float
        By permutation; nan where no test is possible.
    free_free, expected_free_free, z_free : float
        The same of vines without symptoms.
    chi_square, chi_square_pvalue : float
        Both together, two degrees of freedom, large-sample.
    segregation_cases, segregation_free : float
        Log odds of a neighbor of the own kind over what chance would give; 0 is chance, nan where a cell is empty.
    n_cases : int
        Cases.
    n_vines : int
        Vines that count.
    alternative : {"greater", "less", "two-sided"}
        Which way the test looked.
    reason : str
        Why there is no figure or no test; empty where there is.
    null_distribution : (permutations,) array
        The statistic of each relabelled map.
    """

    table: tuple[tuple[float, float], tuple[float, float]]
    statistic: float
    expected: float
    variance: float
    z: float
    pvalue: float
    free_free: float
    expected_free_free: float
    z_free: float
    chi_square: float
    chi_square_pvalue: float
    segregation_cases: float
    segregation_free: float
    n_cases: int
    n_vines: int
    alternative: Alternative
    reason: str
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"nearest neighbors: no test: {self.reason}"
        return f"{self.statistic:.1f} cases nearest to a case, {self.expected:.1f} expected, p = {self.pvalue:.3g}"


def nearest_weights(points: ArrayLike, neighbours: int = 1) -> Weights:
    """Give each point its nearest neighbors, ties at the last one shared.

    Parameters
    ----------
    points : (n, 2) array_like
        Meters.
    neighbours : int
        How many nearest ones; where the last is tied, the places left are shared.

    Raises
    ------
    ValueError
        If there are fewer than two points, or not as many neighbors.
    """
    spots = np.asarray(points, dtype=float)
    if len(spots) < 2 or not 1 <= neighbours < len(spots):
        raise ValueError(f"neighbours is {neighbours} of {len(spots)} vines: at least one, and fewer than the vines")
    tree = cKDTree(spots)
    reach = np.asarray(tree.query(spots, k=[neighbours + 1])[0])[:, 0] * (1 + SAME)
    near = tree.query_ball_point(spots, reach)
    of = np.repeat(np.arange(len(spots)), [len(found) - 1 for found in near])
    to = np.concatenate([np.array([j for j in found if j != i], dtype=np.int64) for i, found in enumerate(near)])
    away = np.hypot(*(spots[of] - spots[to]).T)
    last = away >= reach[of] / (1 + SAME) * (1 - SAME)
    tied = np.bincount(of, last, minlength=len(spots))
    left = neighbours - np.bincount(of, ~last, minlength=len(spots))
    weight = np.where(last, (left / tied)[of], 1.0)
    return _with_sums(of, to, weight, len(spots))


def _with_sums(of: NDArray[np.int64], to: NDArray[np.int64], weight: NDArray[np.float64], size: int) -> Weights:
    back = dict(zip(zip(of.tolist(), to.tolist(), strict=True), weight.tolist(), strict=True))
    mutual = sum(w * back.get((j, i), 0.0) for (i, j), w in back.items())
    s1 = float((weight**2).sum() + mutual)
    ends = np.bincount(of, weight, minlength=size) + np.bincount(to, weight, minlength=size)
    return Weights(of, to, weight, float(weight.sum()), s1, float((ends**2).sum()))


def segregation(
    table: ArrayLike, s0: float, s1: float, s2: float
) -> tuple[float, float, float, float, float, float, float]:
    """Judge a table of nearest neighbors by the exact moments under random labelling.

    Parameters
    ----------
    table : (2, 2) array_like
        Own kind by kind of the nearest neighbor, cases first.
    s0, s1, s2 : float
        Sums of the weights, as in `trunkwatch.stats.moments.weighted`. For unshared nearest neighbors
        of n vines, R of them in mutual pairs: n, n + R and 4 n + Q.

    Returns
    -------
    expected, variance, expected_free, variance_free, covariance, chi_square, p : float

    References
    ----------
    .. [1] Dixon, P. (1994) Ecology 75, 1940-1948.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> found = tw.stats.segregation([[137, 23], [38, 30]], s0=228, s1=362, s2=1074)
    >>> [round(value, 3) for value in found[-2:]]
    [19.669, 0.0]
    """
    cells = np.asarray(table, dtype=float)
    cases, free = round(float(cells[0].sum())), round(float(cells[1].sum()))
    return _judge(float(cells[0, 0]), float(cells[1, 1]), s0, s1, s2, cases, free)


def _judge(
    both: float, neither: float, s0: float, s1: float, s2: float, cases: int, free: int
) -> tuple[float, float, float, float, float, float, float]:
    vines = cases + free
    mean, variance = weighted(s0, s1, s2, cases, vines)
    mean_free, variance_free = weighted(s0, s1, s2, free, vines)
    four = falling(cases, vines, 2) * (falling(free, vines - 2, 2) if vines > 3 else 0.0)
    covariance = (s0 * s0 + s1 - s2) * four - mean * mean_free
    spread = np.array([[variance, covariance], [covariance, variance_free]])
    off = np.array([both - mean, neither - mean_free])
    solvable = np.linalg.det(spread) > 1e-9 * max(variance * variance_free, 1e-12)
    chi = float(off @ np.linalg.solve(spread, off)) if solvable else math.nan
    return mean, variance, mean_free, variance_free, covariance, chi, float(chdtrc(2, chi)) if solvable else math.nan


def nearest_kind(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    row_spacing: float,
    vine_spacing: float,
    neighbours: int = 1,
    alternative: Alternative = "greater",
    permutations: int = 9999,
    rng: Rng = None,
) -> NearestKind:
    """Test whether the nearest vines of cases are cases more often than chance would have it.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    row_spacing, vine_spacing : float
        Meters.
    neighbours : int
        How many nearest vines; ties at the last one are shared.
    alternative : {"greater", "less", "two-sided"}
        "greater" tests for clustering.
    permutations : int
        Labellings drawn; 0 leaves the p-value nan.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    NearestKind
        The table of nearest neighbors, its expectation, z and p-value.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or a spacing or `neighbours` is out of range.

    References
    ----------
    .. [1] Dixon, P. (1994) Ecology 75, 1940-1948.
    .. [2] Cuzick, J. and Edwards, R. (1990) J. R. Stat. Soc. B 52, 73-104. (content from memory)

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> print(tw.stats.nearest_kind(cases, vines, row_spacing=2.5, vine_spacing=1.5, permutations=199, rng=1))
    2.0 cases nearest to a case, 1.2 expected, p = 0.16
    """
    check_alternative(alternative)
    if row_spacing <= 0 or vine_spacing <= 0:
        raise ValueError(f"row_spacing is {row_spacing} m, vine_spacing {vine_spacing} m: both must be above 0")
    marked, mask = checked_labels(cases, vines)
    labels = marked[mask]
    n_cases, n_vines = int(labels.sum()), labels.size
    reason = _no_test(n_cases, n_vines, neighbours)
    if reason:
        nan = math.nan
        return NearestKind(
            ((nan, nan), (nan, nan)),
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            nan,
            n_cases,
            n_vines,
            alternative,
            reason,
            np.empty(0),
        )
    at = np.argwhere(mask) * np.array([row_spacing, vine_spacing])
    found = nearest_weights(at, neighbours)
    table = np.array(
        [
            [float(found.weight[(labels[found.of] == one) & (labels[found.to] == two)].sum()) for two in (True, False)]
            for one in (True, False)
        ]
    )
    mean, variance, free, free_variance, _, chi, chi_p = _judge(
        table[0, 0], table[1, 1], found.s0, found.s1, found.s2, n_cases, n_vines - n_cases
    )
    null = _null(found, n_cases, n_vines, permutations, generator(rng))
    return NearestKind(
        ((table[0, 0], table[0, 1]), (table[1, 0], table[1, 1])),
        table[0, 0],
        mean,
        variance,
        _z(table[0, 0], mean, variance),
        permutation_pvalue(table[0, 0], null, alternative) if null.size else math.nan,
        table[1, 1],
        free,
        _z(table[1, 1], free, free_variance),
        chi,
        chi_p,
        _log_odds(table[0, 0], table[0, 1], n_cases - 1, n_vines - n_cases),
        _log_odds(table[1, 1], table[1, 0], n_vines - n_cases - 1, n_cases),
        n_cases,
        n_vines,
        alternative,
        "",
        null,
    )


def _null(found: Weights, cases: int, vines: int, permutations: int, rng: np.random.Generator) -> NDArray[np.float64]:
    parts = [
        (drawn[:, found.of] & drawn[:, found.to]) @ found.weight
        for drawn in plain_labellings(cases, vines, permutations, rng, chunk=128)
    ]
    return np.concatenate(parts) if parts else np.empty(0)


def _z(seen: float, mean: float, variance: float) -> float:
    return (seen - mean) / math.sqrt(variance) if variance > 1e-12 else math.nan


def _log_odds(own: float, other: float, same: int, different: int) -> float:
    """Dixon's measure: log of own over other, beside what chance would give."""
    if own <= 0 or other <= 0 or same <= 0 or different <= 0:
        return math.nan
    return math.log((own / other) / (same / different))


def _no_test(cases: int, vines: int, neighbours: int) -> str:
    if vines <= neighbours:
        return "no vine counts" if vines == 0 else "there are too few vines"
    return nothing_to_move(cases, vines, fewest=2)
