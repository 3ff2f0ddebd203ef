"""A block that is about to be walked: it may have no record of the season yet, or none at all."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import read
from trunkwatch.errors import RecordError
from trunkwatch.ground import Placed
from trunkwatch.history import BlockHistory, BlockReading, build_history
from trunkwatch.history.landmarks import landmarks
from trunkwatch.store import Store

__all__ = ["ToWalk", "last_noted", "to_walk"]


@dataclass(frozen=True, slots=True)
class ToWalk:
    """The block, its years so far, the season to be walked, what a scout can steer by, and where its vines stand on the earth, if that is known."""

    reading: BlockReading
    history: BlockHistory
    season: int
    missing: NDArray[np.bool_] = field(repr=False)
    young: NDArray[np.bool_] = field(repr=False)
    placed: Placed | None = field(default=None, repr=False)


def last_noted(reading: BlockReading) -> int | None:
    """Return the last season in which anything was looked at, seen or done; None where nothing was.

    A plan runs over years ahead: what it puts off to a later winter makes that winter no season on record.
    """
    found = {look.season for look in reading.looks}
    found |= {finding.season for finding in (*reading.findings, *reading.second_findings)}
    found |= {work.season for work in reading.work if work.done}
    return max(found, default=None)


def to_walk(store: Store, block: str | None, season: int | None) -> ToWalk:
    """Read a block for a sheet.

    Parameters
    ----------
    store : Store
        The vineyard.
    block : str, optional
        Label; may be left out where there is only one.
    season : int, optional
        Season to be walked; where left out the last in which anything was looked at or done (`last_noted`).

    Raises
    ------
    TrunkwatchError
        If there is no such block, or no season is named or on record.
    """
    reading, placed = read(store, block)
    history = build_history(reading, "any")
    if season is None and not history.seasons:
        raise RecordError(
            f"block {reading.records.name!r} has no season on record yet: name the one to be scouted with --season"
        )
    wanted = season if season is not None else last_noted(reading) or history.seasons[-1]
    if history.seasons and wanted < history.seasons[-1] and wanted in history.seasons:
        history = build_history(reading, "any", through=wanted)
    return ToWalk(reading, history, wanted, *landmarks(reading, wanted), placed)
