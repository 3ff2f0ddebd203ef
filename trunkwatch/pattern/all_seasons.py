"""The clustering of every counted season, side by side: one season is the test, the others are its history."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history import BlockHistory, Rate, rate
from trunkwatch.stats.chance import holm
from trunkwatch.stats.history_shuffle import AllSeasons, all_seasons
from trunkwatch.stats.join_counts import join_count
from trunkwatch.stats.step import Step, one_season_step

__all__ = ["PatternSeries", "SeasonPattern", "pattern_series", "step_of"]


@dataclass(frozen=True, slots=True)
class SeasonPattern:
    """One season: joins seen and by chance, p, and p corrected for the earlier seasons (nan for the last)."""

    season: int
    n_cases: int
    n_vines: int
    seen: int
    expected: float
    deviation: float
    pvalue: float
    corrected: float


@dataclass(frozen=True, slots=True)
class PatternSeries:
    """All counted seasons; `together` has the one p-value for the series."""

    seasons: tuple[SeasonPattern, ...]
    together: AllSeasons | None


def pattern_series(
    history: BlockHistory,
    season: int,
    *,
    strata: NDArray[np.int64] | None = None,
    permutations: int = 999,
    seed: int = 1,
) -> PatternSeries:
    """Test the rook joins of every counted season up to one.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    season : int
        The last season taken; its own test is the primary one and is not corrected.
    strata : (rows, stations) int array, optional
        Groups of vines that may have shares of their own: labels move only inside them.
    permutations, seed : int
        Relabelled maps, and the seed.
    """
    years = [year for year in history.compared_seasons if year <= season]
    rates = [rate(history, "annual", year) for year in years]
    joins = history.grid.joins("rook")
    tests = [
        join_count(
            one.numerator,
            one.denominator,
            joins=joins,
            permutations=permutations,
            strata=strata,
            rng=np.random.Generator(np.random.SFC64([seed, 90, one.season])),
        )
        for one in rates
    ]
    earlier = holm({str(year): test.pvalue for year, test in zip(years[:-1], tests[:-1], strict=True)})
    together = None
    if len(years) > 1:
        together = all_seasons(
            np.stack([one.numerator for one in rates]),
            np.stack([one.denominator for one in rates]),
            joins=joins,
            strata=strata,
            permutations=permutations,
            rng=np.random.Generator(np.random.SFC64([seed, 91])),
        )
    return PatternSeries(
        tuple(
            SeasonPattern(
                year,
                test.n_cases,
                test.n_vines,
                test.case_case,
                test.expected_case_case,
                math.sqrt(test.variance_case_case),
                test.pvalue,
                earlier.get(str(year), math.nan),
            )
            for year, test in zip(years, tests, strict=True)
        ),
        together,
    )


def step_of(history: BlockHistory, season: int) -> tuple[Step, int]:
    """Look for one season with far more new cases than the others; return it with its year (0 for none)."""
    rates: list[Rate] = [rate(history, "new", year) for year in history.compared_seasons if year <= season]
    usable = [one for one in rates if not one.reason]
    found = one_season_step(
        [one.cases for one in usable], [one.vines for one in usable], [one.season for one in usable]
    )
    return found, usable[found.season].season if found.season >= 0 else 0
