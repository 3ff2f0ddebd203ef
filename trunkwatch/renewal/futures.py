"""Many futures of one block under several strategies: the same draws of chances, seasons and vines for each of them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.forecast.rates import Rates
from trunkwatch.forecast.vine_years import cases_around
from trunkwatch.renewal.damage import Damage
from trunkwatch.renewal.states import N_STATES, State, after_symptoms, next_without_symptoms, thresholds
from trunkwatch.renewal.strategies import Effort, Strategy, act

__all__ = ["Damage", "Futures", "run_futures", "share_showing"]

#: Vines held at a time (futures x positions): the arrays stay in the processor's cache.
CHUNK = 400_000
_DAMAGED = (State.LIGHT, State.MIDDLE, State.HEAVY, State.SHOOT_LIGHT, State.SHOOT_MIDDLE, State.SHOOT_HEAVY)
#: What passes nothing on: cut, pulled or planted this winter.
_CLEAN = (
    State.EMPTY, State.CUT, State.CUT_TRAINED, State.ARM_CUT, State.PLANTED, State.BLOCK_PLANTED,
)  # fmt: skip
_RELAPSED = (State.RELAPSED_1, State.RELAPSED_2, State.ARM_SHOWED_1, State.ARM_SHOWED_2)
_SEEN = (
    *range(State.SOUND, State.HIDDEN_3 + 1), *range(State.RENEWED_1, State.TRAINED_1 + 1), *_DAMAGED, *_RELAPSED, State.QUIET_2,
    State.ARM_1, State.ARM_2,
)  # fmt: skip
_SHOW = (State.SHOWING, *_DAMAGED, *_RELAPSED)
_CASES = (
    *_SHOW, State.HIDDEN_1, State.HIDDEN_2, State.HIDDEN_3, State.QUIET_2, *range(State.YOUNG_CASE_4, State.YOUNG_CASE_9 + 1),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Futures:
    """What happened, (strategies, futures, years) each.

    Attributes
    ----------
    bearing : float array
        Yield, in healthy mature vines.
    incidence : float array
        Share of the mature living vines that show.
    renewed, replanted : int array
        Vines worked on in the winter before.
    block : bool array
        Whether the block was replanted in the winter before.
    hours : float array or None
        Crew-hours of the winter before and of the training after it; None where they follow from the vines worked on.
    """

    strategies: tuple[Strategy, ...]
    positions: int
    bearing: NDArray[np.float64] = field(repr=False)
    incidence: NDArray[np.float64] = field(repr=False)
    renewed: NDArray[np.int64] = field(repr=False)
    replanted: NDArray[np.int64] = field(repr=False)
    block: NDArray[np.bool_] = field(repr=False)
    hours: NDArray[np.float64] | None = field(repr=False, default=None)


def run_futures(
    start: NDArray[np.uint8],
    rates: Rates,
    strategies: Sequence[Strategy],
    bearing: NDArray[np.float64],
    *,
    years: int,
    renew_hours: float,
    damage: Damage | None = None,
    effort: Effort | None = None,
    passes: float = 1.0,
    seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Futures:
    """Run every strategy through the same futures.

    Parameters
    ----------
    start : (rows, stations) uint8 array
        States of the positions now; positions that do not exist are left out by `State.EMPTY` only where they are no
        gap: hand in the grid's own positions as a (1, positions) array if gaps are to be filled.
    rates : Rates
        One draw for each future.
    strategies : sequence of Strategy
        What is compared.
    bearing : (states,) array
        Yield of each state, as `trunkwatch.renewal.yields.yield_table` gives it.
    years : int
        Seasons ahead.
    renew_hours : float
        Crew-hours to renew a vine.
    damage : Damage, optional
        How symptoms leave lasting damage, and what prevention does.
    effort : Effort, optional
        Hours of all work and the largest loss of yield, as `act` takes it.
    passes : float
        Share of the futures in which it is the cases beside a vine that put it at risk: there a source that is cut, pulled or
        replanted puts nobody at risk any more. In the others it is the place, and cutting spares no neighbor.
    seed : int
        Of all chance.
    progress : callable, optional
        Called with the share that is done, part by part.

    Notes
    -----
    One uniform number a vine and year is compared with the chances of its state: common random numbers, so that two
    strategies differ by what they do and not by luck. Strategies that treat a vine alike give it the same fate.
    """
    many, positions = rates.draws, start.size
    shape = (len(strategies), many, years)
    out = Futures(
        tuple(strategies),
        positions,
        np.zeros(shape),
        np.zeros(shape),
        np.zeros(shape, dtype=np.int64),
        np.zeros(shape, dtype=np.int64),
        np.zeros(shape, dtype=bool),
        None if effort is None else np.zeros(shape),
    )
    passing = np.random.default_rng([seed, 53]).random(many) < passes
    size = max(1, CHUNK // positions)
    for number, low in enumerate(range(0, many, size)):
        part = slice(low, min(low + size, many))
        rng = np.random.Generator(np.random.SFC64([seed, number]))
        _run_part(
            start,
            _some(rates, part),
            strategies,
            bearing,
            years,
            renew_hours,
            (damage or Damage()).some(part),
            effort,
            rng,
            out,
            part,
            passing[part],
        )
        if progress is not None:
            progress(part.stop / many)
    return out


def share_showing(states: NDArray[np.uint8]) -> float:
    """Return the share of the vines that show, as strategies with a threshold read it."""
    return np.count_nonzero(np.isin(states, _SHOW)) / max(1, int(np.count_nonzero(np.isin(states, _SEEN))))


def _some(rates: Rates, part: slice) -> Rates:
    return Rates(**{one.name: getattr(rates, one.name)[part] for one in fields(rates)})


def _run_part(
    start: NDArray[np.uint8],
    rates: Rates,
    strategies: Sequence[Strategy],
    bearing: NDArray[np.float64],
    years: int,
    renew_hours: float,
    damage: Damage,
    effort: Effort | None,
    rng: np.random.Generator,
    out: Futures,
    part: slice,
    passing: NDArray[np.bool_],
) -> None:
    many, positions = rates.draws, start.size
    states = [np.tile(start.reshape(1, -1), (many, 1)) for _ in strategies]
    near = bool(rates.near.any())
    # What stands dead, or as a case, passes on; what was pulled, cut or planted does not.
    ever = [np.isin(one, (*_CASES, State.DEAD)) for one in states]
    clean = np.isin(np.arange(N_STATES), _CLEAN)
    bears = [np.full(many, bearing[start].sum()) for _ in strategies]
    there = [many * np.bincount(start.ravel(), minlength=N_STATES) for _ in strategies]
    returning = _returning()
    incidence = [np.full(many, share_showing(start)) for _ in strategies]
    follow, after = next_without_symptoms(), after_symptoms()
    offset = (np.arange(many, dtype=np.int32) * N_STATES)[:, None]
    spared = rng.uniform(*damage.prevents, size=many)
    for year in range(years):
        effect = rng.standard_normal(many)
        order = rng.permutation(positions)
        luck = rng.random((many, positions), dtype=np.float32)
        tables = thresholds(rates, effect, lasting=damage.lasting, decline=damage.decline)
        guarded = (
            _guarded(rates, effect, damage, spared)
            if year >= damage.lag and any(one.protect for one in strategies)
            else tables
        )
        for k, strategy in enumerate(strategies):
            state = states[k]
            gone, lamed, shown = guarded if strategy.protect else tables
            done = act(
                strategy,
                state,
                year,
                incidence[k],
                renew_hours=renew_hours,
                order=order,
                shape=(start.shape[0], start.shape[1]),
                effort=effort,
                bearing=bears[k],
                there=there[k],
            )
            if near and (done.renewed.any() or done.replanted.any() or done.block.any()):
                ever[k] &= ~(clean[state] & passing[:, None])
            cell = state + offset
            lost = luck < np.take(gone, cell)
            sick = luck < np.take(shown, cell)
            lame = luck < np.take(lamed, cell)
            if near:
                _near((sick, lame), state, ever[k], luck, rates, (gone, lamed, shown), start.shape)
            new = np.take(follow, state)
            new[sick] = after[state[sick]]
            _lamed(new, sick & lame, state, luck, damage, returning)
            new[lost] = State.DEAD
            if near:
                ever[k] |= sick & ~lost
            states[k] = new
            counts = np.bincount((new + offset).ravel(), minlength=many * N_STATES).reshape(many, N_STATES)
            bears[k], there[k] = counts @ bearing, counts.sum(axis=0)
            out.bearing[k, part, year] = bears[k]
            if out.hours is not None:
                out.hours[k, part, year] = done.hours
            alive = counts[:, list(_SEEN)].sum(axis=1)
            incidence[k] = counts[:, list(_SHOW)].sum(axis=1) / np.maximum(alive, 1)
            out.incidence[k, part, year] = incidence[k]
            out.renewed[k, part, year] = done.renewed
            out.replanted[k, part, year] = done.replanted
            out.block[k, part, year] = done.block


def _returning() -> NDArray[np.bool_]:
    """Return the states after a cut, in which damage comes back and does not start, (states,)."""
    after_cut = (*range(State.RENEWED_1, State.TRAINED_1 + 1), State.RELAPSED_2, State.ARM_2, State.ARM_SHOWED_2)
    return np.isin(np.arange(N_STATES), after_cut)


def _lamed(
    new: NDArray[np.uint8],
    lame: NDArray[np.bool_],
    state: NDArray[np.uint8],
    luck: NDArray[np.float32],
    damage: Damage,
    returning: NDArray[np.bool_],
) -> None:
    """Let damage that lasts come to light, light or worse at once; the digits of the vine's luck further on say which."""
    at = np.flatnonzero(lame)
    if damage.starts is None or damage.returns is None:
        new.ravel()[at] = State.LIGHT
        return
    future = at // lame.shape[1]
    shares = np.where(returning[state.ravel()[at]][:, None], damage.returns[future], damage.starts[future])
    further = luck.ravel()[at].astype(float) * 4099.0 % 1.0
    new.ravel()[at] = np.where(
        further < shares[:, 1], State.HEAVY, np.where(further < shares.sum(axis=1), State.MIDDLE, State.LIGHT)
    )


def _guarded(
    rates: Rates, effect: NDArray[np.float64], damage: Damage, spared: NDArray[np.float64]
) -> tuple[NDArray[np.float32], NDArray[np.float32], NDArray[np.float32]]:
    """Return the chances under prevention: fewer first symptoms, all else as it was."""
    fewer = replace(rates, first=rates.first * (1 - spared))
    return thresholds(fewer, effect, lasting=damage.lasting, decline=damage.decline)


def _near(
    marks: tuple[NDArray[np.bool_], NDArray[np.bool_]],
    state: NDArray[np.uint8],
    ever: NDArray[np.bool_],
    luck: NDArray[np.float32],
    rates: Rates,
    tables: tuple[NDArray[np.float32], ...],
    shape: tuple[int, ...],
) -> None:
    """Raise the chance of sound vines beside positions that have been a case; only these are touched.

    The same share of the cases leaves lasting damage as elsewhere.
    """
    (sick, lame), (gone, lamed, shown) = marks, tables
    many = len(state)
    grid = ever.reshape(many, *shape)
    row, across = np.zeros(grid.shape, dtype=np.uint8), np.zeros(grid.shape, dtype=np.uint8)
    row[:, :, 1:] += grid[:, :, :-1]
    row[:, :, :-1] += grid[:, :, 1:]
    across[:, 1:] += grid[:, :-1]
    across[:, :-1] += grid[:, 1:]
    around: list[tuple[NDArray[np.integer[Any]], NDArray[np.float64]]] = [
        (row, rates.near_row),
        (across, rates.near_across),
    ]
    if rates.near_ring.any():
        around.append((cases_around(grid, row + across), rates.near_ring))
    beside = np.any([count > 0 for count, _ in around], axis=0)
    future, vine = np.nonzero((state == State.SOUND) & beside.reshape(state.shape))
    lost = gone[future, State.SOUND]
    plain = (shown[future, State.SOUND] - lost) / np.maximum(1 - lost, 1e-9)
    added = sum(count.reshape(state.shape)[future, vine] * slope[future] for count, slope in around)
    odds = plain / np.maximum(1 - plain, 1e-9) * np.exp(added)
    raised, drawn = (1 - lost) * odds / (1 + odds), luck[future, vine]
    lasting = (lamed[future, State.SOUND] - lost) / np.maximum(shown[future, State.SOUND] - lost, 1e-9)
    sick[future, vine] = drawn < lost + raised
    lame[future, vine] = drawn < lost + lasting * raised
