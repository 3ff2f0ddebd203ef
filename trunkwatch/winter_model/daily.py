"""How hardy buds stand from day to day, from daily mean temperatures (the model of Ferguson et al. 2011 and 2014).

Two phases: rest, and waiting for warmth. Cold below a threshold hardens, warmth above it softens, the less the nearer a limit is.
The second phase begins once cold below 10 C has summed up; where winters are mild it never does, and the model must not be used.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.winter_model.cultivars import Cultivar

__all__ = ["COLD_BELOW_C", "DailyCurve", "daily_curve"]

Floats = NDArray[np.float64]
Ints = NDArray[np.intp]
#: Mean temperature below which cold counts towards the second phase.
COLD_BELOW_C = 10.0


@dataclass(frozen=True, slots=True)
class DailyCurve:
    """The course of a winter, or of several.

    Attributes
    ----------
    half_c : array (..., days)
        Temperature that would kill half of the primary buds, after each day.
    cold_sum : array (..., days)
        Cold below 10 C summed up to each day, zero or negative.
    second_phase : array (...)
        Day on which the second phase sets in, -1 where it does not.
    budbreak : array (...)
        Day of budbreak, -1 where there is none.
    """

    half_c: Floats
    cold_sum: Floats
    second_phase: Ints
    budbreak: Ints


def daily_curve(mean_c: Floats, cultivar: Cultivar) -> DailyCurve:
    """Run the model over winters that all begin on the start day (7 September north of the equator).

    Parameters
    ----------
    mean_c : array (..., days)
        Mean of lowest and highest temperature; nan where a day is missing, which leaves the state as it is.
    cultivar : Cultivar
    """
    mean = np.asarray(mean_c, dtype=float)
    low, high = cultivar.hardiest_c, cultivar.softest_c
    width = high - low
    cold_sum = np.cumsum(np.where(np.isnan(mean), 0.0, np.minimum(0.0, mean - COLD_BELOW_C)), axis=-1)
    # The phase hangs on the sum of cold alone, so that all but the state is known before the first day.
    late = cold_sum <= cultivar.second_phase_at
    second = np.where(late.any(axis=-1), late.argmax(axis=-1), -1)
    phase = np.concatenate([np.zeros_like(late[..., :1]), late[..., :-1]], axis=-1).astype(np.intp)
    thresholds, gains, losses = (np.array(pair) for pair in (cultivar.threshold_c, cultivar.gain, cultivar.loss))
    with np.errstate(invalid="ignore"):
        over = mean - thresholds[phase]
        heat, cold = np.maximum(0.0, over), np.minimum(0.0, over)
        chilled = np.cumsum(cold < 0, axis=-1) > (cold < 0)  # on an earlier day
        softens = np.where(chilled, heat * losses[phase], 0.0)
        hardens, bend = cold * gains[phase], np.where(phase == 1, cultivar.theta, 1.0)
        known, out = ~np.isnan(over), np.empty_like(mean)
        state = np.full(mean.shape[:-1], cultivar.start_c)
        for day in range(mean.shape[-1]):
            room = np.minimum(np.maximum((state - low) / width, 0.0), 1.0)
            moved = state + hardens[..., day] * room + softens[..., day] * (1 - room ** bend[..., day])
            state = np.where(known[..., day], np.minimum(np.maximum(moved, low), high), state)
            out[..., day] = state
    return DailyCurve(out, cold_sum, second, _crossing(out, cultivar.budbreak_c))


def _crossing(half_c: Floats, limit: float | None) -> Ints:
    """Return the first day on which hardiness comes up through a limit, -1 where it never does."""
    if limit is None or half_c.shape[-1] < 2:
        return np.full(half_c.shape[:-1], -1, dtype=np.intp)
    crossed = (half_c[..., 1:] > limit) & (half_c[..., :-1] <= limit)
    return np.where(crossed.any(axis=-1), crossed.argmax(axis=-1) + 1, -1)
