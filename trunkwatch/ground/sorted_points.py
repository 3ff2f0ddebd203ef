"""Points without labels, a vine each, sorted into rows and counted."""

import math

import numpy as np
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.ground.block_frame import Points
from trunkwatch.ground.near_vines import NAMING_SHARE
from trunkwatch.vineyard.row_layout import whole
from trunkwatch.vineyard.tables import Record, number_in

__all__ = ["labelled_by_ground", "sorted_into_rows"]


def labelled_by_ground(block: Record, points: Points, accuracy: Points) -> tuple[list[str], NDArray[np.int64]]:
    """Give accurate points a row and a position.

    Parameters
    ----------
    block : mapping
        The block's record; spacings, bearing, side and numbering are used as far as they are written.
    points : (n, 2) float array
        Metres east and north, a vine each; nan where there is none.
    accuracy : (n,) float array
        Metres; nan for unknown.

    Returns
    -------
    row : list of str
        "1", "2", ...; "" for a point that is not accurate enough to name a vine.
    position : (n,) int64 array
        From 1; -1 likewise.

    Raises
    ------
    RecordError
        If fewer than two points are accurate enough, or they lie in no rows.
    """
    there = np.flatnonzero(~np.isnan(points).any(axis=1))
    step, apart = _to_the_nearest(points[there])
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
        bearing = _commonest_bearing(step)
    try:
        line, counted = sorted_into_rows(
            points[exact],
            bearing,
            vine,
            smaller,
            leftward=block.get("rows_go") == "left",
            serpentine=block.get("numbering") == "serpentine",
        )
    except ValueError as fault:
        raise RecordError(f"block {block['block']!r}: {fault}") from fault
    labels, position = [""] * len(points), np.full(len(points), -1, dtype=np.int64)
    position[exact] = counted
    for plant, number in zip(exact, line, strict=True):
        labels[plant] = str(number + 1)
    return labels, position


def _to_the_nearest(points: Points) -> tuple[Points, Points]:
    """Return the step from each point to the nearest other, (n, 2) metres, and its length."""
    import shapely

    cloud = [shapely.Point(point) for point in points]
    pairs, apart = shapely.STRtree(cloud).query_nearest(cloud, exclusive=True, return_distance=True, all_matches=False)
    return points[pairs[1]] - points[pairs[0]], apart


def _commonest_bearing(step: Points) -> float:
    """Return the bearing, 0 to 179 degrees, within 3 degrees of which most steps run."""
    angles = np.degrees(np.arctan2(step[:, 0], step[:, 1])) % 180
    off = np.abs((angles[None, :] - np.arange(180)[:, None] + 90) % 180 - 90)
    return float((off < 3).sum(axis=1).argmax())


def sorted_into_rows(
    points: NDArray[np.float64],
    bearing_deg: float,
    vine_m: float,
    smaller_m: float,
    *,
    leftward: bool,
    serpentine: bool,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Sort points, a vine each, into rows and count their positions.

    Parameters
    ----------
    points : (n, 2) float array
        Metres east and north.
    bearing_deg : float
        About the way rows run; it is sharpened within 3 degrees.
    vine_m, smaller_m : float
        Spacing of vines in the row; the smaller of it and the row spacing.
    leftward, serpentine : bool
        Rows follow each other to the left; every other row is numbered from the other end.

    Returns
    -------
    row, position : (n,) int64 arrays
        Rows from 0, positions from 1.

    Raises
    ------
    ValueError
        If the points of a row lie too far from a line, or not whole vines apart.
    """
    bearing = _sharpened(points, bearing_deg, smaller_m)
    along = points @ np.array([math.sin(bearing), math.cos(bearing)])
    away = points @ np.array([math.cos(bearing), -math.sin(bearing)]) * (-1 if leftward else 1)
    order = np.argsort(away)
    row, position = np.empty(len(points), dtype=np.int64), np.empty(len(points), dtype=np.int64)
    row[order] = np.concatenate([[0], np.cumsum(np.diff(away[order]) > 0.4 * smaller_m)])
    steps = []
    for number in range(int(row.max()) + 1):
        own = np.flatnonzero(row == number)
        own = own[np.argsort(along[own])]
        vines = np.diff(along[own]) / vine_m
        counted = np.cumsum([1, *(whole(gap) for gap in vines)])
        position[own] = counted[-1] + 1 - counted if serpentine and number % 2 else counted
        steps.append(np.abs(vines - np.round(vines)))
    wide = max(float(np.ptp(away[row == number])) for number in range(int(row.max()) + 1)) > smaller_m
    # A quarter is what steps at random leave over; lines drawn aslant through the rows leave more.
    if wide or np.median(np.concatenate([*steps, [0.0]])) > 0.25:
        raise ValueError(
            f"its points do not lie in rows at bearing {math.degrees(bearing):.1f}, {vine_m:.2f} m a vine; "
            "expected: row_bearing_deg and spacings as on the ground, or rows and positions with them"
        )
    return row, position


def _sharpened(points: Points, bearing_deg: float, smaller_m: float) -> float:
    """Return the bearing in radians, within 3 degrees of the given one, at which the points lie in the thinnest rows."""
    bearings = math.pi / 180 * (bearing_deg + np.linspace(-3, 3, 601))
    across = np.sort(np.outer(np.cos(bearings), points[:, 0]) - np.outer(np.sin(bearings), points[:, 1]), axis=1)
    gaps = np.diff(across, axis=1)
    return float(bearings[np.where(gaps < 0.4 * smaller_m, gaps, 0.0).sum(axis=1).argmin()])
