"""What is left to prune of each block this winter, and how many hours it takes: by the crew's own hours where enough are on record.

What measures add to it: `measure_work`.
"""

import datetime as dt
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from trunkwatch.cold.noted import RowsPruned
from trunkwatch.history import BlockReading
from trunkwatch.history.landmarks import landmarks
from trunkwatch.renewal.costs import Costs
from trunkwatch.vineyard.covered import CoverageError, parse_covered

__all__ = [
    "GUESS_MINUTES",
    "Job",
    "JobKind",
    "Pace",
    "PaceFrom",
    "RowLeft",
    "gone_over",
    "job_of_pruning",
    "job_of_renewal",
    "living_vines",
    "pace_of",
    "rows_with",
    "vines_in",
]

Bools = NDArray[np.bool_]
#: Minutes a vine where nobody gave or wrote any: our own guess, no source.
GUESS_MINUTES = 3.0
#: Lines with hours, and vines on them, from which a crew's own pace is taken (our own convention).
ENOUGH_LINES, ENOUGH_VINES = 3, 100
#: Large wounds: cuts that take an arm or a trunk.
_RENEWAL = ("renew_arm", "renew_trunk", "cut_old_trunk")


class JobKind(Enum):
    """Kind of work: ordinary pruning of all vines, a long first cut before it, or cuts of arms and trunks that a plan put on the list."""

    FIRST_CUT = "long first cut"
    PRUNING = "pruning"
    RENEWAL = "renewal cuts"


class PaceFrom(Enum):
    """Where minutes a vine come from."""

    GIVEN = "given"
    BLOCK = "the block's own hours"
    VINEYARD = "hours in other blocks"
    COSTS = "costs"
    GUESS = "a guess"


@dataclass(frozen=True, slots=True)
class Pace:
    """Minutes a vine, where they come from, and the vines that they were learnt from."""

    minutes: float
    comes_from: PaceFrom
    vines: int = 0


@dataclass(frozen=True, slots=True)
class RowLeft:
    """Vines of a row that are still to be pruned."""

    row: str
    vines: int


@dataclass(frozen=True, slots=True)
class Job:
    """Work that is left in one block this winter.

    Attributes
    ----------
    block : str
    kind : JobKind
    vines, done : int
        Vines to do, and done this winter.
    hours : float
    pace : Pace
    rows : tuple of RowLeft
        In the order of the ground.
    protect : Pace or None
        Minutes at each vine on top of `pace`, to protect its wounds; None where that is not asked for.
    first_left : int or None
        Of a final cut after a long first one: vines that still wait for the first; None where there is one cut.
    """

    block: str
    kind: JobKind
    vines: int
    done: int
    hours: float
    pace: Pace
    rows: tuple[RowLeft, ...]
    protect: Pace | None = None
    first_left: int | None = None


def vines_in(reading: BlockReading, line: RowsPruned, living: Bools) -> Bools:
    """Return the living vines of the rows that a line names; what cannot be read names none."""
    out = np.zeros_like(living)
    day = line.date.isoformat()
    try:
        stretches = parse_covered(line.covered, reading.places.labels_on(day))
    except CoverageError:  # the checks name it
        return out
    for part in stretches:
        number = reading.places.row_number(part.row, day)
        if number is None:
            continue
        row = reading.grid.named[number]
        position = np.where(reading.grid.which[row.line] == number, reading.grid.position[row.line], -1)
        first, last = part.first, part.last
        inside = position >= 0
        if first is not None and last is not None:
            inside &= (position >= first) & (position <= last) & ((position - first) % part.step == 0)
        out[row.line] |= inside
    return out & living


def living_vines(reading: BlockReading, season: int) -> Bools:
    """Return the positions that hold a vine."""
    missing, _ = landmarks(reading, season)
    return np.asarray(reading.grid.exists & ~missing)


def pace_of(
    lines: Sequence[tuple[RowsPruned, int]],
    others: Sequence[tuple[RowsPruned, int]],
    given: float | None,
    *,
    first_cut: bool = False,
    otherwise: Pace | None = None,
) -> Pace:
    """Return the minutes a vine of a block.

    Parameters
    ----------
    lines, others : sequence of (RowsPruned, int)
        Lines of the block and of all blocks, each with its vines; of all years.
    given : float, optional
        What the user says outweighs all.
    first_cut : bool
        Whether hours of long first cuts are asked for; those of final cuts otherwise.
    otherwise : Pace, optional
        Where too few hours are on record; our own guess where left out.
    """
    if given is not None:
        return Pace(given, PaceFrom.GIVEN)
    for own, where in ((lines, PaceFrom.BLOCK), (others, PaceFrom.VINEYARD)):
        timed = [(line.hours, vines) for line, vines in own if line.hours and vines and line.first_cut is first_cut]
        vines = sum(count for _, count in timed)
        if len(timed) >= ENOUGH_LINES and vines >= ENOUGH_VINES:
            return Pace(60 * sum(hours for hours, _ in timed) / vines, where, vines)
    return otherwise or Pace(GUESS_MINUTES, PaceFrom.GUESS)


def gone_over(
    reading: BlockReading,
    lines: Sequence[RowsPruned],
    since: dt.date,
    until: dt.date,
    living: Bools,
    *,
    first_cut: bool = False,
) -> Bools:
    """Return the living vines that were cut within some days: finally, or by a long first cut."""
    out = np.zeros_like(living)
    for line in lines:
        if since <= line.date <= until and line.first_cut is first_cut:
            out |= vines_in(reading, line, living)
    return out


def rows_with(reading: BlockReading, vines: Bools) -> tuple[RowLeft, ...]:
    """Return the rows that hold any of some vines, with how many, in the order of the ground."""
    return tuple(
        RowLeft(row.label, int(vines[row.line, row.stations].sum()))
        for row in reading.grid.named
        if vines[row.line, row.stations].any()
    )


def job_of_pruning(
    reading: BlockReading, season: int, lines: Sequence[RowsPruned], since: dt.date, until: dt.date, pace: Pace
) -> Job:
    """Return the ordinary pruning that is left: rows with a final cut on record this winter are done."""
    living = living_vines(reading, season)
    pruned = gone_over(reading, lines, since, until, living)
    left = living & ~pruned
    rows = rows_with(reading, left)
    vines = int(left.sum())
    return Job(reading.records.name, JobKind.PRUNING, vines, int(pruned.sum()), vines * pace.minutes / 60, pace, rows)


def job_of_renewal(reading: BlockReading, season: int, costs: Costs) -> Job:
    """Return the cuts of arms and trunks that are planned up to this winter and not done."""
    planned, done, hours_done = {}, {}, []
    for work in reading.work:  # in order of date
        if work.kind not in _RENEWAL:
            continue
        piece = (work.cell, work.kind, work.arm, work.trunk)
        if work.done:
            done[piece] = work
            hours_done += [work.hours] if work.hours else []
        elif work.status == "planned" and work.season <= season:
            planned[piece] = work
    open_work = [work for piece, work in planned.items() if piece not in done or done[piece].season < work.season]
    if len(hours_done) >= ENOUGH_LINES:
        pace = Pace(60 * float(np.mean(hours_done)), PaceFrom.BLOCK, len(hours_done))
    else:
        pace = Pace(60 * costs["renew_hours"], PaceFrom.COSTS)
    counts: dict[int, int] = {}
    for work in open_work:
        number = int(reading.grid.which[work.cell])
        counts[number] = counts.get(number, 0) + 1
    rows = tuple(RowLeft(reading.grid.named[number].label, counts[number]) for number in sorted(counts))
    hours = sum(work.hours or pace.minutes / 60 for work in open_work)
    finished = sum(work.season == season for work in done.values())
    return Job(reading.records.name, JobKind.RENEWAL, len(open_work), finished, hours, pace, rows)
