"""Runs a course, with its work and without, and puts tables and truth together."""

import numpy as np
from calibration.worlds.course import Course
from calibration.worlds.kinds import BEFORE, NEVER, Block, Future, Simulated, Spells, Truth
from calibration.worlds.run import Run, run
from calibration.worlds.written import written

__all__ = ["simulate"]


def simulate(world: str, block: Block, course: Course) -> Simulated:
    """Return the tables and the truth of one block."""
    real = run(course, block, work=True)
    without = None if course.work is None else _truth(block, run(course, block, work=False), None)
    truth = _truth(block, real, without)
    return Simulated(world, block, written(block, course, real), truth)


def _truth(block: Block, real: Run, without: Truth | None) -> Truth:
    record, after = slice(BEFORE, BEFORE + block.seasons), slice(BEFORE + block.seasons, None)
    seasons = slice(0, block.seasons)
    return Truth(
        seasons=np.arange(block.first, block.first + block.seasons),
        plant=real.plant[record],
        spells=_spells(block, real),
        infected=real.infected[record],
        showing=real.showing[record],
        seen=real.seen[seasons],
        severity=real.severity[record],
        alive=real.alive[record],
        died=real.died[record],
        cold=real.cold[record],
        worked=real.worked,
        future=Future(
            showing=real.showing[after],
            would_note=real.seen[block.seasons :],
            severity=real.severity[after],
            alive=real.alive[after],
            showing_vines=real.showing[after].sum(axis=(1, 2)),
            first_showing=real.new_showing[after],
            noted_vines=(real.seen[block.seasons :] == 1).sum(axis=(1, 2)),
            first_noted=real.new_noted[block.seasons :],
        ),
        without_work=without,
    )


def _spells(block: Block, real: Run) -> Spells:
    """Turn years since planting into seasons."""

    def season(years):
        return np.where(years == NEVER, NEVER, years + block.planted)

    spells = real.spells
    return Spells(
        row=spells["row"],
        station=spells["station"],
        planted=season(spells["planted"]),
        ended=season(spells["ended"]),
        infected_since=season(spells["since"]),
        source=spells["source"],
        stations=block.shape[1],
    )
