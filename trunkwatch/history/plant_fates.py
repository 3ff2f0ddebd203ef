"""What became of plants: those of the first counted season followed to the end, and those found dead."""

from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history.condition import MATURE_LIVING, Condition
from trunkwatch.history.places import Cell
from trunkwatch.history.vine import Vine

__all__ = ["cohort_followed", "deaths_between"]

Flags = NDArray[np.bool_]


def cohort_followed(
    condition: NDArray[np.uint8],
    looked_at: Flags,
    plant: NDArray[np.int16],
    had_case: Flags,
    *,
    seasons: Sequence[int],
    counted: Sequence[int],
    vines: Mapping[Cell, Vine],
) -> tuple[Flags, Flags]:
    """Follow the plants of the first counted season, also when they are dead, gone or renewed.

    Parameters
    ----------
    condition, looked_at, plant, had_case : (seasons, rows, stations) array
        As in `BlockHistory`.
    seasons : sequence of int
        Years of the first axis.
    counted : sequence of int
        Places of the counted seasons on the first axis, in order.
    vines : mapping of cell to Vine
        Positions with more on record than looks.

    Returns
    -------
    ever, lost : (seasons, rows, stations) bool array
        A case by now; living, never a case, and not looked at in this season.
    """
    ever, lost = np.zeros(condition.shape, dtype=bool), np.zeros(condition.shape, dtype=bool)
    if not counted:
        return ever, lost
    first = counted[0]
    cohort = np.isin(condition[first], MATURE_LIVING)
    known = np.zeros(condition.shape[1:], dtype=bool)
    for number in range(first, len(seasons)):
        same = plant[number] == plant[first]
        for cell in zip(*np.nonzero(cohort & ~same & ~known), strict=True):
            known[cell] = _was_case(vines[int(cell[0]), int(cell[1])], int(plant[first][cell]), seasons[number])
        if number in counted:
            known |= cohort & same & had_case[number]
        ever[number] = known
        gone = ~same | (condition[number] == Condition.DEAD)
        lost[number] = cohort & ~known & ~gone & ~looked_at[number]
    return ever, lost


def _was_case(vine: Vine, plant: int, season: int) -> bool:
    """Tell whether a plant that has gone was a case in the season it went."""
    return any(0 < case.counts_from <= season and case.finding.plant == plant for case in vine.cases)


def deaths_between(
    condition: NDArray[np.uint8],
    looked_at: Flags,
    plant: NDArray[np.int16],
    *,
    counted: Sequence[int],
    vines: Mapping[Cell, Vine],
) -> tuple[Flags, Flags]:
    """Compare each counted season with the one before: who was alive then, and is dead now.

    Parameters
    ----------
    condition, looked_at, plant, counted, vines
        As in `cohort_followed`.

    Returns
    -------
    died, risk : (seasons, rows, stations) bool array
        Plants that died since the last counted season; those seen alive then and looked at now.
    """
    died, risk = np.zeros(condition.shape, dtype=bool), np.zeros(condition.shape, dtype=bool)
    alive = (*MATURE_LIVING, Condition.YOUNG)
    for before, now in pairwise(counted):
        seen_alive = np.isin(condition[before], alive)
        same = plant[now] == plant[before]
        dead = same & (condition[now] == Condition.DEAD)
        for cell in zip(*np.nonzero(seen_alive & ~same), strict=True):
            dead[cell] = _left_dead(vines[int(cell[0]), int(cell[1])], int(plant[before][cell]))
        risk[now] = seen_alive & looked_at[now] & (same | dead)
        died[now] = risk[now] & dead
    return died, risk


def _left_dead(vine: Vine, plant: int) -> bool:
    spell = vine.plants[plant]
    return spell.died or any(spell.since <= day <= spell.until for day in vine.deaths)
