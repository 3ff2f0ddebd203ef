"""First symptoms by age or season: new cases over the vines at risk, and whether that rate rises or dries up."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

from trunkwatch.stats.result import Result
from trunkwatch.stats.shares import Incidence, incidence

__all__ = ["Hazard", "HazardTrend", "PoissonLine", "hazard_by_age", "hazard_trend", "poisson_line"]


@dataclass(frozen=True, slots=True)
class Hazard(Result):
    """Yearly hazard of first symptoms at one age, and the share that had them by then (1 - product of 1 - h).

    Attributes
    ----------
    age : int
        Seasons.
    hazard : Incidence
        New cases of the vines at risk.
    cumulative : float
        Share that had symptoms by then, 0 to 1.
    """

    age: int
    hazard: Incidence
    cumulative: float


@dataclass(frozen=True, slots=True)
class HazardTrend(Result):
    """Change of the rate of new cases from season to season.

    Attributes
    ----------
    ratio, low, high : float
        Factor per season with 95 % limits, widened for the swing between seasons (Student's t where there is more
        of it than counting gives); nan where it cannot be told.
    swing : float
        Observed over Poisson variance around the line, at least 1.
    seasons : int
        Seasons that were used.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    ratio: float
    low: float
    high: float
    swing: float
    seasons: int
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"trend of new cases: {self.reason}"
        return f"new cases times {self.ratio:.2f} a season ({self.low:.2f} to {self.high:.2f})"


def hazard_by_age(age: ArrayLike, new: ArrayLike, at_risk: ArrayLike, *, level: float = 0.95) -> tuple[Hazard, ...]:
    """Pool new cases and vines at risk by age.

    Parameters
    ----------
    age, new, at_risk : (k,) int array_like
        Age in seasons, new cases and vines at risk of each line of the record.
    level : float
        Of the Wilson limits.

    Returns
    -------
    tuple of Hazard
        One for each age, rising, with limits and the cumulative share.

    Raises
    ------
    ValueError
        If lengths differ or there are more new cases than vines at risk.

    Notes
    -----
    In a fixed cohort ``1 - prod(1 - h)`` is the cumulative incidence.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> for found in tw.stats.hazard_by_age([8, 9, 9, 10], [1, 2, 3, 6], [100, 99, 100, 190]):
    ...     print(found.age, found.hazard)
    8 1 of 100 vines, 1.0 % (0.2 to 5.4 %)
    9 5 of 199 vines, 2.5 % (1.1 to 5.7 %)
    10 6 of 190 vines, 3.2 % (1.5 to 6.7 %)
    """
    ages, held, size = (np.asarray(one, dtype=np.int64).ravel() for one in (age, new, at_risk))
    if not ages.shape == held.shape == size.shape:
        raise ValueError(f"age {ages.shape}, new {held.shape}, at_risk {size.shape}: the same length is needed")
    told, left = [], 1.0
    for one in np.unique(ages):
        cases, vines = int(held[ages == one].sum()), int(size[ages == one].sum())
        found = incidence(cases, vines, level=level)
        left *= 1 - (found.share if vines else 0.0)
        told.append(Hazard(int(one), found, 1 - left))
    return tuple(told)


def hazard_trend(new: ArrayLike, at_risk: ArrayLike, years: ArrayLike | None = None) -> HazardTrend:
    """Fit a constant yearly factor to new cases over vines at risk (quasi-Poisson, log link).

    Parameters
    ----------
    new, at_risk : (seasons,) int array_like
        Of seasons in order.
    years : (seasons,) int array_like, optional
        Their years, rising: what is new after years without a survey came over all of them. Each season after the one
        before where left out.

    Returns
    -------
    HazardTrend
        Yearly factor with 95 % limits; nan with a reason where there are too few seasons.

    Raises
    ------
    ValueError
        If lengths differ or there are more new cases than vines at risk.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> print(tw.stats.hazard_trend([4, 5, 7, 9, 14], [400, 396, 391, 384, 375]))
    new cases times 1.40 a season (1.11 to 1.78)
    """
    k, n = np.asarray(new, dtype=float), np.asarray(at_risk, dtype=float)
    if k.shape != n.shape or (k > n).any():
        raise ValueError("as many seasons of vines at risk, and no more new cases than these, are needed")
    t = np.arange(k.size, dtype=float) if years is None else np.asarray(years, dtype=float)
    if t.shape != k.shape or (np.diff(t) <= 0).any():
        raise ValueError(f"{t.size} years for {k.size} seasons: as many, rising, are needed")
    n = n * np.diff(t, prepend=t[:1] - 1)  # vine-years
    k, n, t = k[n > 0], n[n > 0], t[n > 0]
    if k.size < 4 or (k > 0).sum() < 2:
        return HazardTrend(
            math.nan, math.nan, math.nan, math.nan, k.size, "four seasons, two of them with new cases, are needed"
        )
    line = poisson_line(k, n, t)
    reach = float(ndtri(0.975)) if line.swing <= 1 else float(stdtrit(k.size - 2, 0.975))
    half = reach * math.sqrt(line.swing * line.covariance[1, 1])
    return HazardTrend(
        math.exp(line.slope), math.exp(line.slope - half), math.exp(line.slope + half), line.swing, k.size, ""
    )


@dataclass(frozen=True, slots=True)
class PoissonLine(Result):
    """A log-linear rate of new cases: ``log rate = height + slope (t - middle)``.

    `covariance` is that of height and slope where the counts are Poisson; it grows with the `swing`.

    Attributes
    ----------
    height, slope : float
        Log rate at `middle`, and its change a season.
    middle : float
        Time at which both are independent.
    covariance : (2, 2) float array
        Of height and slope, Poisson.
    swing : float
        Observed over Poisson variance, at least 1.
    """

    height: float
    slope: float
    middle: float
    covariance: NDArray[np.float64]
    swing: float

    def at(self, time: float) -> tuple[float, float]:
        """Return the rate at a time, and the variance of its logarithm (swing included)."""
        off = np.array([1.0, time - self.middle])
        log_rate = self.height + self.slope * float(off[1])
        return math.exp(min(log_rate, 5.0)), self.swing * float(off @ self.covariance @ off)


def poisson_line(new: NDArray[np.float64], at_risk: NDArray[np.float64], times: NDArray[np.float64]) -> PoissonLine:
    """Fit a log-linear rate by quasi-Poisson likelihood.

    Parameters
    ----------
    new, at_risk, times : (seasons,) float array
        New cases, vines at risk (above 0) and the season's number; three seasons, two of them with new cases, at least.

    Returns
    -------
    PoissonLine
        Height and slope of the log rate with their covariance, (2, 2), and the swing between seasons.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> line = tw.stats.poisson_line(np.array([4.0, 5, 7, 9]), np.array([400.0, 396, 391, 384]), np.arange(4.0))
    >>> round(line.slope, 3)
    0.292
    """
    x = np.column_stack([np.ones_like(times), times - times.mean()])
    beta = np.array([math.log(new.sum() / at_risk.sum()), 0.0])
    for _ in range(100):
        mean = at_risk * np.exp(np.clip(x @ beta, -30, 5))
        step = np.linalg.solve(x.T @ (x * mean[:, None]), x.T @ (new - mean))
        beta = beta + np.clip(step, -1, 1)
        if np.abs(step).max() < 1e-10:
            break
    mean = at_risk * np.exp(x @ beta)
    swing = max(1.0, float(((new - mean) ** 2 / mean).sum() / (new.size - 2)))
    covariance = np.asarray(np.linalg.inv(x.T @ (x * mean[:, None])), dtype=np.float64)
    return PoissonLine(float(beta[0]), float(beta[1]), float(times.mean()), covariance, swing)
