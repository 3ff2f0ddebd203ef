"""Which job is done in which week: a linear programme over the mean of past winters, and how far it holds when winters are drawn anew.

Nobody can say what an open wound is worth in spare buds, so the parts are not added: the plan keeps the worst of them as small as it
can be, each part counted from its best week to its worst. Costs of jobs add up and nothing later hangs on what the weather did, so that
the programme over many winters is that over their mean.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import linprog
from scipy.sparse import coo_array, vstack

__all__ = ["UNDONE", "After", "CrewWeeks", "crew_weeks", "holds", "in_weeks"]

Floats = NDArray[np.float64]
#: An hour that finds no week counts as so many hours in the worst of weeks: what can be done is done.
UNDONE = 10.0
#: The same for an hour of a first pass: vines that are finished stand before vines that are begun.
_BEGUN = 2.0
#: Weight of the mean of all parts, and of each week that passes, beside the worst part: ties are settled, nothing else (our own).
_TIE, _EARLY = 1e-3, 1e-5
#: Hours that are none.
_NONE = 1e-6


class After(NamedTuple):
    """A pass over vines that comes at least a week after another.

    Attributes
    ----------
    first, final : int
        Numbers of the two jobs; -1 for a first one of which nothing is left.
    ready : float
        Share of the vines of the final pass that have had the first already, 0 to 1.
    """

    first: int
    final: int
    ready: float


@dataclass(frozen=True, slots=True)
class CrewWeeks:
    """A plan.

    Attributes
    ----------
    hours : array (jobs, weeks)
    undone : array (jobs,)
        Hours that find no week.
    parts : array (parts,)
        Mean regret of each part over the hours that are done: 0 all in their best weeks, 1 all in their worst.
    score : float
        What was kept small: it never grows with more crew.
    """

    hours: Floats
    undone: Floats
    parts: Floats
    score: float


def in_weeks(by_day: Floats, week: NDArray[np.intp], weeks: int, weight: Floats | None = None) -> Floats:
    """Return the mean of days, (..., days) -> (..., weeks), over those that count; nan where none does.

    Parameters
    ----------
    by_day : array (..., days)
    week : array (days,)
        Week of each day, -1 for a day that lies in none.
    weeks : int
    weight : array (days,), optional
        How much each day counts: days that can be worked.
    """
    counts = np.ones(week.size) if weight is None else weight
    known = ~np.isnan(by_day) & (week >= 0) & (counts > 0)
    total = np.zeros((*by_day.shape[:-1], weeks))
    share = np.zeros_like(total)
    for number in range(weeks):
        own = week == number
        use = known[..., own] * counts[own]
        share[..., number] = use.sum(axis=-1)
        total[..., number] = (np.nan_to_num(by_day[..., own]) * use).sum(axis=-1)
    return np.where(share > 0, total / np.maximum(share, 1e-12), np.nan)


def crew_weeks(
    need: Floats, capacity: Floats, parts: Floats, most: Floats | None = None, after: Sequence[After] = ()
) -> CrewWeeks:
    """Spread the hours of jobs over weeks.

    Parameters
    ----------
    need : array (jobs,)
        Hours.
    capacity : array (weeks,)
        Hours that the crew can work in each; nothing is planned where it is 0.
    parts : array (parts, jobs, weeks)
        What each part costs an hour of each job in each week, 0 to 1; nan where it has no say.
    most : array (jobs, weeks), optional
        Hours of each job that can be worked where it lies: two places have weather of their own.
    after : sequence of After, optional
        Passes that wait for others.
    """
    jobs, weeks = need.size, capacity.size
    if not jobs:
        return CrewWeeks(np.zeros((0, weeks)), np.zeros(0), np.zeros(len(parts)), 0.0)
    total = max(float(need.sum()), _NONE)
    cost = np.nan_to_num(parts, nan=0.0).reshape(len(parts), jobs * weeks) / total
    undone = np.full(jobs, UNDONE / total)
    undone[[one.first for one in after if one.first >= 0]] = _BEGUN / total
    early = np.tile(np.arange(weeks) / max(weeks, 1), jobs) / total
    # Variables: hours by job and week, hours undone by job, the worst part, and what is ready for each later pass by week.
    objective = np.concatenate(
        [
            _TIE * cost.sum(axis=0) + _EARLY * early,
            undone * (1 + _TIE * len(parts)),
            [1.0],
            np.zeros(len(after) * weeks),
        ]
    )
    spent = coo_array(
        (np.ones(jobs * weeks), (np.tile(np.arange(weeks), jobs), np.arange(jobs * weeks))),
        shape=(weeks, objective.size),
    )
    worst = np.concatenate(
        [cost, np.zeros((len(parts), jobs)), -np.ones((len(parts), 1)), np.zeros((len(parts), len(after) * weeks))],
        axis=1,
    )
    upper = vstack([spent, coo_array(worst)]) if len(parts) else spent
    rows = np.concatenate([np.repeat(np.arange(jobs), weeks), np.arange(jobs)])
    whole = coo_array((np.ones(rows.size), (rows, np.arange(rows.size))), shape=(jobs, objective.size))
    waits, begin = _waits(after, need, weeks, objective.size)
    found = linprog(  # type: ignore[call-overload]
        objective,
        A_ub=upper.tocsr(),
        b_ub=np.concatenate([np.maximum(capacity, 0.0), np.zeros(len(parts))]),
        A_eq=(vstack([whole, waits]) if after else whole).tocsr(),
        b_eq=np.concatenate([need, begin]),
        bounds=_bounds(jobs, weeks, most, objective.size),
        method="highs",
    )
    hours = np.where(found.x[: jobs * weeks] > _NONE, found.x[: jobs * weeks], 0.0).reshape(jobs, weeks)
    left = np.maximum(need - hours.sum(axis=1), 0.0)
    left[left < 1e-4] = 0.0
    done = max(float(hours.sum()), _NONE)
    means = (np.nan_to_num(parts, nan=0.0) * hours).sum(axis=(1, 2)) / done
    return CrewWeeks(hours, left, means, float(found.fun))


def _waits(after: Sequence[After], need: Floats, weeks: int, size: int) -> tuple[coo_array, Floats]:
    """Return what ties later passes to first ones, as equations: hours of the final pass that are ready when a week is over.

    They are those of the week before, and what the first pass of the week before made ready, less what is finished in this one.
    """
    rows: list[int] = []
    places: list[int] = []
    values: list[float] = []
    begin = np.zeros(len(after) * weeks)
    for number, one in enumerate(after):
        makes = (1 - one.ready) * need[one.final] / need[one.first] if one.first >= 0 else 0.0
        left = need.size * (weeks + 1) + 1 + number * weeks
        begin[number * weeks] = one.ready * need[one.final]
        for week in range(weeks):
            line = [(left + week, 1.0), (one.final * weeks + week, 1.0)]
            if week:
                line.append((left + week - 1, -1.0))
            if week and makes:
                line.append((one.first * weeks + week - 1, -makes))
            rows += [number * weeks + week] * len(line)
            places += [place for place, _ in line]
            values += [value for _, value in line]
    return coo_array((values, (rows, places)), shape=(len(after) * weeks, size)), begin


def _bounds(jobs: int, weeks: int, most: Floats | None, size: int) -> Floats:
    upper = np.full(size, np.inf)
    if most is not None:
        upper[: jobs * weeks] = np.maximum(most, 0.0).ravel()
    return np.column_stack([np.zeros(size), upper])


def holds(plan: CrewWeeks, others: list[CrewWeeks], *, near: int = 1) -> Floats:
    """Return for each job the share of other plans that put most of it into its planned weeks, or so many weeks beside them."""
    if not others:
        return np.full(len(plan.hours), np.nan)
    weeks = plan.hours.shape[1]
    wide = plan.hours > 0
    for step in range(1, near + 1):
        moved = np.zeros_like(wide)
        moved[:, step:] |= plan.hours[:, : weeks - step] > 0
        moved[:, : weeks - step] |= plan.hours[:, step:] > 0
        wide |= moved
    inside = np.stack([(one.hours * wide).sum(axis=1) for one in others])
    done = np.stack([one.hours.sum(axis=1) for one in others])
    return np.asarray((inside >= 0.5 * np.maximum(done, _NONE)).mean(axis=0))
