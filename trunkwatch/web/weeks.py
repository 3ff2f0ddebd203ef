"""The page of the crew's winter: which rows in which week, ticked off as they are pruned; worked out anew from what is left."""

import datetime as dt
import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from flask import Blueprint, current_app, render_template, request

from trunkwatch.cold.crew_of_store import CrewAsked, crew_plan_of_store
from trunkwatch.cold.crew_plan import Crew, CrewPlan
from trunkwatch.cold.crew_words import (
    crew_basis,
    crew_lines,
    day_range,
    job_words,
    mark_of,
    part_lines,
    rows_of_weeks,
    week_lines,
)
from trunkwatch.cold.noted import RowsPruned, rows_pruned
from trunkwatch.cold.pace import Job, JobKind, RowLeft
from trunkwatch.cold.words import CAUTIONS
from trunkwatch.errors import TrunkwatchError
from trunkwatch.store import Store
from trunkwatch.web.cold import asked_measures, asked_stand_in, choices
from trunkwatch.web.forecasts import forecast_in_use, forecast_lines, without_options
from trunkwatch.web.vineyard import Vineyard, today

__all__ = ["weeks"]

#: Hours a week of all hands and working days a week that the page begins with, and the most that it takes.
HOURS, DAYS = 40.0, 5
MOST_HOURS, MOST_MINUTES = 10_000.0, 240.0
#: Weeks that stand open; those after them are folded, and open where the page is printed.
SOON = 4
#: Days back, and lines, of what was pruned lately.
LATELY_DAYS, MOST_LATELY = 7, 40


class Typed(NamedTuple):
    """What stands in the fields of the form."""

    hours: str
    days: str
    minutes: str
    first_cut_minutes: str
    protect_minutes: str


weeks = Blueprint("weeks", __name__)


@weeks.get("/weeks")
def plan() -> str:
    """Show the weeks."""
    vineyard: Vineyard = current_app.extensions["vineyard"]
    typed = Typed(*(request.args.get(name, "").strip() for name in Typed._fields))
    wrong: list[str] = []
    hours = _number(typed.hours, "Hours a week, all hands", 0.5, MOST_HOURS, wrong)
    days = _number(typed.days, "Working days a week", 1, 7, wrong)
    minutes = _number(typed.minutes, "Minutes a vine", 0.1, MOST_MINUTES, wrong)
    first = _number(typed.first_cut_minutes, "Minutes of the first cut", 0.1, MOST_MINUTES, wrong)
    protect = _number(typed.protect_minutes, "Minutes to protect", 0, MOST_MINUTES, wrong)
    crew = Crew(HOURS if hours is None else hours, DAYS if days is None else round(days))
    shown: dict[str, Any] = {}
    now = dt.date.fromisoformat(today())
    measures, stand_in = asked_measures(), asked_stand_in()
    with Store.open(vineyard.path) as store:
        lately = _lately(store, vineyard.labels(), now)
        if not wrong:
            try:
                wanted = CrewAsked(
                    crew,
                    minutes,
                    stand_in=stand_in,
                    forecast=forecast_in_use(now),
                    measures=measures,
                    first_cut_minutes=first,
                    protect_minutes=protect,
                )
                found, money = crew_plan_of_store(store, now, wanted)
            except TrunkwatchError as error:
                text = without_options(str(error))
                wrong.append(text[:1].upper() + text[1:])
            else:
                shown = _shown(found, money)
    return render_template(
        "weeks_desk.html",
        asked=typed,
        crew=crew,
        wrong=wrong,
        lately=lately,
        cautions=CAUTIONS,
        soon=SOON,
        forecast=forecast_lines(now),
        **choices(measures, stand_in),
        **shown,
    )


def _number(text: str, name: str, least: float, most: float, wrong: list[str]) -> float | None:
    if not text:
        return None
    try:
        value = float(text.replace(",", "."))
    except ValueError:
        value = math.nan
    if not least <= value <= most:
        wrong.append(f"{name}: {text[:20]!r} cannot be; a number from {least:g} to {most:,.0f} is needed.")
        return None
    return value


def _shown(found: CrewPlan, money: str) -> dict[str, Any]:
    """Return what the template shows of a plan."""
    return {
        "lines": [without_options(line) for line in crew_lines(found)],
        "ranked": week_lines(found) if found.ranked else (),
        "parts": part_lines(found, money),
        "basis": [without_options(line) for line in crew_basis(found)],
        "listed": bool(found.weeks),
        "weeks": [
            {
                "title": day_range(week.first, week.last) + mark_of(found, week.first, week.last),
                "hours": f"{sum(week.hours):.0f} of {week.can_work:.0f} hours",
                "work": [_work(job, hours, rows) for job, hours, rows in lines],
            }
            for week, lines in rows_of_weeks(found)
        ]
        or _all_of_it(found),
    }


def _all_of_it(found: CrewPlan) -> list[dict[str, Any]]:
    """Return what is left as one list, where the plan names days and no weeks."""
    work = [_work(job, job.hours, list(job.rows)) for job in found.jobs if job.rows]
    return (
        [{"title": "What is left", "hours": f"{sum(job.hours for job in found.jobs):.0f} hours", "work": work}]
        if work
        else []
    )


def _work(job: Job, hours: float, rows: list[RowLeft]) -> dict[str, Any]:
    whole = {row.row: row.vines for row in job.rows}
    return {
        "block": job.block,
        "words": job_words(job),
        "hours": f"{hours:.1f} h",
        "pruning": job.kind is not JobKind.RENEWAL,
        "cut": "first" if job.kind is JobKind.FIRST_CUT else "",
        "rows": [(row.row, row.vines, row.vines == whole[row.row]) for row in rows],
    }


def _lately(store: Store, labels: Sequence[str], now: dt.date) -> list[tuple[str, RowsPruned]]:
    """Return the rows pruned in the last days, the last first, each with its block."""
    back = dt.timedelta(days=LATELY_DAYS)
    lines = [
        (label, one)
        for label in labels
        for one in rows_pruned(store.frame("pruning", label))
        if now - back <= one.date <= now
    ]
    return sorted(lines, key=lambda line: line[1].date, reverse=True)[:MOST_LATELY]
