"""Between the row grid of a block and the ground: coordinates to and from rows and positions.

Metres are taken in a frame of the block's own, an azimuthal equidistant projection on the WGS84
ellipsoid centred on its first vine: over a kilometre it keeps distances and bearings to well
under a centimetre, where UTM errs by 16 cm in 400 m.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from pyproj import Proj

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.vineyard.row_layout import (
    fitted_spacing,
    measured_numbering,
    measured_spacing,
    natural_key,
    rows_valid_on,
    runs_other_way,
    shared_bearing,
    sorted_into_rows,
)
from trunkwatch.vineyard.tables import frame_of, number_in, records_of

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

    from trunkwatch.history import BlockHistory

__all__ = [
    "BlockFrame",
    "NearVine",
    "Placed",
    "PointFit",
    "grid_from_points",
    "names_one_vine",
    "place",
    "rows_from_ends",
    "season_frame",
    "vines_near",
    "vines_per_acre",
    "vines_per_hectare",
]

#: A coordinate names a vine only if its accuracy is under this share of the smaller spacing.
NAMING_SHARE = 0.3
#: Accuracy taken for a hand-held receiver that tells none (common practice, no source).
UNKNOWN_ACCURACY_M = 5.0
#: The international acre in square metres: 43,560 square feet of 0.3048 m.
ACRE_M2 = 43_560 * 0.3048**2

Record = Mapping[str, Any]
Points = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class BlockFrame:
    """Metres east and north of a point, true to a centimetre over a kilometre."""

    longitude: float
    latitude: float

    def _projection(self) -> Proj:
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


def _known(projection: Proj, x: Points, y: Points, *, inverse: bool) -> tuple[Points, Points]:
    x, y = np.broadcast_arrays(np.asarray(x, dtype=float), np.asarray(y, dtype=float))
    first, second = np.full(x.shape, np.nan), np.full(x.shape, np.nan)
    there = ~(np.isnan(x) | np.isnan(y))
    first[there], second[there] = projection(x[there], y[there], inverse=inverse)
    return first, second


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


@dataclass(frozen=True, slots=True)
class NearVine:
    """A position and how far it stands from a point."""

    row: str
    position: int
    distance_m: float


@dataclass(frozen=True, slots=True, eq=False)
class PointFit:
    """Rows fitted to a point per vine.

    Attributes
    ----------
    block : dict
        The block with what the points say of it filled in.
    rows : DataFrame
        Its rows, as in the `rows` table.
    grid, placed
        The grid that they make, and where it stands.
    row : tuple of str
        Row of each plant, "" where its coordinate names no vine: ask `vines_near`.
    position : (plants,) int64 array
        Its position, -1 likewise.
    residual_m : (plants,) float array
        Metres from its point to where the fitted row puts the vine; nan where it has no point
        or names no vine. Much more than the accuracy of the points: a slip in its label.
    """

    block: dict[str, Any]
    rows: pd.DataFrame = field(repr=False)
    grid: RowGrid
    placed: Placed = field(repr=False)
    row: tuple[str, ...] = field(repr=False)
    position: NDArray[np.int64] = field(repr=False)
    residual_m: Points = field(repr=False)


def vines_per_hectare(row_spacing_m: float, vine_spacing_m: float) -> float:
    """Return positions per hectare.

    Raises
    ------
    ValueError
        If a spacing is not above 0.
    """
    if not (row_spacing_m > 0 and vine_spacing_m > 0):
        raise ValueError(f"spacings are {row_spacing_m} m and {vine_spacing_m} m: both must be above 0")
    return 10_000 / (row_spacing_m * vine_spacing_m)


def vines_per_acre(row_spacing_m: float, vine_spacing_m: float) -> float:
    """Return positions per international acre; spacings in metres, as everywhere.

    Raises
    ------
    ValueError
        If a spacing is not above 0.
    """
    return vines_per_hectare(row_spacing_m, vine_spacing_m) * ACRE_M2 / 10_000


def _degrees(records: Sequence[Record], prefix: str = "") -> Points:
    """Return (records, 2) longitudes and latitudes."""
    columns = (f"{prefix}longitude", f"{prefix}latitude")
    return np.array([[number_in(record, column) for column in columns] for record in records]).reshape(-1, 2)


def _directions(bearing_deg: float) -> tuple[Points, Points]:
    """Return unit vectors (east, north) along a bearing and to its right."""
    sine, cosine = math.sin(math.radians(bearing_deg)), math.cos(math.radians(bearing_deg))
    return np.array([sine, cosine]), np.array([cosine, -sine])


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
    along, right = _directions(number_in(block, "row_bearing_deg"))
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
    own = rows[(rows["block"] == grid.block) & rows["row"].isin(grid.labels)]
    for record in records_of(own):
        start, end = (frame.points(_degrees([record], end))[0] for end in ("start_", "end_"))
        row = grid.rows.index(record["row"])
        first, last = (grid.cell(record["row"], int(ends[row])) for ends in (grid.first, grid.last))
        if first == last or np.isnan([*start, *end]).any():
            continue
        share = (grid.along_m[row] - grid.along_m[first]) / (grid.along_m[last] - grid.along_m[first])
        east[row], north[row] = (start[axis] + share * (end[axis] - start[axis]) for axis in (0, 1))


def rows_from_ends(block: Record, rows: pd.DataFrame, on: str | None = None) -> tuple[dict[str, Any], pd.DataFrame]:
    """Turn the coordinates of row ends into metres, and the block's bearing and spacings with them.

    Parameters
    ----------
    block : mapping
        The block's record.
    rows : DataFrame
        As the `rows` table: start_longitude, start_latitude of each row's first position, and
        end_longitude, end_latitude of its last.
    on : str, optional
        Day whose row labels are taken, as in `RowGrid.from_tables`.

    Returns
    -------
    block : dict
        With longitude, latitude, row_bearing_deg, rows_go and numbering as measured; spacings are
        filled only where none is written.
    rows : DataFrame
        The rows of that day with start_m, across_m and spacing_m as measured. Without any
        coordinates, block and rows come back as they were.

    Raises
    ------
    RecordError
        If only some rows have coordinates, or they contradict each other or what is written.
    """
    name = str(block["block"])
    records = rows_valid_on(name, rows, on)
    if all(math.isnan(number_in(r, c)) for r in records for c in ("start_longitude", "start_latitude")):
        return dict(block), rows
    orders = [number_in(record, "row_order") for record in records]
    if any(math.isnan(order) for order in orders):
        records = sorted(records, key=lambda record: natural_key(record["row"]))
        # Labels give the side that the rows go to; the ground then gives their order.
        across = _Ends(block, records).across_m
        records = [records[place] for place in np.argsort(across, kind="stable")]
    else:
        records = sorted(records, key=lambda record: number_in(record, "row_order"))
    ends = _Ends(block, records)
    measured = {"across_m": ends.across_m, "start_m": ends.start_m, "spacing_m": ends.spacing_m}
    return ends.block(), frame_of("rows", records).assign(**measured)


class _Ends:
    """Row ends measured in the frame of the first row's first vine.

    Parameters
    ----------
    block : mapping
        The block's record.
    records : sequence of mapping
        Its rows in the order of the ground.
    """

    def __init__(self, block: Record, records: Sequence[Record]) -> None:
        self.written, self.records, self.name = block, records, str(block["block"])
        start = _degrees(records, "start_")
        self._check_known(start)
        self.frame = BlockFrame(*start[0].tolist())
        starts, ends = self.frame.points(start), self.frame.points(_degrees(records, "end_"))
        self.bearing = shared_bearing(block, records, ends - starts)
        along, right = _directions(self.bearing)
        reach = (ends - starts) @ along
        self.numbering = measured_numbering(block, records, reach)
        vine = number_in(block, "vine_spacing_m")
        spaced = [
            measured_spacing(r, float(m), vine, self._where(i))
            for i, (r, m) in enumerate(zip(records, np.abs(reach), strict=True))
        ]
        self.spacing_m, lengths = np.array(spaced).T
        back = np.array(runs_other_way(records, self.numbering))
        self.start_m = starts @ along - np.where(back, lengths, 0.0)
        across = np.where(np.isnan(reach), starts @ right, (starts @ right + ends @ right) / 2)
        self.rows_go = self._side(across - across[0])
        self.across_m = (across - across[0]) * (-1.0 if self.rows_go == "left" else 1.0)

    def _where(self, place: int) -> str:
        return f"block {self.name!r}, row {self.records[place]['row']!r}"

    def _check_known(self, start: Points) -> None:
        unknown = np.flatnonzero(np.isnan(start).any(axis=1))
        if unknown.size:
            raise RecordError(
                f"{self._where(int(unknown[0]))}: start_longitude or start_latitude is ''; "
                "expected: degrees, since other rows have them (or none in any row)"
            )

    def _side(self, across: Points) -> str:
        written = str(self.written.get("rows_go") or "")
        if len(across) < 2:
            return written
        side = "left" if across[-1] < 0 else "right"
        if written and written != side:
            raise RecordError(
                f"block {self.name!r}: rows_go is {written!r}; expected: {side!r}, where row "
                f"{self.records[-1]['row']!r} lies, seen from row {self.records[0]['row']!r}"
            )
        return side

    def block(self) -> dict[str, Any]:
        """Return the block's record with what was measured."""
        found = {
            **self.written, "longitude": self.frame.longitude, "latitude": self.frame.latitude,
            "row_bearing_deg": self.bearing, "rows_go": self.rows_go, "numbering": self.numbering,
        }  # fmt: skip
        known = self.spacing_m[~np.isnan(self.spacing_m)]
        if math.isnan(number_in(found, "vine_spacing_m")) and known.size:
            found["vine_spacing_m"] = float(np.median(known))
        if math.isnan(number_in(found, "row_spacing_m")) and len(self.across_m) > 1:
            found["row_spacing_m"] = float(np.median(np.diff(np.sort(self.across_m))))
        return found


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


def grid_from_points(block: Record, plants: pd.DataFrame) -> PointFit:
    """Fit rows to a point per vine.

    Labelled points are fitted row by row by least squares, alleys included. Where no point has a
    label, those accurate enough to name a vine are sorted into rows "1", "2", ... and positions:
    rows in the direction of rows_go, positions along row_bearing_deg, or, where that is not
    written, along the line on which vines stand closest, towards the eastern half. A gap in such
    a row counts as missing vines: an alley cannot be told from them.

    Parameters
    ----------
    block : mapping
        The block's record; spacings, bearing and numbering are used as far as they are written.
    plants : DataFrame
        Plants of the block, as in the `plants` table.

    Raises
    ------
    RecordError
        If there are too few points, or rows cannot be told apart.
    """
    name, records = str(block["block"]), records_of(plants)
    degrees = _degrees(records)
    accuracy = np.array([number_in(record, "accuracy_m") for record in records])
    there: NDArray[np.bool_] = np.isfinite(degrees.sum(axis=1))
    if there.sum() < 2:
        raise RecordError(f"block {name!r} has {there.sum()} plants with coordinates; expected: two or more")
    frame = BlockFrame(*degrees[there][0].tolist())
    points = frame.points(degrees)
    row = [str(record["row"]) if str(record["position"]).isdecimal() else "" for record in records]
    position = np.array([int(r["position"]) if label else -1 for label, r in zip(row, records, strict=True)])
    if not any(there[plant] for plant, label in enumerate(row) if label):
        row, position = _labelled_by_ground(block, points, accuracy)
    labels = np.array(row, dtype=object)
    fitted = []
    for label in sorted({label for label in row if label}, key=natural_key):
        own = labels == label
        fitted.append(_fitted_row(name, label, position[own], points[own], frame))
    found, rows = rows_from_ends(block, frame_of("rows", fitted))
    grid = RowGrid.from_tables(found, rows)
    placed = place(grid, found, rows)
    fits = np.full(degrees.shape, np.nan)
    for plant in np.flatnonzero(there):
        if not row[plant]:
            lon, lat = degrees[plant].tolist()
            vine = names_one_vine(grid, placed, lon, lat, float(accuracy[plant]))
            row[plant], position[plant] = (vine.row, vine.position) if vine else ("", -1)
        if row[plant]:
            cell = grid.cell(row[plant], int(position[plant]))
            fits[plant] = placed.longitude[cell], placed.latitude[cell]
    residual = np.hypot(*(frame.points(fits) - points).T)
    return PointFit(found, rows, grid, placed, tuple(row), position, residual)


def _fitted_row(block: str, label: str, position: NDArray[np.int64], points: Points, frame: BlockFrame) -> Record:
    """Fit a line through the points of a row, with its spacing and alleys, and return its record."""
    first, last = int(position.min()), int(position.max())
    there = ~np.isnan(points).any(axis=1)
    at, index = np.unique(position[there], return_inverse=True)
    if at.size < 2 and (last > first or not at.size):
        raise RecordError(
            f"block {block!r}, row {label!r} has {at.size} positions with coordinates; expected: 2 or more"
        )
    centre = points[there].mean(axis=0)
    line = np.linalg.svd(points[there] - centre)[2][0]
    metres = np.bincount(index, (points[there] - centre) @ line) / np.bincount(index)
    line, metres = (-line, -metres) if metres[-1] < metres[0] else (line, metres)
    reach, breaks = fitted_spacing(at, metres, first, last)
    ends = centre + np.outer(reach, line)
    longitude, latitude = frame.to_degrees(ends[:, 0], ends[:, 1])
    return {
        "block": block, "row": label, "first": first, "last": last,
        "breaks": "; ".join(f"{p}:{gap:.3f}" for p, gap in breaks.items()),
        "start_longitude": longitude[0], "start_latitude": latitude[0],
        "end_longitude": longitude[1], "end_latitude": latitude[1],
    }  # fmt: skip


def _labelled_by_ground(block: Record, points: Points, accuracy: Points) -> tuple[list[str], NDArray[np.int64]]:
    """Give accurate points a row and a position; "" and -1 to the others."""
    import shapely

    there = np.flatnonzero(~np.isnan(points).any(axis=1))
    cloud = [shapely.Point(point) for point in points[there]]
    pairs, apart = shapely.STRtree(cloud).query_nearest(cloud, exclusive=True, return_distance=True, all_matches=False)
    vine, row = number_in(block, "vine_spacing_m"), number_in(block, "row_spacing_m")
    vine = float(np.median(apart)) if math.isnan(vine) else vine
    smaller = vine if math.isnan(row) else min(vine, row)
    exact = there[accuracy[there] < NAMING_SHARE * smaller]
    if exact.size < 2:
        raise RecordError(
            f"block {block['block']!r} has {exact.size} plants with accuracy_m under "
            f"{NAMING_SHARE * smaller:.2f}; expected: two or more, or rows and positions with them"
        )
    bearing = number_in(block, "row_bearing_deg")
    if math.isnan(bearing):
        if vine > 0.9 * row:
            raise RecordError(
                f"block {block['block']!r}: row_bearing_deg is ''; expected: degrees, "
                "since vines stand as far apart as rows do"
            )
        step = points[there[pairs[1]]] - points[there[pairs[0]]]
        angles = np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 180
        off = np.abs((angles[None, :] - np.arange(180)[:, None] + 90) % 180 - 90)
        bearing = float((off < 3).sum(axis=1).argmax())
    try:
        line, counted = sorted_into_rows(
            points[exact], bearing, vine, smaller,
            leftward=block.get("rows_go") == "left", serpentine=block.get("numbering") == "serpentine",
        )  # fmt: skip
    except ValueError as fault:
        raise RecordError(f"block {block['block']!r}: {fault}") from fault
    labels, position = [""] * len(points), np.full(len(points), -1, dtype=np.int64)
    position[exact] = counted
    for plant, number in zip(exact, line, strict=True):
        labels[plant] = str(number + 1)
    return labels, position


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
