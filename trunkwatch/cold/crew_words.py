"""The crew's winter in sentences and lines: weeks or ranked days first, the parts side by side, what it stands on last."""

import datetime as dt
from collections.abc import Mapping, Sequence
from types import MappingProxyType

from trunkwatch.cold.ahead_words import FORECAST_MARK, left_out_lines
from trunkwatch.cold.crew_plan import RESAMPLES, SMALL_DAYS, CrewPlan, Part, PartOfPlan, Week
from trunkwatch.cold.pace import ENOUGH_LINES, ENOUGH_VINES, Job, JobKind, Pace, PaceFrom, RowLeft
from trunkwatch.cold.words import day_range, day_words
from trunkwatch.vineyard.plural import number_of
from trunkwatch.winter_model.best_days import ENOUGH_WINTERS, NEAR_BEST

__all__ = ["crew_basis", "crew_lines", "day_range", "job_words", "mark_of", "part_lines", "rows_of_weeks", "week_lines"]

_PARTS: Mapping[Part, str] = MappingProxyType({
    Part.CALENDAR: "Open wounds, if they age by the calendar", Part.WARMTH: "Open wounds, if they age by warmth",
    Part.SPARE_BUDS: "Spare buds", Part.FROST: "Spring frost",
})  # fmt: skip


def job_words(job: Job) -> str:
    """Return the block, and what is done in it where that is not ordinary pruning."""
    if job.kind is JobKind.FIRST_CUT:
        return f"{job.block}, long first cut"
    if job.kind is JobKind.RENEWAL:
        return f"{job.block}, cuts of arms and trunks"
    return job.block if job.first_left is None else f"{job.block}, final cut"


def _hours(hours: float) -> str:
    return f"{hours:.0f} h" if hours >= 10 else f"{hours:.1f} h"


def crew_lines(plan: CrewPlan) -> tuple[str, ...]:
    """Say what is left, whether it fits, and how sure the weeks are."""
    if not plan.jobs:
        return ("Nothing is left to prune this winter.",)
    total = sum(job.hours for job in plan.jobs)
    told = [
        f"Left to do: {_hours(total)} of work; the crew has {plan.crew.hours:g} hours a week on {plan.crew.days} days."
    ]
    if plan.ranked:
        told.append(
            f"That is {SMALL_DAYS} days of this crew or less: here are the best days for all of it in one go, not weeks."
        )
    if sum(plan.undone) > 0:
        late = ", ".join(
            f"{job_words(job)} {_hours(left)}" for job, left in zip(plan.jobs, plan.undone, strict=True) if left > 0
        )
        told.append(
            f"{_hours(sum(plan.undone))} find no week: {late}. More hands, or longer weeks, are needed for those."
        )
    if plan.ranked and plan.ranked[0].regret > NEAR_BEST:
        told.append("No days are good by every part: which are best hangs on what you weigh most.")
    guessed = [job for job in plan.jobs if job.kind is JobKind.PRUNING and job.pace.comes_from is PaceFrom.GUESS]
    if guessed:
        told.append(f"{_minutes(guessed[0].pace)} are {_pace(guessed[0].pace)}.")
    told += _of_measures(plan)
    few = f"; {ENOUGH_WINTERS} are the least to lean on" if plan.winters < ENOUGH_WINTERS else ""
    told.append(
        f"Days that can be worked are those of {number_of(plan.winters, 'past winter')}{_after(plan)}{few}: in {plan.in_time} of them this crew could have worked all of it in time."
    )
    if plan.ahead is not None:
        if plan.ahead.days:
            told.append(f"{FORECAST_MARK} partly your own forecast, not measured.")
        told += left_out_lines(plan.ahead)
    return tuple(told)


def _of_measures(plan: CrewPlan) -> list[str]:
    """Say how many hours double pruning and wound protection add, and where their minutes come from."""
    told = []
    first = [job for job in plan.jobs if job.kind is JobKind.FIRST_CUT]
    if first or any(job.first_left is not None for job in plan.jobs):
        added = (
            f"the long first cut takes {_hours(sum(job.hours for job in first))} of it, {_paces(first)}"
            if first
            else "all vines that are left have had their long first cut"
        )
        told.append(
            f"Double pruning: {added}. The final cut comes in a later week, and is reckoned as slow as one cut alone until you give its minutes (--minutes)."
        )
    safe = [job for job in plan.jobs if job.protect is not None]
    if safe:
        hours = sum(job.vines * job.protect.minutes / 60 for job in safe if job.protect is not None)
        told.append(
            f"Wound protection: {_hours(hours)} of it, {_paces(safe, protect=True)}. Where the hours that you logged hold it already, say 0 minutes (--protect-minutes)."
        )
    return told


def _paces(jobs: Sequence[Job], *, protect: bool = False) -> str:
    """Return minutes a vine of some jobs with where they come from, the largest number of vines first; how many blocks differ is said."""
    counts: dict[Pace, int] = {}
    for job in jobs:
        pace = job.protect if protect and job.protect is not None else job.pace
        counts[pace] = counts.get(pace, 0) + job.vines
    most = max(counts, key=lambda pace: counts[pace])
    others = sorted({pace.minutes for pace in counts} - {most.minutes})
    differ = f"; elsewhere {others[0]:g}" + (f" to {others[-1]:g}" if others[1:] else "") if others else ""
    return f"{_minutes(most)}, {_pace(most, log=not protect)}{differ}"


def _minutes(pace: Pace) -> str:
    return f"{pace.minutes:.3g} minute{'' if pace.minutes == 1 else 's'} a vine"


def _after(plan: CrewPlan) -> str:
    """Say where past winters begin, where a forecast stands before them."""
    if plan.ahead is None or not plan.ahead.days:
        return ""
    return f" after your own forecast to {day_words(plan.ahead.days[-1], year=False)}"


def mark_of(plan: CrewPlan, first: dt.date, last: dt.date) -> str:
    """Return the mark of a week that has forecast days in it."""
    days = plan.ahead.days if plan.ahead is not None else ()
    return FORECAST_MARK if any(first <= day <= last for day in days) else ""


def week_lines(plan: CrewPlan) -> tuple[str, ...]:
    """Return one line a week with work: days, hours, and who is pruned; or one a rank."""
    lines = []
    for number, ranked in enumerate(plan.ranked, start=1):
        parts = ", ".join(f"{_short(part)} {100 * value:.0f} %" for part, value in ranked.parts.items())
        lines.append(
            f"{number}. {day_range(ranked.first, ranked.last)}{mark_of(plan, ranked.first, ranked.last)}: regret {100 * ranked.regret:.0f} % ({parts})"
        )
    for week in plan.weeks:
        work = [
            f"{job_words(job)} {_hours(hours)}"
            for job, hours in zip(plan.jobs, week.hours, strict=True)
            if hours >= 0.05
        ]
        if work:
            lines.append(
                f"{day_range(week.first, week.last)}{mark_of(plan, week.first, week.last)} ({_hours(sum(week.hours))} of {_hours(week.can_work)}): {'; '.join(work)}"
            )
    return tuple(lines)


def _short(part: Part) -> str:
    return {
        Part.CALENDAR: "wounds, calendar",
        Part.WARMTH: "wounds, warmth",
        Part.SPARE_BUDS: "spare buds",
        Part.FROST: "frost",
    }[part]


def part_lines(plan: CrewPlan, money: str) -> tuple[str, ...]:
    """Say each part in its own unit, beside the best plan for it alone; they are not added."""
    return tuple(_part(one, money) for one in plan.parts)


def _part(one: PartOfPlan, money: str) -> str:
    name = _PARTS[one.part]
    if one.part in (Part.CALENDAR, Part.WARMTH):
        return f"{name}: {100 * one.plan:.0f} % of the way from the best days to the worst; the best plan for this alone, {100 * one.best:.0f} %."
    priced = f", about {one.money:,.0f} {money}" if one.money is not None else ""
    if one.part is Part.SPARE_BUDS:
        return f"{name}: {100 * one.plan:.1f} % of the crop given away on the mean{priced}; the best plan for this alone, {100 * one.best:.1f} %."
    return f"{name}: open buds meet it in {100 * one.plan:.0f} % of years{priced}; the best plan for this alone, {100 * one.best:.0f} %."


def crew_basis(plan: CrewPlan) -> tuple[str, ...]:
    """Say what hours and weeks stand on."""
    told = []
    for job in plan.jobs:
        safe = (
            ""
            if job.protect is None
            else f"; and {job.protect.minutes:.1f} to protect wounds, {_pace(job.protect, log=False)}"
        )
        if job.kind is JobKind.RENEWAL:
            told.append(
                f"{job_words(job)}: {job.vines} planned; {job.pace.minutes:.0f} minutes each, {_pace(job.pace)}{safe}."
            )
        else:
            told.append(
                f"{job_words(job)}: {job.vines} vines to {'cut' if job.kind is JobKind.FIRST_CUT else 'prune'}, {job.done} done; {job.pace.minutes:.1f} minutes a vine, {_pace(job.pace)}{safe}."
            )
    for part, blocks in plan.no_say.items():
        told.append(f"{_PARTS[part]}: nothing is known of {', '.join(blocks)}, and nothing of it counts there.")
    if plan.weeks:
        told.append(
            "The parts are not added: the plan keeps the worst of them as small as it can be. Ordinary pruning is weighed by all parts, cuts of arms and "
            "trunks by open wounds alone."
        )
        if any(job.first_left is not None for job in plan.jobs):
            told.append(
                "A long first cut is weighed by spare buds alone: its wounds go with the final cut, whose day counts for wounds and budbreak. That the "
                "final cut waits for the week after is our own rule. How many fewer infections it brings: `trunkwatch cold --with long-first-cut`."
            )
        loose = [job_words(job) for job, share in zip(plan.jobs, plan.firm, strict=True) if share < 0.8]
        told.append(
            f"Drawn anew from past winters {RESAMPLES} times, "
            + (
                f"the weeks move for {', '.join(loose)}: there another week does as well."
                if loose
                else "all keep their weeks."
            )
        )
    told.append(
        "Minutes and limits of days are yours to give (--minutes, --work-above, --work-rain, --work-snow). Plan again when work is done."
    )
    return tuple(told)


def _pace(pace: Pace, *, log: bool = True) -> str:
    """Say where minutes come from; `log` where hours on record can teach them."""
    way = f"log hours ({ENOUGH_LINES} lines, {ENOUGH_VINES} vines) or give the minutes" if log else "give the minutes"
    return {
        PaceFrom.GIVEN: "as you say",
        PaceFrom.BLOCK: f"learned from {pace.vines} vines with hours in this block",
        PaceFrom.VINEYARD: f"learned from {pace.vines} vines with hours in all blocks",
        PaceFrom.COSTS: "as costs has it",
        PaceFrom.GUESS: f"our own guess, no source: {way}",
    }[pace.comes_from]


def rows_of_weeks(plan: CrewPlan) -> list[tuple[Week, list[tuple[Job, float, list[RowLeft]]]]]:
    """Share the rows of each job out over its weeks in walking order: a row that two weeks part stands in both, with its share of vines."""
    left = [[[row.row, float(row.vines)] for row in job.rows] for job in plan.jobs]
    out = []
    for week in plan.weeks:
        lines = []
        for number, (job, hours) in enumerate(zip(plan.jobs, week.hours, strict=True)):
            if hours < 0.05:
                continue
            lines.append((job, hours, _take(left[number], job.vines * hours / job.hours)))
        if lines:
            out.append((week, lines))
    return out


def _take(rows: list[list[object]], vines: float) -> list[RowLeft]:
    taken = []
    while rows and vines > 0.5:
        label, there = str(rows[0][0]), float(str(rows[0][1]))
        now = min(there, vines)
        taken.append(RowLeft(label, round(now)))
        vines -= now
        if there - now < 0.5:
            rows.pop(0)
        else:
            rows[0][1] = there - now
    return [row for row in taken if row.vines]
