"""Does a season's map look like chance, and if not, how: the tests of one block put together.

One primary test is declared beforehand: rook joins of this season's showing vines. Along the row, across and new near
old are secondary and corrected for their number (Holm); so are the three gradients of place among themselves, the
seasons of the one-season step, and the earlier seasons of the series, each a question of its own.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockHistory, Rate, rate
from trunkwatch.pattern.all_seasons import PatternSeries, pattern_series, step_of
from trunkwatch.pattern.by_group import Groups, groups_of
from trunkwatch.pattern.by_observer import ObserverTable, observer_table
from trunkwatch.pattern.direction import AlongOrAcross, along_or_across
from trunkwatch.pattern.findings import (
    BUNCHED_LEVEL,
    FAMILY_LEVEL,
    GRADIENT_LEVEL,
    STEP_LEVEL,
    Direction,
    MapFinding,
    VinesTested,
    Word,
    has,
)
from trunkwatch.pattern.gradients import BlockGradient, block_gradients
from trunkwatch.pattern.hot_spots import HotSpots, hot_spots
from trunkwatch.pattern.near_old import NearOldChecks, NearOldPattern, near_old_checks, near_old_pattern
from trunkwatch.pattern.spread import SpreadVerdict, spread_verdict
from trunkwatch.pattern.words import verdict_words
from trunkwatch.stats.chance import holm
from trunkwatch.stats.focus_sizes import Foci, foci
from trunkwatch.stats.join_counts import JoinCount, join_count
from trunkwatch.stats.nearest import NearestNeighbour, nearest_neighbour
from trunkwatch.stats.step import Step

__all__ = ["NearOldPattern", "Pattern", "direction_of", "map_pattern", "pattern_of"]

LEVEL = 0.05
#: With fewer cases nothing is said (common practice, no source).
FEWEST_CASES = 5


@dataclass(frozen=True, slots=True)
class Pattern:
    """The tests of one map and what they say together.

    Attributes
    ----------
    findings : tuple of MapFinding
        The verdict; several may hold, the first is on how the cases lie together.
    primary : JoinCount
        Rook joins.
    tested : VinesTested
        The vines without symptoms where more than half are cases and the rarer class carries the test.
    no_count : Rate or None
        The rate whose reason says why the map does not count; None where it counts.
    row, across : JoinCount
        Along the row and across rows.
    ways : AlongOrAcross
        Pairs along the row beside pairs across the rows, as many meters apart.
    holm : dict
        Corrected p-values of the secondary tests.
    near_old : NearOldPattern or None
        New against earlier cases; None for a single map.
    checks : NearOldChecks or None
        The same asked in stricter ways; None for a single map.
    gradients : tuple of BlockGradient
        Edge, along and across.
    spread : SpreadVerdict or None
        Evidence for or against spread; without findings of suspected winter injury, which make
        neighbours fall ill in one season. None for a single map.
    series : PatternSeries or None
        Every counted season; None for a single map.
    step : (Step, int) or None
        The season whose new cases stand out most, and its year; None for a single map.
    groups : Groups or None
        What is on record of the vines: the tests of the map compare vines of one group. None for a single map.
    places : HotSpots or None
        Where cases crowd; None where the map is not clustered.
    observers : ObserverTable or None
        Cases by observer; where they split the block and differ the tests of the map are stratified
        by who looked. None for a single map.
    """

    block: str
    title: str
    n_cases: int
    n_vines: int
    tested: VinesTested
    primary: JoinCount
    row: JoinCount
    across: JoinCount
    queen: JoinCount
    ways: AlongOrAcross
    nearest: NearestNeighbour | None
    foci: Foci
    near_old: NearOldPattern | None
    holm: dict[str, float]
    findings: tuple[MapFinding, ...]
    no_count: Rate | None
    seed: int
    observers: ObserverTable | None = None
    gradients: tuple[BlockGradient, ...] = ()
    spread: SpreadVerdict | None = None
    series: PatternSeries | None = None
    step: tuple[Step, int] | None = None
    places: HotSpots | None = None
    checks: NearOldChecks | None = None
    groups: Groups | None = None

    def __str__(self) -> str:
        """The verdict in one line."""
        verdict = f"no test: {self.no_count.reason}" if self.no_count is not None else ", ".join(self.words)
        return f"block {self.block}, {self.title}: {verdict} ({self.n_cases} of {self.n_vines} vines)"

    @property
    def words(self) -> tuple[str, ...]:
        """The verdict in the project's fixed words."""
        return verdict_words(self.findings)


def pattern_of(
    season: BlockSeason, *, history: BlockHistory | None = None, permutations: int = 9999, seed: int = 1
) -> Pattern:
    """Test the pattern of one season.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    history : BlockHistory, optional
        Another history of the same block, for the repeat without winter records.
    permutations : int
        Labellings drawn where no exact law serves.
    seed : int
        Of the generator; printed with the result.
    """
    used = history or season.history
    found = rate(used, "annual", season.season)
    title = f"season {season.season}, definition {used.definition}"
    groups = groups_of(used, season.season, found.numerator, found.denominator) if found.why_not is None else None
    plain = map_pattern(
        used.block,
        title,
        found.numerator,
        found.denominator,
        used.grid,
        near_old=near_old_pattern(used, season.season, strata=groups.strata if groups else None),
        observers=observer_table(season, found.numerator, found.denominator),
        groups=groups,
        permutations=permutations,
        seed=seed,
        no_count=found if found.why_not is not None else None,
    )
    if found.why_not is not None:
        return plain
    return _over_the_years(plain, season, used, min(permutations, 499), seed)


def _over_the_years(plain: Pattern, season: BlockSeason, used: BlockHistory, permutations: int, seed: int) -> Pattern:
    """Add what only a record of several seasons can say."""
    now = season.season
    strata = plain.groups.strata if plain.groups else None
    series = pattern_series(used, now, strata=strata, permutations=permutations, seed=seed)
    step = step_of(used, now)
    spread = spread_verdict(season.without_winter or used, now, permutations=min(permutations, 999), seed=seed)
    findings = plain.findings
    if step[0].pvalue <= STEP_LEVEL:
        findings = (*findings, MapFinding(Word.STEP, year=step[1]))
    return replace(plain, findings=findings, spread=spread, series=series, step=step, checks=near_old_checks(used, now))


def map_pattern(
    block: str,
    title: str,
    cases: NDArray[np.bool_],
    vines: NDArray[np.bool_],
    grid: RowGrid,
    *,
    near_old: NearOldPattern | None = None,
    observers: ObserverTable | None = None,
    groups: Groups | None = None,
    permutations: int = 9999,
    seed: int = 1,
    no_count: Rate | None = None,
) -> Pattern:
    """Test the pattern of any map on a grid.

    Parameters
    ----------
    block, title : str
        What it is, for the sentences.
    cases, vines : (rows, stations) bool array
        Cases and the vines that count.
    grid : RowGrid
        Rows and metres.
    near_old : NearOldPattern, optional
        New against earlier cases.
    observers : ObserverTable, optional
        Cases by observer; its strata, if any, hold for the joins.
    groups : Groups, optional
        What is on record of the vines; its strata, if any, hold for joins and gradients.
    permutations, seed : int
        As in `pattern_of`.
    no_count : Rate, optional
        The rate that has no value, where the map does not count.
    """
    n_cases, n_vines = int(cases.sum()), int(vines.sum())
    swap = n_vines > 0 and n_cases > n_vines / 2 and n_cases < n_vines
    rarer = vines & ~cases if swap else cases
    streams = iter(np.random.SeedSequence(seed).spawn(6))
    strata = _together(observers.strata if observers is not None else None, groups.strata if groups else None)

    def test(rule: str, order: int = 1) -> JoinCount:
        joins = grid.joins(rule) if order == 1 else rule  # type: ignore[arg-type]
        return join_count(
            rarer,
            vines,
            joins=joins,  # type: ignore[arg-type]
            order=order,
            permutations=permutations,
            strata=strata,
            rng=np.random.Generator(np.random.SFC64(next(streams))),
        )

    primary, row, across, queen = test("rook"), test("row"), test("across"), test("queen")
    nearest = None
    if not grid.assumed_spacing:
        nearest = nearest_neighbour(
            rarer,
            vines,
            row_spacing=grid.row_spacing_m,
            vine_spacing=grid.vine_spacing_m,
            permutations=min(permutations, 199),
            rng=np.random.Generator(np.random.SFC64(next(streams))),
        )
    patches = foci(
        cases,
        vines,
        permutations=min(permutations, 499),
        rng=np.random.Generator(np.random.SFC64(next(streams))),
    )
    ways = along_or_across(rarer, vines, grid)
    secondary = {"row": row.pvalue, "across": across.pvalue}
    if near_old is not None:
        secondary["near old"] = near_old.pvalue
    corrected = holm(secondary)
    slopes: tuple[BlockGradient, ...] = ()
    if not (primary.reason or n_cases < FEWEST_CASES):
        inside = _together(observers.split if observers is not None else None, groups.strata if groups else None)
        slopes = block_gradients(rarer, vines, grid, strata=inside)
    findings = _findings(primary, corrected, ways, near_old, slopes)
    where = None
    if not swap and has(findings[:1], Word.CLUSTERED):
        where = hot_spots(cases, vines, grid, permutations=min(permutations, 299), seed=seed)
    return Pattern(
        block,
        title,
        n_cases,
        n_vines,
        VinesTested.FREE if swap else VinesTested.CASES,
        primary,
        row,
        across,
        queen,
        ways,
        nearest,
        patches,
        near_old,
        corrected,
        findings,
        no_count,
        seed,
        observers,
        slopes,
        places=where,
        groups=groups,
    )


def _together(*strata: NDArray[np.int64] | None) -> NDArray[np.int64] | None:
    """Number the combinations of groups; None where there are none."""
    out: NDArray[np.int64] | None = None
    for one in strata:
        if one is not None:
            out = one if out is None else (out + 1) * (int(one.max(initial=0)) + 2) + one + 1
    return out


def _findings(
    primary: JoinCount,
    corrected: dict[str, float],
    ways: AlongOrAcross,
    near_old: NearOldPattern | None,
    slopes: Sequence[BlockGradient] = (),
) -> tuple[MapFinding, ...]:
    found = []
    few = primary.n_cases < FEWEST_CASES
    if primary.reason or few:
        found.append(MapFinding(Word.TOO_FEW))
    elif primary.pvalue <= BUNCHED_LEVEL:
        along, over = corrected["row"] <= LEVEL, corrected["across"] <= LEVEL
        found.append(
            MapFinding(
                Word.CLUSTERED, direction_of(along=along, across=over, stronger_along=ways.more_along(across=over))
            )
        )
    elif corrected["row"] <= FAMILY_LEVEL:
        found.append(MapFinding(Word.PAIRS))
    elif corrected["across"] <= FAMILY_LEVEL:
        found.append(MapFinding(Word.PAIRS_ACROSS))
    elif primary.expected_case_case < 1:
        found.append(MapFinding(Word.TOO_FEW))
    else:
        found.append(MapFinding(Word.CHANCE))
    if any(one.corrected <= GRADIENT_LEVEL for one in slopes):
        found.append(MapFinding(Word.GRADIENT))
    if near_old is not None and corrected.get("near old", 1.0) <= FAMILY_LEVEL:
        found.append(MapFinding(Word.NEAR_OLD))
    return tuple(found)


def direction_of(*, along: bool, across: bool, stronger_along: bool) -> Direction:
    """Return the direction; along the row only where it is more than the same metres across would give."""
    if along and across:
        return Direction.MORE_ALONG if stronger_along else Direction.BOTH
    if along:
        return Direction.ALONG if stronger_along else Direction.UNCLEAR
    return Direction.ACROSS if across else Direction.UNCLEAR
