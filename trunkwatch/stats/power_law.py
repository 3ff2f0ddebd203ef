"""Over many blocks: how does the variance of counts in groups grow beyond that of chance?"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from trunkwatch.stats.result import Result

__all__ = ["FEWEST_BLOCKS", "PowerLaw", "binary_power_law"]

#: With fewer blocks a line through them says nothing (our own convention).
FEWEST_BLOCKS = 5


@dataclass(frozen=True, slots=True)
class PowerLaw(Result):
    """Line of log observed on log binomial variance of the share of cases in groups.

    Attributes
    ----------
    slope, slope_error : float
        b; 1 is no clumping, or clumping that does not depend on the incidence; above 1 clumping is
        strongest at middling incidences.
    log10_intercept : float
        log10 A; with b = 1, A is the index of dispersion.
    r_squared : float
    n_blocks : int
        Blocks used: those with cases, vines without symptoms and some variance.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    slope: float
    slope_error: float
    log10_intercept: float
    r_squared: float
    n_blocks: int
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"binary power law: {self.reason}"
        return f"b = {self.slope:.2f} (standard error {self.slope_error:.2f}), A = {10**self.log10_intercept:.2f}, {self.n_blocks} blocks"


def binary_power_law(blocks: Sequence[tuple[ArrayLike, ArrayLike]]) -> PowerLaw:
    """Fit the binary power law over blocks.

    Parameters
    ----------
    blocks : sequence of (cases, vines)
        For each block, cases and vines of its groups (bays); vines a number or (groups,) array, of which
        the mean is taken.

    Returns
    -------
    PowerLaw
        Slope, its standard error and the height of the line; nan with a reason where fewer than three blocks vary.

    Raises
    ------
    ValueError
        If a group has more cases than vines.

    References
    ----------
    .. [1] Hughes, G. and Madden, L.V. (1992) Phytopathology 82, 1250-1255. (content from memory)

    Examples
    --------
    >>> import trunkwatch as tw
    >>> blocks = [([0, 1, 3], 10), ([1, 4, 7], 10), ([2, 2, 9], 10), ([5, 6, 10], 10), ([0, 0, 2], 10)]
    >>> print(tw.stats.binary_power_law(blocks))
    b = 1.65 (standard error 0.28), A = 48.78, 5 blocks
    """
    points = [point for cases, vines in blocks if (point := _variances(cases, vines)) is not None]
    if len(points) < FEWEST_BLOCKS:
        nan = math.nan
        reason = f"{len(points)} blocks with cases, {FEWEST_BLOCKS} are needed"
        return PowerLaw(nan, nan, nan, nan, len(points), reason)
    x, y = np.log10(np.array(points)).T
    off = x - x.mean()
    if (off**2).sum() < 1e-12:
        nan = math.nan
        return PowerLaw(nan, nan, nan, nan, len(points), "all blocks have the same incidence")
    slope = float((off * y).sum() / (off**2).sum())
    intercept = float(y.mean() - slope * x.mean())
    rest = y - intercept - slope * x
    error = math.sqrt((rest**2).sum() / (len(x) - 2) / (off**2).sum())
    whole = float(((y - y.mean()) ** 2).sum())
    return PowerLaw(slope, error, intercept, 1 - float((rest**2).sum()) / whole if whole else 1.0, len(x), "")


def _variances(cases: ArrayLike, vines: ArrayLike) -> tuple[float, float] | None:
    """Return binomial and observed variance of the share, None where either is 0."""
    held = np.asarray(cases, dtype=float)
    size = np.broadcast_to(np.asarray(vines, dtype=float), held.shape)
    if (held > size).any() or (held < 0).any():
        raise ValueError("a group has more cases than vines, or fewer than none")
    if held.size < 2:
        return None
    share, mean_size = held.sum() / size.sum(), size.mean()
    binomial = share * (1 - share) / mean_size
    observed = float(((held - size * share) ** 2).sum() / (held.size - 1) / mean_size**2)
    return (float(binomial), observed) if binomial > 0 and observed > 0 else None
