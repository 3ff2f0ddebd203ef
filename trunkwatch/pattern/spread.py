"""Spread from vine to vine, short zones, or neither: what this block's record of years can tell, and what it cannot."""

import math
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockHistory, rate
from trunkwatch.pattern.on_record import on_record
from trunkwatch.stats.false_positive import FalsePositive, false_positive_share
from trunkwatch.stats.hazard import HazardTrend, hazard_trend
from trunkwatch.stats.joins import Rule
from trunkwatch.vineyard.codes import CLEARING
from trunkwatch.yearly.plant_records import PlantRecords, plant_records
from trunkwatch.yearly.spread import LAGS, Direction, SpreadTest, grid_lags, spread_test

__all__ = ["ENOUGH_SEASONS", "Levels", "Says", "SpreadVerdict", "follows_neighbors", "spread_verdict"]

#: Surveys below which nothing is said, and below which drying up is not asked for (our own conventions, after simulation).
ENOUGH_SEASONS, ENOUGH_TO_DRY_UP = 4, 8
#: Seasons that must be left once those are taken off in which vines that were sick before the record first show.
LEFT_TO_DRY_UP = 5
#: Share of the vines sick before the record that may still be unnoted when new cases are taken for new.
STILL_UNNOTED = 0.05


@dataclass(frozen=True, slots=True)
class Levels:
    """What p must not exceed, by direction (after the worlds of tests/calibration/spread_on_worlds.py).

    Attributes
    ----------
    spread : float
        Of both statistics, for "spread".
    either : float
        Of one vine away against two, for "spread, or short zones".
    """

    spread: float
    either: float


#: Rows beside each other are alike in more ways than vines along one row: the test across them is held to more.
LEVELS: dict[Direction, Levels] = {"along": Levels(0.03, 0.02), "across": Levels(0.005, 0.005)}
#: Above this in both directions nothing in the order of first symptoms hints at spread.
NO_HINT = 0.2


class Says(StrEnum):
    """What the record says of spread; the value is the code in JSON."""

    FOR = "for"
    EITHER = "spread or short zones"
    AGAINST = "against"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True)
class SpreadVerdict:
    """Evidence for or against spread inside the block.

    Attributes
    ----------
    says : Says
    along, across : SpreadTest
        Do new cases follow the cases beside them, in the row and in the rows next to it.
    strata : tuple of str
        What is on record of the vines and was held apart: cultivar, rootstock, planting.
    new_cases : HazardTrend
        Do new cases hold, or dry up, in the seasons after `skipped`.
    skipped : int
        First seasons of the record in which vines that had been sick before it were still being noted for the first time,
        by how often this block's own cases show again.
    false_positive : FalsePositive
        How often new cases would be called near old ones if these vines had been infected from the start.
    seasons : int
        Surveyed seasons.
    """

    says: Says
    along: SpreadTest
    across: SpreadTest
    strata: tuple[str, ...]
    new_cases: HazardTrend
    skipped: int
    false_positive: FalsePositive
    seasons: int

    @property
    def telling(self) -> SpreadTest | None:
        """The test that the verdict rests on; None where it rests on none."""
        if self.says not in (Says.FOR, Says.EITHER):
            return None
        met = _spreads if self.says is Says.FOR else _either
        return self.along if met(self.along, LEVELS["along"]) else self.across


def spread_verdict(history: BlockHistory, season: int, *, permutations: int = 999, seed: int = 1) -> SpreadVerdict:
    """Weigh the evidence up to a season.

    Parameters
    ----------
    history : BlockHistory
        The block over its years; without suspected winter injury, which makes neighbors fall ill together.
    season : int
        Last season taken.
    permutations, seed : int
        Shuffles, and the seed of their generator.
    """
    years = [year for year in history.compared_seasons if year <= season]
    plants = _plants(history, years)
    kinds = on_record(history)
    strata = kinds.together(_last_number(history, years, plants)) if kinds.labels and years else None
    along, across = (
        follows_neighbors(
            plants,
            len(years),
            history.grid,
            direction,
            strata=strata,
            shuffles=permutations,
            rng=np.random.Generator(np.random.SFC64([seed, 70 + k])),
        )
        for k, direction in enumerate(LEVELS)
    )
    skipped = _backlog(history, years)
    trend = _new_cases(history, years[skipped:])
    static = _static(history, years, seed)
    says = _says(along, across, trend, len(years))
    return SpreadVerdict(says, along, across, tuple(kinds.labels), trend, skipped, static, len(years))


def follows_neighbors(
    plants: PlantRecords,
    seasons: int,
    grid: RowGrid,
    direction: Direction,
    *,
    strata: NDArray[np.int64] | None = None,
    shuffles: int = 999,
    rng: np.random.Generator | int | None = None,
) -> SpreadTest:
    """Test one direction on the ground: where rows drift against each other, the vines across are the nearest ones.

    Parameters
    ----------
    plants : PlantRecords
        One plant for each position.
    seasons : int
        Surveyed seasons.
    grid : RowGrid
        The block.
    direction : {"along", "across"}
        In the row, or in the rows beside it.
    strata : (rows, stations) int array, optional
        Groups of vines that may have years of their own.
    shuffles : int
        How many.
    rng : Generator, int or None
        Source of chance.
    """
    rule: Rule = "row" if direction == "along" else "across"
    lags = (
        {lag: grid.pairs(rule, lag) for lag in LAGS}
        if not isinstance(grid.joins(rule), str)
        else grid_lags(grid.shape, direction)
    )
    return spread_test(
        plants.first,
        max(seasons, 1),
        vines=plants.vines,
        start=plants.start,
        end=plants.end,
        strata=strata,
        direction=direction,
        lags=lags,
        shuffles=shuffles,
        rng=rng,
    )


def _plants(history: BlockHistory, years: list[int]) -> PlantRecords:
    """Follow plants over the surveyed seasons; one whose case was all cut out is no source from then on."""
    numbers = [history.index_of(year) for year in years]
    if not numbers:
        none = np.zeros((1, *history.grid.shape), dtype=bool)
        return plant_records(none, none, none)
    plant = history.plant[numbers].astype(np.int64) + 1
    looked = history.looked_at[numbers] & (plant > 0)
    cleared = np.zeros_like(looked)
    for work in history.reading.work:
        if work.done and work.kind in CLEARING and work.season in history.seasons:
            cut = history.seasons.index(work.season)
            earlier = bool(history.relapse_risk[cut][work.cell])  # cut before the look of its own season
            before = [k for k, number in enumerate(numbers) if (number < cut if earlier else number <= cut)]
            if before:
                cleared[(before[-1], *work.cell)] = True
    return plant_records(history.case[numbers] & looked, looked, plant, cleared=cleared)


def _last_number(history: BlockHistory, years: list[int], plants: PlantRecords) -> NDArray[np.int64]:
    """Number of the season in which each plant was last looked at."""
    numbers = np.array([history.index_of(year) for year in years])
    return np.asarray(numbers[np.maximum(plants.end, 0)])


def _backlog(history: BlockHistory, years: list[int]) -> int:
    """Count first seasons in which vines sick before the record are still noted for the first time.

    A vine that shows again in a share q of the years after it showed is first noted within k surveys with the chance
    1 - (1 - q) ** k: what is left unnoted after k surveys must be little.
    """
    shown = again = 0
    numbers = [history.index_of(year) for year in years]
    for one, after in pairwise(numbers):
        both = history.case[one] & history.looked_at[after] & (history.plant[one] == history.plant[after])
        both &= ~history.relapse_risk[after]
        shown += int(both.sum())
        again += int((both & history.case[after]).sum())
    q = (again + 0.5) / (shown + 1)
    return min(len(years), max(1, math.ceil(math.log(STILL_UNNOTED) / math.log1p(-min(q, 0.95)))))


def _new_cases(history: BlockHistory, years: list[int]) -> HazardTrend:
    usable = [one for year in years if not (one := rate(history, "new", year)).reason]
    return hazard_trend([one.cases for one in usable], [one.vines for one in usable], [one.season for one in usable])


def _static(history: BlockHistory, years: list[int], seed: int) -> FalsePositive:
    numbers = [history.index_of(year) for year in years]
    looked = history.looked_at[numbers]
    seen = history.case[numbers] & looked
    ever = np.asarray(seen.any(axis=0)) if numbers else np.zeros(history.grid.shape, dtype=bool)
    first = seen.argmax(axis=0) if numbers else np.zeros(history.grid.shape, dtype=np.int64)
    return false_positive_share(
        np.where(ever, first, -1),
        ever,
        looked,
        joins=history.grid.joins("queen"),
        runs=200,
        rng=np.random.Generator(np.random.SFC64([seed, 79])),
    )


def _spreads(test: SpreadTest, level: Levels) -> bool:
    return not test.reason and max(test.spread_p, test.either_p) <= level.spread


def _either(test: SpreadTest, level: Levels) -> bool:
    return not test.reason and test.either_p <= level.either


def _says(along: SpreadTest, across: SpreadTest, trend: HazardTrend, seasons: int) -> Says:
    if seasons < ENOUGH_SEASONS:
        return Says.CANNOT_TELL
    tests = [(along, LEVELS["along"]), (across, LEVELS["across"])]
    if any(_spreads(test, level) for test, level in tests):
        return Says.FOR
    if any(_either(test, level) for test, level in tests):
        return Says.EITHER
    unlike = not along.reason and min(along.spread_p, along.either_p) > NO_HINT
    unlike &= bool(across.reason) or min(across.spread_p, across.either_p) > NO_HINT
    drying = not trend.reason and trend.seasons >= LEFT_TO_DRY_UP and trend.high < 1
    return Says.AGAINST if seasons >= ENOUGH_TO_DRY_UP and unlike and drying else Says.CANNOT_TELL
