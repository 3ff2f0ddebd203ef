"""trunkwatch weeks."""

import datetime as dt
from pathlib import Path
from typing import Any

import click

from trunkwatch.cli.folding import day_option, say_folded
from trunkwatch.cli.forecast_file import days_ahead, forecast_options
from trunkwatch.cli.options import (
    details_option,
    emit_json,
    json_option,
    out_option,
    seed_option,
    today,
    vineyard_argument,
    write_page,
)
from trunkwatch.cli.winter_options import winter_options


@click.command("weeks")
@vineyard_argument
@click.option(
    "--crew-hours",
    type=click.FloatRange(0, min_open=True),
    required=True,
    metavar="H",
    help="Hours a week of all hands together.",
)
@click.option(
    "--work-days", type=click.IntRange(1, 7), default=5, show_default=True, help="Days a week, from Monday on."
)
@click.option(
    "--minutes",
    type=click.FloatRange(0, min_open=True),
    metavar="MIN",
    help="Minutes a vine.  [default: learned from logged hours]",
)
@click.option(
    "--with",
    "measures",
    multiple=True,
    type=click.Choice(["long-first-cut", "wound-protection"]),
    help="Count the hours of double pruning or wound protection; may be repeated.",
)
@click.option(
    "--first-cut-minutes",
    type=click.FloatRange(0, min_open=True),
    metavar="MIN",
    help="Minutes of a long first cut a vine.  [default: learned, costs.csv, or a guess]",
)
@click.option(
    "--protect-minutes",
    type=click.FloatRange(0),
    metavar="MIN",
    help="Minutes to protect the wounds of a vine.  [default: costs.csv, or a guess]",
)
@click.option("--date", "day", default="", metavar="DATE", help="First day to plan, YYYY-MM-DD.  [default: today]")
@click.option(
    "--until", default="", metavar="DATE", help="Last day to plan.  [default: 30 April, or 30 October in the south]"
)
@click.option(
    "--frost-takes",
    type=click.FloatRange(0, 100),
    metavar="PCT",
    help="Crop that a frost on open buds takes: puts frost into the money, with prices.",
)
@winter_options
@forecast_options
@seed_option
@out_option
@details_option
@json_option
def command(
    vineyard: Path,
    crew_hours: float,
    work_days: int,
    minutes: float | None,
    measures: tuple[str, ...],
    first_cut_minutes: float | None,
    protect_minutes: float | None,
    first_cut_leaves: float,
    day: str,
    until: str,
    frost_takes: float | None,
    stand_in: str | None,
    most_nodes: float,
    work_above: float,
    work_rain: float,
    work_snow: float,
    forecast: Path | None,
    forecast_units: str,
    forecast_map: tuple[str, ...],
    seed: int,
    out: Path | None,
    details: bool,
    as_json: bool,
) -> None:
    """Say which block the crew prunes in which week of this winter.

    \b
    Over all blocks, from what is left: ordinary pruning, and the cuts of
    arms and trunks that a plan put on the lists. Log what was pruned
    (`trunkwatch log VINEYARD pruning`) and ask again: what is done is not
    planned again. A small vineyard gets its best days instead.

    \b
    Example:
      trunkwatch weeks my_vines --crew-hours 120 --date 2027-01-04
      trunkwatch weeks my_vines --crew-hours 120 --minutes 4 --out weeks.html
      trunkwatch weeks my_vines --crew-hours 120 --forecast week.csv
      trunkwatch weeks my_vines --crew-hours 120 --with long-first-cut
    """
    from trunkwatch.block import open_vineyard
    from trunkwatch.cold.crew_of_store import CrewAsked, crew_plan_of_store
    from trunkwatch.cold.crew_plan import Crew
    from trunkwatch.cold.crew_words import crew_basis, crew_lines, part_lines, week_lines
    from trunkwatch.cold.with_measures import Measure
    from trunkwatch.cold.words import CAUTIONS
    from trunkwatch.winter_model.cultivars import Group
    from trunkwatch.winter_model.workable import Limits

    asked = CrewAsked(
        Crew(crew_hours, work_days),
        minutes,
        Limits(work_above, work_rain, work_snow),
        most_nodes,
        day_option(until, "--until") if until else None,
        None if frost_takes is None else frost_takes / 100,
        Group(stand_in) if stand_in else None,
        days_ahead(forecast, forecast_units, forecast_map),
        tuple(Measure(name) for name in dict.fromkeys(measures)),
        first_cut_minutes,
        protect_minutes,
        first_cut_leaves,
    )
    for minutes_of, measure, option in (
        (first_cut_minutes, Measure.LONG_FIRST, "--first-cut-minutes"),
        (protect_minutes, Measure.PROTECT, "--protect-minutes"),
    ):
        if minutes_of is not None and measure not in asked.measures:
            raise click.UsageError(f"{option} {minutes_of:g} counts nothing without --with {measure.value}: give both")
    with open_vineyard(vineyard) as store:
        plan, money = crew_plan_of_store(store, day_option(day or today(), "--date"), asked, seed=seed)
    if as_json:
        emit_json(_as_data(plan, money))
        return
    if out is not None:
        from trunkwatch.report.weeks_page import weeks_html

        write_page(out, weeks_html(plan, money))
        return
    say_folded(crew_lines(plan), indent="")
    say_folded(week_lines(plan))
    if plan.parts:
        click.echo("Why these weeks: side by side, not added up")
        say_folded(part_lines(plan, money))
    if details:
        say_folded(crew_basis(plan))
    for line in CAUTIONS:
        click.echo(line)


def _as_data(plan: Any, money: str) -> dict[str, Any]:
    from trunkwatch.cold.crew_words import crew_basis, crew_lines, part_lines, week_lines

    def iso(one: dt.date) -> str:
        return one.isoformat()

    def name(one: Any) -> str:
        return str(one.name.lower())

    jobs = [
        {
            "block": job.block,
            "kind": name(job.kind),
            "vines": job.vines,
            "done": job.done,
            "hours": job.hours,
            "minutes_a_vine": job.pace.minutes,
            "pace_from": name(job.pace.comes_from),
            "protect_minutes": None if job.protect is None else job.protect.minutes,
            "protect_from": None if job.protect is None else name(job.protect.comes_from),
            "undone_hours": undone,
            "firm": None if firm != firm else firm,
        }
        for job, undone, firm in zip(
            plan.jobs, plan.undone or [0.0] * len(plan.jobs), plan.firm or [float("nan")] * len(plan.jobs), strict=True
        )
    ]
    return {
        "date": iso(plan.asked),
        "crew_hours": plan.crew.hours,
        "work_days": plan.crew.days,
        "money": money or None,
        "jobs": jobs,
        "weeks": [
            {
                "first": iso(week.first),
                "last": iso(week.last),
                "can_work_hours": week.can_work,
                "work": [
                    {"block": job.block, "kind": name(job.kind), "hours": hours}
                    for job, hours in zip(plan.jobs, week.hours, strict=True)
                    if hours > 0
                ],
            }
            for week in plan.weeks
        ],
        "days": [
            {
                "first": iso(one.first),
                "last": iso(one.last),
                "regret": one.regret,
                "parts": [{"part": name(part), "regret": value} for part, value in one.parts.items()],
            }
            for one in plan.ranked
        ],
        "parts": [
            {"part": name(one.part), "plan": one.plan, "best": one.best, "money": one.money} for one in plan.parts
        ],
        "forecast": None
        if plan.ahead is None
        else {
            "days": [iso(one) for one in plan.ahead.days],
            "measured_since": [iso(one) for one in plan.ahead.measured],
        },
        "winters": plan.winters,
        "in_time": plan.in_time,
        "text": [*crew_lines(plan), *week_lines(plan), *part_lines(plan, money), *crew_basis(plan)],
    }
