"""A second chance: the whole pattern shifted over the block, which keeps its own clumps.

Random labelling asks whether single vines lie at random. Where cases clump for a reason of their own, it finds
"nearness" to anything. Shifting the pattern as a whole, on a torus, keeps the clumps and breaks only the tie to
the place. All shifts are taken at once, by Fourier transform; no draw is needed.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import irfft2, rfft2

from trunkwatch.stats.chance import Alternative, check_alternative, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, checked_mask, nothing_to_move
from trunkwatch.stats.result import Result

__all__ = ["Shifted", "shifted_mean", "shifted_mean_of"]

#: A shift that leaves fewer than this share of the cases on vines that count says too little.
LEFT = 0.5


@dataclass(frozen=True, slots=True)
class Shifted(Result):
    """Mean of a field over the cases, beside its means over the shifted pattern.

    Attributes
    ----------
    statistic, expected : float
        Mean over the cases, and over all shifts.
    pvalue : float
        Share of shifts at least as extreme, the unshifted pattern counted; nan where no test is possible.
    n_shifts : int
        Shifts that leave at least half of the cases on vines that count.
    n_cases : int
        Cases.
    alternative : {"greater", "less", "two-sided"}
        Which way the test looked.
    reason : str
        Why there is no figure or no test; empty where there is.
    null_distribution : (permutations,) array
        The statistic of each relabelled map.
    """

    statistic: float
    expected: float
    pvalue: float
    n_cases: int
    n_shifts: int
    alternative: Alternative
    reason: str
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"shifted pattern: no test: {self.reason}"
        return f"mean {self.statistic:.3g}, {self.expected:.3g} over {self.n_shifts} shifts, p = {self.pvalue:.3g}"


def shifted_mean(
    cases: ArrayLike, vines: ArrayLike, values: ArrayLike, *, alternative: Alternative = "greater"
) -> Shifted:
    """Test whether a field is high over the cases, against the pattern shifted as a whole.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count (for new cases: the vines at risk).
    values : (rows, stations) array_like
        The field: neighbors that were cases before, meters to an edge. Not used outside `vines`.
    alternative : {"greater", "less", "two-sided"}
        "greater": the field is high where the cases are.

    Returns
    -------
    Shifted
        Mean of the field over the cases, its mean over all shifts, and the p-value.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or the field is missing for a vine that counts.

    Notes
    -----
    Cases that a shift takes off the vines that count are left out of it, so means and not sums are compared.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.zeros((5, 8), dtype=int)
    >>> cases[1, 2:5] = 1
    >>> field = np.exp(-np.hypot(*(np.indices((5, 8)) - [[[1]], [[3]]])))
    >>> print(tw.stats.shifted_mean(cases, np.ones_like(cases), field))
    mean 0.579, 0.119 over 39 shifts, p = 0.025
    """
    check_alternative(alternative)
    marked, mask = checked_labels(cases, vines)
    height = np.asarray(values, dtype=float)
    if height.shape != mask.shape or np.isnan(height[mask]).any():
        raise ValueError("values: a number for every vine that counts, on the same grid, is needed")
    return shifted_mean_of([marked], [mask], [height], alternative=alternative)


def shifted_mean_of(
    cases: Sequence[NDArray[np.bool_]],
    vines: Sequence[NDArray[np.bool_]],
    values: Sequence[NDArray[np.float64]],
    *,
    alternative: Alternative = "greater",
) -> Shifted:
    """Do the same for several maps of one grid that are shifted together: seasons, each with its own field.

    Parameters
    ----------
    cases, vines : sequence of (rows, stations) bool arrays
        Of each season, every case among the vines.
    values : sequence of (rows, stations) float arrays
        The field of each season.
    alternative : {"greater", "less", "two-sided"}
        As in `shifted_mean`.

    Raises
    ------
    ValueError
        If there are not as many maps of one kind as of another, or the alternative is unknown.
    """
    check_alternative(alternative)
    n, room = int(np.sum([one.sum() for one in cases])), int(np.sum([one.sum() for one in vines]))
    reason = nothing_to_move(n, room, fewest=2)
    if reason:
        return Shifted(math.nan, math.nan, math.nan, n, 0, alternative, reason, np.empty(0))
    heights = np.concatenate([field_[mask] for mask, field_ in zip(vines, values, strict=True)])
    if np.ptp(heights) <= 1e-12 * max(1.0, float(np.abs(heights).max())):
        reason = "the field is the same for all vines that count"
        return Shifted(float(heights[0]), math.nan, math.nan, n, 0, alternative, reason, np.empty(0))
    landed = np.zeros(cases[0].shape)
    total, seen = np.zeros(cases[0].shape), 0.0
    level = float(np.sum([field_[mask].sum() for mask, field_ in zip(vines, values, strict=True)])) / room
    for marked, mask, field_ in zip(cases, vines, values, strict=True):
        if marked.any():
            landed += _correlate(mask, marked)
            total += _correlate(np.where(mask, field_ - level, 0.0), marked)
            seen += float(field_[marked].sum()) / n
    landed = np.rint(landed)
    use = landed >= LEFT * n
    use[0, 0] = False
    if not use.any():
        reason = "no shift keeps the cases on vines that count"
        return Shifted(seen, math.nan, math.nan, n, 0, alternative, reason, np.empty(0))
    null = total[use] / landed[use] + level
    pvalue = permutation_pvalue(seen, null, alternative)
    return Shifted(seen, float(null.mean()), pvalue, n, null.size, alternative, "", null)


def _correlate(field_: NDArray[np.float64] | NDArray[np.bool_], pattern: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Sum a field over the pattern shifted by every (rows, stations), on a torus."""
    shape = checked_mask(pattern).shape
    turned = np.conj(rfft2(pattern.astype(float))) * rfft2(field_.astype(float))
    return np.asarray(irfft2(turned, s=shape), dtype=float)
