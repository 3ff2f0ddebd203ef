"""A block that is about to be walked: it may have no record of the season yet, or none at all."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import read
from trunkwatch.errors import RecordError
from trunkwatch.history import BlockHistory, BlockReading, build_history
from trunkwatch.history.landmarks import landmarks
from trunkwatch.store import Store

__all__ = ["ToWalk", "to_walk"]


@dataclass(frozen=True, slots=True)
class ToWalk:
    """The block, its years so far, the season to be walked, and what a scout can steer by."""

    reading: BlockReading
    history: BlockHistory
    season: int
    missing: NDArray[np.bool_] = field(repr=False)
    young: NDArray[np.bool_] = field(repr=False)


def to_walk(store: Store, block: str | None, season: int | None) -> ToWalk:
    """Read a block for a sheet.

    Parameters
    ----------
    store : Store
        The vineyard.
    block : str, optional
        Label; may be left out where there is only one.
    season : int, optional
        Season to be walked; the last on record where left out.

    Raises
    ------
    TrunkwatchError
        If there is no such block, or no season is named or on record.
    """
    reading, _ = read(store, block)
    history = build_history(reading, "any")
    if season is None and not history.seasons:
        raise RecordError(
            f"block {reading.records.name!r} has no season on record yet: name the one to be scouted with --season"
        )
    wanted = season if season is not None else history.seasons[-1]
    if history.seasons and wanted < history.seasons[-1] and wanted in history.seasons:
        history = build_history(reading, "any", through=wanted)
    return ToWalk(reading, history, wanted, *landmarks(reading, wanted))
