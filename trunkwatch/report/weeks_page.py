"""The crew's winter as one page to print: a list for each week, rows with a box to tick."""

from trunkwatch.cold.crew_plan import CrewPlan
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
from trunkwatch.cold.words import CAUTIONS
from trunkwatch.report.environment import environment

__all__ = ["weeks_html"]


def weeks_html(plan: CrewPlan, money: str) -> str:
    """Return the page as one HTML file.

    Parameters
    ----------
    plan : CrewPlan
    money : str
        The currency; empty without prices.
    """
    weeks = [
        {
            "title": day_range(week.first, week.last) + mark_of(plan, week.first, week.last),
            "hours": f"{sum(week.hours):.0f} of {week.can_work:.0f} hours",
            "work": [
                (job_words(job), f"{hours:.1f} h", [(row.row, row.vines) for row in rows]) for job, hours, rows in lines
            ],
        }
        for week, lines in rows_of_weeks(plan)
    ]
    return (
        environment()
        .get_template("weeks.html")
        .render(
            lines=crew_lines(plan),
            weeks=weeks,
            ranked=week_lines(plan) if plan.ranked else (),
            parts=part_lines(plan, money),
            basis=crew_basis(plan),
            cautions=CAUTIONS,
        )
    )
