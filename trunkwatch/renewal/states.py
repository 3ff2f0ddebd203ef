"""The states of a vine in the futures, and what they lead to."""

from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from trunkwatch.forecast.growth import CLASS_EDGES
from trunkwatch.forecast.rates import Rates
from trunkwatch.forecast.vine_years import Before

__all__ = [
    "DEAD_SHARE",
    "N_STATES",
    "State",
    "damage_state",
    "initial_states",
    "next_without_symptoms",
    "thresholds",
    "with_a_shoot",
]


class State(IntEnum):
    """What stands in a position. Numbers after a state count its seasons."""

    EMPTY = 0
    SOUND = 1
    SHOWING = 2
    HIDDEN_1 = 3
    HIDDEN_2 = 4
    HIDDEN_3 = 5  # three seasons or more
    DEAD = 6
    RENEWED_1 = 7
    RENEWED_2 = 8
    RENEWED_3 = 9
    RENEWED_4 = 10  # four seasons or more
    TRAINED_1 = 11  # renewed from a shoot trained before the cut, first season
    YOUNG_1 = 12  # a single replant, nine seasons to full yield
    YOUNG_9 = 20
    BLOCK_1 = 21  # the block replanted, five seasons to full yield
    BLOCK_5 = 25
    LIGHT = 26  # lasting damage: arms or spurs dead, about a quarter
    MIDDLE = 27  # about half
    HEAVY = 28  # about five sixths
    CUT = 29  # cut this winter, its first season to come
    CUT_TRAINED = 30  # the same, from a shoot trained before
    PLANTED = 31  # a single replant of this winter
    BLOCK_PLANTED = 32
    RELAPSED_1 = 33  # showed again in its first season after the cut, while it does not bear yet
    RELAPSED_2 = 34  # showed again in its second season
    QUIET_2 = 35  # showed again in its first season, not in its second
    YOUNG_CASE_4 = 36  # a single replant that has been a case, season by season until it bears fully
    YOUNG_CASE_9 = 41
    ARM_CUT = 42  # one arm of two cut this winter, the other bears on
    ARM_1 = 43
    ARM_2 = 44
    ARM_SHOWED_1 = 45  # showed again, or the new arm did not take, in its first season
    ARM_SHOWED_2 = 46  # the same up to its second season
    SHOOT_LIGHT = 47  # a shoot is trained beside the damage; cut next winter
    SHOOT_MIDDLE = 48
    SHOOT_HEAVY = 49


N_STATES = 50
#: Share of the spurs dead in the three classes of lasting damage; it stays as it is or grows, it does not heal.
DEAD_SHARE = (0.25, 0.50, 0.85)
DAMAGED = (State.LIGHT, State.MIDDLE, State.HEAVY, State.SHOOT_LIGHT, State.SHOOT_MIDDLE, State.SHOOT_HEAVY)
#: Young vines show no symptoms in their first seasons (common practice, no source).
SAFE_SEASONS = 3
#: The season to come bears less than a vine with the least lasting damage: no arms yet that could be lost.
_GROWING = (
    State.CUT, State.RENEWED_1, State.RELAPSED_1, State.ARM_CUT, State.ARM_1, State.ARM_SHOWED_1, *range(State.YOUNG_1, State.YOUNG_1 + 6),
    *range(State.YOUNG_CASE_4, State.YOUNG_CASE_4 + 3), *range(State.BLOCK_1, State.BLOCK_1 + 3),
)  # fmt: skip


def with_a_shoot(state: int) -> int:
    """Return the state of a damaged vine once a shoot is trained beside the damage."""
    return state + State.SHOOT_LIGHT - State.LIGHT


def next_without_symptoms() -> NDArray[np.uint8]:
    """Return the state that follows each one where the vine lives and shows nothing, (states,)."""
    table = np.arange(N_STATES, dtype=np.uint8)
    table[State.SHOWING], table[State.HIDDEN_1], table[State.HIDDEN_2] = State.HIDDEN_1, State.HIDDEN_2, State.HIDDEN_3
    for k in range(3):
        table[State.RENEWED_1 + k] = State.RENEWED_1 + k + 1
    table[State.CUT], table[State.CUT_TRAINED] = State.RENEWED_1, State.TRAINED_1
    table[State.PLANTED], table[State.BLOCK_PLANTED] = State.YOUNG_1, State.BLOCK_1
    table[State.TRAINED_1] = State.RENEWED_3  # a trained shoot bears fully in its second season
    for k in range(State.YOUNG_1, State.YOUNG_9):
        table[k] = k + 1
    table[State.YOUNG_9] = State.SOUND
    for k in range(State.BLOCK_1, State.BLOCK_5):
        table[k] = k + 1
    table[State.BLOCK_5] = State.SOUND
    table[State.RELAPSED_1], table[State.RELAPSED_2], table[State.QUIET_2] = (
        State.QUIET_2,
        State.HIDDEN_1,
        State.HIDDEN_2,
    )
    for k in range(State.YOUNG_CASE_4, State.YOUNG_CASE_9):
        table[k] = k + 1
    table[State.YOUNG_CASE_9] = State.HIDDEN_1
    table[State.ARM_CUT], table[State.ARM_1], table[State.ARM_2] = State.ARM_1, State.ARM_2, State.RENEWED_3
    table[State.ARM_SHOWED_1], table[State.ARM_SHOWED_2] = State.ARM_SHOWED_2, State.HIDDEN_1
    return table


def after_symptoms() -> NDArray[np.uint8]:
    """Return the state that follows each one where the vine lives and shows, (states,).

    Lasting damage grows by a class. A vine that does not bear fully yet stays on its way there: symptoms bring no yield.
    """
    table = np.full(N_STATES, State.SHOWING, dtype=np.uint8)
    table[State.LIGHT], table[State.MIDDLE], table[State.HEAVY] = State.MIDDLE, State.HEAVY, State.HEAVY
    for damaged in (State.LIGHT, State.MIDDLE, State.HEAVY):
        table[with_a_shoot(damaged)] = with_a_shoot(int(table[damaged]))
    table[State.CUT], table[State.RENEWED_1], table[State.RELAPSED_1] = (
        State.RELAPSED_1,
        State.RELAPSED_2,
        State.RELAPSED_2,
    )
    for k in range(6):  # the fourth to the ninth season
        table[State.YOUNG_1 + 2 + k] = State.YOUNG_CASE_4 + k
    for k in range(State.YOUNG_CASE_4, State.YOUNG_CASE_9):
        table[k] = k + 1
    table[State.ARM_CUT] = State.ARM_SHOWED_1
    table[State.ARM_1] = table[State.ARM_SHOWED_1] = State.ARM_SHOWED_2
    return table


def damage_state(percent: float) -> State:
    """Return the class of lasting damage; about half where no share was written."""
    if percent != percent:
        return State.MIDDLE
    return State.LIGHT if percent < CLASS_EDGES[0] else State.MIDDLE if percent < CLASS_EDGES[1] else State.HEAVY


def initial_states(before: Before, exists: NDArray[np.bool_], gone: NDArray[np.bool_]) -> NDArray[np.uint8]:
    """Turn what is known of a block into states, (rows, stations).

    Parameters
    ----------
    before : Before
        What is known before the season to come.
    exists, gone : (rows, stations) bool arrays
        Positions, and those whose vine is dead (still standing).

    Notes
    -----
    A vine that was never looked at counts as sound: the forecast cannot know better, and says how many there are. Lasting
    damage stands in the middle class until its share is looked up.
    """
    out = np.full(exists.shape, State.EMPTY, dtype=np.uint8)
    out[exists & before.never] = State.SOUND
    for k, state in ((1, State.SHOWING), (2, State.HIDDEN_1), (3, State.HIDDEN_2), (4, State.HIDDEN_3)):
        out[before.since == k] = state
    out[before.damaged] = State.MIDDLE
    for k in range(1, 5):
        out[before.renewed == k] = State.RENEWED_1 + k - 1
    out[before.young] = State.YOUNG_1
    out[exists & gone] = State.DEAD
    return out


def thresholds(
    rates: Rates,
    effect: NDArray[np.float64],
    *,
    lasting: float | NDArray[np.float64],
    decline: float | NDArray[np.float64],
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Return, for each future and state, the chances that one uniform number is compared with.

    Parameters
    ----------
    rates : Rates
        One draw for each future.
    effect : (futures,) array
        How showy the season is, in standard deviations.
    lasting : float or (futures,) array
        Share of the symptoms that leave lasting damage.
    decline : float or (futures, 2) array
        Yearly chance that lasting damage grows by a class, from light and from middle.

    Returns
    -------
    gone, lamed, shown : (futures, states) float32 arrays
        Below the first the vine is lost; up to the second it lives and has lasting damage from now; up to the third it
        shows.
    """
    many = rates.draws
    gone, show = np.zeros((many, N_STATES)), np.zeros((many, N_STATES))
    sound, case = rates.death[:, 0], rates.death[:, 1]
    gone[:, State.SOUND] = sound
    gone[:, State.SHOWING : State.HIDDEN_3 + 1] = case[:, None]
    gone[:, DAMAGED] = case[:, None]
    gone[:, State.RENEWED_1 : State.RENEWED_4 + 1] = sound[:, None]
    gone[:, State.TRAINED_1] = sound
    gone[:, State.RELAPSED_1 : State.YOUNG_CASE_9 + 1] = case[:, None]
    gone[:, State.ARM_CUT : State.ARM_2 + 1] = sound[:, None]
    gone[:, State.ARM_SHOWED_1 : State.ARM_SHOWED_2 + 1] = case[:, None]
    gone[:, State.CUT] = rates.renewal_fails
    gone[:, State.CUT_TRAINED] = (
        rates.renewal_fails / 2
    )  # 90 % of trained shoots succeed (trade press), 42 to 100 % of forced ones
    gone[:, State.YOUNG_1 : State.YOUNG_9 + 1] = sound[:, None]
    gone[:, State.PLANTED] = rates.replant_fails[:, 0]
    gone[:, State.YOUNG_1 : State.YOUNG_1 + 2] = rates.replant_fails[:, 1:2]
    first = _shifted(rates.first, effect * rates.season_sd)
    show[:, State.SOUND] = first
    show[:, State.YOUNG_1 + SAFE_SEASONS - 1 : State.YOUNG_9 + 1] = first[:, None]
    show[:, State.BLOCK_1 + SAFE_SEASONS - 1 : State.BLOCK_5 + 1] = first[:, None]
    for k in range(4):
        show[:, State.SHOWING + k] = _shifted(rates.again[:, k], effect * rates.again_sd)
        show[:, State.RENEWED_1 + k] = _shifted(rates.relapse[:, k], effect * rates.again_sd)
    for state in (State.TRAINED_1, State.CUT, State.CUT_TRAINED):
        show[:, state] = show[:, State.RENEWED_1]
    again = _shifted(rates.again[:, 0], effect * rates.again_sd)
    for state in (State.RELAPSED_1, State.RELAPSED_2, *range(State.YOUNG_CASE_4, State.YOUNG_CASE_9 + 1)):
        show[:, state] = again
    # What lasts shows again every season.
    stays = np.broadcast_to(np.asarray(lasting, dtype=float), (many,))
    relapsed = (State.RELAPSED_1, State.RELAPSED_2, State.ARM_SHOWED_1, State.ARM_SHOWED_2)
    show[:, relapsed] = (stays + (1 - stays) * again)[:, None]
    # A new arm that does not take leaves the vine as it was: a case, with half its wire empty.
    show[:, State.ARM_CUT] = 1 - (1 - show[:, State.RENEWED_1]) * (1 - rates.renewal_fails)
    show[:, State.ARM_1], show[:, State.ARM_2] = show[:, State.RENEWED_1], show[:, State.RENEWED_2]
    show[:, State.QUIET_2] = _shifted(rates.again[:, 1], effect * rates.again_sd)
    lame = stays[:, None] * show
    lame[:, (State.RELAPSED_2, State.ARM_SHOWED_2)] = stays[:, None]
    lame[:, _GROWING] = 0
    lame[:, DAMAGED] = 0
    grows = np.broadcast_to(np.asarray(decline, dtype=float), (many, 2))
    show[:, DAMAGED] = grows[:, [0, 1, 1, 0, 1, 1]]
    return tuple((gone + (1 - gone) * part).astype(np.float32) for part in (np.zeros_like(gone), lame, show))  # type: ignore[return-value]


def _shifted(chance: NDArray[np.float64], by: NDArray[np.float64]) -> NDArray[np.float64]:
    odds = chance / np.maximum(1 - chance, 1e-12) * np.exp(by)
    return np.asarray(odds / (1 + odds))
