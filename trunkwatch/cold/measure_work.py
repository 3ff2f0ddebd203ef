"""What measures add to the work of a winter: a long first cut is a pass of its own, protection takes minutes at every vine.

Nobody has published minutes of either; the user's own stand before hours on record, these before costs, and our own guess stands last.
The final cut after a long first one is reckoned as slow as one cut alone until somebody says otherwise: a measure saves no hours by itself.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from trunkwatch.cold.noted import RowsPruned
from trunkwatch.cold.pace import Job, JobKind, Pace, PaceFrom, gone_over, living_vines, pace_of, rows_with
from trunkwatch.history import BlockReading
from trunkwatch.renewal.costs import Costs

__all__ = ["GUESS_FIRST_CUT", "GUESS_PROTECT", "first_cut_pace", "protect_pace", "protected", "two_passes"]

#: Minutes a vine where nobody gave or wrote any: our own guesses, no source.
GUESS_FIRST_CUT, GUESS_PROTECT = 1.0, 0.5


def first_cut_pace(
    lines: Sequence[tuple[RowsPruned, int]], others: Sequence[tuple[RowsPruned, int]], given: float | None, costs: Costs
) -> Pace:
    """Return the minutes of a long first cut a vine; parameters as `pace_of`."""
    return pace_of(
        lines, others, given, first_cut=True, otherwise=_written("first_cut_minutes", GUESS_FIRST_CUT, costs)
    )


def protect_pace(given: float | None, costs: Costs) -> Pace:
    """Return the minutes that protecting the wounds of a vine takes."""
    return Pace(given, PaceFrom.GIVEN) if given is not None else _written("protect_minutes", GUESS_PROTECT, costs)


def _written(name: str, guess: float, costs: Costs) -> Pace:
    return Pace(guess, PaceFrom.GUESS) if name in costs.missing else Pace(costs[name], PaceFrom.COSTS)


def protected(job: Job, pace: Pace) -> Job:
    """Return a job whose wounds are protected at once, with the minutes that this takes at every vine."""
    return replace(job, hours=job.hours + job.vines * pace.minutes / 60, protect=pace)


def two_passes(
    reading: BlockReading,
    season: int,
    lines: Sequence[RowsPruned],
    since: dt.date,
    until: dt.date,
    final: Job,
    pace: Pace,
) -> tuple[Job, Job]:
    """Return the long first cut that is left of a block, and its final cut, which waits for the first.

    Parameters
    ----------
    reading, season, lines, since, until
        As `job_of_pruning` takes them.
    final : Job
        What is left to prune.
    pace : Pace
        Of the first cut.
    """
    living = living_vines(reading, season)
    first = gone_over(reading, lines, since, until, living, first_cut=True)
    left = living & ~first & ~gone_over(reading, lines, since, until, living)
    rows, vines = rows_with(reading, left), int(left.sum())
    waiting = {row.row for row in rows}
    # Rows that have had their first cut are ready: the crew finishes these before the others.
    ready = sorted(final.rows, key=lambda row: row.row in waiting)
    return (
        Job(final.block, JobKind.FIRST_CUT, vines, int(first.sum()), vines * pace.minutes / 60, pace, rows),
        replace(final, rows=tuple(ready), first_left=vines),
    )
