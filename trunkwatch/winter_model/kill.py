"""The share of primary buds that cold killed: always a range, for the model's error is as wide as the step from few to most.

A curve through the temperatures that kill 10 %, half and 90 %; the buds that die in one night are those that the next as cold would
have taken, so that a winter's share is that of its worst night and never a sum.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, ndtri

from trunkwatch.winter_model.cultivars import ModelError, Spread

__all__ = ["HALF_AT_MOST_C", "LEAST_STEP_C", "STAND_IN_STEP_C", "Killed", "kill_share", "ten_and_ninety", "winter_kill"]

Floats = NDArray[np.float64]
_LN9 = float(np.log(9))
#: No bud is softer than green tissue: the points at which 10 %, half and 90 % of it die, as the authors of the chill model cap theirs.
TENTH_AT_MOST_C, HALF_AT_MOST_C, NINETY_AT_MOST_C = -0.82, -1.2, -1.6
#: Steps from half to 10 % and to 90 % where no lines were published: the middle of what other cultivars show, our own convention.
STAND_IN_STEP_C = 1.4
#: The least step between the points, so that the curve stays one.
LEAST_STEP_C = 0.3


@dataclass(frozen=True, slots=True)
class Killed:
    """Shares of primary buds killed, with the model's error in them.

    Attributes
    ----------
    low, high : array (..., days)
        Limits of the winter's share up to each day: it never falls.
    night_low, night_high : array (..., days)
        Of each night by itself; nan where its temperature is missing.
    level : float
        Share of the error that the limits hold, 0.8: the middle 80 %.
    """

    low: Floats
    high: Floats
    night_low: Floats
    night_high: Floats
    level: float

    @property
    def range_now(self) -> tuple[float, float]:
        """Limits after the last day of one winter."""
        return float(self.low[..., -1]), float(self.high[..., -1])


def ten_and_ninety(half_c: Floats, spread: Spread | None) -> tuple[Floats, Floats]:
    """Return the temperatures that kill 10 % and 90 %, from that which kills half."""
    half = np.asarray(half_c, dtype=float)
    if spread is None:
        return half + STAND_IN_STEP_C, half - STAND_IN_STEP_C
    tenth = spread.start_10 + spread.slope_10 * half
    ninety = spread.start_90 + spread.slope_90 * half
    return np.maximum(tenth, half + LEAST_STEP_C), np.minimum(ninety, half - LEAST_STEP_C)


def kill_share(lowest_c: Floats, half_c: Floats, tenth_c: Floats, ninety_c: Floats) -> Floats:
    """Return the share that a temperature kills: two halves of a logistic curve through 10 %, half and 90 %."""
    lowest, half = np.asarray(lowest_c, dtype=float), np.asarray(half_c, dtype=float)
    step = np.where(lowest > half, np.asarray(tenth_c) - half, half - np.asarray(ninety_c))
    return np.asarray(expit(-_LN9 * (lowest - half) / step))


def winter_kill(
    lowest_c: Floats,
    half_c: Floats,
    tenth_c: Floats,
    ninety_c: Floats,
    error: ModelError,
    *,
    until: object = None,
    level: float = 0.8,
) -> Killed:
    """Set every night beside the state of the day before, with the model's error.

    Parameters
    ----------
    lowest_c : array (..., days)
        Lowest temperature of each day; nan where missing.
    half_c, tenth_c, ninety_c : array (..., days)
        Temperatures that kill half, 10 %, 90 %, after each day.
    error : ModelError
        One error for the whole winter: a site where the model is too hopeful in December is so in January.
    until : int or array of int, optional
        Day from which nights no longer count (buds have broken, or the model says nothing any more); -1 for none.
    level : float
        Share of the error that the limits hold.
    """
    lowest = np.asarray(lowest_c, dtype=float)
    half, tenth, ninety = (_day_before(np.asarray(curve, dtype=float)) for curve in (half_c, tenth_c, ninety_c))
    ends = ndtri([0.5 - level / 2, 0.5 + level / 2]) * error.sd_c - error.bias_c
    at_most = (HALF_AT_MOST_C, TENTH_AT_MOST_C, NINETY_AT_MOST_C)
    sides = [
        kill_share(
            lowest, *(np.minimum(curve + off, cap) for curve, cap in zip((half, tenth, ninety), at_most, strict=True))
        )
        for off in ends
    ]
    if until is not None:
        last = np.asarray(until)
        after = (np.arange(lowest.shape[-1]) >= last[..., None]) & (last >= 0)[..., None]
        sides = [np.where(after, np.nan, side) for side in sides]
    low, high = (np.maximum.accumulate(np.nan_to_num(side, nan=0.0), axis=-1) for side in sides)
    return Killed(low, high, sides[0], sides[1], level)


def _day_before(curve: Floats) -> Floats:
    return np.concatenate([curve[..., :1], curve[..., :-1]], axis=-1)
