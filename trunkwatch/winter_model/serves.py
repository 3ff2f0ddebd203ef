"""Which of the two models may speak of a winter, or why none: the gate before every number.

The daily model holds where winters are cold enough to bring its second phase; elsewhere it lets buds harden on and on and never
break. The model by chill portions knows three cultivars. Hybrids have no budbreak and no spring in the daily model.
"""

from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

__all__ = ["FEWEST_WINTERS", "REACHED_IN", "Gate", "Serves", "Verdict", "gate", "spring_ends", "which_model"]

#: Complete winters on file from which they speak for a place, and the share of them that must reach the second phase by 1 March.
FEWEST_WINTERS, REACHED_IN = 3, 0.8
#: Days whose cold tells the pace where past winters do not, and the share of it that is counted on (our own convention).
PACE_DAYS, PACE_KEPT = 30, 0.75
#: Degrees from its softest state at which the hybrids' curve says nothing any more.
NEAR_SOFTEST_C = 3.0


class Gate(Enum):
    """Whether the daily model holds at a place, in a winter."""

    REACHED = "the second phase was reached this winter"
    USUAL = "past winters reached it"
    ON_PACE = "it will be reached at three quarters of the last month's cold"
    MILD_WINTER = "it was not reached by 1 March"
    MILD_PLACE = "past winters did not reach it"
    UNKNOWN = "not reached yet, and too few past winters on file"

    @property
    def holds(self) -> bool:
        """Whether the daily model may speak."""
        return self in (Gate.REACHED, Gate.USUAL, Gate.ON_PACE)


class Serves(Enum):
    """Which model speaks."""

    DAILY = "daily"
    CHILL = "chill portions"
    NONE = "none"


@dataclass(frozen=True, slots=True)
class Verdict:
    """Which model serves, and the numbers behind it.

    Attributes
    ----------
    serves : Serves
    gate : Gate
    cold_sum, needed : float
        Cold below 10 C so far, and the sum that brings the second phase.
    winters, reached : int
        Complete past winters on file, and those that reached the second phase by 1 March.
    """

    serves: Serves
    gate: Gate
    cold_sum: float
    needed: float
    winters: int
    reached: int


def gate(
    second_phase: int,
    day: int,
    march_first: int,
    past_second_phase: NDArray[np.intp],
    cold_sum: NDArray[np.float64],
    needed: float,
) -> Gate:
    """Ask whether the daily model holds.

    Parameters
    ----------
    second_phase : int
        Day of this winter on which the second phase set in, -1 where it did not up to now.
    day, march_first : int
        Days since the start: how far this winter is known, and 1 March (1 September south of the equator).
    past_second_phase : array of int
        The same day of every complete past winter, -1 where it never came.
    cold_sum : array (days,)
        Cold below 10 C summed up to each day of this winter, at least to `day`.
    needed : float
        Sum that brings the second phase.
    """
    reached = 0 <= second_phase <= march_first
    if day >= march_first and not reached:
        return Gate.MILD_WINTER
    past = np.asarray(past_second_phase)
    if past.size >= FEWEST_WINTERS:
        # One cold winter makes no cold place: before its second phase the model lets buds harden too far where winters are mild.
        cold_place = _in_time(past, march_first) >= REACHED_IN * past.size
        return (Gate.REACHED if reached else Gate.USUAL) if cold_place else Gate.MILD_PLACE
    if reached:
        return Gate.REACHED
    if day < PACE_DAYS:
        return Gate.UNKNOWN
    pace = (cold_sum[day] - cold_sum[day - PACE_DAYS]) / PACE_DAYS
    return Gate.ON_PACE if cold_sum[day] + PACE_KEPT * pace * (march_first - day) <= needed else Gate.UNKNOWN


def _in_time(past: NDArray[np.intp], march_first: int) -> int:
    return int(((past >= 0) & (past <= march_first)).sum())


def which_model(
    found: Gate,
    *,
    chill_knows: bool,
    latitude_known: bool,
    cold_sum: float,
    needed: float,
    past_second_phase: NDArray[np.intp],
    march_first: int,
) -> Verdict:
    """Choose the model: the daily one where it holds, the one by chill portions where it knows the cultivar, else none."""
    past = np.asarray(past_second_phase)
    serves = Serves.DAILY if found.holds else Serves.CHILL if chill_knows and latitude_known else Serves.NONE
    return Verdict(serves, found, cold_sum, needed, int(past.size), _in_time(past, march_first))


def spring_ends(half_c: NDArray[np.float64], softest_c: float, second_phase: NDArray[np.intp]) -> NDArray[np.intp]:
    """Return the day from which a curve without budbreak says nothing: in its second phase and near its softest state; -1 for none."""
    half = np.asarray(half_c, dtype=float)
    second = np.asarray(second_phase)
    late = (
        (np.arange(half.shape[-1]) > second[..., None]) & (second >= 0)[..., None] & (half > softest_c - NEAR_SOFTEST_C)
    )
    return np.where(late.any(axis=-1), late.argmax(axis=-1), -1)
