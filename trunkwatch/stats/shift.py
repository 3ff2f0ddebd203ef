"""A second chance: the whole pattern shifted over the block, which keeps its own clumps.

Random labelling asks whether single vines lie at random. Where cases clump for a reason of their own, it finds
"nearness" to anything. Shifting the pattern as a whole, on a torus, keeps the clumps and breaks only the tie to
the place. All shifts are taken at once, by Fourier transform; no draw is needed.
"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import irfft2, rfft2

from trunkwatch.stats.chance import Alternative, check_alternative, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, checked_mask

__all__ = ["Shifted", "shifted_mean"]

#: A shift that leaves fewer than this share of the cases on vines that count says too little.
LEFT = 0.5


@dataclass(frozen=True, slots=True)
class Shifted:
    """Mean of a field over the cases, beside its means over the shifted pattern.

    Attributes
    ----------
    statistic, expected : float
        Mean over the cases, and over all shifts.
    pvalue : float
        Share of shifts at least as extreme, the unshifted pattern counted; nan where no test is possible.
    n_shifts : int
        Shifts that leave at least half of the cases on vines that count.
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
        The field: neighbours that were cases before, metres to an edge. Not used outside `vines`.
    alternative : {"greater", "less", "two-sided"}
        "greater": the field is high where the cases are.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or the field is missing for a vine that counts.

    Notes
    -----
    Cases that a shift takes off the vines that count are left out of it, so means and not sums are compared.
    """
    check_alternative(alternative)
    marked, mask = checked_labels(cases, vines)
    height = np.asarray(values, dtype=float)
    if height.shape != mask.shape or np.isnan(height[mask]).any():
        raise ValueError("values: a number for every vine that counts, on the same grid, is needed")
    n = int(marked.sum())
    if n < 2 or n == int(mask.sum()):
        reason = "there is no case" if n == 0 else "there is a single case" if n == 1 else "every vine is a case"
        return Shifted(math.nan, math.nan, math.nan, n, 0, alternative, reason, np.empty(0))
    level = height[mask].mean()
    landed = np.rint(_correlate(mask, marked))
    total = _correlate(np.where(mask, height - level, 0.0), marked)
    use = landed >= LEFT * n
    use[0, 0] = False
    seen = float(height[marked].mean())
    if not use.any():
        return Shifted(
            seen, math.nan, math.nan, n, 0, alternative, "no shift keeps the cases on vines that count", np.empty(0)
        )
    null = total[use] / landed[use] + level
    return Shifted(
        seen, float(null.mean()), permutation_pvalue(seen, null, alternative), n, null.size, alternative, "", null
    )


def _correlate(field_: NDArray[np.generic], pattern: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Sum a field over the pattern shifted by every (rows, stations), on a torus."""
    shape = checked_mask(pattern).shape
    turned = np.conj(rfft2(pattern.astype(float))) * rfft2(field_.astype(float))
    return np.asarray(irfft2(turned, s=shape), dtype=float)
