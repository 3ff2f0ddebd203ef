"""What a scout can steer by in the row: places without a vine, and young vines."""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history.plants import plant_after
from trunkwatch.history.reading import BlockReading
from trunkwatch.history.vine import is_young
from trunkwatch.vineyard.calendar import season_bounds

__all__ = ["landmarks"]


def landmarks(reading: BlockReading, season: int) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return the positions without a vine and those with a young one, on record after the work of a season's last day.

    Parameters
    ----------
    reading : BlockReading
        The block's records; no look is needed.
    season : int
        Season to be walked.

    Returns
    -------
    missing, young : (rows, stations) bool arrays
    """
    shape = reading.grid.shape
    missing, young = np.zeros(shape, dtype=bool), np.zeros(shape, dtype=bool)
    end = season_bounds(season, reading.hemisphere)[1]
    for cell, plants in reading.plants.items():
        number = plant_after(plants, end)
        missing[cell] = number < 0
        if number >= 0:
            young[cell] = is_young(plants[number], season, reading.records.planted)
    return missing, young
