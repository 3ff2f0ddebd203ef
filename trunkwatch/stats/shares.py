"""How many of the vines looked at are cases, with the limits that go with the count."""

import math
from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import betaincinv, ndtri, stdtrit

from trunkwatch.stats.result import Result

__all__ = ["Incidence", "Method", "RowClusters", "clopper_pearson", "incidence", "incidence_of_rows", "wilson"]

Method = Literal["wilson", "clopper-pearson"]


@dataclass(frozen=True, slots=True)
class Incidence(Result):
    """Cases over vines looked at, with limits.

    `share`, `low` and `high` are nan where nothing was looked at; `reason` then says so.

    Attributes
    ----------
    cases, vines : int
        Numerator and denominator.
    share, low, high : float
        Share with its limits, 0 to 1.
    level : float
        Of the limits.
    method : {"wilson", "clopper-pearson"}
        How the limits were made.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    cases: int
    vines: int
    share: float
    low: float
    high: float
    level: float
    method: Method
    reason: str = ""

    def __str__(self) -> str:
        if self.reason:
            return f"no incidence: {self.reason}"
        return (
            f"{self.cases} of {self.vines} vines, {100 * self.share:.1f} % "
            f"({100 * self.low:.1f} to {100 * self.high:.1f} %)"
        )


def _checked(cases: float, vines: float, level: float) -> None:
    if vines < 0 or not 0 <= cases <= vines:
        raise ValueError(f"{cases} cases among {vines} vines: 0 <= cases <= vines is needed")
    if not 0 < level < 1:
        raise ValueError(f"level is {level}: between 0 and 1 is needed, for example 0.95")


def wilson(cases: float, vines: float, level: float = 0.95) -> tuple[float, float]:
    """Wilson score limits of a share; counts may be fractions (an effective sample size).

    Parameters
    ----------
    cases, vines : float
        Numerator and denominator.
    level : float
        Of the limits.

    Returns
    -------
    low, high : float
        Limits, 0 to 1.

    Raises
    ------
    ValueError
        If the counts or the level cannot be.

    References
    ----------
    .. [1] Wilson, E.B. (1927) J. Am. Stat. Assoc. 22, 209-212.
    .. [2] Newcombe, R.G. (1998) Stat. Med. 17, 857-872.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> low, high = tw.stats.wilson(15, 148)
    >>> round(low, 4), round(high, 4)
    (0.0624, 0.1605)
    """
    _checked(cases, vines, level)
    if vines == 0:
        return 0.0, 1.0
    z = float(ndtri(0.5 + level / 2))
    p = cases / vines
    spread = 1 + z * z / vines
    centre = (p + z * z / (2 * vines)) / spread
    half = z * math.sqrt(p * (1 - p) / vines + z * z / (4 * vines * vines)) / spread
    low = 0.0 if cases == 0 else max(0.0, centre - half)
    return low, 1.0 if cases == vines else min(1.0, centre + half)


def clopper_pearson(cases: int, vines: int, level: float = 0.95) -> tuple[float, float]:
    """Exact (conservative) limits of a share.

    Parameters
    ----------
    cases, vines : int
        Numerator and denominator.
    level : float
        Of the limits.

    Returns
    -------
    low, high : float
        Limits, 0 to 1.

    Raises
    ------
    ValueError
        If the counts or the level cannot be.

    References
    ----------
    .. [1] Clopper, C.J. and Pearson, E.S. (1934) Biometrika 26, 404-413.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> low, high = tw.stats.clopper_pearson(15, 148)
    >>> round(low, 4), round(high, 4)
    (0.0578, 0.1617)
    """
    _checked(cases, vines, level)
    tail = (1 - level) / 2
    low = float(betaincinv(cases, vines - cases + 1, tail)) if cases else 0.0
    high = float(betaincinv(cases + 1, vines - cases, 1 - tail)) if cases < vines else 1.0
    return low, high


def incidence(
    cases: int, vines: int, *, level: float = 0.95, method: Method = "wilson", deff: float = 1.0
) -> Incidence:
    """Return cases over vines looked at with limits.

    Parameters
    ----------
    cases, vines : int
        Numerator and denominator.
    level : float
        Of the limits.
    method : {"wilson", "clopper-pearson"}
        How the limits are made.
    deff : float
        Design effect of vines that are alike in clumps; below 1 it is taken as 1. Only with
        the Wilson limits.

    Returns
    -------
    Incidence
        Share with its limits; nan with a reason where no vine counts.

    Raises
    ------
    ValueError
        If the counts, the level or the method cannot be.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> print(tw.stats.incidence(15, 148))
    15 of 148 vines, 10.1 % (6.2 to 16.0 %)
    """
    _checked(cases, vines, level)
    if method not in get_args(Method):
        raise ValueError(f"method is {method!r}: one of {', '.join(get_args(Method))} is needed")
    if deff != 1.0 and method != "wilson":
        raise ValueError("deff goes with method='wilson' only")
    if vines == 0:
        return Incidence(0, 0, math.nan, math.nan, math.nan, level, method, "no vine was scouted")
    if method == "wilson":
        shrink = max(deff, 1.0)
        low, high = wilson(cases / shrink, vines / shrink, level)
    else:
        low, high = clopper_pearson(cases, vines, level)
    return Incidence(cases, vines, cases / vines, low, high, level, method)


@dataclass(frozen=True, slots=True)
class RowClusters(Result):
    """Incidence with limits that allow for rows that differ.

    Attributes
    ----------
    share, error, low, high : float
        Ratio of the totals, its standard error over the rows, and t limits. Where rows without a single
        case, or full of cases, show no difference to make limits of, those of Wilson, as if the vines had been
        chosen one by one: at least so wide.
    deff : float
        Variance over that of vines chosen one by one.
    rows : int
        Rows scouted.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    share: float
    error: float
    low: float
    high: float
    deff: float
    rows: int
    reason: str = ""

    def __str__(self) -> str:
        if self.reason:
            return f"no incidence from rows: {self.reason}"
        limits = f"{100 * self.low:.1f} to {100 * self.high:.1f} %"
        return f"{100 * self.share:.1f} % ({limits}) from {self.rows} rows"


def incidence_of_rows(cases: ArrayLike, vines: ArrayLike, *, level: float = 0.95) -> RowClusters:
    """Estimate the incidence from rows walked, the row being what was chosen.

    Parameters
    ----------
    cases, vines : (rows,) int array_like
        Of each row walked.
    level : float
        Of the limits, by Student's t with one less than the rows.

    Returns
    -------
    RowClusters
        Share, its standard error and limits, and the design effect of whole rows.

    Raises
    ------
    ValueError
        If lengths differ, the level cannot be, or a row has more cases than vines.

    References
    ----------
    .. [1] Cochran, W.G. (1977) Sampling techniques, 3rd ed., sections 2.11 and 6. (content from memory)

    Examples
    --------
    >>> import trunkwatch as tw
    >>> print(tw.stats.incidence_of_rows([3, 0, 5, 2], [40, 40, 42, 38]))
    6.2 % (0.0 to 14.3 %) from 4 rows
    """
    k, n = np.asarray(cases, dtype=float), np.asarray(vines, dtype=float)
    if k.shape != n.shape or (k > n).any():
        raise ValueError("as many rows of vines, and no more cases than these, are needed")
    _checked(float(k.sum()), float(n.sum()), level)
    k, n = k[n > 0], n[n > 0]
    if k.size < 2:
        nan = math.nan
        return RowClusters(nan, nan, nan, nan, nan, k.size, "two rows at least are needed")
    share = float(k.sum() / n.sum())
    error = math.sqrt(float(((k - share * n) ** 2).sum()) / (k.size * (k.size - 1))) / float(n.mean())
    half = float(stdtrit(k.size - 1, 0.5 + level / 2)) * error
    plain = share * (1 - share) / float(n.sum())
    if not plain:
        return RowClusters(share, error, *wilson(float(k.sum()), float(n.sum()), level), math.nan, k.size)
    return RowClusters(share, error, max(0.0, share - half), min(1.0, share + half), error**2 / plain, k.size)
