"""Bring the work proposed for each vine in line with the strategy that came out best."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.renewal.futures import share_showing
from trunkwatch.renewal.plan import But, PlannedWork
from trunkwatch.renewal.states import State
from trunkwatch.renewal.strategies import Strategy, act

__all__ = ["PARTS", "follow", "sound_renewed"]

#: Renewals of less than a trunk with all above it.
PARTS = frozenset({"renew_arm", "cut_old_trunk"})
_RENEWALS = PARTS | {"renew_trunk"}


def follow(works: Sequence[PlannedWork], states: NDArray[np.uint8], best: Strategy | None) -> list[PlannedWork]:
    """Keep the cuts and replants that the best strategy makes this winter; mark the other vines.

    What a single cut is worth is set beside never cutting; the strategies also know that a vine can be cut later,
    when something on it is dead. So they decide on whole trunks. Most of them count every renewal as a whole trunk: an
    arm, or one trunk of several, stays on the list by its own worth, unless the block is pulled.

    Parameters
    ----------
    works : sequence of PlannedWork
        As `trunkwatch.renewal.plan.suggest` makes it.
    states : (rows, stations) uint8 array
        What stands where now.
    best : Strategy or None
        The recommended one; None where strategies could not be compared: then only vines that show on their leaves
        alone are marked instead of cut.
    """
    if best is None:
        return [
            _marked(one, But.LOOK_FIRST) if one.kind == "renew_trunk" and states[one.cell] == State.SHOWING else one
            for one in works
        ]
    after = _after_winter(states, best)
    going = best.renew and best.replant_year != 0 and share_showing(states) >= best.start_at
    return [_followed(one, int(after[one.cell]), best, going=going) for one in works]


def sound_renewed(states: NDArray[np.uint8], best: Strategy) -> int:
    """Count the sound vines that a strategy renews this winter beside those with findings."""
    return int(np.count_nonzero((states == State.SOUND) & (_after_winter(states, best) == State.CUT)))


def _after_winter(states: NDArray[np.uint8], strategy: Strategy) -> NDArray[np.uint8]:
    """Return what stands where after the strategy's first winter, were there hours without limit."""
    after = states.reshape(1, -1).copy()
    act(
        replace(strategy, hours=math.inf), after, 0, np.array([share_showing(states)]), renew_hours=1.0,
        order=np.arange(after.size), shape=(states.shape[0], states.shape[1]),
    )  # fmt: skip
    return after.reshape(states.shape)


def _followed(one: PlannedWork, after: int, best: Strategy, *, going: bool) -> PlannedWork:
    if one.kind in _RENEWALS:
        if after in (State.CUT, State.ARM_CUT) or (one.kind in PARTS and best.replant_year != 0):
            return one
        return _marked(one, But.LOOK_FIRST if best.renew and going else But.STRATEGY_RENEWS_NOTHING)
    if one.kind == "replant" and after not in (State.PLANTED, State.CUT):
        return replace(
            one, kind="watch", buts=(*one.buts, But.STRATEGY_FILLS_NOTHING), hours=0.0, gain=math.nan, loss=0.0
        )
    return one


def _marked(one: PlannedWork, but: But) -> PlannedWork:
    return replace(
        one, kind="mark", rule="mark", buts=(*one.buts, but), trunk=0, arm="", cut_height_cm=math.nan, hours=0.0,
        gain=math.nan, loss=0.0,
    )  # fmt: skip
