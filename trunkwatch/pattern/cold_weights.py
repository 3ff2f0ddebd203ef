"""What each sign of cold or disease weighs: how many times more often it comes with cold than with disease.

Measured on vineyards of known truth (`tests/calibration/winter_on_worlds.py`), each kind of vineyard with the same voice; none
weighs more than ten to one, so that no sign decides by itself. What a record does not say weighs nothing.
"""

from collections.abc import Mapping
from enum import StrEnum
from types import MappingProxyType

__all__ = ["DECIDES", "MOST", "WEIGHTS", "State", "weight"]

#: The most that one sign can weigh, and what all together must weigh for an answer.
MOST, DECIDES = 10.0, 20.0
#: The most that an unusual winter weighs: the thermometer is not in the block, and hardy vines stand much. Our own convention for a bare
#: night; of the margin to the buds 5.4 and more was measured from six winters on (`tests/calibration/winter_margins.py`).
MOST_OF_WINTER = 5.0


class State(StrEnum):
    """What was found of a sign; the value is the code in JSON."""

    NOTHING_TO_SAY = "nothing to say"
    JUMP = "jump"
    NO_JUMP = "no jump"
    UNUSUAL_WINTER = "unusual winter"
    ORDINARY_WINTER = "ordinary winter"
    ONE_SIDE = "one side"
    STRIPED_LEAVES = "striped leaves"
    SUDDEN = "sudden"
    SLOW = "slow"
    BESIDE_CASES = "beside cases"
    WORSE_LATER = "worse later"
    GROWN_OVER = "grown over"


#: Cold over disease. Toward one side: less than measured, for a front of disease lies so too.
WEIGHTS: Mapping[State, float] = MappingProxyType({
    State.JUMP: 10.0,
    State.NO_JUMP: 0.1,
    State.ONE_SIDE: 5.0,
    State.STRIPED_LEAVES: 0.1,
    State.SUDDEN: 10.0,
    State.SLOW: 0.15,
    State.BESIDE_CASES: 0.4,
    State.WORSE_LATER: 0.1,
    State.GROWN_OVER: 10.0,
})  # fmt: skip


def weight(state: State, *, winters: int = 0, times: int = 1, far_out: bool = False) -> float:
    """Return what a state weighs, cold over disease.

    Parameters
    ----------
    state : State
    winters, times : int
        Of an unusual winter: the winters on file, of which any may be the coldest by chance, and the times of the winter
        that were looked through.
    far_out : bool
        Of an unusual winter: colder than the others would bring once in a hundred winters.
    """
    if state is State.UNUSUAL_WINTER:
        return MOST_OF_WINTER if far_out else min(MOST_OF_WINTER, max(1.0, winters / max(times, 1)))
    return WEIGHTS.get(state, 1.0)
