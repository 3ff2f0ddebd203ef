"""The crew's winter over all blocks: what is left, the weeks, and which block in which; or, for a small vineyard, the days in their rank."""

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from trunkwatch.cold.ahead import Ahead
from trunkwatch.cold.pace import Job, JobKind
from trunkwatch.cold.window import BlockWindow
from trunkwatch.winter_model.best_days import CROP_AT_STAKE, FROST_APART
from trunkwatch.winter_model.crew_weeks import After, CrewWeeks, crew_weeks, holds, in_weeks

__all__ = ["Crew", "CrewPlan", "Part", "PartOfPlan", "RankedDays", "Week", "plan_crew"]

Floats = NDArray[np.float64]
#: A vineyard that so many days of the crew finish gets days in their rank, not weeks; and so many ranks, so far apart.
SMALL_DAYS, RANKS, RANKS_APART = 5, 3, 7
#: Sets of winters that are drawn anew to see how far a plan holds.
RESAMPLES = 10


class Part(Enum):
    """What is weighed; the parts are not added."""

    CALENDAR = "open wounds if they age by the calendar"
    WARMTH = "open wounds if they age by warmth"
    SPARE_BUDS = "spare buds"
    FROST = "spring frost"


_SOURCE = {Part.CALENDAR: "calendar", Part.WARMTH: "warmth", Part.SPARE_BUDS: "crop_lost", Part.FROST: "frost"}
#: Least difference that fills the scale of a part; wounds are relative numbers and always fill theirs.
_AT_LEAST = {Part.SPARE_BUDS: CROP_AT_STAKE, Part.FROST: FROST_APART}
#: What each kind of work has a say in. A cut of an arm or trunk opens a large wound and takes no spare buds along; the wounds of a long
#: first cut go with the final one, whose day it is that counts for budbreak.
_SAYS = {
    JobKind.PRUNING: tuple(Part), JobKind.RENEWAL: (Part.CALENDAR, Part.WARMTH), JobKind.FIRST_CUT: (Part.SPARE_BUDS,),
}  # fmt: skip


def _source(part: Part, job: Job) -> str:
    """Return the name of the figures that a part is of a job.

    Cold between two passes finds the nodes of the long cut, cold after the final one finds none to spare: what both give away is what the
    long cut would from its day on, and from the day of the final cut what that gives away more.
    """
    if part is Part.SPARE_BUDS and job.kind is JobKind.FIRST_CUT:
        return "crop_lost_long"
    if part is Part.SPARE_BUDS and job.first_left is not None:
        return "crop_lost_after_long"
    return _SOURCE[part]


@dataclass(frozen=True, slots=True)
class Crew:
    """Hours a week of all hands together, and days that they work in it, from Monday on."""

    hours: float
    days: int = 5

    @property
    def day_hours(self) -> float:
        """Hours of all hands on one day."""
        return self.hours / self.days


@dataclass(frozen=True, slots=True)
class Week:
    """One week: its first and last day, hours that can be worked on the mean of winters, and hours of each job."""

    first: dt.date
    last: dt.date
    can_work: float
    hours: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class PartOfPlan:
    """What the plan makes of one part, and what the best plan for this part alone would.

    For wounds the mean way from best to worst day, 0 to 1; for spare buds the share of the crop given away; for frost the share of
    years; `money` for spare buds and frost with prices.
    """

    part: Part
    plan: float
    best: float
    money: float | None = None


@dataclass(frozen=True, slots=True)
class RankedDays:
    """Days from which all that is left can be done in one go: the worse of the parts' regrets, and each part's."""

    first: dt.date
    last: dt.date
    regret: float
    parts: Mapping[Part, float]


@dataclass(frozen=True, slots=True)
class CrewPlan:
    """The plan.

    Attributes
    ----------
    asked : date
    crew : Crew
    jobs : tuple of Job
        Those with vines left.
    finished : tuple of Job
    weeks : tuple of Week
        Empty for a small vineyard.
    undone : tuple of float
        Hours of each job that find no week.
    parts : tuple of PartOfPlan
    firm : tuple of float
        Share of resampled sets of winters in which each job stays within a week of its weeks; nan where not asked.
    ranked : tuple of RankedDays
        For a small vineyard.
    winters, in_time : int
        Past winters, and those in which the crew could have worked all hours that are left.
    score : float
    no_say : mapping of Part to tuple of str
        Blocks of which nothing is known of a part.
    ahead : Ahead or None
        The user's own forecast, where there is one.
    """

    asked: dt.date
    crew: Crew
    jobs: tuple[Job, ...]
    finished: tuple[Job, ...]
    weeks: tuple[Week, ...] = ()
    undone: tuple[float, ...] = ()
    parts: tuple[PartOfPlan, ...] = ()
    firm: tuple[float, ...] = ()
    ranked: tuple[RankedDays, ...] = ()
    winters: int = 0
    in_time: int = 0
    score: float = 0.0
    no_say: Mapping[Part, tuple[str, ...]] = field(default_factory=dict)
    ahead: Ahead | None = field(default=None, repr=False)


@dataclass(frozen=True, slots=True)
class _Days:
    """The days of the plan: their places in the windows, dates, weeks, and which of them the crew works."""

    places: NDArray[np.intp]
    dates: tuple[dt.date, ...]
    week: NDArray[np.intp]
    weeks: int
    worked: NDArray[np.bool_]


def plan_crew(
    jobs: Sequence[Job],
    windows: Sequence[BlockWindow],
    asked: dt.date,
    crew: Crew,
    *,
    until: dt.date,
    worth: Sequence[float | None] | None = None,
    frost_takes: float | None = None,
    seed: int = 1,
) -> CrewPlan:
    """Plan what is left.

    Parameters
    ----------
    jobs : sequence of Job
    windows : sequence of BlockWindow
        Of the block of each job.
    asked, until : date
        First and last day that can be planned.
    crew : Crew
    worth : sequence of float or None, optional
        Crop of each job's vines in money, with prices.
    frost_takes : float, optional
        Share of the crop that a frost on open buds takes, the user's own: it prices frost.
    seed : int
        Of the winters drawn anew.
    """
    use = [number for number, job in enumerate(jobs) if job.hours > 0]
    finished = tuple(job for job in jobs if job.hours <= 0 and job.done)
    left, own = tuple(jobs[number] for number in use), [windows[number] for number in use]
    money = [worth[number] if worth else None for number in use]
    if not left:
        return CrewPlan(asked, crew, (), finished)
    days = _days(own[0], asked, until, crew)
    winters = len(own[0].winters)
    need = np.array([job.hours for job in left])
    shared = {id(window): {name: values[:, days.places] for name, values in window.by_winter.items()} for window in own}
    for one in shared.values():
        one["crop_lost_after_long"] = one["crop_lost"] - one["crop_lost_long"]
    by_winter = [shared[id(window)] for window in own]
    after = _after(left)
    priced = money if all(value is not None for value in money) else None
    everything = np.arange(winters)
    can = np.max([_share(one["workable"]) for one in by_winter], axis=0) * days.worked * crew.day_hours
    in_time = sum(
        float(np.nan_to_num(by_winter[0]["workable"][number], nan=1.0) @ (days.worked * crew.day_hours))
        >= need.sum() - 1e-9
        for number in range(winters)
    )
    base = CrewPlan(asked, crew, left, finished, winters=winters, in_time=int(in_time), no_say=_no_say(left, by_winter))
    costs, parts = _costs(left, by_winter, everything, priced, frost_takes)
    if need.sum() <= SMALL_DAYS * crew.day_hours and not after:  # two passes are never one go
        return replace(base, ranked=_ranked(need, costs, parts, can, days))
    solved, capacity = _solved(need, costs, by_winter, everything, days, crew, after)
    rng = np.random.default_rng(seed)
    others = []
    for _ in range(RESAMPLES if winters > 1 else 0):
        drawn = rng.integers(0, winters, winters)
        again, _ = _costs(left, by_winter, drawn, priced, frost_takes)
        others.append(_solved(need, again, by_winter, drawn, days, crew, after)[0])
    weeks = tuple(
        Week(*_edges(days, number), float(capacity[number]), tuple(solved.hours[:, number].tolist()))
        for number in range(days.weeks)
    )
    return replace(
        base,
        weeks=weeks,
        undone=tuple(solved.undone.tolist()),
        firm=tuple(holds(solved, others).tolist()),
        score=solved.score,
        parts=_parts_of_plan(
            solved, need, costs, parts, by_winter, days, capacity, can, priced, left, frost_takes, after
        ),
    )


def _after(jobs: Sequence[Job]) -> tuple[After, ...]:
    """Return which final cuts wait for a long first one."""
    first = {job.block: number for number, job in enumerate(jobs) if job.kind is JobKind.FIRST_CUT}
    return tuple(
        After(first.get(job.block, -1), number, 1 - job.first_left / job.vines)
        for number, job in enumerate(jobs)
        if job.first_left is not None
    )


def _days(window: BlockWindow, asked: dt.date, until: dt.date, crew: Crew) -> _Days:
    first = max(asked, window.from_day)
    length = next(iter(window.by_winter.values())).shape[-1]
    places = np.arange((first - window.first).days, min((until - window.first).days + 1, length))
    dates = tuple(window.day(int(place)) for place in places)
    monday = first - dt.timedelta(days=first.weekday())
    week = np.array([(day - monday).days // 7 for day in dates], dtype=np.intp)
    return _Days(
        places,
        dates,
        week,
        int(week[-1]) + 1 if week.size else 0,
        np.array([day.weekday() < crew.days for day in dates]),
    )


def _edges(days: _Days, week: int) -> tuple[dt.date, dt.date]:
    own = [day for day, number in zip(days.dates, days.week, strict=True) if number == week]
    return own[0], own[-1]


def _share(workable: Floats) -> Floats:
    """Return the share of winters in which each day can be worked; a day of which nothing is known is as the others are."""
    known = ~np.isnan(workable)
    count = known.sum(axis=0)
    share = np.where(count > 0, np.nan_to_num(workable).sum(axis=0) / np.maximum(count, 1), np.nan)
    other = float(np.nanmean(share)) if not np.isnan(share).all() else 1.0
    return np.where(np.isnan(share), other, share)


def _mean(values: Floats) -> Floats:
    known = ~np.isnan(values)
    count = known.sum(axis=0)
    return np.where(count > 0, np.nan_to_num(values).sum(axis=0) / np.maximum(count, 1), np.nan)


def _no_say(jobs: Sequence[Job], by_winter: Sequence[Mapping[str, Floats]]) -> dict[Part, tuple[str, ...]]:
    out = {}
    for part in Part:
        blocks = [
            job.block
            for job, one in zip(jobs, by_winter, strict=True)
            if np.isnan(one[_source(part, job)]).all() and part in _SAYS[job.kind]
        ]
        if blocks:
            out[part] = tuple(dict.fromkeys(blocks))
    return out


def _costs(
    jobs: Sequence[Job],
    by_winter: Sequence[Mapping[str, Floats]],
    winters: NDArray[np.intp],
    worth: Sequence[float | None] | None,
    frost_takes: float | None,
) -> tuple[Floats, tuple[Part, ...]]:
    """Return what each part costs an hour of each job on each day, from 0 the best to 1 the worst of all; nan where it has no say."""
    rows, parts = [], []
    kept: dict[tuple[int, str], Floats] = {}
    for part in Part:
        mine = []
        for job, one in zip(jobs, by_winter, strict=True):
            name = _source(part, job)
            key = (id(one), name)
            if key not in kept:
                kept[key] = _mean(one[name][winters])
            mean = kept[key]
            says = part in _SAYS[job.kind]
            mine.append(mean - np.nanmin(mean) if says and not np.isnan(mean).all() else np.full(mean.shape, np.nan))
        regret = np.stack(mine)
        if np.isnan(regret).all():
            continue
        if worth is not None and (part is Part.SPARE_BUDS or (part is Part.FROST and frost_takes is not None)):
            regret *= np.array([float(value or 0) / job.hours for value, job in zip(worth, jobs, strict=True)])[:, None]
            least = 1e-9
        elif part in _AT_LEAST:
            least = _AT_LEAST[part]
        else:
            least = 1e-9
        rows.append(regret / max(float(np.nanmax(regret)), least))
        parts.append(part)
    shape = (len(jobs), next(iter(by_winter[0].values())).shape[-1])
    return (np.stack(rows) if rows else np.zeros((0, *shape))), tuple(parts)


def _solved(
    need: Floats,
    costs: Floats,
    by_winter: Sequence[Mapping[str, Floats]],
    winters: NDArray[np.intp],
    days: _Days,
    crew: Crew,
    after: Sequence[After],
) -> tuple[CrewWeeks, Floats]:
    """Solve the weeks: costs are those of the days that can be worked, and so are the hours."""
    shares = {id(one): _share(one["workable"][winters]) * days.worked * crew.day_hours for one in by_winter}
    each = {key: np.bincount(days.week, hours, minlength=days.weeks) for key, hours in shares.items()}
    capacity = np.max(list(each.values()), axis=0)
    most: Floats = np.stack([each[id(one)] for one in by_winter]).astype(np.float64)
    hours = np.max(list(shares.values()), axis=0)
    return crew_weeks(need, capacity, in_weeks(costs, days.week, days.weeks, hours), most, after), capacity


def _parts_of_plan(
    solved: CrewWeeks,
    need: Floats,
    costs: Floats,
    parts: Sequence[Part],
    by_winter: Sequence[Mapping[str, Floats]],
    days: _Days,
    capacity: Floats,
    can: Floats,
    worth: Sequence[float | None] | None,
    jobs: Sequence[Job],
    frost_takes: float | None,
    after: Sequence[After],
) -> tuple[PartOfPlan, ...]:
    """Say of each part what the plan makes of it, in its own unit."""
    weekly = in_weeks(costs, days.week, days.weeks, can)
    pruning = np.array([job.kind is JobKind.PRUNING for job in jobs])
    out = []
    for number, part in enumerate(parts):
        alone = crew_weeks(need, capacity, weekly[[number]], after=after)
        if part in _SAYS[JobKind.RENEWAL]:
            says = np.array([part in _SAYS[job.kind] for job in jobs])
            regret = np.nan_to_num(weekly[number])
            plan, best = (
                float((regret * one.hours).sum() / max(one.hours[says].sum(), 1e-9)) for one in (solved, alone)
            )
            out.append(PartOfPlan(part, plan, best))
            continue
        lost = [_lost(part, one.hours, jobs, by_winter, days, can, after) for one in (solved, alone)]
        plan, best = (
            float(mine.sum() / max(one.hours[pruning].sum(), 1e-9))
            for mine, one in zip(lost, (solved, alone), strict=True)
        )
        money = None
        if worth is not None and (part is Part.SPARE_BUDS or frost_takes is not None):
            value = np.array([float(value or 0) / job.hours for value, job in zip(worth, jobs, strict=True)])
            money = float((lost[0] * value).sum()) * (float(frost_takes or 0) if part is Part.FROST else 1.0)
        out.append(PartOfPlan(part, plan, best, money))
    return tuple(out)


def _lost(
    part: Part,
    hours: Floats,
    jobs: Sequence[Job],
    by_winter: Sequence[Mapping[str, Floats]],
    days: _Days,
    can: Floats,
    after: Sequence[After],
) -> Floats:
    """Return a share of the crop, or of years, times hours of ordinary pruning, of each job: of a long first cut it goes to the final one."""
    means: dict[tuple[int, str], Floats] = {}

    def mean_of(number: int, name: str) -> Floats:
        key = (id(by_winter[number]), name)
        if key not in means:
            means[key] = np.nan_to_num(in_weeks(_mean(by_winter[number][name]), days.week, days.weeks, can))
        return means[key]

    out = np.zeros(len(jobs))
    for number, job in enumerate(jobs):
        if job.kind is JobKind.PRUNING:
            out[number] = float(mean_of(number, _source(part, job)) @ hours[number])
    if part is not Part.SPARE_BUDS:
        return out
    for one in after:
        final = jobs[one.final]
        if one.first >= 0:
            first = jobs[one.first]
            same = first.vines / first.hours * final.hours / final.vines  # hours of the final cut of the same vines
            out[one.final] += same * float(mean_of(one.first, _source(part, first)) @ hours[one.first])
        long = _mean(by_winter[one.final]["crop_lost_long"])
        out[one.final] += one.ready * float(hours[one.final].sum()) * float(np.nan_to_num(long[:1]).sum())
    return out


def _ranked(need: Floats, costs: Floats, parts: Sequence[Part], can: Floats, days: _Days) -> tuple[RankedDays, ...]:
    """Rank the days from which all can be done in one go."""
    weighed = (np.nan_to_num(costs) * (need / need.sum())[None, :, None]).sum(axis=1)
    found = []
    for start in np.flatnonzero(can > 0).tolist():
        ahead = np.cumsum(can[start:])
        if ahead[-1] < need.sum() - 1e-9:
            break
        end = start + int(np.searchsorted(ahead, need.sum() - 1e-9))
        hours = can[start : end + 1]
        means = (weighed[:, start : end + 1] * hours).sum(axis=1) / hours.sum()
        worst = float(means.max()) if means.size else 0.0
        found.append(
            RankedDays(days.dates[start], days.dates[end], worst, dict(zip(parts, means.tolist(), strict=True)))
        )
    best: list[RankedDays] = []
    for one in sorted(found, key=lambda ranked: (ranked.regret, ranked.first)):
        if all(abs((one.first - other.first).days) >= RANKS_APART for other in best):
            best.append(one)
        if len(best) == RANKS:
            break
    return tuple(best)
