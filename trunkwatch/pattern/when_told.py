"""How many more seasons until spread to the next vine in the row could be told in this block: by simulation on its own record."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.history import BlockHistory
from trunkwatch.pattern.spread import ENOUGH_SEASONS, LEVELS, _plants
from trunkwatch.yearly.plant_records import PlantRecords
from trunkwatch.yearly.spread import LAGS, spread_test

__all__ = ["MORE", "POWER", "WhenTold", "WhyNotTold", "told_power", "when_told"]

Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

#: Seasons added, and how often spread must be told to be called to be seen.
MORE, POWER = (0, 4, 8, 12), 0.8
#: Last seasons of which the rate of new cases is carried on.
LAST_SEASONS = 5


@dataclass(frozen=True, slots=True)
class WhyNotTold:
    """Too short a record to carry on: surveyed seasons, and new cases after the first of them."""

    seasons: int
    new: int


@dataclass(frozen=True, slots=True)
class WhenTold:
    """How often spread would be told.

    Attributes
    ----------
    share : float
        Of the new cases, those that follow a neighbor in the row.
    seasons : int
        Surveyed seasons by now.
    cases, new_a_season : int, float
        Cases by now, and new cases a season that are carried on.
    more : tuple of int
        Seasons added.
    told, hinted : tuple of float
        How often "spread" would be said, and "spread, or short zones" or more.
    enough_after : float or None
        More seasons until it is told in `POWER` of the runs, on a line between those tried; None where not within them.
    runs : int
    """

    share: float
    seasons: int
    cases: int
    new_a_season: float
    more: tuple[int, ...]
    told: tuple[float, ...]
    hinted: tuple[float, ...]
    enough_after: float | None
    runs: int


def when_told(
    season: BlockSeason,
    *,
    shares: Sequence[float] = (0.1, 0.3),
    more: Sequence[int] = MORE,
    runs: int = 50,
    shuffles: int = 99,
    seed: int = 1,
    done: Callable[[], None] = lambda: None,
) -> tuple[WhenTold, ...] | WhyNotTold:
    """Simulate this block's cases on, and ask each time whether spread would be told.

    Parameters
    ----------
    season : BlockSeason
        The block.
    shares : sequence of float
        Shares of new cases that follow a neighbor in the row.
    more : sequence of int
        Seasons added, rising.
    runs, shuffles, seed : int
        Simulated records for each share, shuffles of each test (the levels hold exactly with 99; with the 999 of the report a few
        records in a hundred more are told), and the seed.
    done : callable
        Called after each simulated record.

    Notes
    -----
    The first survey's cases stand where they stood. From then on each season has as many new cases as it had, later ones as
    many as the last seasons lead to expect, on the block's own positions: each follows a vine noted before in the row, at the
    next position, with the chance `share`, and falls on any vine otherwise. Ground and zones that make other neighbors alike are
    not in it, so a real block takes longer rather than less; nor are gaps between surveys.
    """
    history = season.history
    years = [year for year in history.compared_seasons if year <= season.season]
    plants = _plants(history, years)
    first = np.where(plants.vines, plants.first, -1)
    new = np.bincount(first[first >= 0], minlength=max(len(years), 1))
    if len(years) < 2 or not new[1:].sum():
        return WhyNotTold(len(years), int(new[1:].sum()))
    out = []
    for number, share in enumerate(shares):
        chance = np.random.Generator(np.random.SFC64([seed, 61, number]))
        hits = np.zeros((2, len(more)))
        for _ in range(runs):
            hits += _one_record(history, plants, new, share, more, shuffles, chance)
            done()
        spread, hinted = hits / runs
        out.append(
            WhenTold(
                share,
                len(years),
                int(new.sum()),
                _rate(new, int(plants.vines.sum())) * int((plants.vines & (first < 0)).sum()),
                tuple(more),
                tuple(spread.tolist()),
                tuple(hinted.tolist()),
                _after(more, spread),
                runs,
            )
        )
    return tuple(out)


def _rate(new: Ints, vines: int) -> float:
    """New cases of the last seasons over the vines that were not one before."""
    waiting = vines - np.concatenate([[0], np.cumsum(new)[:-1]])
    last = slice(max(1, new.size - LAST_SEASONS), None)
    return float(new[last].sum() / max(waiting[last].sum(), 1))


def _after(more: Sequence[int], power: NDArray[np.float64]) -> float | None:
    """More seasons until the power is enough; power never falls with more seasons."""
    rising = np.maximum.accumulate(power)
    if rising[-1] < POWER:
        return None
    at = int(np.argmax(rising >= POWER))
    if not at:
        return float(more[0])
    low, high = rising[at - 1], rising[at]
    return float(more[at - 1] + (more[at] - more[at - 1]) * (POWER - low) / (high - low))


def _one_record(
    history: BlockHistory,
    plants: PlantRecords,
    new: Ints,
    share: float,
    more: Sequence[int],
    shuffles: int,
    chance: np.random.Generator,
) -> NDArray[np.float64]:
    """Simulate one record to its end, and ask after each number of seasons: told, and told or hinted."""
    lags = {lag: history.grid.pairs("row", lag) for lag in LAGS}
    seasons = new.size + more[-1]
    first = _simulated(plants, new, share, seasons, lags[1], chance)
    out = np.zeros((2, len(more)))
    for k, added in enumerate(more):
        upto = new.size + added
        found = spread_test(
            np.where(first < upto, first, -1),
            upto,
            vines=plants.vines,
            direction="along",
            lags=lags,
            shuffles=shuffles,
            rng=chance,
        )
        out[:, k] = (
            told_power(found.spread_p, found.either_p)
            if not found.reason and upto >= ENOUGH_SEASONS
            else (False, False)
        )
    return out


def told_power(spread_p: float, either_p: float) -> tuple[bool, bool]:
    """Tell whether two p-values along the row are called spread, and at least spread or short zones."""
    level = LEVELS["along"]
    spread = max(spread_p, either_p) <= level.spread
    return spread, spread or either_p <= level.either


def _simulated(
    plants: PlantRecords, new: Ints, share: float, seasons: int, beside: Ints, chance: np.random.Generator
) -> Ints:
    """Return the season of each vine's first case."""
    flat = np.full(plants.first.size, -1, dtype=np.int64)
    flat[(plants.first.ravel() == 0) & plants.vines.ravel()] = 0
    free = plants.vines.ravel() & (flat < 0)
    rate = _rate(new, int(plants.vines.sum()))
    both = np.concatenate([beside, beside[:, ::-1]])
    for season in range(1, seasons):
        many = int(new[season]) if season < new.size else int(chance.poisson(rate * free.sum()))
        many = min(many, int(free.sum()))
        near = np.unique(both[(flat[both[:, 0]] >= 0) & free[both[:, 1]], 1])
        follows = min(int(chance.binomial(many, share)), near.size)
        _fall(flat, free, chance.choice(near, follows, replace=False), season)
        rest = np.flatnonzero(free)
        _fall(flat, free, chance.choice(rest, min(many - follows, rest.size), replace=False), season)
    return flat.reshape(plants.first.shape)


def _fall(flat: Ints, free: Bools, cells: Ints, season: int) -> None:
    flat[cells] = season
    free[cells] = False
