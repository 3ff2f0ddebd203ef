"""Do cases lie at the edge, and how does incidence fall with the distance from something?"""

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, expit, gammaln

from trunkwatch.stats.gradients import ring_index
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.result import Result

__all__ = ["DistanceModel", "Edge", "distance_line", "distance_logit", "edge"]

Shape = Literal["exponential", "power"]


@dataclass(frozen=True, slots=True)
class Edge(Result):
    """Cases in the outermost ring beside the rest, and the trend over the rings.

    Attributes
    ----------
    table : ((int, int), (int, int))
        Edge: cases, free; inside: cases, free.
    odds_ratio : float
        nan where it cannot be given (no case inside, or no vine without symptoms at the edge).
    pvalue : float
        Two-sided exact p of the table (tables no more likely than this one).
    rings : tuple of (cases, vines)
        From the edge inwards.
    trend, trend_pvalue : float
        Cochran-Armitage chi-square for a trend over the rings, one degree of freedom.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    table: tuple[tuple[int, int], tuple[int, int]]
    odds_ratio: float
    pvalue: float
    rings: tuple[tuple[int, int], ...]
    trend: float
    trend_pvalue: float
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"edge: no test: {self.reason}"
        (a, b), (c, d) = self.table
        shares = f"{a} of {a + b} vines at the edge and {c} of {c + d} inside are cases"
        odds = "" if math.isnan(self.odds_ratio) else f", odds ratio {self.odds_ratio:.2f}"
        return f"{shares}{odds}, p = {self.pvalue:.3g}; trend inwards p = {self.trend_pvalue:.3g}"


def edge(cases: ArrayLike, vines: ArrayLike, *, rings: ArrayLike | None = None) -> Edge:
    """Compare the edge of a block with its inside.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    rings : (rows, stations) int array_like, optional
        Ring of each vine, 1 the edge; by the sides of the grid where left out.

    Returns
    -------
    Edge
        Table of the edge against the inside with odds ratio and exact p-value, and the trend over the rings.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or a vine that counts has a ring below 1.

    Notes
    -----
    Clustered cases make both p too small: one focus in a corner is no edge effect.

    References
    ----------
    .. [1] Armitage, P. (1955) Biometrics 11, 375-386. (content from memory)

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.zeros((6, 10), dtype=int)
    >>> cases[0, :7] = cases[3, 4] = 1
    >>> print(tw.stats.edge(cases, np.ones_like(cases)))
    7 of 28 vines at the edge and 1 of 32 inside are cases, odds ratio 10.33, p = 0.0201; trend inwards p = 0.0571
    """
    marked, mask = checked_labels(cases, vines)
    ring = ring_index(mask) if rings is None else np.asarray(rings, dtype=np.int64)
    if ring.shape != mask.shape:
        raise ValueError(f"rings is {ring.shape} but vines is {mask.shape}: the same grid is needed")
    if (ring[mask] < 1).any():
        raise ValueError(f"rings holds {int(ring[mask].min())} for a vine that counts: 1, the edge, is the smallest")
    most = int(ring.max(initial=1))
    held = np.bincount(ring[marked], minlength=most + 1)
    size = np.bincount(ring[mask], minlength=most + 1)
    told = tuple((int(c), int(n)) for c, n in zip(held, size, strict=True) if n)
    (a, b), (c, d) = ((int(held[1]), int(size[1] - held[1])), (int(held[2:].sum()), int((size - held)[2:].sum())))
    table = ((a, b), (c, d))
    reason = _no_test(int(marked.sum()), int(mask.sum()), a + b, c + d)
    if reason:
        return Edge(table, math.nan, math.nan, told, math.nan, math.nan, reason)
    at = np.flatnonzero(size)
    chi = _trend(held[at], size[at], at.astype(float))
    return Edge(
        table,
        a * d / (b * c) if b * c else math.nan,
        _fisher_two_sided(a, b, c, d),
        told,
        chi,
        float(chdtrc(1, chi)),
        "",
    )


def _no_test(cases: int, vines: int, outside: int, inside: int) -> str:
    if vines == 0:
        return "no vine counts"
    reason = nothing_to_move(cases, vines)
    return reason or ("" if outside and inside else "there is no edge to compare with an inside")


def _trend(cases: NDArray[np.int64], vines: NDArray[np.int64], score: NDArray[np.float64]) -> float:
    share = cases.sum() / vines.sum()
    middle = (vines * score).sum() / vines.sum()
    slope = (cases * (score - middle)).sum()
    return float(slope**2 / (share * (1 - share) * (vines * (score - middle) ** 2).sum()))


def _fisher_two_sided(a: int, b: int, c: int, d: int) -> float:
    k = np.arange(max(0, a - d), min(a + b, a + c) + 1)
    logs = -(gammaln(k + 1) + gammaln(a + b - k + 1) + gammaln(a + c - k + 1) + gammaln(d - a + k + 1))
    chance = np.exp(logs - logs.max())
    chance /= chance.sum()
    return min(1.0, float(chance[chance <= chance[a - k[0]] * (1 + 1e-7)].sum()))


@dataclass(frozen=True, slots=True)
class DistanceModel(Result):
    """Incidence over distance: slope per meter (exponential) or per log meter (power).

    `scale` says what is straight: the logarithm of the incidence ("log") or its log odds ("logit").

    Attributes
    ----------
    shape : {"exponential", "power"}
        Whether the distance or its logarithm makes the line.
    scale : str
        log or logit.
    slope : float
        For each meter (exponential) or log meter (power).
    intercept : float
        At a distance of 0 m (exponential) or 1 m (power).
    fit : float
        R squared of a line; deviance of a binomial fit.
    """

    shape: Shape
    scale: str
    slope: float
    intercept: float
    fit: float  # r squared of a line; deviance of a binomial fit


def distance_line(distance: ArrayLike, incidence: ArrayLike, shape: Shape, *, logit: bool = False) -> DistanceModel:
    """Fit a line to transformed incidences by least squares, as older texts do.

    Parameters
    ----------
    distance : (k,) float array_like
        Meters from the source.
    incidence : (k,) float array_like
        Shares at these distances, above 0 and below 1.
    shape : {"exponential", "power"}
        Whether the distance or its logarithm makes the line.
    logit : bool
        Take log odds of the share instead of its logarithm.

    Returns
    -------
    DistanceModel
        Slope a meter (exponential) or a log meter (power), intercept and R squared.

    Raises
    ------
    ValueError
        If the shape is unknown, an incidence is not between 0 and 1, or a distance not above 0.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> meters, share = [1, 3, 5, 8, 12, 20], [0.42, 0.27, 0.20, 0.14, 0.10, 0.06]
    >>> found = tw.stats.distance_line(meters, share, "power")
    >>> round(found.slope, 3), round(found.fit, 3)
    (-0.644, 0.962)
    """
    d, y = _checked(distance, incidence, shape)
    if ((y <= 0) | (y >= 1)).any():
        raise ValueError("an incidence is 0 or 1 and has no logarithm or log odds: use distance_logit with counts")
    x = np.log(d) if shape == "power" else d
    z = np.log(y / (1 - y)) if logit else np.log(y)
    slope, intercept = np.polyfit(x, z, 1)
    return DistanceModel(
        shape, "logit" if logit else "log", float(slope), float(intercept), float(np.corrcoef(x, z)[0, 1] ** 2)
    )


def distance_logit(distance: ArrayLike, cases: ArrayLike, vines: ArrayLike, shape: Shape) -> DistanceModel:
    """Fit log odds of the incidence over distance by binomial likelihood; counts of 0 are no trouble.

    Parameters
    ----------
    distance : (k,) float array_like
        Meters from the source.
    cases, vines : (k,) int array_like
        Cases, and vines that count, at these distances.
    shape : {"exponential", "power"}
        As in `distance_line`.

    Returns
    -------
    DistanceModel
        Slope and intercept on the log-odds scale, and the deviance as `fit`.

    Raises
    ------
    ValueError
        As in `distance_line`, or if there are more cases than vines.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> found = tw.stats.distance_logit([2, 5, 10, 20], [9, 5, 2, 0], [20, 20, 20, 20], "exponential")
    >>> round(found.slope, 3), round(found.intercept, 3)
    (-0.276, 0.347)
    """
    n, k = np.asarray(vines, dtype=float), np.asarray(cases, dtype=float)
    d, y = _checked(distance, k / n, shape)
    x = np.log(d) if shape == "power" else d
    terms = np.column_stack([np.ones_like(x), x])
    beta = np.array([math.log((k.sum() + 0.5) / (n.sum() - k.sum() + 0.5)), 0.0])
    for _ in range(50):
        p = expit(terms @ beta)
        step = np.linalg.solve(
            terms.T @ (terms * (n * p * (1 - p))[:, None]) + 1e-12 * np.eye(2), terms.T @ (k - n * p)
        )
        beta = beta + step
        if np.abs(step).max() < 1e-12:
            break
    p = expit(terms @ beta)
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = np.where(k > 0, k * np.log(y / p), 0.0) + np.where(k < n, (n - k) * np.log((1 - y) / (1 - p)), 0.0)
    return DistanceModel(shape, "logit", float(beta[1]), float(beta[0]), float(2 * parts.sum()))


def _checked(
    distance: ArrayLike, incidence: ArrayLike, shape: Shape
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    if shape not in get_args(Shape):
        raise ValueError(f"shape is {shape!r}: one of {', '.join(get_args(Shape))} is needed")
    d, y = np.asarray(distance, dtype=float), np.asarray(incidence, dtype=float)
    if d.shape != y.shape or d.size < 2:
        raise ValueError("as many distances as incidences, two at least, are needed")
    if ((y < 0) | (y > 1)).any() or (shape == "power" and (d <= 0).any()):
        raise ValueError("incidences from 0 to 1 and, for a power law, distances above 0 are needed")
    return d, y
