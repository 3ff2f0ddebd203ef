"""The cheapest way to carry what is over in some places to where it lacks: exact, by linear programming on few ways."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

__all__ = ["Carried", "carry"]

#: Blur of the first guess, as shares of the longest way, from coarse to fine; and rounds at each.
_BLURS = (0.3, 0.1, 0.03, 0.01, 0.004)
_ROUNDS = 40
#: Ways are taken into the programme where they cost at most so many blurs more than the cheapest of a place.
_MARGIN = 4.0
#: A way is tight, or undercuts the prices, from this share of the longest way on.
_SLACK = 1e-8


@dataclass(frozen=True, slots=True)
class Carried:
    """What goes from where to where.

    Attributes
    ----------
    source, target : (ways,) int array
        Places of the ways that are used.
    amount : (ways,) float array
        What is carried.
    cost : float
        Sum of amounts times lengths.
    """

    source: NDArray[np.int64]
    target: NDArray[np.int64]
    amount: NDArray[np.float64]
    cost: float


def carry(supply: NDArray[np.float64], demand: NDArray[np.float64], length: NDArray[np.float64]) -> Carried:
    """Carry all of the supply to the demand over the least total length.

    Among ways of the same least total, those with the least sum of squared lengths are taken: on a lattice many are
    as short, and who goes how far would be left to the solver.

    Parameters
    ----------
    supply, demand : (sources,), (targets,) float array
        Above 0, of the same sum.
    length : (sources, targets) float array
        Length of each way.

    Returns
    -------
    Carried
        The ways that are used.

    Raises
    ------
    RuntimeError
        If the solver gives up.

    Notes
    -----
    A linear programme over all ways is large, and nearly all of them are idle. A blurred plan (matrix scaling) gives
    first prices; the programme holds only the ways that are nearly worth their prices, and is solved again with every
    way that undercuts the prices it returns. When none does, duality says that the plan is the least of all.
    """
    longest = float(length.max())
    if longest <= 0:
        longest = 1.0
    spare, blur = _spare(supply, demand, length / longest)
    margin = _MARGIN
    open_ways = spare <= margin * blur
    while True:
        amounts, prices = _solved(supply, demand, length, open_ways)
        if amounts is None or prices is None:
            if open_ways.all():
                raise RuntimeError(f"no plan for {supply.size} sources and {demand.size} targets: the solver gave up")
            margin *= 3.0
            open_ways = spare <= margin * blur
            continue
        undercut = length - prices[: supply.size, None] - prices[None, supply.size :]
        missing = (undercut < -_SLACK * longest) & ~open_ways
        if not missing.any():
            break
        # Ways nearly as cheap come along: they would undercut the next prices.
        open_ways |= undercut < 0.25 * blur * longest
    tight = undercut <= _SLACK * longest
    squared, _ = _solved(supply, demand, length**2 / longest, tight)
    if squared is not None:
        open_ways, amounts = tight, squared
    source, target = np.nonzero(open_ways)
    used = amounts > 1e-9 * float(supply.max())
    source, target, amounts = source[used], target[used], amounts[used]
    return Carried(source, target, amounts, math.fsum((amounts * length[source, target]).tolist()))


def _spare(
    supply: NDArray[np.float64], demand: NDArray[np.float64], length: NDArray[np.float64]
) -> tuple[NDArray[np.float64], float]:
    """Return by how much each way costs more than the cheapest of its target, at the prices of a blurred plan."""
    given, wanted = supply / supply.sum(), demand / demand.sum()
    at_source, at_target = np.zeros(given.size), np.zeros(wanted.size)
    for blur in _BLURS:
        # Bounds keep the scaling finite; the prices are a first guess and nothing rests on them.
        kernel = np.exp(np.clip((at_source[:, None] + at_target - length) / blur, -80.0, 50.0))
        left, right = np.ones(given.size), np.ones(wanted.size)
        for _ in range(_ROUNDS):
            left = given / (kernel @ right)
            right = wanted / (left @ kernel)
        at_source, at_target = at_source + blur * np.log(left), at_target + blur * np.log(right)
    spare = length - at_source[:, None] - at_target
    return spare - spare.min(axis=0), blur


def _solved(
    supply: NDArray[np.float64], demand: NDArray[np.float64], cost: NDArray[np.float64], ways: NDArray[np.bool_]
) -> tuple[NDArray[np.float64] | None, NDArray[np.float64] | None]:
    """Return amounts on the ways and prices of the places, or nothing where these ways cannot carry all."""
    from scipy.optimize import linprog
    from scipy.sparse import csc_array

    source, target = np.nonzero(ways)
    ends = np.column_stack([source, supply.size + target]).ravel()
    places = csc_array(
        (np.ones(ends.size), ends, np.arange(0, ends.size + 1, 2)), shape=(supply.size + demand.size, source.size)
    )
    plan = linprog(  # type: ignore[call-overload]  # its annotations know no sparse matrix
        cost[source, target], A_eq=places, b_eq=np.concatenate([supply, demand]), bounds=(0, None), method="highs-ds"
    )
    if plan.status != 0:
        return None, None
    return np.asarray(plan.x, dtype=np.float64), np.asarray(plan.eqlin.marginals, dtype=np.float64)
