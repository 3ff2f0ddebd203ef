"""The crew's winter from what is on file: jobs with their hours, the weather of each block, and its crop in money where prices are."""

import datetime as dt
from dataclasses import dataclass, field, replace

import pandas as pd

from trunkwatch.block.opening import read
from trunkwatch.cold.ahead import Ahead, ahead_of
from trunkwatch.cold.block_cold import BlockCold
from trunkwatch.cold.crew_plan import Crew, CrewPlan, plan_crew
from trunkwatch.cold.days import CHILL_FROM, day_in
from trunkwatch.cold.measure_work import first_cut_pace, protect_pace, protected, two_passes
from trunkwatch.cold.noted import rows_pruned
from trunkwatch.cold.of_store import cold_of_store
from trunkwatch.cold.pace import Job, JobKind, job_of_pruning, job_of_renewal, living_vines, pace_of, vines_in
from trunkwatch.cold.window import LONG_CUT, PRUNING, BlockWindow, window_of
from trunkwatch.cold.with_measures import Measure
from trunkwatch.decide.decision import money_word
from trunkwatch.errors import RecordError
from trunkwatch.history import BlockReading
from trunkwatch.renewal.costs import Costs, costs_of
from trunkwatch.store import Store
from trunkwatch.winter_model.cultivars import Group
from trunkwatch.winter_model.workable import Limits

__all__ = ["CrewAsked", "crew_plan_of_store"]


@dataclass(frozen=True, slots=True)
class CrewAsked:
    """What the user says: crew, minutes a vine, limits, what a vine carries, the last day, what a frost takes, their own forecast, measures."""

    crew: Crew
    minutes: float | None = None
    limits: Limits | None = None
    most_nodes: float = 2.0
    until: dt.date | None = None
    frost_takes: float | None = None
    stand_in: Group | None = None
    forecast: pd.DataFrame | None = field(default=None, repr=False)
    measures: tuple[Measure, ...] = ()
    first_cut_minutes: float | None = None
    protect_minutes: float | None = None
    first_cut_leaves: float = LONG_CUT


def crew_plan_of_store(store: Store, day: dt.date, asked: CrewAsked, *, seed: int = 1) -> tuple[CrewPlan, str]:
    """Return the plan of all blocks, and the currency where prices are written (else empty).

    Raises
    ------
    RecordError
        If no past winter is on file, pruning time is over, or blocks lie on both sides of the equator.
    """
    colds: dict[str, tuple[BlockCold, BlockWindow | None]] = {}
    kept: dict[tuple[object, ...], BlockWindow | None] = {}
    aheads: dict[int, Ahead] = {}
    for cold, weather in cold_of_store(store, None, day, stand_in=asked.stand_in, beside=False):
        if cold.block in colds:  # of several cultivars that of most rows counts: it comes first
            continue
        key = (id(weather), cold.cultivar, cold.latitude, cold.hemisphere)
        if key not in kept:
            if asked.forecast is not None and id(weather) not in aheads:
                aheads[id(weather)] = ahead_of(asked.forecast, weather, day)
            kept[key] = window_of(
                cold,
                weather,
                limits=asked.limits,
                most=asked.most_nodes,
                long_cut=asked.first_cut_leaves,
                ahead=aheads.get(id(weather)),
            )
        colds[cold.block] = cold, kept[key]
    first = next(iter(colds.values()))[0]
    _refuse(colds, first, day)
    readings = {label: read(store, label)[0] for label in colds}
    jobs, windows, worth = [], [], []
    of_owner: dict[str, Costs] = {}
    costs = {}
    for label in colds:
        owner = store.names().find(label).vineyard
        if owner not in of_owner:
            of_owner[owner] = costs_of(store.frame("costs", label))
        costs[label] = of_owner[owner]
    for job in _jobs(store, readings, first, day, asked, costs):
        window = colds[job.block][1]
        if window is not None:
            jobs.append(job)
            windows.append(window)
            worth.append(_worth(job, readings[job.block], costs[job.block]))
    until = asked.until or day_in(first.season, PRUNING[1], first.hemisphere)
    if until < day:
        raise RecordError(f"--until {until.isoformat()} lies before {day.isoformat()}: give a later day")
    plan = plan_crew(jobs, windows, day, asked.crew, until=until, worth=worth, frost_takes=asked.frost_takes, seed=seed)
    plan = replace(plan, ahead=next(iter(aheads.values()), None))
    priced = any(part.money is not None for part in plan.parts)
    return plan, (money_word(store.frame("costs", first.block)) or "money") if priced else ""


def _refuse(colds: dict[str, tuple[BlockCold, BlockWindow | None]], first: BlockCold, day: dt.date) -> None:
    if any(cold.hemisphere != first.hemisphere for cold, _ in colds.values()):
        raise RecordError(
            "blocks lie north and south of the equator: their winters are half a year apart; keep them in two vineyards"
        )
    if day > day_in(first.season, PRUNING[1], first.hemisphere):
        raise RecordError(f"pruning time is over on {day.isoformat()}: ask for a day of winter with --date")
    if bare := [label for label, (_, window) in colds.items() if window is None]:
        raise RecordError(
            f"no whole past winter of weather is on file for block {bare[0]}: nobody can say which days can be worked; "
            "load the station's days of past years (`trunkwatch load --table weather`)"
        )


def _jobs(
    store: Store,
    readings: dict[str, BlockReading],
    first: BlockCold,
    day: dt.date,
    asked: CrewAsked,
    costs: dict[str, Costs],
) -> list[Job]:
    since = day_in(first.season, CHILL_FROM, first.hemisphere)
    lines = {label: rows_pruned(store.frame("pruning", label)) for label in readings}
    timed = {
        label: [
            (line, int(vines_in(reading, line, living_vines(reading, first.season)).sum())) for line in lines[label]
        ]
        for label, reading in readings.items()
    }
    everywhere = [pair for pairs in timed.values() for pair in pairs]
    jobs = []
    for label, reading in readings.items():
        pace = pace_of(timed[label], everywhere, asked.minutes)
        own = [job_of_pruning(reading, first.season, lines[label], since, day, pace)]
        if Measure.LONG_FIRST in asked.measures:
            pace = first_cut_pace(timed[label], everywhere, asked.first_cut_minutes, costs[label])
            own = [*two_passes(reading, first.season, lines[label], since, day, own[0], pace)]
        own.append(job_of_renewal(reading, first.season, costs[label]))
        if Measure.PROTECT in asked.measures:
            pace = protect_pace(asked.protect_minutes, costs[label])
            # The final cut takes the wounds of the first away: these are not protected.
            own = [job if job.kind is JobKind.FIRST_CUT else protected(job, pace) for job in own]
        jobs += own
    return jobs


def _worth(job: Job, reading: BlockReading, costs: Costs) -> float | None:
    """Return the crop of a job's vines in money; None without prices or spacing."""
    grid = reading.grid
    if not costs.enough or grid.assumed_spacing:
        return None
    hectares = job.vines * grid.row_spacing_m * grid.vine_spacing_m / 10_000
    return hectares * costs["yield_t_ha"] * costs["price_per_t"]
