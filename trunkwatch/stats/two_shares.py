"""Two shares side by side: how often a difference would show, and how many are needed for it to show."""

import math

from scipy.special import ndtr, ndtri

__all__ = ["chance_to_show", "needed_to_show"]


def _checked(share: float, other: float) -> None:
    for value in (share, other):
        if not 0 <= value <= 1:
            raise ValueError(f"share {value}: between 0 and 1 is needed")


def chance_to_show(share: float, other: float, many: float, others: float, *, level: float = 0.95) -> float:
    """Return the chance that limits at a level leave out no difference, for two groups drawn by lot.

    Parameters
    ----------
    share, other : float
        True shares of the two groups.
    many, others : float
        How many are in each group.
    level : float
        Of the limits.

    Returns
    -------
    float
        The power, 0 to 1.

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1.

    Notes
    -----
    Normal approximation with the variance of the two shares; each vine is taken to go its own way.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> round(tw.stats.chance_to_show(0.10, 0.20, 200, 200), 3)
    0.804
    """
    _checked(share, other)
    if many < 1 or others < 1:
        return 0.0
    # Half a bad and half a sound one more in each group: shares of 0 and 1 are no certainty in few.
    spread = [((p * n + 0.5) / (n + 1), n) for p, n in ((share, many), (other, others))]
    error = math.sqrt(sum(p * (1 - p) / n for p, n in spread))
    z = float(ndtri(0.5 + level / 2))
    return float(ndtr(abs(share - other) / error - z) + ndtr(-abs(share - other) / error - z))


def needed_to_show(share: float, other: float, *, chance: float = 0.8, of_one: float = 0.5, level: float = 0.95) -> int:
    """Return how many are needed in both groups together for a difference to show with a chance.

    Parameters
    ----------
    share, other : float
        True shares of the two groups.
    chance : float
        With which it is to show.
    of_one : float
        Part of all that is in the first group.
    level : float
        Of the limits.

    Returns
    -------
    int
        Vines in both groups together.

    Raises
    ------
    ValueError
        If a share lies outside 0 to 1, the shares are equal, or a group would be empty.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> tw.stats.needed_to_show(0.10, 0.20)
    397
    """
    _checked(share, other)
    if share == other:
        raise ValueError(f"both shares are {share}: no number shows a difference that is not there")
    if not 0 < of_one < 1:
        raise ValueError(f"part {of_one}: between 0 and 1 is needed")
    low, high = 2, 4
    while chance_to_show(share, other, of_one * high, (1 - of_one) * high, level=level) < chance:
        low, high = high, high * 2
    while low < high:
        middle = (low + high) // 2
        if chance_to_show(share, other, of_one * middle, (1 - of_one) * middle, level=level) < chance:
            low = middle + 1
        else:
            high = middle
    return high
