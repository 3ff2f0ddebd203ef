"""The state of every position of a block after a season, for the futures to start from."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.decide.facts import facts_of_vines
from trunkwatch.forecast.cuts import is_done
from trunkwatch.forecast.vine_years import before_season
from trunkwatch.history import Condition
from trunkwatch.renewal.plan import VineFacts
from trunkwatch.renewal.states import State, damage_state, initial_states
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["states_after"]


def _arm_only(season: BlockSeason) -> NDArray[np.bool_]:
    """Return vines whose last renewal was of an arm: the rest of the vine bears on."""
    found = np.zeros(season.history.grid.shape, dtype=bool)
    for cell, events in season.history.events.items():
        done = [one for one in events if one.season <= season.season and one.code in CLEARING and is_done(one)]
        found[cell] = bool(done) and CLEARING[done[-1].code] == "arm"
    return found


def states_after(season: BlockSeason) -> tuple[NDArray[np.uint8], list[VineFacts]]:
    """Return the states and the facts of the vines that are not simply sound.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season just looked at.

    Returns
    -------
    states : (rows, stations) uint8 array
        A vine that was never looked at counts as sound; what does not heal is a state of its own.
    facts : list of VineFacts
    """
    history, grid = season.history, season.history.grid
    now = history.condition[season.index]
    states = initial_states(before_season(history, season.index + 1), grid.exists, now == Condition.DEAD)
    states[grid.exists & (states == State.EMPTY) & ~np.isin(now, (Condition.MISSING, Condition.DEAD))] = State.SOUND
    renewed_arm = (states >= State.RENEWED_1) & (states <= State.RENEWED_2) & _arm_only(season)
    states[renewed_arm] += State.ARM_1 - State.RENEWED_1
    facts = facts_of_vines(season, states)
    for one in facts:
        if states[one.cell] == State.MIDDLE:
            states[one.cell] = damage_state(one.share)
    return states, [replace(one, state=int(states[one.cell])) for one in facts]
