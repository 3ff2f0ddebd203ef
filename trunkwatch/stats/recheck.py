"""What a blind second look says of the first: agreement, and how many cases were missed."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from trunkwatch.stats.incidence import Incidence, incidence

__all__ = ["FEWEST", "Recheck", "recheck"]

#: With fewer cases seen at the second look no corrected figure is given.
FEWEST = 30


@dataclass(frozen=True, slots=True)
class Recheck:
    """Two looks at the same vines, the second without knowledge of the first.

    Attributes
    ----------
    both, first_only, second_only, neither : int
        Vines by the looks that saw a case.
    agreement : Incidence
        Share of vines on which both say the same.
    kappa, kappa_low, kappa_high : float
        Agreement beyond chance; nan where one look saw nothing or everything.
    seen_again : Incidence
        Share of the second look's cases that the first look saw: how much the first look finds.
    corrected : float
        Incidence of the whole first look over `seen_again`; nan where refused.
    corrected_low, corrected_high : float
        95 % limits (delta method on the logarithm).
    reason : str
        Why no corrected figure is given; empty where one is.
    """

    both: int
    first_only: int
    second_only: int
    neither: int
    agreement: Incidence
    kappa: float
    kappa_low: float
    kappa_high: float
    seen_again: Incidence
    corrected: float
    corrected_low: float
    corrected_high: float
    reason: str

    def __str__(self) -> str:
        same = f"both looks agree on {self.agreement.cases} of {self.agreement.vines} vines"
        if self.reason:
            return f"{same}; no corrected incidence: {self.reason}"
        return f"{same}; corrected incidence {100 * self.corrected:.1f} % ({100 * self.corrected_low:.1f} to {100 * self.corrected_high:.1f} %)"


def recheck(first: ArrayLike, second: ArrayLike, *, cases: int, vines: int) -> Recheck:
    """Compare two looks, and correct the incidence of the first for what it missed.

    Parameters
    ----------
    first, second : (k,) bool array_like
        Case or not, for each vine looked at twice.
    cases, vines : int
        Of the whole first look.

    Raises
    ------
    ValueError
        If lengths differ or there are more cases than vines.

    Notes
    -----
    The share of the second look's cases that the first saw is free of how the vines were chosen, as long as both
    looks see a case independently of each other (Lincoln and Petersen; common practice, no source read). Both looks
    miss what shows to nobody: the corrected figure is the incidence of symptoms to be seen, never of infection.
    """
    one, two = np.asarray(first, dtype=bool).ravel(), np.asarray(second, dtype=bool).ravel()
    if one.shape != two.shape:
        raise ValueError(f"first has {one.size} vines, second {two.size}: the same vines are needed")
    whole = incidence(cases, vines)
    a, b, c, d = (int(np.count_nonzero(x)) for x in (one & two, one & ~two, ~one & two, ~one & ~two))
    kappa, low, high = _kappa(a, b, c, d)
    again = incidence(a, a + c)
    reason = ""
    if a + c < FEWEST:
        reason = f"the second look saw {a + c} cases, {FEWEST} are needed"
    elif a == 0 or not cases:
        reason = "the first look saw none of them"
    if reason:
        nan = math.nan
        return Recheck(a, b, c, d, incidence(a + d, one.size), kappa, low, high, again, nan, nan, nan, reason)
    corrected = min(1.0, whole.share / again.share)
    spread = math.sqrt((1 - again.share) / a + (1 - whole.share) / cases)
    half = math.exp(float(ndtri(0.975)) * spread)
    return Recheck(
        a, b, c, d, incidence(a + d, one.size), kappa, low, high, again,
        corrected, corrected / half, min(1.0, corrected * half), "",
    )  # fmt: skip


def _kappa(a: int, b: int, c: int, d: int) -> tuple[float, float, float]:
    """Cohen's kappa with large-sample limits (Fleiss, Cohen and Everitt 1969, Psychol. Bull. 72, 323)."""
    n = a + b + c + d
    if n == 0 or not 0 < a + b < n or not 0 < a + c < n:
        return math.nan, math.nan, math.nan
    p = np.array([[a, b], [c, d]]) / n
    rows, columns = p.sum(axis=1), p.sum(axis=0)
    same, chance = float(np.trace(p)), float(rows @ columns)
    kappa = (same - chance) / (1 - chance)
    on = sum(p[i, i] * (1 - (rows[i] + columns[i]) * (1 - kappa)) ** 2 for i in range(2))
    off = (1 - kappa) ** 2 * sum(p[i, j] * (columns[i] + rows[j]) ** 2 for i in range(2) for j in range(2) if i != j)
    variance = (on + off - (kappa - chance * (1 - kappa)) ** 2) / (n * (1 - chance) ** 2)
    half = float(ndtri(0.975)) * math.sqrt(max(float(variance), 0.0))
    return float(kappa), float(kappa) - half, min(1.0, float(kappa) + half)
