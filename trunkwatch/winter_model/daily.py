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
    shape = mean.shape[:-1]
    thresholds, gains, losses = (np.array(pair) for pair in (cultivar.threshold_c, cultivar.gain, cultivar.loss))
    low, high = cultivar.hardiest_c, cultivar.softest_c
    width = high - low
    state = np.full(shape, cultivar.start_c)
    phase, chilled = np.zeros(shape, dtype=np.intp), np.zeros(shape, dtype=bool)
    out = np.empty_like(mean)
    cold_sum = np.cumsum(np.where(np.isnan(mean), 0.0, np.minimum(0.0, mean - COLD_BELOW_C)), axis=-1)
    second = np.full(shape, -1, dtype=np.intp)
    with np.errstate(invalid="ignore"):
        for day in range(mean.shape[-1]):
            over = mean[..., day] - thresholds[phase]
            heat, cold = np.maximum(0.0, over), np.minimum(0.0, over)
            room = np.clip((state - low) / width, 0.0, 1.0)
            loss = np.where(
                chilled, heat * losses[phase] * (1 - room ** np.where(phase == 1, cultivar.theta, 1.0)), 0.0
            )
            moved = np.clip(state + cold * gains[phase] * room + loss, low, high)
            state = np.where(np.isnan(over), state, moved)
            chilled = chilled | (cold < 0)
            out[..., day] = state
            late = (phase == 0) & (cold_sum[..., day] <= cultivar.second_phase_at)
            second = np.where(late, day, second)
            phase = np.where(late, 1, phase)
    return DailyCurve(out, cold_sum, second, _crossing(out, cultivar.budbreak_c))


def _crossing(half_c: Floats, limit: float | None) -> Ints:
    """Return the first day on which hardiness comes up through a limit, -1 where it never does."""
    if limit is None or half_c.shape[-1] < 2:
        return np.full(half_c.shape[:-1], -1, dtype=np.intp)
    crossed = (half_c[..., 1:] > limit) & (half_c[..., :-1] <= limit)
    return np.where(crossed.any(axis=-1), crossed.argmax(axis=-1) + 1, -1)
