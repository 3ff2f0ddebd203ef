"""What a decision needs to know of each vine."""

import math

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import BlockSeason
from trunkwatch.block.vine_now import VineNow, vines_now
from trunkwatch.history import Condition
from trunkwatch.history.places import Cell
from trunkwatch.history.plants import plant_after
from trunkwatch.history.vine_part import PartKind
from trunkwatch.renewal.plan import VineFacts
from trunkwatch.renewal.states import State

__all__ = ["facts_of_vines", "known_day"]


#: Winters since the cut that a state holds; the seasons' conditions miss one where a part was seen dead and cut in one winter.
_WINTERS: dict[int, int] = {
    State.RENEWED_1: 1, State.RENEWED_2: 2, State.RENEWED_3: 3, State.RENEWED_4: 4, State.ARM_1: 1, State.ARM_2: 2,
}  # fmt: skip


def known_day(season: BlockSeason) -> str:
    """Return the day up to which it is known what was pulled and planted: as with cuts, as soon as it is written."""
    return min(season.known_until, max(season.as_of, season.reading.last_day))


def facts_of_vines(season: BlockSeason, states: NDArray[np.uint8]) -> list[VineFacts]:
    """Gather the facts of every vine that is not simply sound.

    Parameters
    ----------
    season : BlockSeason
        The block up to the season that has just been looked at.
    states : (rows, stations) uint8 array
        As `trunkwatch.renewal.states.initial_states` gives them.
    """
    exists, day = season.history.grid.exists, known_day(season)
    now = {
        cell: vine
        for cell, vine in vines_now(season).items()
        if _plant_after(season, cell, day) == _plant_after(season, cell, season.as_of)
    }
    wanted = exists & (states != State.SOUND)
    for cell, vine in now.items():
        wanted[cell] |= bool(vine.damages or vine.doubted or vine.untidy) and bool(exists[cell])
    return [
        _facts(season, (row, station), int(states[row, station]), now.get((row, station)), day)
        for row, station in np.argwhere(wanted).tolist()
    ]


def _facts(season: BlockSeason, cell: Cell, state: int, now: VineNow | None, day: str) -> VineFacts:
    trained = max(_trained(season, cell, day), _WINTERS.get(state, 0))
    if now is None:
        many = 2 if str(season.block.get("training") or "") == "multi_trunk" else 1
        return VineFacts(cell, state, total_trunks=many, grafted=season.grafted, trained=trained)
    history = season.history
    before = history.had_case[season.index - 1][cell] if season.index else False
    return VineFacts(
        cell,
        state,
        frozenset(f.part.arm for f in now.open if f.part.kind is PartKind.ARM),
        frozenset(f.part.trunk for f in now.open if f.part.kind in (PartKind.TRUNK, PartKind.UNSAID)),
        now.trunks,
        math.nan if now.percent is None else now.percent,
        now.shoot,
        season.grafted,
        math.nan if now.stain_cm is None else now.stain_cm,
        trained,
        now.untidy,
        bool(history.had_case[season.index][cell] and not before),
        math.nan if now.share is None else now.share,
        now.last_seen,
        now.shoot_seen,
        bool(now.doubted) and not now.open,
        bool(now.damages),
        now.shoot_quality,
    )


def _plant_after(season: BlockSeason, cell: Cell, day: str) -> int:
    return plant_after(season.reading.vine(cell).plants, day)


def _trained(season: BlockSeason, cell: Cell, day: str) -> int:
    """Count the winters since a renewal or replant of the plant there now that still is in training; 0 for none."""
    years = slice(None, season.index + 1), *cell
    number = _plant_after(season, cell, day)
    run = 0
    for one, plant in zip(season.history.condition[years][::-1], season.history.plant[years][::-1], strict=True):
        if one not in (Condition.RENEWED, Condition.YOUNG) or plant != number:
            break
        run += 1
    return run
