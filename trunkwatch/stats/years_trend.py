"""Is it getting worse: the change of the share a season, over all seasons, beside the swing from season to season."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import stdtr, stdtrit

from trunkwatch.stats.result import Result

__all__ = ["FEWEST_SEASONS", "LongTrend", "long_trend"]

#: Seasons below which a trend is not told from showy and quiet years (our own convention).
FEWEST_SEASONS = 5


@dataclass(frozen=True, slots=True)
class LongTrend(Result):
    """Change of the odds of a case from one season to the next.

    Attributes
    ----------
    statistic : float
        Factor on the odds a season; 1 is no change, nan where none is given.
    low, high : float
        Its 95 % limits.
    pvalue : float
        Two-sided, of no change.
    swing : float
        Standard deviation of the log-odds of a season about the line, beyond counting.
    first, last : int
        Years of the first and the last season.
    seasons : int
    """

    statistic: float
    low: float
    high: float
    pvalue: float
    swing: float
    first: int
    last: int
    seasons: int

    @property
    def verdict(self) -> str:
        """One of "worse", "better", "neither" and "cannot tell": 5 % two-sided; "neither" where the odds change by under a tenth a season."""
        if math.isnan(self.statistic):
            return "cannot tell"
        if self.pvalue <= 0.05:
            return "worse" if self.statistic > 1 else "better"
        return "neither" if self.low >= 1 / 1.1 and self.high <= 1.1 else "cannot tell"

    def __str__(self) -> str:
        if math.isnan(self.statistic):
            return f"With {self.seasons} seasons compared nobody can tell whether it is getting worse: it takes {FEWEST_SEASONS}."
        factor, low, high = (f"{100 * (value - 1):+.1f}" for value in (self.statistic, self.low, self.high))
        told = f"{self.first} to {self.last}: odds of showing {factor} % a season, likely range {low} to {high}"
        return {
            "worse": f"It is getting worse: more shows from year to year ({told}).",
            "better": f"It is getting better: less shows from year to year ({told}).",
            "neither": f"It is getting neither worse nor better ({told}).",
            "cannot tell": f"Whether it is getting worse cannot be told from showy and quiet years ({told}).",
        }[self.verdict]


def long_trend(cases: Sequence[int], vines: Sequence[int], years: Sequence[int]) -> LongTrend:
    """Fit a line through the log-odds of the seasons, each with its own swing.

    A random-effects regression: each season has the error of its count and a swing that all seasons share; the limits
    are of the t distribution with the residuals' own scale, which is taken to be at least 1. Missed years are
    distances on the axis. Seasons are taken as independent about the line: several showy years in a row count as more
    evidence than they are.

    Parameters
    ----------
    cases, vines : sequence of int
        Of the compared seasons, earliest first; shares of 0 and 1 are moved by half a vine.
    years : sequence of int
        Of these seasons.

    Returns
    -------
    LongTrend
        Yearly factor of the odds with 95 % limits, p-value, and the swing between seasons.

    Raises
    ------
    ValueError
        If the lengths differ, a season has no vines or more cases than vines, or the years do not rise.

    References
    ----------
    .. [1] DerSimonian, R. & Laird, N. (1986) Control. Clin. Trials 7:177-188, the swing by moments.
    .. [2] Knapp, G. & Hartung, J. (2003) Improved tests for a random effects meta-regression with a single
       covariate. Stat. Med. 22:2693-2710, the limits.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> print(tw.stats.long_trend([5, 9, 14, 19, 34], [560] * 5, [2017, 2019, 2020, 2021, 2022]))
    It is getting worse: more shows from year to year (2017 to 2022: odds of showing +49.2 % a season, likely range +16.4 to +91.1).
    """
    k, n, x = (np.asarray(one, dtype=float) for one in (cases, vines, years))
    if not k.shape == n.shape == x.shape:
        raise ValueError(f"{k.size} numbers of cases, {n.size} of vines and {x.size} years")
    if (n <= 0).any() or (k < 0).any() or (k > n).any():
        raise ValueError("a season has no vines, more cases than vines, or fewer than none")
    if (np.diff(x) <= 0).any():
        raise ValueError("the years must rise")
    first, last = (int(x[0]), int(x[-1])) if x.size else (0, 0)
    if x.size < FEWEST_SEASONS:
        return LongTrend(math.nan, math.nan, math.nan, math.nan, math.nan, first, last, x.size)
    y, v = np.log((k + 0.5) / (n - k + 0.5)), 1 / (k + 0.5) + 1 / (n - k + 0.5)
    design = np.column_stack([np.ones_like(x), x - x.mean()])
    swing2 = _swing2(y, v, design)
    weights = 1 / (v + swing2)
    covariance = np.linalg.inv(design.T @ (weights[:, None] * design))
    line = covariance @ (design.T @ (weights * y))
    scale = max(1.0, float((weights * (y - design @ line) ** 2).sum()) / (x.size - 2))
    error, slope = math.sqrt(scale * covariance[1, 1]), float(line[1])
    reach = float(stdtrit(x.size - 2, 0.975)) * error
    pvalue = 2 * float(stdtr(x.size - 2, -abs(slope) / error))
    return LongTrend(
        math.exp(slope),
        math.exp(slope - reach),
        math.exp(slope + reach),
        pvalue,
        math.sqrt(swing2),
        first,
        last,
        x.size,
    )


def _swing2(y: np.ndarray, v: np.ndarray, design: np.ndarray) -> float:
    """Return the variance between seasons by moments, 0 where counting explains all."""
    w = 1 / v
    inverse = np.linalg.inv(design.T @ (w[:, None] * design))
    rest = y - design @ (inverse @ (design.T @ (w * y)))
    q = float((w * rest**2).sum())
    trace = float(w.sum() - np.trace(inverse @ (design.T @ ((w**2)[:, None] * design))))
    return float(max(0.0, (q - (y.size - design.shape[1])) / trace))
