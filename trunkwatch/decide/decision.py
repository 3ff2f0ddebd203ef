"""Decide: the strategies compared on the block's own futures, and the plan for this winter."""

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.decide.follow import follow, look_first, steps_of_strategy
from trunkwatch.decide.states import states_after
from trunkwatch.errors import RecordError
from trunkwatch.forecast.estimate import Estimates, draw, estimate
from trunkwatch.forecast.rates import Rates
from trunkwatch.forecast.season_counts import SeasonCounts, up_to
from trunkwatch.forecast.vine_years import steps_of
from trunkwatch.renewal.compare import Comparison, compare, discount_flip, in_measures
from trunkwatch.renewal.costs import Costs, costs_of, priors_of
from trunkwatch.renewal.damage import Damage, draw_damage
from trunkwatch.renewal.futures import run_futures
from trunkwatch.renewal.plan import (
    PlannedWork,
    VineFacts,
    bearing_vines,
    each_shoot_once,
    only_whole,
    plan_winter,
    suggest,
)
from trunkwatch.renewal.plan_words import why_words
from trunkwatch.renewal.search import MOST_TRIALS, SEARCHED, Ground, search, some_rows
from trunkwatch.renewal.states import State
from trunkwatch.renewal.strategies import Effort, Strategy, standard_strategies
from trunkwatch.renewal.vine_gain import VineGains, vine_gains
from trunkwatch.renewal.yields import yield_table
from trunkwatch.vineyard.calendar import coming_winter, season_bounds
from trunkwatch.vineyard.manner import AMERICAN, speaking

#: Trainings without a second lasting arm or trunk: canes are laid down anew each year (common practice, no source).
ONE_PART = frozenset({"unilateral", "cane_1", "cane_2", "cane_4", "head"})
#: Share of the time that the search takes of a decision, about.
_SEARCH = 0.3
__all__ = ["Decision", "NoComparison", "decide", "planned_records", "winter_of"]


class NoComparison(Enum):
    """Why strategies cannot be compared."""

    ONE_SEASON = 1
    NO_PRICES = 2
    NO_SPACING = 3


@dataclass(frozen=True, slots=True)
class Decision:
    """What can be said for a decision.

    Attributes
    ----------
    comparison : Comparison or None
        Strategies in money; None where no prices are written or there is too little record.
    why_not : NoComparison or None
        Why there is no comparison; None where there is one.
    work : list of PlannedWork
        Proposed work with its winter, ranked.
    costs : Costs
        Assumptions used.
    crew_days : float
        A winter.
    flip_discount : float
        Discount rate at which the recommended strategy is worth as much as doing nothing; nan for none up to 30 %.
    states : (rows, stations) uint8 array
        What stands where now, as the futures start.
    strategies : tuple of Strategy
        As compared; empty where they could not be.
    money : str
        The currency, as the unit of the price says it; empty where none is written.
    effort : Effort or None
        Hours of the work, the same in the futures and on the list; None where strategies could not be compared.
    passes : float
        Share of the futures in which cutting a sick vine spares its neighbors.
    """

    season: BlockSeason = field(repr=False)
    comparison: Comparison | None
    why_not: NoComparison | None
    work: list[PlannedWork]
    costs: Costs = field(repr=False)
    crew_days: float
    vines_ha: float
    flip_discount: float
    estimates: Estimates | None = field(repr=False)
    states: NDArray[np.uint8] = field(repr=False)
    seed: int = 1
    strategies: tuple[Strategy, ...] = field(repr=False, default=())
    money: str = ""
    effort: Effort | None = field(repr=False, default=None)
    passes: float = 0.0

    @property
    def best(self) -> Strategy | None:
        """The recommended strategy, which the work follows; None where strategies could not be compared."""
        if self.comparison is None:
            return None
        return next(one for one in self.strategies if one.name == self.comparison.recommended)

    @property
    def told(self) -> Comparison | None:
        """The comparison by the area and the weight that the prices are written in."""
        return None if self.comparison is None else in_measures(self.comparison, self.costs.measures)

    @property
    def hectares(self) -> float:
        """Area of the block: its positions at its spacing."""
        return float(self.season.history.grid.exists.sum()) / self.vines_ha


def decide(
    season: BlockSeason,
    others: Sequence[Sequence[SeasonCounts]],
    costs: pd.DataFrame,
    *,
    crew_days: float = 10.0,
    futures: int = 300,
    strategies: tuple[Strategy, ...] | None = None,
    passes: float = 0.0,
    seed: int = 1,
    progress: Callable[[float], None] | None = None,
) -> Decision:
    """Compare strategies and plan the winter after a season.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season just looked at.
    others : sequence of sequences of SeasonCounts
        Of the vineyard's other blocks.
    costs : DataFrame
        The `costs` table.
    crew_days : float
        Crew-days a winter.
    futures : int
        How many; the Monte Carlo error is printed.
    strategies : tuple of Strategy, optional
        The standard ones and a searched one where left out; the first must do nothing.
    passes : float
        Share of the futures in which cutting a sick vine spares its neighbors: what the dates say of spread.
    seed : int
        Of all chance.
    progress : callable, optional
        Called with the share that is done, now and then.

    Raises
    ------
    RecordError
        If no season counts, or a cost is out of its range.
    """
    history = season.history
    if not history.compared_seasons:
        raise RecordError(f"block {history.block!r} has no counted season: there is nothing to decide on")
    told = costs_of(costs)
    steps = steps_of(history, season.season)
    grid = history.grid
    states, facts = states_after(season)
    vines_ha = 10_000 / (grid.row_spacing_m * grid.vine_spacing_m)
    found = estimate(steps, up_to(others, season.season), priors=priors_of(told)) if steps else None
    comparison, why_not, gains, flip = None, None, None, math.nan
    listed: tuple[Strategy, ...] = ()
    effort: Effort | None = None
    rng = np.random.Generator(np.random.SFC64([seed, 50]))
    if found is None:
        why_not = NoComparison.ONE_SEASON
    elif not told.enough:
        why_not = NoComparison.NO_PRICES
    elif grid.assumed_spacing:
        why_not = NoComparison.NO_SPACING
    else:
        rates = draw(found, futures, rng)
        damage = draw_damage(found, told, futures, rng)
        gains = vine_gains(rates, told, vines_ha, damage=damage)
        parts, hours = str(season.block.get("training") or "") not in ONE_PART, crew_days * told["crew_day_hours"]
        effort = _effort(told, damage, _whole(facts, states.shape, parts=parts, seed=seed))
        ground = _ground(states, grid.exists, rates, damage, effort, told, vines_ha, seed)
        ground = replace(ground, passes=passes, after_each=_trials(progress))
        listed = strategies or standard_strategies(
            hours,
            replant="block_replant_ha" not in told.missing,
            protect="protect_vine" not in told.missing,
            arms=parts,
        )
        if strategies is None:
            own = _searched(ground, found, listed, hours, parts=parts)
            listed = (*listed, *([own] if own is not None else []))
        comparison, flip = _compared(ground, listed, progress)
    out = Decision(
        season,
        comparison,
        why_not,
        [],
        told,
        crew_days,
        vines_ha,
        flip,
        found,
        states,
        seed,
        listed if comparison is not None else (),
        money_word(costs),
        effort,
        passes,
    )
    return replace(out, work=_list(out, facts, gains))


def _list(found: Decision, facts: list[VineFacts], gains: VineGains | None) -> list[PlannedWork]:
    """Return the work: what the best strategy does, or what the rules of the work say where there is none."""
    works = [one for vine in facts for one in suggest(vine, found.costs, gains)]
    if found.best is None or found.effort is None:
        rules = each_shoot_once(look_first(works, found.states))
        return plan_winter(rules, found.costs, crew_days=found.crew_days, vines=bearing_vines(found.states))
    first = np.zeros(found.states.shape)
    for vine in facts:
        first[vine.cell] = 0.0 if math.isnan(vine.share) else vine.share
    steps = steps_of_strategy(
        found.states, found.best, found.effort, exists=found.season.history.grid.exists, first=first
    )
    return follow(works, facts, found.states, found.best, steps, found.effort, found.costs, gains)


def money_word(costs: pd.DataFrame) -> str:
    """Return the currency that the unit of the price names ("USD/t"); empty where none is written."""
    units = costs.loc[costs["name"] == "price_per_t", "unit"]
    word = str(units.iloc[0]).replace(" per ", "/").split("/")[0].strip() if len(units) else ""
    return "" if word.casefold() in ("money", "nan") else word


def _whole(facts: list[VineFacts], shape: tuple[int, ...], *, parts: bool, seed: int) -> NDArray[np.bool_]:
    """Return the vines of which only the whole trunk can be renewed, (rows, stations).

    Of those without damage on record as many would be as of those with, drawn by chance: what dies next is not known.
    """
    if not parts:
        return np.ones(shape, dtype=bool)
    known = [vine for vine in facts if State.LIGHT <= vine.state <= State.HEAVY]
    share = (1 + sum(only_whole(vine) for vine in known)) / (2 + len(known))
    out = np.random.default_rng([seed, 51]).random(shape) < share
    for vine in known:
        out[vine.cell] = only_whole(vine)
    return np.asarray(out)


def _effort(costs: Costs, damage: Damage, whole: NDArray[np.bool_]) -> Effort:
    renew, train = costs["renew_hours"], costs["train_hours"]
    return Effort(
        renew + 2 * train,
        0.6 * renew + train,
        costs["replant_hours"] + 2 * train,
        train,
        renew + train,
        yield_table(costs, damage.dead_shares),
        costs.share("most_loss_pct"),
        whole.ravel(),
    )


def _ground(
    states: NDArray[np.uint8],
    exists: NDArray[np.bool_],
    rates: Rates,
    damage: Damage,
    effort: Effort,
    costs: Costs,
    vines_ha: float,
    seed: int,
) -> Ground:
    """Lay the block out for its futures: neighbours need the ground, otherwise only the positions that exist are run."""
    assert effort.whole is not None  # noqa: S101 - made just before
    assert effort.bearing is not None  # noqa: S101
    whole = effort.whole.reshape(states.shape)
    if exists.all():
        start = states
    elif rates.near.any():
        start, whole = _squared(states, exists), _squared(whole, exists)
    else:
        start, whole = states[exists][None, :], whole[exists][None, :]
    return Ground(start, rates, damage, replace(effort, whole=whole.ravel()), effort.bearing, costs, vines_ha, seed)


def _searched(
    ground: Ground, found: Estimates, listed: tuple[Strategy, ...], hours: float, *, parts: bool
) -> Strategy | None:
    """Search a strategy of the block's own on futures and a part of its vines of their own."""
    rng = np.random.Generator(np.random.SFC64([ground.seed, 52]))
    rates, damage = draw(found, SEARCHED, rng), draw_damage(found, ground.costs, SEARCHED, rng)
    assert ground.effort.whole is not None  # noqa: S101 - laid out with it
    start, whole = some_rows(
        ground.start, ground.effort.whole.reshape(ground.start.shape), rng, near=bool(rates.near.any())
    )
    apart = replace(
        ground,
        start=start,
        rates=rates,
        damage=damage,
        effort=replace(ground.effort, whole=whole.ravel()),
        seed=ground.seed + 100_000,
    )
    return search(apart, listed, hours, parts=parts, share=start.size / ground.start.size)


def _trials(progress: Callable[[float], None] | None) -> Callable[[], None] | None:
    """Count the trials of the search as the first part of the job."""
    if progress is None:
        return None
    trial = itertools.count(1)
    return lambda: progress(_SEARCH * min(next(trial) / MOST_TRIALS, 1.0))


def _compared(
    ground: Ground, listed: tuple[Strategy, ...], progress: Callable[[float], None] | None
) -> tuple[Comparison, float]:
    costs = ground.costs
    later = None if progress is None else lambda share: progress(_SEARCH + (1 - _SEARCH) * share)
    told = run_futures(
        ground.start,
        ground.rates,
        listed,
        ground.bearing,
        years=int(costs["horizon_years"]),
        renew_hours=costs["renew_hours"],
        damage=ground.damage,
        effort=ground.effort,
        passes=ground.passes,
        seed=ground.seed,
        progress=later,
    )
    found = compare(told, costs, ground.vines_ha)
    number = next(k for k, one in enumerate(listed) if one.name == found.recommended)
    flip = discount_flip(told, costs, ground.vines_ha, number) if number else math.nan
    return found, flip


def _squared(states: NDArray[Any], exists: NDArray[np.bool_]) -> NDArray[Any]:
    """Close up rows of odd length into a rectangle of about the same shape; a few vines change neighbours at the ends."""
    rows = int(exists.any(axis=1).sum())
    flat = states[exists]
    wide = max(1, flat.size // rows)
    keep = (flat.size // wide) * wide
    return flat[:keep].reshape(-1, wide)


_LATER = {
    "mark": (7, 15),
    "watch": (7, 15),
    "lab_sample": (7, 15),
    "keep_shoot": (5, 15),
    "train": (6, 1),
    "train_first": (6, 1),
}


def winter_of(found: Decision, today: str | None = None) -> int:
    """Return the season of the winter that the work of `winter` 0 is for; see `planned_records`."""
    return coming_winter(found.season.season, found.season.reading.hemisphere, today)


def planned_records(found: Decision, *, today: str | None = None) -> list[dict[str, object]]:
    """Return the plan as records of the `work` table, status planned, dated in the season of its winter.

    Winter work stands at the middle of that winter, summer work in its month after it; the south is half a year off.

    Parameters
    ----------
    found : Decision
        The plan.
    today : str, optional
        Day as YYYY-MM-DD. Where the winter after the season looked at last has ended by then, because a year was
        skipped, the next one is meant that has not; where left out it is the winter after that season.
    """
    grid, block = found.season.history.grid, found.season.history.block
    hemisphere = found.season.reading.hemisphere
    this_winter = winter_of(found, today)
    out: list[dict[str, object]] = []
    for one in found.work:
        row, position = grid.label(*one.cell)
        year = this_winter + one.winter
        with speaking(AMERICAN):  # a record is the same, however people are spoken to
            note = why_words(one, found.costs, dated=False)
        month, day = _LATER.get(one.kind, (2, 1))
        if hemisphere == "south":
            month = (month + 5) % 12 + 1
            year -= month >= int(season_bounds(year, "south")[0][5:7])
        out.append(
            {
                "block": block,
                "row": row,
                "position": str(position),
                "date": f"{year}-{month:02d}-{day:02d}",
                "kind": one.kind,
                "status": "planned",
                "trunk": one.trunk or math.nan,
                "arm": one.arm,
                "cut_height_cm": one.cut_height_cm,
                "hours": one.hours or math.nan,
                "note": note,
            }
        )
    return out
