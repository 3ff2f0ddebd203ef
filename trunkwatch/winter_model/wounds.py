"""How long a cut stays open to spores, for a cut on every day of a winter, under two rules of aging and all between.

Nobody has measured whether a wound ages while it is frozen. By the calendar it ages every day alike; by warmth only on days above
freezing. Both rates leave 10 % of the openness after 84 days at 7 C: reckoned from two points of one study of warm winters (Elena and
Luque 2016), so the figures are to be set beside each other and say nothing of how many cuts are infected.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = [
    "CALENDAR",
    "PER_DAY",
    "PER_DEGREE_DAY",
    "WARMTH",
    "WET_MM",
    "WET_WARMER_C",
    "Flip",
    "exposure",
    "flip",
    "spore_days",
]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
PER_DAY, PER_DEGREE_DAY = 0.027, 0.0039
#: Share of the calendar in the aging.
CALENDAR, WARMTH = 1.0, 0.0
#: A day counts for spores with this much rain (a common convention) and a warmest hour above this (common practice, no data behind it).
WET_MM, WET_WARMER_C = 1.0, 1.7
#: Best days nearer than this are one answer.
APART_DAYS = 21


def spore_days(rain_mm: Floats, t_max_c: Floats, *, wet_mm: float = WET_MM, warmer_c: float = WET_WARMER_C) -> Bools:
    """Tell the days with rain on which spores may fly; a day without a figure is none."""
    with np.errstate(invalid="ignore"):
        return np.asarray((np.asarray(rain_mm) >= wet_mm) & (np.asarray(t_max_c) > warmer_c))


def exposure(spores: Bools, mean_c: Floats, blend: Floats | float) -> Floats:
    """Return the spore days that a cut meets, each weighed by how open the cut still is, for a cut on every day.

    Parameters
    ----------
    spores : array (..., days)
        Days on which spores may fly, up to the last that is looked at.
    mean_c : array (..., days)
        Mean temperature; a day without one ages nothing by warmth.
    blend : float or array (k,)
        Share of the calendar in the aging: 1 the calendar, 0 warmth alone.

    Returns
    -------
    array (..., days) or (k, ..., days)
    """
    wet = np.asarray(spores, dtype=float)
    warm = np.maximum(0.0, np.nan_to_num(np.asarray(mean_c, dtype=float), nan=0.0))
    part = np.asarray(blend, dtype=float)
    by_day = part.reshape(part.shape + (1,) * wet.ndim) * PER_DAY
    by_warmth = (1 - part).reshape(part.shape + (1,) * wet.ndim) * PER_DEGREE_DAY
    stays = np.exp(-(by_day + by_warmth * warm))
    out = np.empty(stays.shape)
    ahead = np.zeros(stays.shape[:-1])
    for day in range(wet.shape[-1] - 1, -1, -1):
        ahead = wet[..., day] + stays[..., day] * ahead
        out[..., day] = ahead
    return out


@dataclass(frozen=True, slots=True)
class Flip:
    """Where the best day of cutting moves, as aging goes from warmth to the calendar.

    Attributes
    ----------
    by_warmth, by_calendar : int
        Best day under each rule.
    at : float or None
        Share of the calendar from which the best day is that of the calendar; None where both rules agree.
    """

    by_warmth: int
    by_calendar: int
    at: float | None


def flip(by_blend: Floats, blends: Floats, allowed: Bools) -> Flip:
    """Find where the best day flips.

    Parameters
    ----------
    by_blend : array (blends, days)
        Mean exposure over winters.
    blends : array (blends,)
        Rising from 0 to 1.
    allowed : array (days,)
        Days on which a cut may be made.
    """
    best = np.where(allowed, by_blend, np.inf).argmin(axis=-1)
    first, last = int(best[0]), int(best[-1])
    if abs(first - last) < APART_DAYS:
        return Flip(first, last, None)
    nearer = np.abs(best - last) < np.abs(best - first)
    return Flip(first, last, float(blends[int(nearer.argmax())]))
