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
    seen_again, seen_again_low, seen_again_high : float
        Share of the second look's cases in the whole block that the first look saw, with 95 % limits: how much the
        first look finds; nan where the vines drawn cannot tell.
    corrected : float
        Incidence of the whole first look over `seen_again`; nan where refused.
    corrected_low, corrected_high : float
        95 % limits.
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
    seen_again: float
    seen_again_low: float
    seen_again_high: float
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
        Case or not, for each vine looked at twice; drawn at random among the cases of the first look, and among the
        vines without.
    cases, vines : int
        Of the whole first look.

    Raises
    ------
    ValueError
        If lengths differ or there are more cases than vines.

    Notes
    -----
    Cases of the first look are mostly drawn more often than other vines, so the vines looked at twice are weighed back
    to the block: of `cases` the share ``both / (both + first_only)`` shows again, of the others the share
    ``second_only / (second_only + neither)`` shows for the first time. Where looks see a case independently of each
    other this gives the share that the first look finds (Lincoln and Petersen; common practice, no source read).
    A vine that only the second look takes for a case by mistake stands for many, so the figure leans to too many missed.
    Both looks miss what shows to nobody: the corrected figure is the incidence of symptoms to be seen, never of
    infection.

    References
    ----------
    .. [1] Begg, C.B. and Greenes, R.A. (1983) Biometrics 39, 207-215. (content from memory)
    .. [2] Donner, A. and Zou, G.Y. (2012) Stat. Methods Med. Res. 21, 347-359. (content from memory)
    """
    one, two = np.asarray(first, dtype=bool).ravel(), np.asarray(second, dtype=bool).ravel()
    if one.shape != two.shape:
        raise ValueError(f"first has {one.size} vines, second {two.size}: the same vines are needed")
    whole = incidence(cases, vines)
    a, b, c, d = (int(np.count_nonzero(x)) for x in (one & two, one & ~two, ~one & two, ~one & ~two))
    kappa, low, high = _kappa(a, b, c, d)
    missed = _missed_per_found(a, b, c, d, cases, vines)
    again = tuple(1 / (1 + one) for one in missed)
    reason = ""
    if math.isnan(missed[0]):
        reason = "vines with and without findings at the first look are needed, and some that both looks saw"
    elif a + c < FEWEST:
        reason = f"the second look saw {a + c} cases, {FEWEST} are needed"
    same = incidence(a + d, one.size)
    found = (again[0], again[2], again[1])
    if reason:
        nan = math.nan
        return Recheck(a, b, c, d, same, kappa, low, high, *found, nan, nan, nan, reason)
    return Recheck(a, b, c, d, same, kappa, low, high, *found, *_corrected(missed, whole.share, cases), "")


def _missed_per_found(a: int, b: int, c: int, d: int, cases: int, vines: int) -> tuple[float, float, float]:
    """Estimate, over the block, cases of the second look that the first missed per case that both saw, with limits.

    The limits of the ratio of two shares are put together from Wilson's limits of each (Donner and Zou).
    """
    if a == 0 or not 0 < cases < vines or c + d == 0:
        return math.nan, math.nan, math.nan
    new, again = incidence(c, c + d), incidence(a, a + b)
    product, weight = new.share * again.share, (vines - cases) / cases
    under = again.high * (2 * again.share - again.high)
    over = again.low * (2 * again.share - again.low)
    low = max(product**2 - new.low * (2 * new.share - new.low) * under, 0.0)
    high = max(product**2 - new.high * (2 * new.share - new.high) * over, 0.0)
    least = (product - math.sqrt(low)) / under if under > 0 else 0.0
    return weight * new.share / again.share, weight * least, weight * (product + math.sqrt(high)) / over


def _corrected(missed: tuple[float, float, float], share: float, cases: int) -> tuple[float, float, float]:
    """Return the corrected incidence with limits: those of what was missed and of the first look, on the logarithm."""
    first = float(ndtri(0.975)) * math.sqrt((1 - share) / cases)
    middle, low, high = (math.log1p(one) for one in missed)
    value = share * math.exp(middle)
    down, up = math.hypot(middle - low, first), math.hypot(high - middle, first)
    return min(1.0, value), value * math.exp(-down), min(1.0, value * math.exp(up))


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
