"""Cases over vines looked at by observer: two people with two thresholds can draw a pattern of their own."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.special import chdtrc

from trunkwatch.block.opening import BlockSeason
from trunkwatch.pattern.by_group import FEWEST_IN_GROUP, meters_of
from trunkwatch.pattern.who_looked import Observers, who_looked
from trunkwatch.stats.shares import Incidence, incidence
from trunkwatch.stats.shares_by_group import group_shares

__all__ = ["ObserverTable", "observer_table"]

LEVEL = 0.05


@dataclass(frozen=True, slots=True)
class ObserverTable:
    """Each observer's cases and vines, and whether the groups of vines they looked at differ.

    Attributes
    ----------
    shares : tuple of (str, Incidence)
        Name (empty where none was written), and cases over vines that count of those this observer looked at.
    pvalue : float
        Chi-square test of equal incidence over the sets of observers; nan where there is one set only.
    by_people : float
        The same with straight slopes over the block taken off and pieces of ground as what is counted: where this is small
        too, it is the people rather than the ground. nan where it cannot be given.
    strata : (rows, stations) int array or None
        The sets of observers, where they split the block and differ: labels then move only inside them.
    split : (rows, stations) int array or None
        The sets of observers wherever they split the block, whether they differ or not: a gradient is asked for inside them.
    both, disagree : int
        Vines that two observers looked at in one look, and those on which they differ.
    """

    shares: tuple[tuple[str, Incidence], ...]
    pvalue: float
    both: int
    disagree: int
    by_people: float = math.nan
    strata: NDArray[np.int64] | None = field(repr=False, compare=False, default=None)
    split: NDArray[np.int64] | None = field(repr=False, compare=False, default=None)


def observer_table(
    season: BlockSeason, cases: NDArray[np.bool_] | None = None, vines: NDArray[np.bool_] | None = None
) -> ObserverTable:
    """Count cases by observer in one season.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season.
    cases, vines : (rows, stations) bool array, optional
        Those of another history, such as the one without winter records; the season's own where left out.
    """
    found = who_looked(season.reading, season.history.definition, season.season)
    vines = season.vines if vines is None else vines
    cases = (season.cases if cases is None else cases) & vines
    shares = tuple(
        (name, incidence(int((cases & seen).sum()), int((vines & seen).sum())))
        for name, seen in sorted(found.seen.items())
    )
    pvalue = _differ(cases, vines, found)
    sets = np.where(vines, found.group, -1)
    many = np.bincount(sets[sets >= 0], minlength=1)
    split = sets if (many >= FEWEST_IN_GROUP).sum() > 1 else None
    people = math.nan
    if split is not None:
        people = group_shares(cases, vines, sets, covariates=meters_of(season.history.grid)).pvalue
    return ObserverTable(shares, pvalue, found.both, found.disagree, people, sets if pvalue <= LEVEL else None, split)


def _differ(cases: NDArray[np.bool_], vines: NDArray[np.bool_], found: Observers) -> float:
    sizes = np.array([int((vines & (found.group == number)).sum()) for number in range(len(found.groups))])
    held = np.array([int((cases & (found.group == number)).sum()) for number in range(len(found.groups))])
    held, sizes = held[sizes > 0], sizes[sizes > 0]
    if len(sizes) < 2 or held.sum() in (0, sizes.sum()):
        return math.nan
    share = held.sum() / sizes.sum()
    chi = float((((held - sizes * share) ** 2) / (sizes * share * (1 - share))).sum())
    return float(chdtrc(len(sizes) - 1, chi))
