"""What happened to vines from one counted season to the next, as counts that chances can be learnt from."""

from dataclasses import dataclass, field, replace
from itertools import pairwise
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.forecast.cuts import TRUNK_WORK, all_cleared, cut_between
from trunkwatch.forecast.growth import Growth, growth_by_season
from trunkwatch.grid import RowGrid
from trunkwatch.history import MATURE_LIVING, BlockHistory, Condition, rate
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["Before", "SeasonStep", "before_season", "cases_around", "steps_of"]

Grid = NDArray[np.bool_]
_PULLED = (Condition.MISSING, Condition.NO_POSITION)


@dataclass(frozen=True, slots=True)
class Before:
    """What is known of the vines before a season.

    Attributes
    ----------
    never : (rows, stations) bool array
        Mature, living, looked at before, never a case and not renewed.
    damaged : (rows, stations) bool array
        Mature plants with lasting damage (dead arms and the like) that nothing has cleared: they show every season, written down again or not.
    since : (rows, stations) int array
        For the other plants that have been a case and were not renewed: counted seasons since they last showed, 1 to 4
        (4 stands for 4 or more); 0 elsewhere.
    renewed : (rows, stations) int array
        For renewed plants: counted seasons since the cut was first seen as done, 1 to 4; 0 elsewhere.
    unseen : (rows, stations) int array
        For damaged plants: counted seasons since a look last wrote the damage down, 1 to 4; 0 elsewhere.
    young : (rows, stations) bool array
        Young plants.
    near_row, near_across, near_ring : (rows, stations) int array
        Next positions along and across with a plant that stands as a case, dead or alive, and was not renewed; the same of
        all other positions within two rows and two positions. What was pulled is no neighbor any more.
    """

    never: Grid
    damaged: Grid
    since: NDArray[np.int64]
    renewed: NDArray[np.int64]
    unseen: NDArray[np.int64]
    young: Grid
    near_row: NDArray[np.int64]
    near_across: NDArray[np.int64]
    near_ring: NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class SeasonStep:
    """One counted season: what was known before it, and what came; every array is (rows, stations).

    Attributes
    ----------
    span : int
        Years since the counted season before: more than one where seasons were missed.
    damaged : bool array
        Vines with lasting damage after the season.
    looked, showing, seen : bool array
        Mature living vines looked at that stood there at the counted season before too; those that showed; of these,
        those that a look of the season saw, damage that is only carried on left out.
    new, at_risk : bool array
        First cases, and vines at risk of one; renewed vines are not among them.
    death_risk, died : bool array
        Vines seen alive in the counted season before and looked at now; those found dead.
    relapse : int array
        For looked-at vines whose case was all cut out before this season's last look, free of symptoms from then to this
        season: 1 in
        the season of the cut and the next counted one, 2 in the one after, up to 4; 0 elsewhere.
    relapsed : bool array
        Those of them with symptoms after the cut.
    cut : bool array
        Vines renewed since the season before, before they showed this season: what they would have done is not known.
        One that showed first and was cut then is none of them.
    renewal_risk, renewal_failed : bool array
        Vines whose trunk was cut before the look before this one, followed to now; those dead at either look.
    planted, planted_died : bool array
        Replants looked at for the first time; those found dead. A replant that died and was pulled before anybody looked
        leaves no trace here.
    worked : bool array
        Vines with clearing work done since the season before; they are in no death rate, whether they lived or not.
    growth : Growth
        What was written of how much is dead, at the looks since the season before.
    gone : bool
        Whether a death, a removal or a gap is on record by this season.
    """

    season: int
    span: int
    before: Before
    damaged: Grid
    looked: Grid
    showing: Grid
    seen: Grid
    new: Grid
    at_risk: Grid
    death_risk: Grid
    died: Grid
    relapse: NDArray[np.int64]
    relapsed: Grid
    cut: Grid
    renewal_risk: Grid
    renewal_failed: Grid
    planted: Grid
    planted_died: Grid
    worked: Grid
    growth: Growth = field(default_factory=Growth, compare=False)
    gone: bool = False


def before_season(history: BlockHistory, through: int) -> Before:
    """Return what is known from the seasons before the one with this number on the first axis.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    through : int
        Number of the season to come; the length of the history for the next one.

    Raises
    ------
    ValueError
        If no counted season lies before it.
    """
    counted = [k for k in range(through) if history.looks[k].compared]
    if not counted:
        raise ValueError("no counted season lies before it")
    last, now = counted[-1], through - 1
    plant = history.plant[last]
    same = history.plant[: last + 1] == plant
    seen = np.isin(history.condition[: last + 1], (*MATURE_LIVING, Condition.YOUNG)) & same
    # A season that does not count can still tell that a vine has gone or was replaced.
    gone = np.isin(history.condition[now], (Condition.MISSING, Condition.DEAD, Condition.NO_POSITION))
    there = (
        ~gone & (history.plant[now] == plant) & ~np.isin(history.condition[last], (Condition.MISSING, Condition.DEAD))
    )
    condition = _last_seen(history, counted, seen)
    had = history.had_case[last]
    young = there & (condition == Condition.YOUNG)
    renewed = np.where(there, _seasons_renewed(history, counted, seen), 0)
    case = had & there & (renewed == 0) & ~young
    damaged = case & history.damaged[now]
    since = np.where(case & ~damaged, _seasons_since(history, history.case, last, same), 0)
    unseen = np.where(damaged, _seasons_since(history, history.seen, last, same), 0)
    pulled = np.isin(history.condition[now], _PULLED) | np.isin(history.condition[last], _PULLED)
    any_case = np.asarray(had & ~pulled & (history.plant[now] == plant) & (renewed == 0))
    row, across = _beside(any_case, history.grid, "row"), _beside(any_case, history.grid, "across")
    return Before(
        there & ~young & ~had & seen[counted].any(axis=0) & (renewed == 0),
        damaged,
        since,
        renewed,
        unseen,
        young,
        row,
        across,
        cases_around(any_case, row + across),
    )


def _last_seen(history: BlockHistory, counted: list[int], seen: Grid) -> NDArray[np.uint8]:
    """Return each plant's condition at the last counted season in which it was seen alive."""
    condition = np.array(history.condition[counted[-1]])
    known = seen[counted[-1]].copy()
    for number in reversed(counted[:-1]):
        take = seen[number] & ~known
        condition[take] = history.condition[number][take]
        known |= take
    return condition


def _seasons_renewed(history: BlockHistory, counted: list[int], seen: Grid) -> NDArray[np.int64]:
    """Count seasons since the cut was first seen as done, over an unbroken run; not being seen breaks none."""
    found = np.zeros(history.grid.shape, dtype=np.int64)
    running = np.ones(history.grid.shape, dtype=bool)
    for k, number in enumerate(reversed(counted), start=1):
        renewed = seen[number] & (history.condition[number] == Condition.RENEWED)
        renewed |= seen[number] & _cut_after_showing(history, counted, number)
        running &= renewed | ~seen[number]
        found[running & renewed] = min(k, 4)
    return found


def _cut_after_showing(history: BlockHistory, counted: list[int], number: int) -> Grid:
    """Return vines that showed at a look of this season and were cut after it; for the next season they are renewed."""
    shown = history.condition[number] == Condition.SHOWING
    cleared = shown & history.relapse_risk[number] & ~history.relapse[number]
    if not cleared.any():
        return np.asarray(cleared)
    earlier = max((k for k in counted if k < number), default=-1)
    after = history.seasons[earlier] if earlier >= 0 else history.seasons[number] - 1
    cleared = cleared & cut_between(history, after, history.seasons[number], CLEARING)
    return all_cleared(history, cleared, history.seasons[number])


def _seasons_since(history: BlockHistory, shown: Grid, last: int, same: Grid) -> NDArray[np.int64]:
    """Count counted seasons since each plant last showed, or was last written down, 4 for 4 or more."""
    found = np.zeros(history.grid.shape, dtype=np.int64)
    k = 1
    for number in range(last, -1, -1):
        found[(found == 0) & shown[number] & same[number]] = min(k, 4)
        k += history.looks[number].compared
    return np.where(found == 0, 4, found)


def _beside(cases: Grid, grid: RowGrid, rule: str) -> NDArray[np.int64]:
    """Count case neighbours by the grid's own pairs."""
    pairs = grid.pairs(rule)  # type: ignore[arg-type]
    flat = cases.ravel()
    count = np.bincount(pairs[:, 0], flat[pairs[:, 1]], minlength=flat.size)
    count = count + np.bincount(pairs[:, 1], flat[pairs[:, 0]], minlength=flat.size)
    return count.astype(np.int64).reshape(cases.shape)


def cases_around(cases: Grid, nearer: NDArray[np.integer[Any]]) -> NDArray[np.int64]:
    """Count cases within two rows and two positions, less the vine's own and the nearer ones.

    Parameters
    ----------
    cases : (..., rows, stations) bool array
    nearer : (..., rows, stations) int array
        Cases of the next positions.
    """
    box = np.pad(cases.astype(np.uint8), [(0, 0)] * (cases.ndim - 2) + [(2, 2)] * 2)
    rows, stations = cases.shape[-2:]
    strip = np.add.reduce([box[..., k : k + rows, :] for k in range(5)])
    square = np.add.reduce([strip[..., k : k + stations] for k in range(5)])
    return np.asarray(square - np.minimum(square, cases + nearer.astype(np.uint8)), dtype=np.int64)


def steps_of(history: BlockHistory, through: int | None = None) -> list[SeasonStep]:
    """Return the steps of all counted seasons but the first, up to a year.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    through : int, optional
        Last year taken.
    """
    out: list[SeasonStep] = []
    nothing = np.zeros(history.grid.shape, dtype=bool)
    trunks = (nothing, nothing)  # cut before the look before: alive until then, and dead at that look
    years = history.compared_seasons
    growth, since = growth_by_season(history), 0
    for earlier, season in pairwise(years):
        if through is not None and season > through:
            break
        step = _step(history, earlier, season, trunks)
        cut = cut_between(history, earlier, season, TRUNK_WORK) & step.death_risk
        trunks = (cut, cut & step.died)
        learnt = Growth()
        for year in sorted(year for year in growth if since < year <= season):
            learnt = learnt.plus(growth[year])
        since, upto = season, history.index_of(season) + 1
        gone = (
            np.isin(history.condition[:upto], (Condition.MISSING, Condition.DEAD, Condition.YOUNG))
            & history.grid.exists
        )
        out.append(replace(step, growth=learnt, gone=bool(gone.any())))
    return out


def _step(history: BlockHistory, earlier: int, season: int, trunks: tuple[Grid, Grid]) -> SeasonStep:
    number, previous = history.index_of(season), history.index_of(earlier)
    # What uncounted seasons in between tell is left out: deaths are counted from the last counted look.
    before = before_season(history, previous + 1)
    new, annual, deaths = (rate(history, name, season) for name in ("new", "annual", "deaths"))
    same = history.plant[number] == history.plant[previous]
    looked = annual.denominator & same
    risk = all_cleared(history, looked & history.relapse_risk[number], season)
    known = looked & (before.renewed > 0)
    relapsed = np.where(risk, history.relapse[number], known & annual.numerator)
    showed_first = annual.numerator & ~history.relapse[number]
    planted = (history.plant[number] > 0) & history.looked_at[number] & ~_known(history, number)
    planted &= np.isin(history.condition[number], (Condition.YOUNG, Condition.DEAD))
    at_risk = new.denominator & ~known
    cut, failed = trunks
    return SeasonStep(
        season,
        season - earlier,
        before,
        history.damaged[number] & same,
        looked,
        annual.numerator & same,
        annual.numerator & same & history.seen[number],
        new.numerator & at_risk,
        at_risk,
        deaths.denominator,
        deaths.numerator,
        np.where(risk | known, np.maximum(before.renewed, 1), 0),
        relapsed,
        risk & ~known & ~showed_first,
        failed | (cut & deaths.denominator),
        failed | (cut & deaths.numerator),
        planted,
        planted & (history.condition[number] == Condition.DEAD),
        cut_between(history, earlier, season, CLEARING),
    )


def _known(history: BlockHistory, number: int) -> Grid:
    """Return the plants that were found alive or dead at an earlier counted season."""
    earlier = [k for k in range(number) if history.looks[k].compared]
    found = ~np.isin(history.condition[earlier], (Condition.NO_POSITION, Condition.MISSING, Condition.NOT_SEEN))
    return np.asarray((found & (history.plant[earlier] == history.plant[number])).any(axis=0))
