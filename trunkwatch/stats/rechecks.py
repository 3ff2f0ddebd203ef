"""What a blind second look says of the first: agreement, and how many cases were missed."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri

from trunkwatch.stats.result import Result
from trunkwatch.stats.shares import Incidence, incidence, wilson

__all__ = ["FEWEST", "Recheck", "Twice", "recheck", "tally", "vines_to_draw"]

#: With fewer cases seen at the second look no corrected figure is given.
FEWEST = 30


@dataclass(frozen=True, slots=True)
class Twice(Result):
    """Vines looked at twice, counted, and the whole first look that they were drawn from.

    Attributes
    ----------
    both, first_only, second_only, neither : int
        Vines by the looks that saw a case.
    cases, vines : int
        Of the whole first look.
    """

    both: int
    first_only: int
    second_only: int
    neither: int
    cases: int
    vines: int

    def __str__(self) -> str:
        return (
            f"both {self.both}, the first only {self.first_only}, the second only {self.second_only}, neither {self.neither}; "
            f"the whole first inspection {self.cases}/{self.vines}"
        )

    @property
    def tells(self) -> bool:
        """Whether vines of both kinds were looked at again, so that they can stand for the whole look."""
        drawn = self.both + self.first_only > 0 and self.second_only + self.neither > 0
        return drawn and 0 < self.cases < self.vines


def tally(first: ArrayLike, second: ArrayLike, *, cases: int, vines: int) -> Twice:
    """Count vines looked at twice by the looks that saw a case.

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
    """
    one, two = np.asarray(first, dtype=bool).ravel(), np.asarray(second, dtype=bool).ravel()
    if one.shape != two.shape:
        raise ValueError(f"first has {one.size} vines, second {two.size}: the same vines are needed")
    incidence(cases, vines)  # no more cases than vines
    a, b, c, d = (int(np.count_nonzero(x)) for x in (one & two, one & ~two, ~one & two, ~one & ~two))
    return Twice(a, b, c, d, cases, vines)


def vines_to_draw(seen: int, available: int, *, again: float = 1.0) -> int | None:
    """Return how many more vines must be drawn, half of them with findings, until the second look saw enough cases.

    Parameters
    ----------
    seen : int
        Cases that the second look saw so far.
    available : int
        Cases of the first look that were not looked at again yet.
    again : float
        Share of the first look's cases that shows again, over 0 up to 1; cases that only the second look sees are not
        reckoned with.

    Returns
    -------
    int or None
        0 where there are enough; None where all cases of the first look would not do.

    Raises
    ------
    ValueError
        If the share cannot be.
    """
    if not 0 < again <= 1:
        raise ValueError(f"again is {again}: over 0 up to 1 is needed")
    with_findings = math.ceil(max(FEWEST - seen, 0) / again - 1e-9)
    return 2 * with_findings if with_findings <= available else None


@dataclass(frozen=True, slots=True)
class Recheck(Result):
    """Two looks at the same vines, the second without knowledge of the first.

    Attributes
    ----------
    both, first_only, second_only, neither : int
        Vines by the looks that saw a case.
    agreement : Incidence
        Share of vines on which both say the same.
    kappa, kappa_low, kappa_high : float
        Agreement beyond chance; nan where one look saw nothing or everything.
    shown_again : Incidence
        Of the first look's cases looked at again, those that the second look saw.
    seen_again, seen_again_low, seen_again_high : float
        Share of the second look's cases in the whole block that the first look saw, with 95 % limits: how much the
        first look finds; nan where the vines drawn cannot tell.
    corrected : float
        Incidence of the whole first look over `seen_again`; nan where refused.
    corrected_low, corrected_high : float
        95 % limits.
    reason : str
        Why no corrected figure is given; empty where one is.
    pooled : int
        Looks of other seasons that were taken in for `seen_again` and `corrected`; 0 where this one is enough.
    pooled_cases : int
        Cases that all these second looks saw, this one's included.
    """

    both: int
    first_only: int
    second_only: int
    neither: int
    agreement: Incidence
    kappa: float
    kappa_low: float
    kappa_high: float
    shown_again: Incidence
    seen_again: float
    seen_again_low: float
    seen_again_high: float
    corrected: float
    corrected_low: float
    corrected_high: float
    reason: str
    pooled: int = 0
    pooled_cases: int = 0

    def __str__(self) -> str:
        same = f"both inspections agree on {self.agreement.cases} of {self.agreement.vines} vines"
        if self.reason:
            return f"{same}; no corrected incidence: {self.reason}"
        return f"{same}; corrected incidence {100 * self.corrected:.1f} % ({100 * self.corrected_low:.1f} to {100 * self.corrected_high:.1f} %)"


def recheck(first: ArrayLike, second: ArrayLike, *, cases: int, vines: int, others: Sequence[Twice] = ()) -> Recheck:
    """Compare two looks, and correct the incidence of the first for what it missed.

    Parameters
    ----------
    first, second : (k,) bool array_like
        Case or not, for each vine looked at twice; drawn at random among the cases of the first look, and among the
        vines without.
    cases, vines : int
        Of the whole first look.
    others : sequence of Twice
        Looks of other seasons by the same people. They are taken in for the share that the first look finds where
        this second look alone saw fewer than `FEWEST` cases and together they saw as many.

    Returns
    -------
    Recheck
        Agreement, kappa with limits, the share seen again, and the corrected incidence with limits.

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
    Looks of several seasons are weighed back each to its own block and then added up.
    A vine that only the second look takes for a case by mistake stands for many, so the figure leans to too many missed.
    Both looks miss what shows to nobody: the corrected figure is the incidence of symptoms to be seen, never of
    infection.

    References
    ----------
    .. [1] Begg, C.B. and Greenes, R.A. (1983) Biometrics 39, 207-215. (content from memory)
    .. [2] Donner, A. and Zou, G.Y. (2012) Stat. Methods Med. Res. 21, 347-359. (content from memory)

    Examples
    --------
    >>> import trunkwatch as tw
    >>> first, second = [1] * 40 + [0] * 60, [1] * 34 + [0] * 6 + [1] * 3 + [0] * 57
    >>> print(tw.stats.recheck(first, second, cases=58, vines=567))
    both inspections agree on 91 of 100 vines; corrected incidence 15.5 % (10.9 to 26.5 %)
    """
    own = tally(first, second, cases=cases, vines=vines)
    a, b, c, d = own.both, own.first_only, own.second_only, own.neither
    share = incidence(cases, vines).share
    looks = _enough(own, others)
    missed = _missed_per_found(looks)
    seen = sum(one.both + one.second_only for one in looks)
    reason = ""
    if math.isnan(missed[0]):
        reason = (
            "vines with and without findings at the first inspection are needed, and some that both inspections saw"
        )
    elif seen < FEWEST:
        reason = f"the recheck saw {seen} cases, {FEWEST} are needed"
    value, low, high = (math.nan,) * 3 if reason else _corrected(missed, share, cases)
    kappa, kappa_low, kappa_high = _kappa(a, b, c, d)
    return Recheck(
        a,
        b,
        c,
        d,
        incidence(a + d, a + b + c + d),
        kappa,
        kappa_low,
        kappa_high,
        incidence(a, a + b),
        1 / (1 + missed[0]),
        1 / (1 + missed[2]),
        1 / (1 + missed[1]),
        value,
        low,
        high,
        reason,
        len(looks) - 1,
        seen,
    )


def _enough(own: Twice, others: Iterable[Twice]) -> list[Twice]:
    """Return this look alone, or with the others where only together they saw enough cases."""
    if not own.tells or own.both + own.second_only >= FEWEST:
        return [own]
    together = [own, *(one for one in others if one.tells)]
    return together if sum(one.both + one.second_only for one in together) >= FEWEST else [own]


def _missed_per_found(looks: Sequence[Twice]) -> tuple[float, float, float]:
    """Estimate cases of the second look that the first missed per case that both saw, with limits.

    Each look is weighed back to the vines that it was drawn from. The limits of sums and of the ratio are put together
    from Wilson's limits of each share (Donner and Zou).
    """
    if not all(one.tells for one in looks) or not any(one.both for one in looks):
        return math.nan, math.nan, math.nan
    found, found_low, found_high = _total([(one.cases, one.both, one.both + one.first_only) for one in looks])
    new, new_low, new_high = _total(
        [(one.vines - one.cases, one.second_only, one.second_only + one.neither) for one in looks]
    )
    product = new * found
    under, over = found_high * (2 * found - found_high), found_low * (2 * found - found_low)
    low = math.sqrt(max(product**2 - new_low * (2 * new - new_low) * under, 0.0))
    high = math.sqrt(max(product**2 - new_high * (2 * new - new_high) * over, 0.0))
    return new / found, (product - low) / under if under > 0 else 0.0, (product + high) / over


def _total(parts: Sequence[tuple[int, int, int]]) -> tuple[float, float, float]:
    """Add up vines times a share seen of those drawn, with limits; a part is (vines, seen, drawn)."""
    value = down = up = 0.0
    for weight, seen, drawn in parts:
        low, high = wilson(seen, drawn)
        value += weight * seen / drawn
        down += (weight * (seen / drawn - low)) ** 2
        up += (weight * (high - seen / drawn)) ** 2
    return value, value - math.sqrt(down), value + math.sqrt(up)


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
