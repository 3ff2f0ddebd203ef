"""From a coordinate to the vine it means, or to the vines that it may mean."""

import math
from dataclasses import dataclass

import numpy as np

from trunkwatch.grid import RowGrid
from trunkwatch.ground.placing import NAMING_SHARE, Placed

__all__ = ["NAMING_SHARE", "NearVine", "names_one_vine", "vines_near"]

#: Accuracy taken for a hand-held receiver that tells none (common practice, no source).
UNKNOWN_ACCURACY_M = 5.0


@dataclass(frozen=True, slots=True)
class NearVine:
    """A position and how far it stands from a point."""

    row: str
    position: int
    distance_m: float


def vines_near(
    grid: RowGrid, placed: Placed, longitude: float, latitude: float, accuracy_m: float
) -> tuple[NearVine, ...]:
    """List the positions that a coordinate may mean, the nearest first.

    Parameters
    ----------
    grid, placed
        A block and where it stands.
    longitude, latitude : float
        WGS84 degrees.
    accuracy_m : float
        As the receiver tells it, the radius that about two thirds of fixes fall into; nan for
        unknown.

    Returns
    -------
    tuple of NearVine
        Those within twice the accuracy, and at least those of the place between four vines that
        the point lies in; empty if it lies outside the block, or the block is not placed.

    Raises
    ------
    ValueError
        If a coordinate is not a number or the accuracy is below 0.
    """
    if not (math.isfinite(longitude) and math.isfinite(latitude)):
        raise ValueError(f"longitude {longitude}, latitude {latitude}: degrees are needed")
    if accuracy_m < 0:
        raise ValueError(f"accuracy is {accuracy_m} m: 0 or more is needed, or nan for unknown")
    if placed.frame is None:
        return ()
    accuracy = UNKNOWN_ACCURACY_M if math.isnan(accuracy_m) else accuracy_m
    east, north = placed.frame.points(np.array([[longitude, latitude]]))[0]
    away = np.hypot(placed.east_m - east, placed.north_m - north)
    radius = max(2 * accuracy, math.hypot(grid.row_spacing_m, grid.vine_spacing_m) / 2)
    cells = np.argwhere(away <= radius)  # nan, no position, is not
    found = [NearVine(*grid.label(int(r), int(s)), distance_m=float(away[r, s])) for r, s in cells]
    return tuple(sorted(found, key=lambda vine: vine.distance_m))


def names_one_vine(
    grid: RowGrid, placed: Placed, longitude: float, latitude: float, accuracy_m: float
) -> NearVine | None:
    """Return the vine that a coordinate alone names, or None.

    It names one only if its accuracy is under 0.3 of the smaller spacing and the vine stands
    within half of that spacing.

    Raises
    ------
    ValueError
        As `vines_near`.
    """
    near = vines_near(grid, placed, longitude, latitude, accuracy_m)
    smaller = min(grid.row_spacing_m, grid.vine_spacing_m)
    sure = accuracy_m < NAMING_SHARE * smaller  # nan is not
    return near[0] if near and sure and near[0].distance_m <= smaller / 2 else None
