"""Is it getting worse: the change between two seasons, and whether it is more than the usual swing."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betainc, stdtrit

from trunkwatch.stats.labels import checked_mask
from trunkwatch.stats.result import Result
from trunkwatch.stats.shares import wilson

__all__ = ["CANNOT_TELL", "Change", "Swing", "change", "usual_swing"]

CANNOT_TELL = "cannot tell a showy year from an increase"
#: Counted seasons below which a change cannot be set against earlier changes.
ENOUGH_SEASONS = 5


@dataclass(frozen=True, slots=True)
class Change(Result):
    """Change of the share of cases between two seasons, on the vines looked at in both.

    Attributes
    ----------
    statistic : float
        Difference of the shares, later less earlier.
    low, high : float
        95 % limits of the difference (Newcombe's score limits for paired shares).
    only_later, only_earlier : int
        Vines that were a case in one of the two seasons only.
    pvalue : float
        Exact two-sided sign test of these; nan where there are none.
    vines : int
        Vines scouted in both seasons.
    earlier, later : int
        Cases of each season.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: float
    low: float
    high: float
    pvalue: float
    vines: int
    earlier: int
    later: int
    only_later: int
    only_earlier: int
    reason: str = ""

    def __str__(self) -> str:
        if self.reason:
            return f"no change can be given: {self.reason}"
        return (
            f"from {self.earlier} to {self.later} of the {self.vines} vines scouted in both seasons, "
            f"{100 * self.statistic:+.1f} points ({100 * self.low:+.1f} to {100 * self.high:+.1f})"
        )


def change(earlier: ArrayLike, later: ArrayLike, vines: ArrayLike) -> Change:
    """Compare two seasons on the vines looked at in both.

    Parameters
    ----------
    earlier, later : (rows, stations) bool array_like
        Cases of each season; cases outside `vines` are left out.
    vines : (rows, stations) bool array_like
        Vines looked at in both seasons.

    Returns
    -------
    Change
        Later share less earlier share, with 95 % limits, and the exact p-value of the vines that changed.

    Raises
    ------
    ValueError
        If the shapes differ.

    References
    ----------
    .. [1] Newcombe, R.G. (1998) Improved confidence intervals for the difference between
       binomial proportions based on paired data. Stat. Med. 17, 2635-2650, method 10.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> earlier = [[0, 1, 0, 0, 0, 0, 0, 0]] * 4
    >>> later = [[0, 1, 1, 0, 0, 1, 0, 0]] * 4
    >>> print(tw.stats.change(earlier, later, np.ones((4, 8))))
    from 4 to 12 of the 32 vines scouted in both seasons, +25.0 points (+8.3 to +40.9)
    """
    one, two, mask = checked_mask(earlier, "earlier"), checked_mask(later, "later"), checked_mask(vines)
    if not one.shape == two.shape == mask.shape:
        raise ValueError(f"earlier is {one.shape}, later {two.shape}, vines {mask.shape}: the same grid is needed")
    n = int(mask.sum())
    if n == 0:
        return Change(math.nan, math.nan, math.nan, math.nan, 0, 0, 0, 0, 0, "no vine was scouted in both")
    both = int((one & two & mask).sum())
    gone, come = int((one & ~two & mask).sum()), int((~one & two & mask).sum())
    low, high = _newcombe(both, come, gone, n)
    return Change((come - gone) / n, low, high, _sign_test(come, gone), n, both + gone, both + come, come, gone)


def _newcombe(both: int, come: int, gone: int, n: int) -> tuple[float, float]:
    later, earlier = (both + come) / n, (both + gone) / n
    l2, u2 = wilson(both + come, n)
    l1, u1 = wilson(both + gone, n)
    neither = n - both - come - gone
    product = (both + come) * (both + gone) * (n - both - come) * (n - both - gone)
    cross = both * neither - come * gone
    if product <= 0:
        phi = 0.0
    elif cross > 0:
        phi = max(cross - n / 2, 0.0) / math.sqrt(product)
    else:
        phi = cross / math.sqrt(product)
    difference = later - earlier
    a, b = later - l2, u1 - earlier
    low = difference - math.sqrt(max(a * a - 2 * phi * a * b + b * b, 0.0))
    a, b = u2 - later, earlier - l1
    high = difference + math.sqrt(max(a * a - 2 * phi * a * b + b * b, 0.0))
    return low, high


def _sign_test(come: int, gone: int) -> float:
    n, k = come + gone, min(come, gone)
    if n == 0:
        return math.nan
    below = 1.0 if k == n else float(betainc(n - k, k + 1, 0.5))
    return min(1.0, 2 * below)


@dataclass(frozen=True, slots=True)
class Swing(Result):
    """The last change beside the spread of the earlier ones, on the log-odds scale.

    Attributes
    ----------
    verdict : str
        "outside", "inside" or "cannot tell".
    statistic : float
        Last share.
    low, high : float
        Where 95 in 100 seasons like the earlier ones would lie after the season before.
    seasons : int
        Counted seasons.
    sentence : str
        The answer in words.
    """

    verdict: str
    statistic: float
    low: float
    high: float
    seasons: int
    sentence: str

    def __str__(self) -> str:
        return self.sentence


def usual_swing(cases: Sequence[int], vines: Sequence[int]) -> Swing:
    """Set the last season against the swing of the earlier ones.

    With five or more counted seasons the last change of the log-odds is compared with a t
    prediction interval from the earlier changes; with fewer the answer is that a showy year
    cannot be told from an increase. Shares of 0 and 1 are moved by half a vine. The swing is taken
    to be at least what counting alone gives: seasons that happened to be alike do not make the
    next vine an increase.

    Parameters
    ----------
    cases, vines : sequence of int
        Of the counted seasons, earliest first.

    Returns
    -------
    Swing
        A verdict, the last share with the range that the swing gives, and a sentence.

    Raises
    ------
    ValueError
        If the lengths differ or a season has more cases than vines.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> print(tw.stats.usual_swing([20, 25, 18, 24, 22, 61], [500] * 6))
    The last season (12.2 %) is a normal year-to-year swing (1.6 to 12.6 %).
    """
    if any(not 0 <= one <= all_ for one, all_ in zip(cases, vines, strict=False)):
        raise ValueError("a season has more cases than vines, or fewer than none")
    if len(cases) != len(vines):
        raise ValueError(f"{len(cases)} numbers of cases but {len(vines)} of vines")
    seasons = len(cases)
    last = cases[-1] / vines[-1] if seasons and vines[-1] else math.nan
    if seasons < ENOUGH_SEASONS or not all(vines):
        return Swing(
            "cannot tell",
            last,
            math.nan,
            math.nan,
            seasons,
            f"With {seasons} counted season{'s' if seasons != 1 else ''} we {CANNOT_TELL}.",
        )
    k, n = np.asarray(cases, dtype=float), np.asarray(vines, dtype=float)
    odds = np.log((k + 0.5) / (n - k + 0.5))
    steps = np.diff(odds)
    before, newest = steps[:-1], steps[-1]
    counting = 1 / (k + 0.5) + 1 / (n - k + 0.5)
    swing = math.sqrt(max(before.var(ddof=1), float(np.mean(counting[:-2] + counting[1:-1]))))
    half = float(stdtrit(before.size - 1, 0.975)) * swing * math.sqrt(1 + 1 / before.size)
    low, high = (1 / (1 + math.exp(-(odds[-2] + before.mean() + side * half))) for side in (-1, 1))
    outside = not before.mean() - half <= newest <= before.mean() + half
    way = "above" if newest > before.mean() else "below"
    if outside:
        sentence = f"The last season ({100 * last:.1f} %) lies {way} a normal year-to-year swing"
    else:
        sentence = f"The last season ({100 * last:.1f} %) is a normal year-to-year swing"
    return Swing(
        "outside" if outside else "inside",
        last,
        low,
        high,
        seasons,
        f"{sentence} ({100 * low:.1f} to {100 * high:.1f} %).",
    )
