"""The state of every position of a block after a season, for the futures to start from."""

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import vine_now
from trunkwatch.decide.facts import facts_of_vines, known_day
from trunkwatch.forecast.vine_years import before_season
from trunkwatch.history import Condition
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import plant_after
from trunkwatch.renewal.plan import VineFacts
from trunkwatch.renewal.states import State, damage_state, initial_states
from trunkwatch.vineyard.calendar import season_bounds
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["states_after"]

_DAMAGE = (State.LIGHT, State.MIDDLE, State.HEAVY)
#: Grown vines whose state damage on record takes the place of, whatever the definition counts.
_GROWN = (
    State.SOUND, State.SHOWING, State.HIDDEN_1, State.HIDDEN_2, State.HIDDEN_3, State.RENEWED_1, State.RENEWED_2,
    State.RENEWED_3, State.RENEWED_4, State.ARM_1, State.ARM_2, *_DAMAGE,
)  # fmt: skip


def _arm_only(season: BlockSeason) -> NDArray[np.bool_]:
    """Return vines whose last renewal was of an arm: the rest of the vine bears on."""
    found = np.zeros(season.history.grid.shape, dtype=bool)
    for work in season.reading.work:
        if work.done and work.kind in CLEARING and work.season <= season.season:
            found[work.cell] = CLEARING[work.kind] == "arm"
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
    _work_since(season, states)
    facts = facts_of_vines(season, states)
    for one in facts:
        if one.damaged and states[one.cell] in _GROWN:
            states[one.cell] = damage_state(one.share)
        elif states[one.cell] in _DAMAGE:  # cut since without a trace in the seasons, or the records disagree
            states[one.cell] = State.HIDDEN_1
        elif states[one.cell] == State.SHOWING and now[one.cell] != Condition.SHOWING:
            _seen_beside_the_count(season, states, one.cell)
    return states, [replace(one, state=int(states[one.cell])) for one in facts]


def _work_since(season: BlockSeason, states: NDArray[np.uint8]) -> None:
    """Take in what was done after the season: vines cut, pulled and planted this winter."""
    end = season_bounds(season.season, season.reading.hemisphere)[1]
    for work in season.reading.work:
        if not work.done or not end < work.date <= season.known_until:
            continue
        # One trunk or arm may be out, and another still damaged.
        if work.kind in CLEARING and states[work.cell] in _GROWN and not vine_now(season, work.cell).damages:
            states[work.cell] = State.ARM_CUT if CLEARING[work.kind] == "arm" else State.CUT
    day, judged = known_day(season), season.history.plant[season.index]
    for cell, plants in season.reading.plants.items():
        number = plant_after(plants, day)
        if number < 0:
            states[cell] = State.EMPTY
        elif number != judged[cell]:  # planted after the season, or in it and after the last look at the vine
            states[cell] = State.PLANTED


def _seen_beside_the_count(season: BlockSeason, states: NDArray[np.uint8], cell: Cell) -> None:
    """Settle a vine that last showed at its last counted look, but does not show in the season: it missed a look of it.

    What is still on it calls for work as on any that shows; where nothing is, it was cut in the season, or showed before.
    """
    if vine_now(season, cell).open:
        return
    cuts = [
        work
        for work in season.reading.vine(cell).work
        if work.done and work.kind in CLEARING and work.season == season.season
    ]
    if not cuts:
        states[cell] = State.HIDDEN_1
    else:
        states[cell] = State.ARM_1 if CLEARING[cuts[-1].kind] == "arm" else State.RENEWED_1
