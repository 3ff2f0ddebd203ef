"""Before a survey: how many vines, in which rows."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.history import MATURE_LIVING, Condition, rate
from trunkwatch.stats.row_sample import RowsAlike, rows_alike, rows_for_doubling, rows_for_margin
from trunkwatch.stats.sample_size import rows_to_walk, vines_to_detect, zero_limit

__all__ = ["SHARE_TO_FIND", "RowsToWalk", "SurveyPlan", "survey_plan"]

#: Where no case is on file: the share of vines showing that a survey should not miss (our own convention).
SHARE_TO_FIND = 0.01


@dataclass(frozen=True, slots=True)
class RowsToWalk:
    """Whole rows, by name in the order of the block, and the living vines in them; `every` rows apart."""

    rows: tuple[str, ...]
    vines: int
    every: int


@dataclass(frozen=True, slots=True)
class SurveyPlan:
    """What to walk.

    Attributes
    ----------
    block : str
    last : int
        Season of the last survey that counts.
    margin : float
        Wanted, as a share.
    alike : RowsAlike or None
        The share showing in the last survey and how alike the vines of a row were; None where no case is on file or no vine
        is without.
    within_margin, doubling : RowsToWalk or None
        For the share within the margin, and to see it double; None where no number of rows does it.
    to_find : RowsToWalk or None
        Where no case is on file: rows in which one would be found if `SHARE_TO_FIND` of the vines show.
    at_most : float
        Where no case is on file: what the last survey leaves open.
    rows, vines : int
        Of the whole block: rows with living vines, and those vines.
    """

    block: str
    last: int
    margin: float
    alike: RowsAlike | None
    within_margin: RowsToWalk | None
    doubling: RowsToWalk | None
    to_find: RowsToWalk | None
    at_most: float
    rows: int
    vines: int


def survey_plan(season: BlockSeason, *, margin: float = 0.02, seed: int = 1) -> SurveyPlan:
    """Plan the rows of the next survey from the last one.

    Parameters
    ----------
    season : BlockSeason
        The block.
    margin : float
        Half the width of the 95 % limits of the share showing.
    seed : int
        Of the random start of the rows.

    Raises
    ------
    RecordError
        If the season does not count, or no vine was looked at in it, so that nothing is known of the rows.
    """
    history = season.history
    if season.season not in history.counted_seasons:
        look = history.looks[season.index]
        raise RecordError(
            f"block {history.block!r}, season {season.season}: {look.reason or 'no survey'}; a survey that counts is needed to plan "
            "the next one, --season takes another"
        )
    found = rate(history, "annual", season.season)
    if not found.vines:
        raise RecordError(
            f"block {history.block!r}, season {season.season}: no mature living vine was scouted; --season takes another"
        )
    cases, looked = (_by_row(history.grid, mask) for mask in (found.numerator, found.denominator))
    standing = _by_row(history.grid, np.isin(history.condition[season.index], (*MATURE_LIVING, Condition.NOT_SEEN)))
    here = np.flatnonzero(standing)
    vines = int(standing.sum())

    def walk(many: int | None) -> RowsToWalk | None:
        if many is None:
            return None
        plan = rows_to_walk(here.size, min(many, here.size), rng=seed)
        chosen = here[list(plan.rows)]
        return RowsToWalk(tuple(history.grid.labels[k] for k in chosen), int(standing[chosen].sum()), plan.every)

    alike = to_find = None
    at_most = 0.0
    if 0 < found.cases < found.vines:
        likeness = rows_alike(cases, looked)
        alike = RowsAlike(likeness.share, likeness.rho, vines / here.size, likeness.design_effect, int(here.size))
    else:
        to_find = _to_find(vines, int(here.size)) if not found.cases else None
        at_most = 1.0 if found.cases else zero_limit(found.vines)
    before = min(int((looked > 0).sum()), int(here.size))
    return SurveyPlan(
        block=history.block,
        last=season.season,
        margin=margin,
        rows=int(here.size),
        vines=vines,
        alike=alike,
        at_most=at_most,
        within_margin=walk(rows_for_margin(alike, margin) if alike else None),
        doubling=walk(rows_for_doubling(alike, before) if alike else None),
        to_find=walk(to_find),
    )


def _by_row(grid: RowGrid, vines: NDArray[np.bool_]) -> NDArray[np.int64]:
    """Count the vines of a mask in each row."""
    return np.array([int(vines[row.line, row.stations].sum()) for row in grid.named])


def _to_find(vines: int, rows: int) -> int | None:
    """Rows in which a case would be found; None where not even the whole block is enough."""
    needed = vines_to_detect(SHARE_TO_FIND, block=vines) if vines else None
    return None if needed is None else math.ceil(needed * rows / vines)
