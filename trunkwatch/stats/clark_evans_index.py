"""The index of Clark and Evans, for comparison with older texts only.

It asks whether points lie as if anywhere in the area. Vines never do: they stand on a lattice, and no
two cases can be closer than one spacing. A block with cases at random among its vines is called
"regular" more and more often the more cases there are. Nothing in a report uses it.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.spatial import cKDTree
from scipy.special import ndtr

from trunkwatch.stats.labels import checked_labels
from trunkwatch.stats.result import Result

__all__ = ["MISLEADS", "ClarkEvans", "clark_evans"]

MISLEADS = (
    "The index of Clark and Evans compares cases with points anywhere, but vines stand on a lattice: it calls blocks "
    "regular that are scattered by chance, and misses foci. Use join counts or nearest_neighbour, whose chance is "
    "random labelling of the vines."
)


@dataclass(frozen=True, slots=True)
class ClarkEvans(Result):
    """Mean distance to the nearest case over that of points anywhere.

    Attributes
    ----------
    statistic : float
        R without edge correction.
    z, pvalue : float
        Two-sided, without edge correction.
    donnelly, z_donnelly : float
        R and z with the correction of Donnelly for a rectangle.
    mean_distance : float
        Meters.
    warning : str
        Why it misleads; always there.
    n_cases : int
        Cases.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: float
    z: float
    pvalue: float
    donnelly: float
    z_donnelly: float
    mean_distance: float
    n_cases: int
    reason: str
    warning: str = MISLEADS

    def __str__(self) -> str:
        if self.reason:
            return f"no index: {self.reason}"
        return f"R = {self.statistic:.2f} ({self.donnelly:.2f} corrected for the edge). {self.warning}"


def clark_evans(cases: ArrayLike, vines: ArrayLike, *, row_spacing: float, vine_spacing: float) -> ClarkEvans:
    """Return the index, with its warning.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    row_spacing, vine_spacing : float
        Meters. The area is the whole grid, half a spacing around it included.

    Returns
    -------
    ClarkEvans
        The index (1 for points anywhere), plain and with Donnelly's correction of edges, and the warning.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or a spacing is not positive.

    References
    ----------
    .. [1] Clark, P.J. and Evans, F.C. (1954) Ecology 35, 445-453. (content from memory)
    .. [2] Donnelly, K. (1978) in Hodder, I., Simulation studies in archaeology. Constants of the mean 0.0514 and
       0.0412, of the variance 0.0703 and 0.037; texts differ in the last digit.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> found = tw.stats.clark_evans(cases, vines, row_spacing=2.5, vine_spacing=1.5)
    >>> round(found.statistic, 3)
    1.214
    """
    if row_spacing <= 0 or vine_spacing <= 0:
        raise ValueError(f"row_spacing is {row_spacing} m, vine_spacing {vine_spacing} m: both must be above 0")
    marked, mask = checked_labels(cases, vines)
    n = int(marked.sum())
    if n < 2:
        nan = math.nan
        return ClarkEvans(nan, nan, nan, nan, nan, nan, n, "there is no case" if n == 0 else "there is a single case")
    at = np.argwhere(marked) * np.array([row_spacing, vine_spacing])
    mean = float(np.asarray(cKDTree(at).query(at, k=2)[0])[:, 1].mean())
    height, width = mask.shape[0] * row_spacing, mask.shape[1] * vine_spacing
    area, edge = height * width, 2 * (height + width)
    anywhere = 0.5 * math.sqrt(area / n)
    z = (mean - anywhere) / (math.sqrt((4 - math.pi) / (4 * math.pi)) * math.sqrt(area) / n)
    corrected = anywhere + (0.0514 + 0.0412 / math.sqrt(n)) * edge / n
    error = math.sqrt(0.0703 * area / n**2 + 0.037 * edge * math.sqrt(area / n**5))
    return ClarkEvans(
        mean / anywhere, z, 2 * float(ndtr(-abs(z))), mean / corrected, (mean - corrected) / error, mean, n, ""
    )
