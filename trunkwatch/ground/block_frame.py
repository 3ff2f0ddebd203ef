"""Metres in a frame of the block's own.

An azimuthal equidistant projection on the WGS84 ellipsoid, centred on the block's first vine: over
a kilometre it keeps distances and bearings to well under a centimetre, where UTM errs by 16 cm in
400 m.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from trunkwatch.vineyard.tables import Record, number_in

if TYPE_CHECKING:
    from pyproj import Proj

__all__ = ["BlockFrame", "Points", "degrees_of", "directions"]

Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BlockFrame:
    """Metres east and north of a point, true to a centimetre over a kilometre."""

    longitude: float
    latitude: float

    def _projection(self) -> "Proj":
        from pyproj import Proj  # loaded where a point is turned: most commands turn none

        return Proj(proj="aeqd", lon_0=self.longitude, lat_0=self.latitude, ellps="WGS84")

    def to_metres(self, longitude: Points, latitude: Points) -> tuple[Points, Points]:
        """Return metres east and north; nan stays nan."""
        return _known(self._projection(), longitude, latitude, inverse=False)

    def points(self, degrees: Points) -> Points:
        """Return (n, 2) longitudes and latitudes as (n, 2) metres east and north."""
        return np.column_stack(self.to_metres(degrees[:, 0], degrees[:, 1]))

    def to_degrees(self, east_m: Points, north_m: Points) -> tuple[Points, Points]:
        """Return longitude and latitude; nan stays nan."""
        return _known(self._projection(), east_m, north_m, inverse=True)


def _known(projection: "Proj", x: Points, y: Points, *, inverse: bool) -> tuple[Points, Points]:
    x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    first, second = np.full(x.shape, np.nan), np.full(x.shape, np.nan)
    there = ~(np.isnan(x) | np.isnan(y))
    first[there], second[there] = projection(x[there], y[there], inverse=inverse)
    return first, second


def degrees_of(records: Sequence[Record], prefix: str = "") -> Points:
    """Return (records, 2) longitudes and latitudes."""
    columns = (f"{prefix}longitude", f"{prefix}latitude")
    return np.array([[number_in(record, column) for column in columns] for record in records]).reshape(-1, 2)


def directions(bearing_deg: float) -> tuple[Points, Points]:
    """Return unit vectors (east, north) along a bearing and to its right."""
    sine, cosine = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    return np.array([sine, cosine]), np.array([cosine, -sine])
