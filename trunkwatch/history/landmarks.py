"""What a scout can steer by in the row: places without a vine, and young vines."""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history.block_history import BlockRecords
from trunkwatch.history.places import Places
from trunkwatch.history.plants import plant_on, plants_of
from trunkwatch.history.vine import is_young
from trunkwatch.vineyard.calendar import hemisphere_of, season_bounds

__all__ = ["landmarks"]


def landmarks(records: BlockRecords, grid: RowGrid, season: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the positions without a vine and those with a young one, on record by the end of a season.

    Parameters
    ----------
    records, grid : BlockRecords, RowGrid
        The block and its rows; no look is needed.
    season : int
        Season to be walked.

    Returns
    -------
    missing, young : (rows, stations) bool arrays
    """
    hemisphere = hemisphere_of(records.block)
    places = Places(grid, records.rows, records.block)
    missing, young = np.zeros(grid.shape, dtype=bool), np.zeros(grid.shape, dtype=bool)
    end = season_bounds(season, hemisphere)[1]
    for cell, plants in plants_of(records, places, hemisphere).items():
        number = plant_on(plants, end)
        missing[cell] = number < 0
        if number >= 0:
            young[cell] = is_young(plants[number], season, records.planted)
    return missing, young
