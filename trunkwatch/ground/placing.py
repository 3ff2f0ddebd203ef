"""From the row grid of a block to the ground: where each of its positions stands."""

import math
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from trunkwatch.grid import RowGrid
from trunkwatch.ground.block_frame import BlockFrame, Points, degrees_of, directions
from trunkwatch.vineyard.tables import Record, number_in, records_of

__all__ = ["Placed", "place"]


@dataclass(frozen=True, slots=True, eq=False)
class Placed:
    """Where the positions of a grid stand on the earth; false where that is not known.

    Attributes
    ----------
    longitude, latitude : (rows, stations) float array
        WGS84 degrees; nan where there is no position, everywhere if the block cannot be placed.
    east_m, north_m : (rows, stations) float array
        The same in metres from the block's first vine.
    frame : BlockFrame or None
        The frame those metres are in.
    reason : str
        Why the block cannot be placed; empty if it is.
    """

    longitude: Points = field(repr=False)
    latitude: Points = field(repr=False)
    east_m: Points = field(repr=False)
    north_m: Points = field(repr=False)
    frame: BlockFrame | None = None
    reason: str = ""

    def __bool__(self) -> bool:
        return not self.reason


def place(grid: RowGrid, block: Record, rows: pd.DataFrame | None = None) -> Placed:
    """Put the positions of a grid on the earth.

    Parameters
    ----------
    grid : RowGrid
        Rows and positions.
    block : mapping
        The block's record; longitude and latitude are those of the first position of its first row.
    rows : DataFrame, optional
        The rows the grid was made of. Rows with coordinates at both ends are then laid from one
        end to the other, so that rows that fan out lie as they do on the ground.

    Returns
    -------
    Placed
        False, with a reason, where the block has no coordinates, bearing, side or spacings.
    """
    reason = _why_not_placed(grid, block)
    if reason:
        empty = np.full(grid.shape, np.nan)
        return Placed(empty, empty, empty, empty, None, reason)
    frame = BlockFrame(number_in(block, "longitude"), number_in(block, "latitude"))
    along, right = directions(number_in(block, "row_bearing_deg"))
    origin = grid.cell(grid.rows[0], int(grid.first[0]))
    away = -right if block.get("rows_go") == "left" else right
    far, out = grid.along_m - grid.along_m[origin], grid.across_m - grid.across_m[origin]
    east, north = (far * along[axis] + out * away[axis] for axis in (0, 1))
    if rows is not None:
        _lay_between_ends(grid, rows, frame, east, north)
    longitude, latitude = frame.to_degrees(east, north)
    return Placed(longitude, latitude, east, north, frame)


def _why_not_placed(grid: RowGrid, block: Record) -> str:
    name = f"block {grid.block!r}"
    for column in ("longitude", "latitude", "row_bearing_deg"):
        if math.isnan(number_in(block, column)):
            return f"{name} has no {column}"
    if len(grid.labels) > 1 and block.get("rows_go") not in ("left", "right"):
        return f"{name} has no rows_go: it could lie on either side of its first row"
    return f"{name} has no vine_spacing_m and row_spacing_m" if grid.assumed_spacing else ""


def _lay_between_ends(grid: RowGrid, rows: pd.DataFrame, frame: BlockFrame, east: Points, north: Points) -> None:
    """Move the rows that have coordinates at both ends onto the line between them."""
    ends = [f"{end}_{axis}" for end in ("start", "end") for axis in ("longitude", "latitude")]
    own = rows[(rows["block"] == grid.block) & rows["row"].isin(grid.labels) & rows[ends].notna().all(axis=1)]
    for record in records_of(own):
        start, end = (frame.points(degrees_of([record], end))[0] for end in ("start_", "end_"))
        row = grid.rows.index(record["row"])
        first, last = (grid.cell(record["row"], int(side[row])) for side in (grid.first, grid.last))
        if first == last or np.isnan([*start, *end]).any():
            continue
        share = (grid.along_m[row] - grid.along_m[first]) / (grid.along_m[last] - grid.along_m[first])
        east[row], north[row] = (start[axis] + share * (end[axis] - start[axis]) for axis in (0, 1))
