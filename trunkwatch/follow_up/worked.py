"""Did it work: renewed vines beside comparable vines of the same block that were left, and the hours that went in."""

import math
from collections import defaultdict
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.forecast.cuts import all_cleared
from trunkwatch.history import BlockHistory, Condition
from trunkwatch.stats.survival import Survival, kaplan_meier
from trunkwatch.vineyard.codes import CLEARING

__all__ = ["Followed", "Worked", "worked"]

#: With fewer renewed vines followed up nothing is compared (our own convention).
FEWEST = 10
#: Counted seasons after the cut over which the two groups are compared (our own convention).
HORIZON = 3
#: Drawings of vines for the limits of the difference.
DRAWS = 999
Cell = tuple[int, int]
#: By cell, number of the season and day of each cut.
Cuts = dict[Cell, list[tuple[int, str]]]


@dataclass(frozen=True, slots=True)
class Followed:
    """A group followed from its winter on: time in counted seasons, what happened, and its curve.

    Attributes
    ----------
    vines : int
    showed, died : int
        Vines that showed again, and died or were pulled, while followed.
    share, low, high : float
        Share that had shown again or died within `HORIZON` counted seasons (Kaplan-Meier, log-log limits); nan without vines.
    free : Survival or None
        Share neither showing again nor dead, by counted seasons since the cut.
    """

    vines: int
    showed: int
    died: int
    share: float
    low: float
    high: float
    free: Survival | None


@dataclass(frozen=True, slots=True)
class Worked:
    """Renewed vines, and vines of the same condition that were left.

    `difference` is the share of renewed vines that showed again or died within three counted seasons less that of the
    vines left, weighted to the renewed vines' seasons; nan where it cannot be given.
    """

    renewed: Followed
    left: Followed
    difference: float
    low: float
    high: float
    hours: dict[str, tuple[int, float, int, float]]  # kind -> planned pieces and hours, done pieces and hours

    @property
    def compared(self) -> bool:
        """Whether both groups are large enough to compare."""
        return self.renewed.vines >= FEWEST and self.left.vines >= FEWEST


@dataclass(frozen=True, slots=True)
class _Watched:
    """One vine from one winter on: how many counted seasons it was followed, and what ended it."""

    cell: Cell
    time: int
    what: str  # showed, died, or empty
    weight: float = 1.0


def worked(season: BlockSeason, *, seed: int = 1) -> Worked:
    """Follow renewed vines and their controls up to a season.

    Parameters
    ----------
    season : BlockSeason
        The block up to the last season that counts.
    seed : int
        Of the drawings for the limits.

    Notes
    -----
    A renewed vine is one that was a case in its last counted season before the cut and whose case was all cut out; one
    with striped leaves that got a new arm only is in neither group. Its controls are the vines of the block that were a
    case in the same season, were seen alive then and were not cut by the first season after; both clocks start there.
    A control that is cut later is followed up to that season. A vine may serve in several winters; controls are weighted
    so that each winter weighs as its renewed vines do. The limits are drawn over vines, not over their winters.
    """
    history = season.history
    counted = [history.index_of(year) for year in history.compared_seasons if year <= season.season]
    cuts = _cuts(season)
    treated: list[_Watched] = []
    controls: list[_Watched] = []
    for (base, start), cells in sorted(_winters(history, cuts, counted).items()):
        alive = history.looked_at[base] & (history.condition[base] == Condition.SHOWING)
        first = min(day for cell in cells for cut, day in cuts[cell] if base <= cut <= start)
        showing = [(row, station) for row, station in np.argwhere(alive).tolist()]
        spared = [
            cell
            for cell in showing
            if not any(base <= cut <= start for cut, _ in cuts.get(cell, ())) and _lives(history, cell, base, first)
        ]
        mine = [_watch(history, cell, start, counted, cuts, control=False) for cell in cells]
        theirs = [_watch(history, cell, start, counted, cuts, control=True) for cell in spared]
        followed = [one for one in mine if one.time]
        others = [one for one in theirs if one.time]
        treated += followed
        controls += [_Watched(one.cell, one.time, one.what, len(followed) / len(others)) for one in others]
    enough = len(treated) >= FEWEST and len(controls) >= FEWEST
    difference, low, high = _difference(treated, controls, seed) if enough else (math.nan,) * 3
    return Worked(_followed(treated), _followed(controls), difference, low, high, _hours(season))


def _cuts(season: BlockSeason) -> Cuts:
    """Return by cell when it was renewed."""
    years = {year: number for number, year in enumerate(season.history.seasons)}
    found: defaultdict[Cell, list[tuple[int, str]]] = defaultdict(list)
    for work in season.reading.work:
        if work.done and work.kind in CLEARING and work.season in years:
            found[work.cell].append((years[work.season], work.date))
    return found


def _winters(history: BlockHistory, cuts: Cuts, counted: list[int]) -> dict[tuple[int, int], list[Cell]]:
    """Sort the renewed vines by their last counted season before the cut and the first one after it."""
    found: defaultdict[tuple[int, int], list[Cell]] = defaultdict(list)
    for cell, seasons in cuts.items():
        for cut in dict.fromkeys(number for number, _ in seasons):
            # Where the case of an earlier season was gone before the last look of the cut's own season, that look is the first after.
            early = cut in counted and bool(history.relapse_risk[cut][cell])
            before = [k for k in counted if k < cut] if early else [k for k in counted if k <= cut]
            after = [k for k in counted if k >= cut] if early else [k for k in counted if k > cut]
            if early and before and not _was_case(history, before[-1], cell):
                before, after = [k for k in counted if k <= cut], [k for k in counted if k > cut]
            if before and after and _was_case(history, before[-1], cell) and _all_cut(history, cell, cut):
                found[before[-1], after[0]].append(cell)
    return found


def _was_case(history: BlockHistory, number: int, cell: Cell) -> bool:
    return bool(history.case[number][cell])


def _all_cut(history: BlockHistory, cell: Cell, cut: int) -> bool:
    one = np.zeros(history.grid.shape, dtype=bool)
    one[cell] = True
    return bool(all_cleared(history, one, history.seasons[cut])[cell])


def _lives(history: BlockHistory, cell: Cell, base: int, day: str) -> bool:
    """Tell whether a vine that showed in its base season had not been found dead by the day of the first cut."""
    return not any(
        died < day and history.reading.season_of(died) >= history.seasons[base]
        for died in history.reading.deaths.get(cell, ())
    )


def _watch(history: BlockHistory, cell: Cell, start: int, counted: list[int], cuts: Cuts, *, control: bool) -> _Watched:
    """Follow one vine from a counted season on, until it shows, dies, is not seen, or, as a control, is cut."""
    plant = history.plant[counted[max(counted.index(start) - 1, 0)]][cell]
    time = 0
    for number in [k for k in counted if k >= start]:
        condition = history.condition[number][cell]
        if control and any(start < cut <= number for cut, _ in cuts.get(cell, ())):
            break
        if history.died[number][cell] or condition == Condition.DEAD or history.plant[number][cell] != plant:
            return _Watched(cell, time + 1, "died")
        if not history.looked_at[number][cell] or condition == Condition.NOT_SEEN:
            break
        time += 1
        # What was seen before the cut in the same season is no relapse.
        cleared = not control and number == start and history.relapse_risk[number][cell]
        if history.relapse[number][cell] if cleared else condition == Condition.SHOWING:
            return _Watched(cell, time, "showed")
    return _Watched(cell, time, "")


def _followed(vines: list[_Watched]) -> Followed:
    ended = [one for one in vines if one.what]
    curve = kaplan_meier([one.time for one in vines], [bool(one.what) for one in vines]) if vines else None
    share, low, high = (0.0, 0.0, 1.0) if vines else (math.nan,) * 3
    if curve is not None and (curve.times <= HORIZON).any():
        last = np.flatnonzero(curve.times <= HORIZON)[-1]
        share, low, high = (float(1 - one[last]) for one in (curve.survival, curve.high, curve.low))
    showed, died = sum(one.what == "showed" for one in ended), sum(one.what == "died" for one in ended)
    return Followed(len(vines), showed, died, share, low, high, curve)


def _ended(times: NDArray[np.int64], events: NDArray[np.bool_], weights: NDArray[np.float64]) -> float:
    """Weighted Kaplan-Meier share ended within the horizon."""
    free = 1.0
    for time in range(1, HORIZON + 1):
        at_risk = weights[times >= time].sum()
        if at_risk <= 0:
            break
        free *= 1 - weights[(times == time) & events].sum() / at_risk
    return float(1 - free)


def _difference(treated: list[_Watched], controls: list[_Watched], seed: int) -> tuple[float, float, float]:
    """Difference of the weighted shares, with limits from vines drawn again with all their winters."""
    rng = np.random.Generator(np.random.SFC64([seed, 90]))
    sides = [
        (
            [one.cell for one in side], np.array([one.time for one in side]),
            np.array([bool(one.what) for one in side]), np.array([one.weight for one in side]),
        )
        for side in (treated, controls)
    ]  # fmt: skip
    middle = _ended(*sides[0][1:]) - _ended(*sides[1][1:])
    cells = sorted({cell for side in sides for cell in side[0]})
    place = {cell: k for k, cell in enumerate(cells)}
    at = [np.array([place[cell] for cell in side[0]]) for side in sides]
    drawn = []
    for _ in range(DRAWS):
        many = rng.multinomial(len(cells), np.full(len(cells), 1 / len(cells)))
        one, two = (
            _ended(times, events, weights * many[where])
            for (_, times, events, weights), where in zip(sides, at, strict=True)
        )
        drawn.append(one - two)
    low, high = np.quantile(drawn, [0.025, 0.975])
    return middle, float(low), float(high)


def _hours(season: BlockSeason) -> dict[str, tuple[int, float, int, float]]:
    out = {}
    for kind in dict.fromkeys(work.kind for work in season.reading.work):
        listed = [work for work in season.reading.work if work.kind == kind]
        parts = [[w for w in listed if w.status == "planned"], [w for w in listed if w.done]]
        counts = [(len(part), sum(work.hours or 0.0 for work in part)) for part in parts]
        out[kind] = (*counts[0], *counts[1])
    return out
