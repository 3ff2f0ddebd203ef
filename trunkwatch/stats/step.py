"""One season that stands out: far more new cases than the seasons around it would give."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import stdtr

from trunkwatch.stats.hazard import hazard_trend

__all__ = ["FEWEST_SEASONS", "Step", "one_season_step"]

FEWEST_SEASONS = 5


@dataclass(frozen=True, slots=True)
class Step:
    """The season that stands out most.

    Attributes
    ----------
    season : int
        Its number, from 0; -1 where no test is possible.
    new, expected : float
        New cases in it, and what a line through the other seasons gives.
    pvalue : float
        One-sided, corrected for the number of seasons.
    """

    season: int
    new: int
    expected: float
    pvalue: float
    seasons: int
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"one-season step: no test: {self.reason}"
        return f"season number {self.season}: {self.new} new cases, {self.expected:.1f} expected, p = {self.pvalue:.3g}"


def one_season_step(new: ArrayLike, at_risk: ArrayLike) -> Step:
    """Look for a season whose new cases stand out from a smooth change over the others.

    Parameters
    ----------
    new, at_risk : (seasons,) int array_like
        New cases and vines at risk of counted seasons in order.

    Raises
    ------
    ValueError
        If lengths differ or there are more new cases than vines at risk.

    Notes
    -----
    Each season in turn is set against a quasi-Poisson line through the others, whose swing between seasons widens
    its limits (Student's t); the smallest p is corrected for the number of seasons (Bonferroni).
    """
    k, n = np.asarray(new, dtype=float), np.asarray(at_risk, dtype=float)
    used = np.flatnonzero(n > 0)
    if used.size < FEWEST_SEASONS:
        return Step(
            -1,
            0,
            math.nan,
            math.nan,
            int(used.size),
            f"{used.size} seasons with vines at risk, {FEWEST_SEASONS} are needed",
        )
    best = Step(-1, 0, math.nan, math.nan, int(used.size), "too few new cases in the other seasons")
    for at in used:
        others = used[used != at]
        expected, spread, degrees = _line(k, n, others, int(at))
        if math.isnan(expected):
            continue
        t = (k[at] - expected) / spread
        p = min(1.0, used.size * float(stdtr(degrees, -t)))
        if math.isnan(best.pvalue) or p < best.pvalue:
            best = Step(int(at), int(k[at]), expected, max(p, 1e-12), int(used.size), "")
    return best


def _line(
    k: NDArray[np.float64], n: NDArray[np.float64], others: NDArray[np.int64], at: int
) -> tuple[float, float, int]:
    """Return what the other seasons give for this one, its spread, and degrees of freedom."""
    found = hazard_trend(k[others], n[others])
    if found.reason:
        return math.nan, math.nan, 0
    middle = float(others.mean())
    # The line's height at its middle, from the totals under the fitted slope.
    weight = n[others] * found.ratio ** (np.arange(others.size) - (others.size - 1) / 2)
    step = (others[-1] - others[0]) / max(others.size - 1, 1)
    rate = k[others].sum() / weight.sum() * found.ratio ** ((at - middle) / step)
    expected = float(n[at] * rate)
    slope_error = (math.log(found.high) - math.log(found.low)) / 3.92
    error = expected * math.hypot(
        math.sqrt(found.swing / max(k[others].sum(), 1.0)), slope_error * (at - middle) / step
    )
    return expected, math.hypot(math.sqrt(found.swing * max(expected, 0.5)), error), int(others.size - 2)
