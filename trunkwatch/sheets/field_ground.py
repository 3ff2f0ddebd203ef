"""Where the rows of a block lie, as few corners as do, for a phone that proposes where its bearer stands."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.ground import Placed
from trunkwatch.surveys.to_walk import ToWalk

__all__ = ["ground_of"]

#: Positions lie no further than this from the line between the corners, in meters: far below what a phone can tell.
_OFF_M = 0.3
#: Digits of a degree: a centimeter.
_DIGITS = 7


def ground_of(walk: ToWalk) -> dict[str, Any] | None:
    """Return row spacing and, by row label, corners as position, longitude and latitude; None where the block is not on the map.

    Parameters
    ----------
    walk : ToWalk
        The block with its places.
    """
    placed, grid = walk.placed, walk.history.grid
    if not placed:
        return None
    rows = {}
    for row in grid.named:
        if np.isfinite(placed.east_m[row.line, row.stations]).all():
            rows[row.label] = [
                _corner(placed, grid.position, row.line, int(row.stations[k]))
                for k in _corners(placed, row.line, row.stations)
            ]
    return {"row_spacing_m": float(grid.row_spacing_m), "rows": rows} if rows else None


def _corner(placed: Placed, position: NDArray[Any], row: int, cell: int) -> list[float]:
    return [
        int(position[row, cell]),
        round(float(placed.longitude[row, cell]), _DIGITS),
        round(float(placed.latitude[row, cell]), _DIGITS),
    ]


def _corners(placed: Placed, row: int, cells: NDArray[np.int64]) -> list[int]:
    """Return the cells, by their place in the row, between which all others lie evenly and near the straight line."""
    points = np.column_stack([placed.east_m[row, cells], placed.north_m[row, cells]])
    kept, open_pieces = {0, len(cells) - 1}, [(0, len(cells) - 1)]
    while open_pieces:
        low, high = open_pieces.pop()
        if high - low < 2:
            continue
        share = (np.arange(low, high + 1) - low)[:, None] / (high - low)
        off = np.hypot(*(points[low : high + 1] - (points[low] + share * (points[high] - points[low]))).T)
        worst = int(off.argmax())
        if off[worst] > _OFF_M:
            kept.add(low + worst)
            open_pieces += [(low, low + worst), (low + worst, high)]
    return sorted(kept)
