"""From the row grid of a block to the ground: where each of its positions stands."""

import math
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd

from trunkwatch.grid import RowGrid
from trunkwatch.ground.block_frame import BlockFrame, Points, degrees_of, directions
from trunkwatch.vineyard.tables import Record, number_in, records_of

__all__ = ["NAMING_SHARE", "Placed", "on_the_ground", "place"]

#: A coordinate names a vine only if its accuracy is under this share of the smaller spacing.
NAMING_SHARE = 0.3
_ENDS = [f"{end}_{axis}" for end in ("start", "end") for axis in ("longitude", "latitude")]


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
    surveyed : tuple of str
        Rows that lie where the points of their plants lie, since they may curve.
    """

    longitude: Points = field(repr=False)
    latitude: Points = field(repr=False)
    east_m: Points = field(repr=False)
    north_m: Points = field(repr=False)
    frame: BlockFrame | None = None
    reason: str = ""
    surveyed: tuple[str, ...] = ()

    def __bool__(self) -> bool:
        return not self.reason


def place(grid: RowGrid, block: Record, rows: pd.DataFrame | None = None, plants: pd.DataFrame | None = None) -> Placed:
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
    plants : DataFrame, optional
        Plants of the block. A row without coordinates at its ends, in which two plants or more have a coordinate sharp
        enough to name a vine, goes through these points, curves and all; positions between them stand between them.

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
    origin = grid.cell(grid.named[0].label, grid.named[0].first)
    away = -right if block.get("rows_go") == "left" else right
    far, out = grid.along_m - grid.along_m[origin], grid.across_m - grid.across_m[origin]
    east, north = (far * along[axis] + out * away[axis] for axis in (0, 1))
    if rows is not None:
        _lay_between_ends(grid, rows, frame, east, north)
    surveyed = () if plants is None else _lay_on_points(grid, rows, plants, frame, east, north)
    longitude, latitude = frame.to_degrees(east, north)
    return Placed(longitude, latitude, east, north, frame, surveyed=surveyed)


def on_the_ground(grid: RowGrid, placed: Placed) -> RowGrid:
    """Return the grid with the places of surveyed rows, so that neighbors across are the vines beside each other there."""
    return replace(grid, ground_m=(placed.east_m, placed.north_m)) if placed.surveyed else grid


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
    ends = rows[(rows["block"] == grid.block) & rows["row"].isin(grid.labels) & rows[_ENDS].notna().all(axis=1)]
    for record in records_of(ends):
        start, end = (frame.points(degrees_of([record], end))[0] for end in ("start_", "end_"))
        own = grid.row(record["row"])
        first, last = (own.line, own.stations[0]), (own.line, own.stations[-1])
        if first == last or np.isnan([*start, *end]).any():
            continue
        here = (own.line, own.stations)
        share = (grid.along_m[here] - grid.along_m[first]) / (grid.along_m[last] - grid.along_m[first])
        east[here], north[here] = (start[axis] + share * (end[axis] - start[axis]) for axis in (0, 1))


def _lay_on_points(
    grid: RowGrid, rows: pd.DataFrame | None, plants: pd.DataFrame, frame: BlockFrame, east: Points, north: Points
) -> tuple[str, ...]:
    """Lay rows without measured ends through the points of their plants; return their labels."""
    sharp = plants["longitude"].notna() & plants["latitude"].notna()
    sharp &= plants["accuracy_m"] < NAMING_SHARE * min(grid.vine_spacing_m, grid.row_spacing_m)
    own = plants[sharp & plants["row"].isin(grid.labels) & plants["position"].str.fullmatch(r"\d{1,6}")]
    if own.empty:
        return ()
    straight = set() if rows is None else set(rows.loc[rows[_ENDS].notna().all(axis=1), "row"])
    metres = frame.points(own[["longitude", "latitude"]].to_numpy(dtype=float))
    labels, positions = own["row"].to_numpy(), own["position"].astype(int).to_numpy()
    done = []
    for row in grid.named:
        here = np.flatnonzero(labels == row.label) if row.label not in straight else np.array([], dtype=int)
        cells = {position: int(station) for position, station in enumerate(row.stations, row.first)}
        # A later plant of a position stands where the one before did: the last point written counts.
        at = {cells[int(positions[n])]: metres[n] for n in here if int(positions[n]) in cells}
        if len(at) < 2:
            continue
        stations = np.array(sorted(at))
        known = grid.along_m[row.line, stations]
        every = np.sort(row.stations)
        for axis, values in enumerate((east, north)):
            own_m = np.array([at[station][axis] for station in stations.tolist()])
            values[row.line, every] = _through(grid.along_m[row.line, every], known, own_m)
        done.append(row.label)
    return tuple(done)


def _through(wanted: Points, known: Points, values: Points) -> Points:
    """Return values between known ones, and beyond the first and last as they go on from there."""
    found = np.interp(wanted, known, values)
    few = min(4, known.size - 1)
    for out, start, stop in ((wanted < known[0], 0, few), (wanted > known[-1], -1, -1 - few)):
        slope = (values[stop] - values[start]) / (known[stop] - known[start])
        found[out] = values[start] + slope * (wanted[out] - known[start])
    return found
