"""A block that is about to be walked: it may have no record of the season yet, or none at all."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.opening import laid_out, records_of_block
from trunkwatch.errors import RecordError
from trunkwatch.history import BlockHistory, BlockRecords, build_history
from trunkwatch.history.landmarks import landmarks
from trunkwatch.store import Store

__all__ = ["ToWalk", "to_walk"]


@dataclass(frozen=True, slots=True)
class ToWalk:
    """The block, its years so far, the season to be walked, and what a scout can steer by."""

    records: BlockRecords
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
    records = records_of_block(store, block)
    grid, _, records = laid_out(records)
    history = build_history(records, grid, "any")
    if season is None and not history.seasons:
        raise RecordError(
            f"block {records.name!r} has no season on record yet: name the one to be walked with --season"
        )
    wanted = season if season is not None else history.seasons[-1]
    if history.seasons and wanted < history.seasons[-1] and wanted in history.seasons:
        history = build_history(records, grid, "any", through=wanted)
    return ToWalk(records, history, wanted, *landmarks(records, grid, wanted))
