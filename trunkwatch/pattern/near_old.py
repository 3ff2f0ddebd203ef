"""New cases against earlier ones, this season and over the whole record."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, rate, seen_before
from trunkwatch.stats.chance import exact_pvalue
from trunkwatch.stats.near_old import NewNearOld, new_near_old, shifted_near_old
from trunkwatch.stats.shift import Shifted

__all__ = ["NearOldChecks", "NearOldPattern", "near_old_checks", "near_old_pattern", "shifted_pattern"]


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


@dataclass(frozen=True, slots=True)
class NearOldChecks:
    """The same question asked in three stricter ways.

    Attributes
    ----------
    within_rows, long_free : NearOldPattern
        With rows kept, and for vines with three or more symptom-free looks before.
    shifted : Shifted
        By shifting the new cases as a whole.
    """

    within_rows: NearOldPattern
    long_free: NearOldPattern
    shifted: Shifted


def near_old_checks(history: BlockHistory, season: int) -> NearOldChecks:
    """Ask all three, up to a season."""
    return NearOldChecks(
        near_old_pattern(history, season, within_rows=True),
        near_old_pattern(history, season, looks_before=3),
        shifted_pattern(history, season),
    )


def near_old_pattern(
    history: BlockHistory,
    season: int,
    *,
    looks_before: int = 1,
    within_rows: bool = False,
    strata: NDArray[np.int64] | None = None,
) -> NearOldPattern:
    """Test new against earlier cases up to a season, with all eight neighbours.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    season : int
        Last season taken.
    looks_before : int
        Symptom-free counted looks that a vine at risk must have had before.
    within_rows : bool
        New cases may fall only in the rows that they fell in.
    strata : (rows, stations) int array, optional
        Groups of vines that may have shares of their own: new cases may fall only in the groups that they fell in.
    """
    kept = np.indices(history.grid.shape)[0] if within_rows else strata
    tests = [_one(history, year, looks_before, kept) for year in history.compared_seasons if year <= season]
    if not tests or season not in history.compared_seasons:
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
        tests[-1],
        total,
        expected,
        (total - expected) / math.sqrt(variance),
        max(exact_pvalue(total, np.arange(law.size), law), 1e-300),
        len(usable),
        sum(found.n_new for found in usable),
        cells,
        float(odds),
        "",
    )


def shifted_pattern(history: BlockHistory, season: int) -> Shifted:
    """Test new against earlier cases by shifting the new ones of all seasons together as a whole."""
    years = [year for year in history.compared_seasons if year <= season]
    found = [rate(history, "new", year) for year in years]
    olds = [_earlier_cases(history, history.index_of(y)) & ~f.denominator for y, f in zip(years, found, strict=True)]
    shape = (0, *history.grid.shape)
    stacks = [
        np.array(one, dtype=bool).reshape(-1, *history.grid.shape) if one else np.zeros(shape, dtype=bool)
        for one in (olds, [f.numerator for f in found], [f.denominator for f in found])
    ]
    if not len(stacks[0]):
        stacks = [np.zeros((1, *history.grid.shape), dtype=bool)] * 3
    return shifted_near_old(stacks[0], stacks[1], stacks[2], joins=history.grid.joins("queen"))


def _one(history: BlockHistory, season: int, looks_before: int, strata: NDArray[np.int64] | None) -> NewNearOld:
    found = rate(history, "new", season)
    enough = seen_before(history, history.index_of(season)) >= looks_before
    at_risk = found.denominator & enough
    old = _earlier_cases(history, history.index_of(season)) & ~found.denominator
    return new_near_old(old, found.numerator & at_risk, at_risk, joins=history.grid.joins("queen"), strata=strata)


def _earlier_cases(history: BlockHistory, number: int) -> NDArray[np.bool_]:
    """Positions in which some plant was a case in an earlier season."""
    return np.asarray(history.had_case[:number].any(axis=0))
