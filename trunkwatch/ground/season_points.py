"""A season of a block as points on the ground, for other programs."""

from typing import TYPE_CHECKING

import numpy as np

from trunkwatch.errors import RecordError
from trunkwatch.ground.placing import Placed

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from trunkwatch.history import BlockHistory

__all__ = ["season_frame"]


def season_frame(history: "BlockHistory", placed: Placed, season: int) -> "GeoDataFrame":
    """Return one point per position with its condition in a season, for GeoJSON or GeoParquet.

    Returns
    -------
    GeoDataFrame
        Columns block, row, position, season, condition (the word), looked_at, geometry; EPSG:4326.

    Raises
    ------
    RecordError
        If the block is not placed, or has no such season.
    """
    # Three quarters of a second that only an export has to wait for.
    import geopandas

    from trunkwatch.history import Condition

    if not placed:
        raise RecordError(f"{placed.reason}; expected: coordinates in the blocks table, or at the ends of its rows")
    year, grid = history.index_of(season), history.grid
    cells = [(int(row), int(station)) for row, station in np.argwhere(grid.exists)]
    labels = [grid.label(*cell) for cell in cells]
    data = {
        "block": [history.block] * len(cells),
        "row": [row for row, _ in labels],
        "position": [position for _, position in labels],
        "season": [season] * len(cells),
        "condition": [Condition(int(history.condition[year][cell])).word for cell in cells],
        "looked_at": [bool(history.looked_at[year][cell]) for cell in cells],
    }
    points = geopandas.points_from_xy(placed.longitude[grid.exists], placed.latitude[grid.exists])
    return geopandas.GeoDataFrame(data, geometry=points, crs="EPSG:4326")
