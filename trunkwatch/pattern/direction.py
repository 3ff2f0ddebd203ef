"""Do cases lie together more along the rows than the same meters across them would bring?"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from trunkwatch.grid import RowGrid
from trunkwatch.stats.joins import joined_pairs

__all__ = ["AlongOrAcross", "along_or_across"]

#: Pieces of ground that are left out one at a time: bands of rows by stretches of stations (our own convention).
BANDS, STRETCHES = 4, 6
HALF = 0.5
#: What p must not exceed for "more along" and for "along".
BESIDE_ACROSS, ALONG_ALONE = 0.05, 0.1


@dataclass(frozen=True, slots=True)
class AlongOrAcross:
    """Pairs along the row and across the rows, as many meters apart.

    Attributes
    ----------
    along, across : float
        Pairs of cases seen, over those expected were cases anywhere.
    pvalue : float
        One-sided, of no more along than across; nan where meters are a guess or one kind of pair cannot occur.
    """

    along: float
    across: float
    pvalue: float

    def more_along(self, *, across: bool) -> bool:
        """Tell whether more lie along the rows: at 5 % where pairs across are more than chance too, else at 10 %."""
        return self.pvalue <= (BESIDE_ACROSS if across else ALONG_ALONE)


def along_or_across(cases: NDArray[np.bool_], vines: NDArray[np.bool_], grid: RowGrid) -> AlongOrAcross:
    """Set pairs along the row beside pairs across the rows.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array
        Cases and vines that count.
    grid : RowGrid
        Meters.

    Notes
    -----
    The difference of the logarithms of seen over expected, its error by the jackknife over pieces of ground: cases of one focus
    count together. Isotropic clusters make no difference. (Jackknife of a ratio: Efron and Tibshirani 1993, An Introduction to
    the Bootstrap, chapter 11; content from memory.)
    """
    if grid.assumed_spacing:
        return AlongOrAcross(math.nan, math.nan, math.nan)
    order = max(1, round(grid.row_spacing_m / grid.vine_spacing_m))
    every = np.ones(grid.shape, dtype=bool)
    number, pieces = _pieces(grid.shape)
    counts = []
    for rule, apart in (("row", order), ("across", 1)):
        joins = grid.joins(rule, apart)  # type: ignore[arg-type]
        pairs = joined_pairs(rule, every, apart) if isinstance(joins, str) else grid.pairs(rule, apart)  # type: ignore[arg-type]
        pairs = pairs[vines.ravel()[pairs].all(axis=1)]
        both = cases.ravel()[pairs].all(axis=1)
        at = number[pairs[:, 0]]
        counts.append(np.stack([np.bincount(at, both, pieces), np.bincount(at, minlength=pieces)]))
    share = cases[vines].mean() if vines.any() else 0.0
    seen = np.stack([one[0] for one in counts])
    possible = np.stack([one[1] for one in counts]) * share**2
    total, chance = seen.sum(axis=1), possible.sum(axis=1)
    if (chance <= 0).any() or not total.any():
        return AlongOrAcross(math.nan, math.nan, math.nan)
    ratios = total / chance
    used = np.flatnonzero(possible.sum(axis=0) > 0)
    left = np.array([_difference(total - seen[:, k], chance - possible[:, k]) for k in used])
    if used.size < 4 or not np.isfinite(left).all():
        return AlongOrAcross(float(ratios[0]), float(ratios[1]), math.nan)
    error = math.sqrt((used.size - 1) / used.size * float(((left - left.mean()) ** 2).sum()))
    z = _difference(total, chance) / error if error > 0 else math.nan
    return AlongOrAcross(float(ratios[0]), float(ratios[1]), float(stdtr(used.size - 1, -z)))


def _difference(seen: NDArray[np.float64], chance: NDArray[np.float64]) -> float:
    if (chance <= 0).any():
        return math.nan
    along, across = np.log((seen + HALF) / chance)
    return float(along - across)


def _pieces(shape: tuple[int, int]) -> tuple[NDArray[np.int64], int]:
    """Number of the piece of ground of every cell, flat, and how many pieces there are."""
    bands, stretches = min(BANDS, shape[0]), min(STRETCHES, shape[1])
    row, station = np.indices(shape)
    number = (row * bands // shape[0]) * stretches + station * stretches // shape[1]
    return number.ravel(), bands * stretches
