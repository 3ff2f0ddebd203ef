"""Strategies in money, on the same futures: difference to doing nothing, crew-days, what flips the answer."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.renewal.costs import Costs
from trunkwatch.renewal.economics import break_even
from trunkwatch.renewal.futures import Futures
from trunkwatch.renewal.measures import METRIC, Measures

__all__ = ["DISCOUNTS", "Comparison", "Judged", "cash_flows", "compare", "in_measures", "present_values"]

DISCOUNTS = (3.0, 5.0, 7.0)


@dataclass(frozen=True, slots=True)
class Judged:
    """One strategy beside doing nothing.

    Attributes
    ----------
    name : str
    gain, gain_low, gain_high : float
        Difference in present value a hectare, mean and 90 % limits over the futures, at the discount rate chosen.
    gain_error : float
        Monte Carlo standard error of the mean.
    crew_days : float
        Crew-days a hectare in the first winter with work, mean.
    crew_days_all : float
        Over all years, mean.
    best : float
        Share of the futures in which it is the best.
    regret : float
        Mean present value a hectare lost against the best strategy of each future.
    at : dict of float to float
        Mean gain at other discount rates.
    flip_price : float
        Price a tonne at which it is worth as much as doing nothing; nan where no price above 0 is.
    incidence, bearing, cash : (years,) array
        Means over the futures: share showing, yield as a share of a healthy full block, money a hectare.
    """

    name: str
    gain: float
    gain_low: float
    gain_high: float
    gain_error: float
    crew_days: float
    crew_days_all: float
    best: float
    regret: float
    at: dict[float, float]
    flip_price: float
    incidence: NDArray[np.float64] = field(repr=False, compare=False)
    bearing: NDArray[np.float64] = field(repr=False, compare=False)
    cash: NDArray[np.float64] = field(repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Comparison:
    """All strategies.

    Attributes
    ----------
    judged : tuple of Judged
        In the order handed in; the first is doing nothing.
    recommended : str
        The strategy of the largest mean gain, or doing nothing where no gain exceeds two Monte Carlo errors.
    second : str
        The next best.
    clear : bool
        Whether the gap between the two exceeds two Monte Carlo errors.
    healthy : float
        Present value a hectare of a healthy full block, for scale.
    """

    judged: tuple[Judged, ...]
    recommended: str
    second: str
    clear: bool
    gap: float
    gap_error: float
    healthy: float
    futures: int
    years: int
    discount: float


def cash_flows(futures: Futures, costs: Costs, vines_ha: float) -> NDArray[np.float64]:
    """Return money a hectare, (strategies, futures, years): grapes sold less work and plants.

    Costs that every strategy has alike (pruning, spraying, land) are left out: they cancel.
    """
    grapes = costs["yield_t_ha"] * (costs["price_per_t"] - costs["harvest_t"]) * futures.bearing / futures.positions
    per = vines_ha / futures.positions
    work = _crew(futures, costs) * costs["crew_hour"] + futures.replanted * costs["replant_vine"]
    block = costs["block_replant_ha"] if futures.block.any() else 0.0
    guard = np.array([costs["protect_vine"] * vines_ha if one.protect else 0.0 for one in futures.strategies])
    return np.asarray(grapes - work * per - futures.block * block - guard[:, None, None])


def _hours(futures: Futures, costs: Costs, vines_ha: float) -> NDArray[np.float64]:
    return np.asarray(_crew(futures, costs) * vines_ha / futures.positions)


def _crew(futures: Futures, costs: Costs) -> NDArray[np.float64]:
    """Crew-hours in the block."""
    if futures.hours is not None:
        return futures.hours
    train = 2 * costs["train_hours"]
    hours = futures.renewed * (costs["renew_hours"] + train) + futures.replanted * (costs["replant_hours"] + train)
    return np.asarray(hours)


def compare(futures: Futures, costs: Costs, vines_ha: float) -> Comparison:
    """Judge all strategies.

    Parameters
    ----------
    futures : Futures
        As `run_futures` makes them; the first strategy is doing nothing.
    costs : Costs
        All assumptions.
    vines_ha : float
        Positions a hectare.

    Raises
    ------
    RecordError
        If a price that is needed is not written.
    """
    cash = cash_flows(futures, costs, vines_ha)
    rate = costs["discount_pct"]
    worth = {one: present_values(cash, one) for one in {*DISCOUNTS, rate}}
    value = worth[rate]
    over = value - value[0]
    hours = _hours(futures, costs, vines_ha) / costs["crew_day_hours"]
    many = value.shape[1]
    best = np.zeros(len(value))
    top = value.max(axis=0)
    for k, line in enumerate(value):
        best[k] = float((line >= top - 1e-9).mean())
    judged = tuple(
        _judge(
            futures, costs, vines_ha, k, over=over, hours=hours, cash=cash, worth=worth, top=top, best=float(best[k])
        )
        for k in range(len(futures.strategies))
    )
    return _ranked(judged, over, costs, many, futures.bearing.shape[2], rate)


def _judge(
    futures: Futures,
    costs: Costs,
    vines_ha: float,
    k: int,
    *,
    over: NDArray[np.float64],
    hours: NDArray[np.float64],
    cash: NDArray[np.float64],
    worth: dict[float, NDArray[np.float64]],
    top: NDArray[np.float64],
    best: float,
) -> Judged:
    many, rate = over.shape[1], costs["discount_pct"]
    low, high = (float(v) for v in np.quantile(over[k], [0.05, 0.95]))
    return Judged(
        name=futures.strategies[k].name,
        gain=float(over[k].mean()),
        gain_low=low,
        gain_high=high,
        gain_error=float(over[k].std(ddof=1) / math.sqrt(many)) if many > 1 else math.nan,
        crew_days=_first_winter(hours[k]),
        crew_days_all=float(hours[k].sum(axis=1).mean()),
        best=best,
        regret=float((top - worth[rate][k]).mean()),
        at={one: float((worth[one][k] - worth[one][0]).mean()) for one in DISCOUNTS},
        flip_price=_flip_price(futures, costs, vines_ha, k, rate),
        incidence=futures.incidence[k].mean(axis=0),
        bearing=futures.bearing[k].mean(axis=0) / futures.positions,
        cash=cash[k].mean(axis=0),
    )


def present_values(cash: NDArray[np.float64], rate_pct: float) -> NDArray[np.float64]:
    """Return present values, (strategies, futures), of money by year; paid at the years' ends."""
    years = np.arange(1, cash.shape[2] + 1)
    return np.asarray(cash @ (1 + rate_pct / 100) ** -years.astype(float))


def _first_winter(hours: NDArray[np.float64]) -> float:
    working = hours > 0
    if not working.any():
        return 0.0
    first = working.argmax(axis=1)
    some = working.any(axis=1)
    return float(hours[np.flatnonzero(some), first[some]].mean())


def _flip_price(futures: Futures, costs: Costs, vines_ha: float, k: int, rate: float) -> float:
    """Price at which the mean gain is nothing: money is a straight line in the price."""
    at = {}
    for price in (costs["price_per_t"], costs["price_per_t"] + 1000.0):
        told = Costs({**costs.values, "price_per_t": price}, costs.sources, costs.missing)
        value = present_values(cash_flows(futures, told, vines_ha)[[0, k]], rate).mean(axis=1)
        at[price] = float(value[1] - value[0])
    (low, gain), (high, more) = at.items()
    slope = (more - gain) / (high - low)
    if k == 0 or slope == 0:
        return math.nan
    flip = low - gain / slope
    return flip if flip > 0 else math.nan


def _ranked(
    judged: tuple[Judged, ...], over: NDArray[np.float64], costs: Costs, many: int, years: int, rate: float
) -> Comparison:
    order = sorted(range(len(judged)), key=lambda k: -judged[k].gain)
    first, second = order[0], order[1] if len(order) > 1 else order[0]
    if first != 0 and judged[first].gain <= 2 * judged[first].gain_error:
        first, second = 0, first
    gap = over[first] - over[second]
    error = float(gap.std(ddof=1) / math.sqrt(many)) if many > 1 else math.nan
    healthy = (
        costs["yield_t_ha"]
        * (costs["price_per_t"] - costs["harvest_t"])
        * sum((1 + rate / 100) ** -y for y in range(1, years + 1))
    )
    return Comparison(
        judged,
        judged[first].name,
        judged[second].name,
        bool(float(gap.mean()) > 2 * error),
        float(gap.mean()),
        error,
        healthy,
        many,
        years,
        rate,
    )


def discount_flip(futures: Futures, costs: Costs, vines_ha: float, k: int) -> float:
    """Return the discount rate (percent) at which a strategy is worth as much as doing nothing; nan for none up to 30."""
    cash = cash_flows(futures, costs, vines_ha)[[0, k]].mean(axis=1)[:, None, :]

    def gain(rate: float) -> float:
        value = present_values(cash, rate)[:, 0]
        return float(value[1] - value[0])

    return break_even(gain, 0.0, 30.0)


def in_measures(found: Comparison, measures: Measures) -> Comparison:
    """Return a comparison by the area and the weight that prices are written in."""
    if measures == METRIC:
        return found
    area = measures.hectares
    return replace(
        found,
        judged=tuple(_judged(one, measures) for one in found.judged),
        gap=found.gap * area,
        gap_error=found.gap_error * area,
        healthy=found.healthy * area,
    )


def _judged(one: Judged, measures: Measures) -> Judged:
    area = measures.hectares
    return replace(
        one,
        gain=one.gain * area,
        gain_low=one.gain_low * area,
        gain_high=one.gain_high * area,
        gain_error=one.gain_error * area,
        crew_days=one.crew_days * area,
        crew_days_all=one.crew_days_all * area,
        regret=one.regret * area,
        at={rate: value * area for rate, value in one.at.items()},
        flip_price=one.flip_price * measures.tonnes,
        cash=one.cash * area,
    )
