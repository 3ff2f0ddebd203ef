"""Where would the block stand without the work of the last years? Foretold from before it, beside what came."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from trunkwatch.block.opening import BlockSeason
from trunkwatch.decide.states import states_after
from trunkwatch.forecast.cuts import cut_between
from trunkwatch.forecast.estimate import draw, estimate
from trunkwatch.forecast.season_counts import SeasonCounts, up_to
from trunkwatch.forecast.vine_years import steps_of
from trunkwatch.history import rate
from trunkwatch.renewal.futures import Damage, run_futures
from trunkwatch.renewal.states import N_STATES
from trunkwatch.renewal.strategies import Strategy
from trunkwatch.stats.shares import Incidence, incidence
from trunkwatch.vineyard.calendar import season_bounds
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["WithoutWork", "without_work"]

#: Counted seasons looked back over, and seasons that must lie before them to learn from (our own conventions).
BACK, FEWEST = 3, 3


@dataclass(frozen=True, slots=True)
class WithoutWork:
    """Share of the vines showing: foretold without any cut, and what came.

    Attributes
    ----------
    since, season : int
        The season that the forecast was made from, and the one it is of.
    cut : int
        Vines renewed in between.
    middle, low, high : float
        Median and 90 % limits of the share foretold; nan where it cannot be given.
    came : Incidence
        What was seen in the season.
    counted : int
        Counted seasons up to this one.
    """

    since: int
    season: int
    cut: int
    middle: float
    low: float
    high: float
    came: Incidence
    counted: int


def without_work(
    season: BlockSeason, others: Sequence[Sequence[SeasonCounts]], *, futures: int = 400, seed: int = 1
) -> WithoutWork:
    """Foretell this season from `BACK` counted seasons ago as if nothing had been cut since.

    Parameters
    ----------
    season : BlockSeason
        The block up to its last season.
    others : sequence of sequences of SeasonCounts
        Of the vineyard's other blocks; only seasons up to the one it is foretold from are used.
    futures, seed : int
        How many futures, and the seed.
    """
    history = season.history
    counted = [year for year in history.compared_seasons if year <= season.season]
    came = rate(history, "annual", counted[-1]) if counted else None
    seen = incidence(int(came.numerator.sum()), int(came.denominator.sum())) if came is not None else incidence(0, 0)
    if len(counted) < FEWEST + BACK + 1:
        nan = math.nan
        return WithoutWork(season.season, season.season, 0, nan, nan, nan, seen, len(counted))
    since, last = counted[-1 - BACK], counted[-1]
    cut = int(np.count_nonzero(cut_between(history, since, last, CLEARING)))
    learnt = estimate(steps_of(history, since), up_to(others, since))
    rates = draw(learnt, futures, np.random.Generator(np.random.SFC64([seed, 70])))
    states, _ = states_after(_as_known(season, since))
    damage = Damage(lasting=learnt.mean("lasting"))
    found = run_futures(
        states,
        rates,
        (Strategy("do nothing"),),
        np.zeros(N_STATES),
        years=last - since,
        renew_hours=1.0,
        damage=damage,
        seed=seed,
    )
    low, middle, high = (float(one) for one in np.quantile(found.incidence[0, :, -1], [0.05, 0.5, 0.95]))
    return WithoutWork(since, last, cut, middle, low, high, seen, len(counted))


def _as_known(season: BlockSeason, year: int) -> BlockSeason:
    """Return the block as of an earlier season, without the work done after it."""
    end = season_bounds(year, season.reading.hemisphere)[1]
    return replace(season, season=year, as_of=end, known_until=end)
