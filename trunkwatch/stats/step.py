"""One season that stands out: far more new cases than the seasons around it would give."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr, stdtrit

from trunkwatch.stats.hazard import poisson_line
from trunkwatch.stats.result import Result

__all__ = ["FEWEST_SEASONS", "AgainstOthers", "Step", "one_season_step", "season_against_others"]

FEWEST_SEASONS = 5
#: Other seasons that one season is set against at the least.
FEWEST_OTHERS = 3


@dataclass(frozen=True, slots=True)
class Step(Result):
    """The season that stands out most.

    Attributes
    ----------
    season : int
        Its number, from 0; -1 where no test is possible.
    new, expected : float
        New cases in it, and what a line through the other seasons gives.
    pvalue : float
        One-sided, corrected for the number of seasons.
    seasons : int
        Seasons that were used.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    season: int
    new: int
    expected: float
    pvalue: float
    seasons: int
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"one-season jump: no test: {self.reason}"
        return f"season number {self.season}: {self.new} new cases, {self.expected:.1f} expected, p = {self.pvalue:.3g}"


def one_season_step(new: ArrayLike, at_risk: ArrayLike, years: ArrayLike | None = None) -> Step:
    """Look for a season whose new cases stand out from a smooth change over the others.

    Parameters
    ----------
    new, at_risk : (seasons,) int array_like
        New cases and vines at risk of counted seasons in order.
    years : (seasons,) int array_like, optional
        Their years, rising: new cases after years without a survey came over all of them. Each season the year after the one
        before where left out.

    Returns
    -------
    Step
        The season that stands out most, its new cases, what the others lead to expect, and the corrected p-value.

    Raises
    ------
    ValueError
        If lengths differ or there are more new cases than vines at risk.

    Notes
    -----
    Each season in turn is set against a quasi-Poisson line through the others (one rate for all where fewer than two of
    them have new cases), on the square-root scale, on which the
    spread of counts does not grow with their number: on the scale of the counts one showy season in ten would stand
    out for its skewness alone. The swing between seasons widens the limits (Student's t); the smallest p is corrected
    for the number of seasons (Bonferroni).

    References
    ----------
    .. [1] Anscombe, F.J. (1948) The transformation of Poisson, binomial and negative-binomial data. Biometrika 35,
       246-254. (content from memory)

    Examples
    --------
    >>> import trunkwatch as tw
    >>> print(tw.stats.one_season_step([4, 5, 3, 31, 6, 5], [400, 396, 391, 388, 357, 351]))
    season number 3: 31 new cases, 4.9 expected, p = 0.0284
    """
    k, n, times = _checked(new, at_risk, years)
    used = np.flatnonzero(n > 0)
    seasons = int(used.size)
    if seasons < FEWEST_SEASONS:
        reason = f"{seasons} seasons with vines at risk, {FEWEST_SEASONS} are needed"
        return Step(-1, 0, math.nan, math.nan, seasons, reason)
    if not k[used].any():
        return Step(-1, 0, math.nan, math.nan, seasons, "there is no new case")
    best = Step(-1, 0, math.nan, math.nan, seasons, "")
    for at in used:
        others = used[used != at]
        expected, t, degrees = _stands_out(k, n, times, others, int(at))
        p = min(1.0, seasons * float(stdtr(degrees, -t)))
        if math.isnan(best.pvalue) or p < best.pvalue:
            best = Step(int(at), int(k[at]), expected, max(p, 1e-12), seasons, "")
    return best


@dataclass(frozen=True, slots=True)
class AgainstOthers(Result):
    """One season, chosen beforehand, against the others.

    Attributes
    ----------
    new, expected : float
        New cases in it, and what a line through the other seasons gives.
    ratio, low, high : float
        New cases over expected, and limits that hold 90 % (each side 5 %).
    pvalue : float
        One-sided, for more new cases than expected; not corrected, for the season was not looked for.
    power : float
        How often a season with `brings` times the expected cases would have come out at 5 %.
    seasons : int
        Other seasons.
    reason : str
        Why there is no test; empty where there is one.
    """

    new: int
    expected: float
    ratio: float
    low: float
    high: float
    pvalue: float
    power: float
    seasons: int
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"season against others: no test: {self.reason}"
        return f"{self.new} new cases, {self.expected:.1f} expected, p = {self.pvalue:.3g}"


def season_against_others(
    new: ArrayLike, at_risk: ArrayLike, years: ArrayLike, year: int, *, brings: float = 2.0
) -> AgainstOthers:
    """Set the new cases of one season against a line through the others.

    Parameters
    ----------
    new, at_risk, years : (seasons,) int array_like
        New cases and vines at risk of counted seasons, and their years, rising.
    year : int
        The season.
    brings : float
        How many times the expected cases the power is given for.

    Returns
    -------
    AgainstOthers
        New cases of the season, what the others lead to expect, their ratio with limits, p-value and power.

    Raises
    ------
    ValueError
        If lengths differ, there are more new cases than vines at risk, years do not rise, or the year is none of them.

    Notes
    -----
    As in `one_season_step`, without its correction for having looked at every season.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> print(tw.stats.season_against_others([4, 5, 3, 31, 6, 5], [400, 396, 391, 388, 357, 351], range(2016, 2022), 2019))
    31 new cases, 4.9 expected, p = 0.00474
    """
    k, n, times = _checked(new, at_risk, years)
    if year not in times:
        raise ValueError(f"year is {year}: one of {', '.join(f'{one:.0f}' for one in times)} is needed")
    at = int(np.flatnonzero(times == year)[0])
    others = np.flatnonzero((n > 0) & (times != year))
    if others.size < FEWEST_OTHERS or not n[at]:
        reason = f"{others.size} other seasons with vines at risk, {FEWEST_OTHERS} are needed"
        nan = math.nan
        return AgainstOthers(int(k[at]), nan, nan, nan, nan, nan, nan, int(others.size), reason)
    expected, t, degrees = _stands_out(k, n, times, others, at)
    middle = math.sqrt(expected + 0.375)
    spread = (math.sqrt(k[at] + 0.375) - middle) / t if t else 0.5
    reach = float(stdtrit(degrees, 0.95))
    low, high = (
        max(math.sqrt(k[at] + 0.375) + side * reach * spread, 0.0) ** 2 / (expected + 0.375) for side in (-1, 1)
    )
    shift = (math.sqrt(brings * expected + 0.375) - middle) / spread
    return AgainstOthers(
        int(k[at]),
        expected,
        float(k[at]) / expected,
        low,
        high,
        max(float(stdtr(degrees, -t)), 1e-12),
        float(stdtr(degrees, shift - reach)),
        int(others.size),
        "",
    )


def _checked(
    new: ArrayLike, at_risk: ArrayLike, years: ArrayLike | None
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Return new cases, vine-years at risk and years."""
    k, n = np.asarray(new, dtype=float), np.asarray(at_risk, dtype=float)
    if k.shape != n.shape or (k > n).any():
        raise ValueError("as many seasons of vines at risk, and no more new cases than these, are needed")
    times = np.arange(k.size, dtype=float) if years is None else np.asarray(years, dtype=float)
    if times.shape != k.shape or (np.diff(times) <= 0).any():
        raise ValueError(f"{times.size} years for {k.size} seasons: as many, rising, are needed")
    return k, n * np.diff(times, prepend=times[:1] - 1), times


def _stands_out(
    k: NDArray[np.float64], n: NDArray[np.float64], times: NDArray[np.float64], others: NDArray[np.int64], at: int
) -> tuple[float, float, int]:
    """Return what the other seasons give for this one, by how many deviations it stands out, and their freedom."""
    if (k[others] > 0).sum() < 2:  # no slope can be fitted: one rate for all
        rate = (k[others].sum() + 0.5) / n[others].sum()
        mean = n[others] * rate
        degrees = int(others.size - 1)
        swing = max(1.0, float(((k[others] - mean) ** 2 / mean).sum() / degrees))
        log_variance = swing / float(mean.sum())
    else:
        line = poisson_line(k[others], n[others], times[others])
        rate, log_variance = line.at(float(times[at]))
        swing, degrees = line.swing, int(others.size - 2)
    expected = float(n[at] * rate)
    # The variance of a square root is a quarter of the variance over the mean.
    spread = math.sqrt(swing + max(expected, 0.5) * log_variance) / 2
    return expected, (math.sqrt(k[at] + 0.375) - math.sqrt(expected + 0.375)) / spread, degrees
