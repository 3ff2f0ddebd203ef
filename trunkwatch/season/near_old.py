"""New cases against earlier ones, this season and over the whole record."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, rate
from trunkwatch.stats.chance import exact_pvalue
from trunkwatch.stats.first_case_timing import FirstCaseTiming, first_case_timing
from trunkwatch.stats.new_near_old import NewNearOld, new_near_old

__all__ = ["NearOldPattern", "near_old_pattern", "timing_pattern"]


@dataclass(frozen=True, slots=True)
class NearOldPattern:
    """New against earlier cases.

    Attributes
    ----------
    season : NewNearOld
        This season by itself.
    statistic, expected, z, pvalue : float
        Joins of new with earlier cases added over the counted seasons so far; given each season's
        past the seasons are independent under chance, so their exact laws convolve.
    seasons : int
        Seasons that could be tested.
    n_new : int
        New cases in them.
    table : ((int, int), (int, int))
        Vine-seasons at risk beside an earlier case (new, not) and away from one (new, not).
    odds_ratio : float
        Of the table; nan where it cannot be given.
    """

    season: NewNearOld
    statistic: int
    expected: float
    z: float
    pvalue: float
    seasons: int
    n_new: int
    table: tuple[tuple[int, int], tuple[int, int]]
    odds_ratio: float
    reason: str


def near_old_pattern(history: BlockHistory, season: int) -> NearOldPattern:
    """Test new against earlier cases up to a season, with all eight neighbours."""
    tests = [_one(history, year) for year in history.counted_seasons if year <= season]
    if not tests or season not in history.counted_seasons:
        empty = np.zeros(history.grid.shape, dtype=bool)
        tests.append(new_near_old(empty, empty, empty))
    usable = [found for found in tests if not found.reason and found.null_distribution.size]
    table = np.sum([found.table for found in tests], axis=0)
    cells = ((int(table[0, 0]), int(table[0, 1])), (int(table[1, 0]), int(table[1, 1])))
    odds = table[0, 0] * table[1, 1] / (table[0, 1] * table[1, 0]) if table[0, 1] * table[1, 0] else math.nan
    if not usable:
        return NearOldPattern(tests[-1], 0, 0.0, math.nan, math.nan, 0, 0, cells, float(odds), tests[-1].reason)
    law = np.ones(1)
    for found in usable:
        law = np.convolve(law, found.null_distribution)
    total = sum(found.statistic for found in usable)
    expected = sum(found.expected for found in usable)
    variance = sum(found.variance for found in usable)
    return NearOldPattern(
        tests[-1], total, expected, (total - expected) / math.sqrt(variance),
        max(exact_pvalue(total, np.arange(law.size), law), 1e-300),
        len(usable), sum(found.n_new for found in usable), cells, float(odds), "",
    )  # fmt: skip


def timing_pattern(history: BlockHistory, season: int, *, permutations: int, seed: int) -> FirstCaseTiming:
    """Test whether neighbouring cases showed first close in time, over the counted seasons so far.

    Seasons are shuffled among cases of rows that were looked at in the same seasons.
    """
    numbers = [history.index_of(year) for year in history.counted_seasons if year <= season]
    seen = history.case[numbers] & history.looked_at[numbers]
    ever = seen.any(axis=0) if numbers else np.zeros(history.grid.shape, dtype=bool)
    first = np.where(ever, seen.argmax(axis=0) if numbers else 0, 0)
    # Which seasons a place was looked at decides when it could show first: like is shuffled with like.
    looked = history.looked_at[numbers].reshape(len(numbers), -1).T if numbers else np.zeros((ever.size, 1))
    strata = np.unique(looked, axis=0, return_inverse=True)[1].reshape(ever.shape)
    return first_case_timing(
        first, ever, joins=history.grid.joins("queen"), strata=strata, permutations=permutations,
        rng=np.random.Generator(np.random.SFC64([seed, 7])),
    )  # fmt: skip


def _one(history: BlockHistory, season: int) -> NewNearOld:
    found = rate(history, "new", season)
    old = _earlier_cases(history, history.index_of(season)) & ~found.denominator
    return new_near_old(old, found.numerator, found.denominator, joins=history.grid.joins("queen"))


def _earlier_cases(history: BlockHistory, number: int) -> NDArray[np.bool_]:
    """Positions in which some plant was a case in an earlier season."""
    return np.asarray(history.had_case[:number].any(axis=0))
