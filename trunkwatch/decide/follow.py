"""The list of the winter is what the best strategy does: its cuts and replants, no more and no less; all else is marked."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history.places import Cell
from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.futures import share_showing
from trunkwatch.renewal.plan import (
    But,
    PlannedWork,
    VineFacts,
    Why,
    each_shoot_once,
    renewal_of,
    replant_of,
    trained_first,
    waits_for_shoot,
)
from trunkwatch.renewal.states import State
from trunkwatch.renewal.strategies import Effort, Strategy, act
from trunkwatch.renewal.vine_gain import VineGains

__all__ = ["PARTS", "Steps", "follow", "look_first", "steps_of_strategy"]

#: Renewals of less than a trunk with all above it.
PARTS = frozenset({"renew_arm", "cut_old_trunk"})
_RENEWALS = PARTS | {"renew_trunk"}
#: Winters that the plan looks ahead.
WINTERS = 10
_WORKED = (
    State.CUT,
    State.ARM_CUT,
    State.CUT_TRAINED,
    State.PLANTED,
    State.SHOOT_LIGHT,
    State.SHOOT_MIDDLE,
    State.SHOOT_HEAVY,
)


@dataclass(frozen=True, slots=True)
class Steps:
    """What a strategy does winter by winter with the vines as they stand now.

    Attributes
    ----------
    done : tuple of mappings of cell to state
        The vines worked on in each winter, and the state that they are in then.
    going : bool
        Whether it renews anything at all this winter.
    """

    done: tuple[Mapping[Cell, int], ...]
    going: bool


def look_first(works: Sequence[PlannedWork], states: NDArray[np.uint8]) -> list[PlannedWork]:
    """Mark vines that show on their leaves alone instead of cutting them, where strategies could not be compared."""
    return [
        _marked(one, But.LOOK_FIRST) if _whole_trunk(one) and states[one.cell] == State.SHOWING else one
        for one in works
    ]


def _whole_trunk(one: PlannedWork) -> bool:
    return one.kind == "renew_trunk" or (one.kind == "train_first" and not one.arm)


def steps_of_strategy(
    states: NDArray[np.uint8],
    best: Strategy,
    effort: Effort,
    *,
    exists: NDArray[np.bool_] | None = None,
    first: NDArray[np.float64] | None = None,
) -> Steps:
    """Return what a strategy does winter by winter, with the same rules and hours as in its futures.

    Parameters
    ----------
    states : (rows, stations) uint8 array
        What stands where now.
    best : Strategy
        With its crew-hours.
    effort : Effort
        Hours of the work; `whole` over all positions of the grid.
    exists : (rows, stations) bool array, optional
        Positions; all where left out.
    first : (rows, stations) array, optional
        Which of equally damaged vines come first: the largest.
    """
    state = states.reshape(1, -1).copy()
    if exists is not None:
        state[0, ~exists.ravel()] = State.BLOCK_1  # no position: nothing is ever done there
    order = np.argsort(-first.ravel(), kind="stable") if first is not None else np.arange(state.size)
    bears = float(effort.bearing[states].sum()) if effort.bearing is not None else math.inf
    done: list[Mapping[Cell, int]] = []
    for winter in range(WINTERS):
        before = state.copy()
        act(
            best,
            state,
            winter,
            np.array([share_showing(state)]),
            renew_hours=effort.trunk,
            order=order,
            shape=(states.shape[0], states.shape[1]),
            effort=effort,
            bearing=bears,
        )
        changed = (state != before) & np.isin(state, _WORKED)
        cells = np.argwhere(changed.reshape(states.shape)).tolist()
        done.append({(row, station): int(state[0, row * states.shape[1] + station]) for row, station in cells})
        if not cells:
            break
    waits = best.replant_year == 0 or share_showing(states) < best.start_at
    return Steps(tuple(done), bool((best.renew or best.sound_share) and not waits))


def follow(
    works: Sequence[PlannedWork],
    facts: Sequence[VineFacts],
    states: NDArray[np.uint8],
    best: Strategy,
    steps: Steps,
    effort: Effort,
    costs: Costs,
    gains: VineGains | None,
) -> list[PlannedWork]:
    """Return the list: exactly the cuts and replants of the strategy, each with its winter; what it leaves is marked.

    One thing changes a cut of this winter: where the shoot of the vine is not good yet, it is trained first, and the cut is
    proposed by next winter's plan.

    Parameters
    ----------
    works : sequence of PlannedWork
        As `trunkwatch.renewal.plan.suggest` makes it.
    facts : sequence of VineFacts
        Of the vines that are not simply sound.
    states : (rows, stations) uint8 array
        What stands where now.
    best : Strategy
        The recommended one.
    steps : Steps
        What it does, as `steps_of_strategy` returns it.
    effort : Effort
        Hours of the work.
    costs, gains
        As in `suggest`.
    """
    known = {one.cell: one for one in facts}
    touched = {
        cell for winter, done in enumerate(steps.done) for cell in done if not winter or states[cell] != State.SOUND
    }
    out = [_left(one, steps, best) for one in works if one.cell not in touched or _stays(one, steps)]
    for winter, done in enumerate(steps.done):
        for cell, into in done.items():
            vine = known.get(cell) or VineFacts(cell, int(states[cell]))
            if winter and vine.state == State.SOUND:
                continue  # which sound vines come next winter is open
            one = _work(vine, into, best, effort, costs, gains)
            if not winter and waits_for_shoot(one):
                one = trained_first(one, costs["train_hours"])
            out.append(replace(one, winter=winter))
    return each_shoot_once(_ranked(_within_hours(out, best.hours)))


def _ranked(works: list[PlannedWork]) -> list[PlannedWork]:
    """Put light work first as it stands, then cuts and replants winter by winter, what brings most for a crew-hour first."""
    heavy = [one for one in works if one.kind in (*_RENEWALS, "replant")]
    heavy.sort(key=lambda one: (one.winter, math.isnan(one.gain), -one.per_hour if one.gain > 0 else 0.0, one.cell))
    return [*(one for one in works if one.kind not in (*_RENEWALS, "replant")), *heavy]


def _stays(one: PlannedWork, steps: Steps) -> bool:
    """Keep light work on vines that are worked on; what the strategy does takes the place of the rest."""
    if one.kind == "keep_shoot":
        return not any(State.SHOOT_LIGHT <= done.get(one.cell, 0) <= State.SHOOT_HEAVY for done in steps.done)
    return one.kind in ("clear_mummies", "train", "lab_sample")


def _work(
    vine: VineFacts, into: int, best: Strategy, effort: Effort, costs: Costs, gains: VineGains | None
) -> PlannedWork:
    if into == State.PLANTED:
        return _priced(replant_of(vine, costs, gains, "replant_dead", Why.NO_VINE))
    if State.SHOOT_LIGHT <= into <= State.SHOOT_HEAVY:
        return PlannedWork(
            vine.cell, "train_first", "train_first", Why.SHOOT_FIRST, vine, (But.NEXT_WINTER,), hours=effort.shoot
        )
    hours = {State.CUT: effort.trunk, State.ARM_CUT: effort.arm, State.CUT_TRAINED: effort.late}[State(into)]
    one = renewal_of(vine, costs, gains, whole=into != State.ARM_CUT)
    if one.kind == "replant":
        return _priced(one)
    if into == State.CUT_TRAINED:
        one = replace(one, rule="renew_trunk", buts=(But.SHOOT_TRAINED,))
    elif into == State.CUT and vine.state != State.SOUND and renewal_of(vine, costs, gains).kind in PARTS:
        one = replace(one, buts=(*one.buts, But.STRATEGY_WHOLE))
    if vine.state == State.SOUND:
        one = replace(one, why=Why.BESIDE if best.neighbours and not best.sound_share else Why.IN_TURN)
    return _priced(replace(one, hours=hours, loss=effort.loss(vine.state, into)))


def _priced(one: PlannedWork) -> PlannedWork:
    """Leave out the worth of a single vine where it is worth something only as part of the whole strategy."""
    return one if one.gain > 0 else replace(one, gain=math.nan)


def _left(one: PlannedWork, steps: Steps, best: Strategy) -> PlannedWork:
    """Mark what the strategy does not do."""
    if one.kind in _RENEWALS or one.kind == "train_first":
        if not (best.renew and steps.going):
            return _marked(one, But.STRATEGY_RENEWS_NOTHING)
        return _marked(one, But.LOOK_FIRST if one.why is Why.NO_PART else But.STRATEGY_LEAVES)
    if one.kind == "replant":
        return replace(
            one, kind="watch", buts=(*one.buts, But.STRATEGY_FILLS_NOTHING), hours=0.0, gain=math.nan, loss=0.0
        )
    return one


def _within_hours(works: list[PlannedWork], hours: float) -> list[PlannedWork]:
    """Let replants that take the place of a cut, because the stain is too low, wait where their longer work does not fit."""
    spent = sum(one.hours for one in works if one.winter == 0 and one.kind in (*_RENEWALS, "replant"))
    out = []
    for one in reversed(works):
        if spent > hours + 1e-9 and one.winter == 0 and one.why is Why.LOW_STAIN and one.kind == "replant":
            spent -= one.hours
            out.append(replace(one, winter=1))
        else:
            out.append(one)
    return out[::-1]


def _marked(one: PlannedWork, but: But) -> PlannedWork:
    kept = tuple(held for held in one.buts if held is not But.NEXT_WINTER)  # there is no cut to wait for
    return replace(
        one,
        kind="mark",
        rule="mark",
        buts=(*kept, but),
        trunk=0,
        arm="",
        cut_height_cm=math.nan,
        hours=0.0,
        gain=math.nan,
        loss=0.0,
    )
