"""Do cases lie where something about the place is high or low: an edge, a wood pile, a low corner?"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.special import ndtr, stdtr

from trunkwatch.stats.chance import Alternative, Rng, check_alternative, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, checked_mask, checked_strata, nothing_to_move
from trunkwatch.stats.relabelling import stratified_labellings
from trunkwatch.stats.result import Result

__all__ = ["FocusGradient", "Gradient", "focus_gradient", "gradient", "ring_index"]

#: With fewer foci nothing is said of a gradient over them.
FEWEST_FOCI = 5


@dataclass(frozen=True, slots=True)
class Gradient(Result):
    """Mean of a covariate over the cases.

    Attributes
    ----------
    statistic, expected, variance, z : float
        Mean over the cases, and its exact moments under random labelling.
    pvalue : float
        By permutation, or from z where no permutations are asked for; nan where no test is possible.
    pvalue_normal : float
        From z, for comparison.
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

    statistic: float
    expected: float
    variance: float
    z: float
    pvalue: float
    pvalue_normal: float
    n_cases: int
    n_vines: int
    alternative: Alternative
    reason: str
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"gradient: no test: {self.reason}"
        return f"mean {self.statistic:.3g} over the cases, {self.expected:.3g} expected, p = {self.pvalue:.3g}"


def gradient(
    cases: ArrayLike,
    vines: ArrayLike,
    covariate: ArrayLike,
    *,
    strata: ArrayLike | None = None,
    alternative: Alternative = "two-sided",
    permutations: int = 9999,
    rng: Rng = None,
) -> Gradient:
    """Test whether cases lie where a covariate is high or low.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    covariate : (rows, stations) array_like
        A number for every vine that counts: meters to an edge, elevation, and so on.
    strata : (rows, stations) array_like, optional
        Labels move only inside a stratum.
    alternative : {"two-sided", "greater", "less"}
        "greater": cases lie where the covariate is high.
    permutations : int
        Labellings drawn; 0 leaves the normal approximation.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    Gradient
        Mean of the covariate over the cases, expected mean, z and p-value.

    Raises
    ------
    ValueError
        If shapes differ or the covariate is missing for a vine that counts.

    Notes
    -----
    ``E = mean x`` and ``Var = (1 - n1/n) S^2 / n1`` (within strata, weighted sums of these).
    Clustered cases make the p too small: a gradient and a focus near the edge look alike.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.zeros((6, 10), dtype=int)
    >>> cases[0, 1:3] = cases[1, 5] = cases[1, 8] = 1
    >>> row = np.repeat(np.arange(6.0)[:, None], 10, axis=1)
    >>> print(tw.stats.gradient(cases, np.ones_like(cases), row, permutations=199, rng=1))
    mean 0.5 over the cases, 2.5 expected, p = 0.03
    """
    check_alternative(alternative)
    marked, mask = checked_labels(cases, vines)
    values = np.asarray(covariate, dtype=float)
    if values.shape != mask.shape:
        raise ValueError(f"covariate is {values.shape} but vines is {mask.shape}: the same grid is needed")
    x, labels = values[mask], marked[mask]
    if np.isnan(x).any():
        raise ValueError(
            f"covariate is missing for {int(np.isnan(x).sum())} of the vines that count: leave them out of vines"
        )
    groups = checked_strata(strata, mask)
    group = groups[mask] if groups is not None else np.zeros(x.size, dtype=np.int64)
    n_cases, n_vines = int(labels.sum()), int(mask.sum())
    nothing = np.empty(0)
    reason = nothing_to_move(n_cases, n_vines)
    if reason:
        return Gradient(
            math.nan, math.nan, math.nan, math.nan, math.nan, math.nan, n_cases, n_vines, alternative, reason, nothing
        )
    mean, variance = _moments(x, labels, group)
    seen = float(x[labels].mean())
    if variance <= 1e-15:
        reason = "the covariate is the same for all vines whose labels can move"
        return Gradient(seen, mean, 0.0, math.nan, math.nan, math.nan, n_cases, n_vines, alternative, reason, nothing)
    drawn = stratified_labellings(labels, group, permutations, generator(rng))
    null = np.concatenate([part @ x / n_cases for part in drawn]) if permutations else nothing
    z = (seen - mean) / math.sqrt(variance)
    pvalue = permutation_pvalue(seen, null, alternative) if null.size else _normal(z, alternative)
    return Gradient(seen, mean, variance, z, pvalue, _normal(z, alternative), n_cases, n_vines, alternative, "", null)


def _moments(x: NDArray[np.float64], labels: NDArray[np.bool_], group: NDArray[np.int64]) -> tuple[float, float]:
    n_cases = int(labels.sum())
    mean = variance = 0.0
    for code in np.unique(group):
        inside = x[group == code]
        m, size = int(labels[group == code].sum()), inside.size
        mean += m * inside.mean()
        if size > 1:
            variance += m * (1 - m / size) * inside.var(ddof=1)
    return float(mean / n_cases), float(variance / n_cases**2)


def _normal(z: float, alternative: Alternative) -> float:
    above, below = float(ndtr(-z)), float(ndtr(z))
    return {"greater": above, "less": below}.get(alternative, min(1.0, 2 * min(above, below)))


@dataclass(frozen=True, slots=True)
class FocusGradient(Result):
    """Mean of a covariate over the cases, with foci as what is counted.

    Attributes
    ----------
    statistic, expected, error : float
        Mean over the cases, mean over the vines that count, standard error over the foci.
    pvalue : float
        Two-sided, Student's t with one less than the foci; nan where no test is possible.
    n_foci : int
        Foci.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: float
    expected: float
    error: float
    pvalue: float
    n_foci: int
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"gradient over foci: no test: {self.reason}"
        return f"mean {self.statistic:.3g}, {self.expected:.3g} expected, p = {self.pvalue:.3g} over {self.n_foci} foci"


def focus_gradient(cases: ArrayLike, vines: ArrayLike, covariate: ArrayLike) -> FocusGradient:
    """Test whether cases lie where a covariate is high or low, a focus counting once.

    Cases that touch, also at a corner, came together; where one of them lies says where the others do. By random
    labelling one focus at the edge is a gradient; here it is one place.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    covariate : (rows, stations) array_like
        A number for every vine that counts.

    Returns
    -------
    FocusGradient
        Mean of the covariate over the cases and over all vines, and the p-value with foci as what is counted.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or the covariate is missing for a vine that counts.

    Notes
    -----
    Cluster-robust variance of a mean: ``sum over foci of (sum of x - mean x)^2 / n^2``, times ``F / (F - 1)``
    (Liang and Zeger 1986, Biometrika 73, 13-22; content from memory).

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.zeros((6, 10), dtype=int)
    >>> cases[0, 1:3] = cases[1, 5] = cases[1, 8] = cases[4, 2] = cases[2, 0] = 1
    >>> row = np.repeat(np.arange(6.0)[:, None], 10, axis=1)
    >>> print(tw.stats.focus_gradient(cases, np.ones_like(cases), row))
    mean 1.33, 2.5 expected, p = 0.18 over 5 foci
    """
    marked, mask = checked_labels(cases, vines)
    x = np.asarray(covariate, dtype=float)
    if x.shape != mask.shape:
        raise ValueError(f"covariate is {x.shape} but vines is {mask.shape}: the same grid is needed")
    if np.isnan(x[mask]).any():
        raise ValueError(f"covariate is missing for {int(np.isnan(x[mask]).sum())} of the vines that count")
    number, foci = ndimage.label(marked, np.ones((3, 3), dtype=int))
    nan = math.nan
    if foci < FEWEST_FOCI or marked.sum() == mask.sum():
        return FocusGradient(
            nan, nan, nan, nan, foci, f"{foci} {'focus' if foci == 1 else 'foci'}, {FEWEST_FOCI} are needed"
        )
    seen, expected = float(x[marked].mean()), float(x[mask].mean())
    sums = np.bincount(number[marked], x[marked] - seen, minlength=foci + 1)[1:]
    error = math.sqrt(float((sums**2).sum()) * foci / (foci - 1)) / float(marked.sum())
    if error <= 1e-12:
        return FocusGradient(seen, expected, error, nan, foci, "the covariate is the same for all cases")
    t = abs(seen - expected) / error
    return FocusGradient(seen, expected, error, 2 * float(stdtr(foci - 1, -t)), foci, "")


def ring_index(vines: ArrayLike) -> NDArray[np.int64]:
    """Distance of every cell to the nearest edge of the grid, in vines: 1 is the outermost ring."""
    mask = checked_mask(vines)
    rows, stations = mask.shape
    down = np.minimum(np.arange(rows), np.arange(rows)[::-1])[:, None]
    along = np.minimum(np.arange(stations), np.arange(stations)[::-1])[None, :]
    return np.asarray(np.minimum(down, along) + 1, dtype=np.int64)
