"""How many whole rows must be walked: for a share within a margin, and to see it double. The row is what is chosen."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import stdtrit

from trunkwatch.stats.beta_binomial import fit_beta_binomial
from trunkwatch.stats.result import Result

__all__ = ["FEWEST_ROWS", "RowsAlike", "rows_alike", "rows_for_doubling", "rows_for_margin"]

#: Fewer rows give no error of their own to speak of (our own convention).
FEWEST_ROWS = 3


@dataclass(frozen=True, slots=True)
class RowsAlike(Result):
    """How alike the vines of a row are.

    Attributes
    ----------
    share : float
        Cases over vines.
    rho : float
        Likeness of two vines of a row (intra-class correlation of a beta-binomial); 0 where none can be detected.
    vines_per_row : float
        Vines in a row on average.
    design_effect : float
        How many times more vines whole rows take than vines chosen one by one.
    rows : int
        Rows with vines.
    """

    share: float
    rho: float
    vines_per_row: float
    design_effect: float
    rows: int


def rows_alike(cases: ArrayLike, vines: ArrayLike) -> RowsAlike:
    """Estimate the likeness of vines in a row from the counts of rows.

    Parameters
    ----------
    cases, vines : (rows,) int array_like
        Of each row.

    Returns
    -------
    RowsAlike
        Share, likeness of vines in a row, and the design effect of whole rows.

    Raises
    ------
    ValueError
        If lengths differ, a row has more cases than vines, or there is no case or no vine without.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> found = tw.stats.rows_alike([3, 0, 5, 2, 1, 7], [40] * 6)
    >>> round(found.share, 3), round(found.rho, 3), round(found.design_effect, 2)
    (0.075, 0.034, 2.31)
    """
    x, n = np.asarray(cases, dtype=np.int64), np.asarray(vines, dtype=np.int64)
    if x.shape != n.shape or (x > n).any():
        raise ValueError("as many rows of vines, and no more cases than these, are needed")
    x, n = x[n > 0], n[n > 0]
    fitted = fit_beta_binomial(x, n)
    # Rows of unlike length: what counts is the row in which a vine stands.
    size = float((n * n).sum() / n.sum())
    effect = 1 + fitted.rho * (size - 1)
    return RowsAlike(float(x.sum() / n.sum()), fitted.rho, float(n.mean()), effect, int(n.size))


def _variance(share: float, alike: RowsAlike, walked: int) -> float:
    """Variance of the share of the whole block, estimated from so many of its rows."""
    each = min(share * (1 - share), 0.25) * alike.design_effect / alike.vines_per_row
    return (1 - walked / alike.rows) * each / walked


def rows_for_margin(alike: RowsAlike, margin: float, *, level: float = 0.95) -> int:
    """Fewest rows that give the share of the block within a margin.

    Parameters
    ----------
    alike : RowsAlike
        The block as the last survey has it.
    margin : float
        Half the width of the limits, as a share.
    level : float
        Of the limits, by Student's t with one less than the rows.

    Returns
    -------
    int
        Rows to scout.

    Raises
    ------
    ValueError
        If margin or level lies outside 0 to 1.

    References
    ----------
    .. [1] Cochran, W.G. (1977) Sampling techniques, 3rd ed., chapter 9: clusters without replacement. (content from memory)

    Examples
    --------
    >>> import trunkwatch as tw
    >>> alike = tw.stats.rows_alike([3, 0, 5, 2, 1, 7], [40] * 6)
    >>> tw.stats.rows_for_margin(alike, 0.05)
    5
    """
    for name, value in (("margin", margin), ("level", level)):
        if not 0 < value < 1:
            raise ValueError(f"{name} is {value}: between 0 and 1 is needed")
    for walked in range(min(FEWEST_ROWS, alike.rows), alike.rows):
        if walked < 2:
            continue
        reach = float(stdtrit(walked - 1, 0.5 + level / 2)) * math.sqrt(_variance(alike.share, alike, walked))
        if reach <= margin:
            return walked
    return alike.rows


def rows_for_doubling(alike: RowsAlike, walked_before: int, *, level: float = 0.95, power: float = 0.8) -> int | None:
    """Fewest rows in which twice the share of the last survey would be seen.

    Parameters
    ----------
    alike : RowsAlike
        The block as the last survey has it.
    walked_before : int
        Rows walked in the last survey.
    level, power : float
        Of a two-sided comparison of both surveys.

    Returns
    -------
    int or None
        None where it would not be seen in all rows, or half of the vines or more show already.

    Raises
    ------
    ValueError
        If more rows were walked than there are, or none.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> alike = tw.stats.rows_alike([3, 0, 5, 2, 1, 7], [40] * 6)
    >>> tw.stats.rows_for_doubling(alike, 6)
    5
    """
    if not 1 <= walked_before <= alike.rows:
        raise ValueError(f"walked_before is {walked_before}: 1 to {alike.rows} rows can have been scouted")
    if alike.share >= 0.5:
        return None
    before = _variance(alike.share, alike, walked_before)
    for walked in range(min(FEWEST_ROWS, alike.rows), alike.rows + 1):
        freedom = max(min(walked, walked_before) - 1, 1) if walked_before < alike.rows else max(walked - 1, 1)
        needed = float(stdtrit(freedom, 0.5 + level / 2) + stdtrit(freedom, power))
        if needed * math.sqrt(before + _variance(2 * alike.share, alike, walked)) <= alike.share:
            return walked
    return None
