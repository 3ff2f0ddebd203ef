"""Where each vine is drawn: metres east and north where coordinates are known, else the block's own."""

import math
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.vineyard.manner import FOOT_M, shown_feet

__all__ = ["NO_COORDINATES", "DrawingFrame", "Placement", "drawing_frame", "nice_length"]

Metres = NDArray[np.float64]

NO_COORDINATES = "no coordinates: drawn in the block's own meters"
#: WGS84: half the long axis in metres, and the square of the eccentricity (NGA.STND.0036).
_LONG_AXIS_M, _ECCENTRICITY2 = 6_378_137.0, 0.00669437999014


class Placement(Protocol):
    """Longitude and latitude of every position, WGS84 degrees, (rows, stations), nan where none."""

    @property
    def longitude(self) -> Metres:
        """Degrees east."""

    @property
    def latitude(self) -> Metres:
        """Degrees north."""


@dataclass(frozen=True, slots=True)
class DrawingFrame:
    """Vines of a block in metres of a plane.

    Attributes
    ----------
    x, y : (rows, stations) float array
        Metres to the right and upwards; nan where there is no position.
    along : (rows, 2) float array
        Unit vector of each row, the way stations grow.
    vine_m, row_m : float
        Spacing along and across, metres.
    north : bool
        Whether upwards is true north.
    origin : (float, float) or None
        Longitude and latitude of (0, 0); None where the block has no coordinates.
    degree_m : (float, float)
        Metres in a degree of longitude and of latitude at the origin.
    note : str
        What a reader must know about the drawing; empty where nothing.
    """

    x: Metres = field(repr=False)
    y: Metres = field(repr=False)
    along: Metres = field(repr=False)
    vine_m: float
    row_m: float
    north: bool
    origin: tuple[float, float] | None = None
    degree_m: tuple[float, float] = (0.0, 0.0)
    note: str = ""

    @property
    def heading(self) -> tuple[float, float]:
        """Unit vector of the rows as a whole, turned so that it never points to the left."""
        total = np.nansum(self.along, axis=0)
        length = float(np.hypot(*total))
        if length < 1e-9:
            return (1.0, 0.0)
        x, y = float(total[0]) / length, float(total[1]) / length
        return (x, y) if (x > 1e-6 or (abs(x) <= 1e-6 and y > 0)) else (-x, -y)


def drawing_frame(
    grid: RowGrid,
    placed: Placement | tuple[Metres, Metres] | None = None,
    *,
    bearing_deg: float | None = None,
    rows_go: str = "right",
) -> DrawingFrame:
    """Lay a block out for drawing.

    Parameters
    ----------
    grid : RowGrid
        The block.
    placed : Placement or (longitude, latitude), optional
        WGS84 degrees, both (rows, stations). False, or nan everywhere, means not known.
    bearing_deg : float, optional
        Clockwise from true north, the way positions grow; used where there are no coordinates.
    rows_go : {"right", "left"}
        Where the next row lies when you face that way; used where there are no coordinates.

    Raises
    ------
    ValueError
        If an array has another shape than the grid, or `rows_go` is neither right nor left.
    """
    if rows_go not in ("right", "left", ""):
        raise ValueError(f"rows_go is {rows_go!r}: right or left is needed")
    degrees = _degrees(grid, placed)
    if degrees is not None:
        return _on_the_ground(grid, *degrees)
    side = -1.0 if rows_go != "left" else 1.0
    x, y = grid.along_m.copy(), side * grid.across_m
    known = bearing_deg is not None and math.isfinite(bearing_deg)
    if known and bearing_deg is not None:
        turn = math.radians(90.0 - bearing_deg)
        x, y = x * math.cos(turn) - y * math.sin(turn), x * math.sin(turn) + y * math.cos(turn)
    note = NO_COORDINATES + (", turned to north" if known else "")
    return _frame(grid, x, y, north=known, note=note)


def _degrees(grid: RowGrid, placed: Placement | tuple[Metres, Metres] | None) -> tuple[Metres, Metres] | None:
    if placed is None or (not isinstance(placed, tuple) and not placed):
        return None
    longitude, latitude = placed if isinstance(placed, tuple) else (placed.longitude, placed.latitude)
    longitude, latitude = np.asarray(longitude, dtype=float), np.asarray(latitude, dtype=float)
    for name, found in (("longitude", longitude), ("latitude", latitude)):
        if found.shape != grid.shape:
            raise ValueError(f"{name} is {found.shape} but the grid is {grid.shape}: the same shape is needed")
    known = grid.exists & np.isfinite(longitude) & np.isfinite(latitude)
    if not known.any():
        return None
    return np.where(known, longitude, np.nan), np.where(known, latitude, np.nan)


def _on_the_ground(grid: RowGrid, longitude: Metres, latitude: Metres) -> DrawingFrame:
    middle = (
        float(np.nanmin(longitude) + np.nanmax(longitude)) / 2,
        float(np.nanmin(latitude) + np.nanmax(latitude)) / 2,
    )
    phi = math.radians(middle[1])
    bulge = 1 - _ECCENTRICITY2 * math.sin(phi) ** 2
    # Lengths of a degree from the two radii of curvature; over 1 km the plane errs by about 3 cm.
    degree_x = math.radians(1) * _LONG_AXIS_M / math.sqrt(bulge) * math.cos(phi)
    degree_y = math.radians(1) * _LONG_AXIS_M * (1 - _ECCENTRICITY2) / bulge**1.5
    x, y = (longitude - middle[0]) * degree_x, (latitude - middle[1]) * degree_y
    unplaced = int(np.count_nonzero(grid.exists & np.isnan(x)))
    note = f"{unplaced} of {int(grid.exists.sum())} positions have no coordinates and are not drawn" if unplaced else ""
    return _frame(grid, x, y, north=True, note=note, origin=middle, degree_m=(degree_x, degree_y))


def _frame(
    grid: RowGrid,
    x: Metres,
    y: Metres,
    *,
    north: bool,
    note: str,
    origin: tuple[float, float] | None = None,
    degree_m: tuple[float, float] = (0.0, 0.0),
) -> DrawingFrame:
    along = np.full((grid.shape[0], 2), np.nan)
    for row in range(grid.shape[0]):
        at = np.flatnonzero(np.isfinite(x[row]))
        if at.size > 1:
            step = np.array([x[row, at[-1]] - x[row, at[0]], y[row, at[-1]] - y[row, at[0]]])
            length = float(np.hypot(*step))
            if length > 0:
                along[row] = step / length
    if np.isnan(along).all():
        along[:] = (1.0, 0.0)
    else:
        usual = np.nanmean(along, axis=0)
        along[np.isnan(along[:, 0])] = usual / max(float(np.hypot(*usual)), 1e-9)
    return DrawingFrame(
        x=x,
        y=y,
        along=along,
        vine_m=grid.vine_spacing_m,
        row_m=grid.row_spacing_m,
        north=north,
        origin=origin,
        degree_m=degree_m,
        note=note,
    )


def nice_length(most_m: float) -> float:
    """Return the longest of 1, 2, 5, 10, 20, 50, ... metres, or feet, that is not over `most_m`, in metres.

    Raises
    ------
    ValueError
        If `most_m` is not positive.
    """
    if not most_m > 0:
        raise ValueError(f"length is {most_m}: more than 0 meters is needed")
    unit = FOOT_M if shown_feet() else 1.0
    most = most_m / unit
    ten: float = 10.0 ** math.floor(math.log10(most))
    return unit * max(step * ten for step in (1.0, 2.0, 5.0) if step * ten <= most * (1 + 1e-9))
