"""Maps from tables of one's own: a long table of vines on rows, or points where there is no lattice."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from trunkwatch.vineyard.rows_on_day import natural_key

if TYPE_CHECKING:
    from geopandas import GeoDataFrame

__all__ = ["Map", "map_of_geoframe", "map_of_points", "map_of_table"]


@dataclass(frozen=True, slots=True, eq=False)
class Map:
    """A map for `trunkwatch.stats`.

    Attributes
    ----------
    cases : (rows, stations) masked bool array
        True for a case; masked where no vine counts.
    vines : (rows, stations) bool array
        The vines that count.
    rows : tuple of str
        Labels of the rows; one empty label for points.
    joins : (k, 2) int array or None
        Pairs of cells that are neighbors where there is no lattice; `join_count` takes it.
    places : (1, vines, 2) float array or None
        Meters (or the unit given) east and north of points; `regularity_distance` takes it.
    counts : (rows, stations) masked int array or None
        What was counted on each vine, where a column of counts was given; `regularity_distance` takes it.
    """

    cases: "np.ma.MaskedArray[tuple[int, int], np.dtype[np.bool_]]" = field(repr=False)
    vines: NDArray[np.bool_] = field(repr=False)
    rows: tuple[str, ...]
    joins: NDArray[np.int64] | None = field(default=None, repr=False)
    places: NDArray[np.float64] | None = field(default=None, repr=False)
    counts: "np.ma.MaskedArray[tuple[int, int], np.dtype[np.int64]] | None" = field(default=None, repr=False)

    def __str__(self) -> str:
        """What the map holds in one line."""
        ground = f"{len(self.rows)} rows" if self.places is None else "points"
        joined = "" if self.joins is None else f", {len(self.joins)} pairs of neighbors"
        unknown = int(np.ma.getmaskarray(self.cases).sum()) if self.places is not None else 0
        left = f", {unknown} not scouted" if unknown else ""
        return f"{ground}: {int(self.vines.sum())} vines that count, {int(self.cases.sum())} cases{left}{joined}"


def map_of_table(table: pd.DataFrame, *, row: str = "row", position: str = "position", case: str = "case") -> Map:
    """Lay a long table, one line a vine, out as rows by stations.

    Parameters
    ----------
    table : DataFrame
        One line a vine. A vine whose case is empty was not scouted, and does not count.
    row, position, case : str
        Its columns: label of the row, whole number in the row, and 0 or 1 (or true and false).

    Raises
    ------
    ValueError
        If a column is not there, a position is no whole number, a vine stands twice, or a case is neither 0 nor 1.

    Examples
    --------
    >>> import pandas as pd
    >>> found = map_of_table(pd.DataFrame({"row": [1, 1, 2], "position": [1, 2, 2], "case": [0, 1, 1]}))
    >>> found.cases.filled(False).astype(int).tolist(), found.vines.astype(int).tolist()
    ([[0, 1], [0, 1]], [[1, 1], [0, 1]])
    """
    lost = [name for name in (row, position, case) if name not in table.columns]
    if lost:
        raise ValueError(f"the table has no column {lost[0]!r}; it has: {', '.join(map(str, table.columns))}")
    places = pd.to_numeric(table[position], errors="coerce")
    odd = table[position][places.isna() | (places % 1 != 0)]
    if len(odd):
        raise ValueError(f"{position} is {_shown(odd.iloc[0])} in line {odd.index[0]}: a whole number is needed")
    twice = table.duplicated([row, position])
    if twice.any():
        first = table[twice].iloc[0]
        raise ValueError(
            f"row {_shown(first[row])}, position {_shown(first[position])} stands twice: one line a vine is needed"
        )
    state = _states(table[case], case)
    labels = sorted({str(one) for one in table[row]}, key=natural_key)
    where = table[row].astype(str).map({label: number for number, label in enumerate(labels)}).to_numpy()
    station = (places - places.min()).to_numpy().astype(int)
    cases, vines = (np.zeros((len(labels), int(station.max()) + 1), dtype=bool) for _ in range(2))
    known = state.notna().to_numpy()
    vines[where[known], station[known]] = True
    cases[where[known], station[known]] = state[known].to_numpy().astype(bool)
    return Map(np.ma.array(cases, mask=~vines), vines, tuple(labels))


def map_of_points(
    east: NDArray[np.floating], north: NDArray[np.floating], case: NDArray[np.generic], *, within: float
) -> Map:
    """Make a map of points that lie on no lattice: neighbors are points no farther apart than `within`.

    Parameters
    ----------
    east, north : (vines,) float array
        Meters, or any one unit.
    case : (vines,) array
        0 or 1; NaN for a vine that was not scouted.
    within : float
        Largest distance of neighbors, in the same unit.

    Returns
    -------
    Map
        One row of all points; `joins` are its pairs.

    Raises
    ------
    ValueError
        If the lengths differ, a case is neither 0 nor 1, or no two points are that near.

    Examples
    --------
    >>> import numpy as np
    >>> found = map_of_points(np.array([0.0, 1, 5]), np.zeros(3), np.array([1, 1, 0]), within=1.5)
    >>> found.joins.tolist()
    [[0, 1]]
    """
    state = _states(pd.Series(np.asarray(case)), "case")
    if not len(state) == len(east) == len(north):
        raise ValueError(f"{len(east)} east, {len(north)} north, {len(state)} cases: as many of each are needed")
    return _of_places(np.column_stack([east, north]).astype(np.float64), state, within, "")


def map_of_geoframe(
    points: "GeoDataFrame", *, case: str = "case", count: str | None = None, within: float | None = None
) -> Map:
    """Make a map of a GeoDataFrame of vines, a point each; its points are projected to meters.

    Parameters
    ----------
    points : GeoDataFrame
        One line a vine, with points in any coordinate reference system (CRS) that is set: degrees or projected.
    case : str
        Column of 0 and 1; empty for a vine that was not scouted. Not looked at where `count` is given.
    count : str, optional
        Column of whole numbers from 0 on, empty for a vine that was not scouted; a vine with 1 or more is a case.
    within : float, optional
        Meters: neighbors are points no farther apart. Without it the map has no joins.

    Returns
    -------
    Map
        One row of all points in the order of the table, with `places`, and `joins` and `counts` where asked for.

    Raises
    ------
    ValueError
        If no CRS is set, a geometry is no point, the column is not there or holds something else, or no two points are
        that near.

    Notes
    -----
    Points are projected to the UTM zone they lie in, whatever they come in: a web map's meters are not meters on the ground.
    A local system, which lies nowhere on earth, is taken as it is, in its own unit made meters.

    Examples
    --------
    >>> import geopandas
    >>> vines = geopandas.GeoDataFrame(
    ...     {"sick": [1, 1, 0]}, geometry=geopandas.points_from_xy([9.0, 9.00002, 9.0001], [45.0] * 3), crs="EPSG:4326"
    ... )
    >>> found = map_of_geoframe(vines, case="sick", within=2)
    >>> found.joins.tolist(), float(np.ptp(found.places[0, :, 0]).round(1))
    ([[0, 1]], 7.9)
    """
    column = case if count is None else count
    if column not in points.columns:
        raise ValueError(f"the table has no column {column!r}; it has: {', '.join(map(str, points.columns))}")
    at = _metres(points)
    if count is None:
        return _of_places(at, _states(points[case], case), within, " m")
    numbers = _counts(points[count], count)
    known = numbers.notna()
    made = _of_places(at, numbers.gt(0).astype(float).where(known), within, " m")
    counts = np.ma.array(numbers.fillna(0).to_numpy().astype(np.int64)[None, :], mask=~made.vines)
    return Map(made.cases, made.vines, made.rows, made.joins, made.places, counts)


def _of_places(at: NDArray[np.float64], state: "pd.Series[float]", within: float | None, unit: str) -> Map:
    known = state.notna().to_numpy()
    joins = None
    if within is not None:
        pairs = cKDTree(at).query_pairs(within, output_type="ndarray")
        joins = pairs[known[pairs].all(axis=1)].astype(np.int64)
        if not len(joins):
            raise ValueError(f"no two points lie within {within:g}{unit}: take a larger distance")
        joins = joins[np.lexsort(joins.T[::-1])]
    cases = np.where(known, state.fillna(0).to_numpy(), 0).astype(bool)
    return Map(np.ma.array(cases[None, :], mask=~known[None, :]), known[None, :], ("",), joins, at[None])


def _metres(points: "GeoDataFrame") -> NDArray[np.float64]:
    """Return the points in meters east and north, (vines, 2)."""
    if not len(points):
        raise ValueError("the table has no line: one line a vine is needed")
    if points.crs is None:
        raise ValueError(
            "the table has no CRS, so nobody knows whether its numbers are degrees or meters: set it with set_crs, or take map_of_points"
        )
    kinds = points.geometry.geom_type.where(~points.geometry.is_empty)
    odd = kinds[kinds != "Point"]
    if len(odd):
        held = odd.iloc[0] if isinstance(odd.iloc[0], str) else "empty"
        raise ValueError(f"the geometry in line {odd.index[0]} is {held}: a point is needed")
    if points.crs.is_engineering:
        metres, unit = points.geometry, float(points.crs.axis_info[0].unit_conversion_factor)
    else:
        metres, unit = points.geometry.to_crs(points.estimate_utm_crs()), 1.0
    at: NDArray[np.float64] = np.column_stack([metres.x, metres.y]).astype(np.float64) * unit
    if not np.isfinite(at).all():
        lost = points.index[~np.isfinite(at).all(axis=1)][0]
        raise ValueError(
            f"the point in line {lost} cannot be projected to meters: is the CRS {points.crs.name!r} the right one?"
        )
    return at


def _counts(column: "pd.Series[float]", name: str) -> "pd.Series[float]":
    numbers = pd.to_numeric(column, errors="coerce").astype(float)
    odd = column[(column.notna() & numbers.isna()) | (numbers < 0) | (numbers % 1 != 0) & numbers.notna()]
    if len(odd):
        raise ValueError(
            f"{name} is {_shown(odd.iloc[0])} in line {odd.index[0]}: a whole number from 0 on, or nothing, is needed"
        )
    return numbers


def _shown(value: object) -> str:
    return repr(value.item() if isinstance(value, np.generic) else value)


def _states(column: "pd.Series[float]", name: str) -> "pd.Series[float]":
    state = pd.to_numeric(column, errors="coerce") if column.dtype != bool else column.astype(float)
    odd = column[(column.notna() & state.isna()) | (state.notna() & ~state.isin((0, 1)))]
    if len(odd):
        raise ValueError(f"{name} is {_shown(odd.iloc[0])} in line {odd.index[0]}: 0, 1 or nothing is needed")
    return state
