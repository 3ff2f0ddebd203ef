"""From a point per vine to rows, with their spacings and alleys."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.ground.block_frame import BlockFrame, Points, degrees_of
from trunkwatch.ground.near_vines import names_one_vine
from trunkwatch.ground.placing import Placed, place
from trunkwatch.ground.row_ends import rows_from_ends
from trunkwatch.ground.sorted_points import labelled_by_ground
from trunkwatch.vineyard.rows_on_day import natural_key
from trunkwatch.vineyard.tables import Record, frame_of, number_in, records_of

__all__ = ["PointFit", "fitted_spacing", "grid_from_points"]


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
    degrees = degrees_of(records)
    accuracy = np.array([number_in(record, "accuracy_m") for record in records])
    there: NDArray[np.bool_] = np.isfinite(degrees.sum(axis=1))
    if there.sum() < 2:
        raise RecordError(f"block {name!r} has {there.sum()} plants with coordinates; expected: two or more")
    frame = BlockFrame(*degrees[there][0].tolist())
    points = frame.points(degrees)
    row = [str(record["row"]) if str(record["position"]).isdecimal() else "" for record in records]
    position = np.array([int(r["position"]) if label else -1 for label, r in zip(row, records, strict=True)])
    if not any(there[plant] for plant, label in enumerate(row) if label):
        row, position = labelled_by_ground(block, points, accuracy)
    labels = np.array(row, dtype=object)
    fitted = []
    for label in sorted({label for label in row if label}, key=natural_key):
        own = labels == label
        fitted.append(_fitted_row(name, label, position[own], points[own], frame))
    found, rows = rows_from_ends(block, frame_of("rows", fitted))
    grid = RowGrid.from_tables(found, rows)
    placed = place(grid, found, rows)
    row, position, fits = _vines_of(grid, placed, row, position, degrees, accuracy)
    residual = np.hypot(*(frame.points(fits) - points).T)
    return PointFit(found, rows, grid, placed, tuple(row), position, residual)


def _vines_of(
    grid: RowGrid,
    placed: Placed,
    row: Sequence[str],
    position: NDArray[np.int64],
    degrees: Points,
    accuracy: NDArray[np.float64],
) -> tuple[list[str], NDArray[np.int64], Points]:
    """Name the points without a label that mean one vine; return also where the rows put every vine named."""
    named, counted = list(row), position.copy()
    fits = np.full(degrees.shape, np.nan)
    for plant in np.flatnonzero(np.isfinite(degrees.sum(axis=1))):
        if not named[plant]:
            lon, lat = degrees[plant].tolist()
            vine = names_one_vine(grid, placed, lon, lat, float(accuracy[plant]))
            named[plant], counted[plant] = (vine.row, vine.position) if vine else ("", -1)
        if named[plant]:
            cell = grid.cell(named[plant], int(counted[plant]))
            fits[plant] = placed.longitude[cell], placed.latitude[cell]
    return named, counted, fits


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
        "block": block,
        "row": label,
        "first": first,
        "last": last,
        "breaks": "; ".join(f"{p}:{gap:.3f}" for p, gap in breaks.items()),
        "start_longitude": longitude[0],
        "start_latitude": latitude[0],
        "end_longitude": longitude[1],
        "end_latitude": latitude[1],
    }


def fitted_spacing(
    positions: NDArray[np.int64], metres: NDArray[np.float64], first: int, last: int
) -> tuple[NDArray[np.float64], dict[int, float]]:
    """Fit spacing and alleys to measured positions of a row, by least squares.

    Parameters
    ----------
    positions : (n,) int array
        Different positions, rising.
    metres : (n,) float array
        Where they were measured along the row.
    first, last : int
        First and last position of the row.

    Returns
    -------
    reach : (2,) float array
        Metres of the first and of the last position.
    breaks : dict
        Alleys, as of `breaks_of`. One beside positions that were not measured is put in front
        of them.
    """
    breaks: list[int] = []
    if positions.size > 1:
        steps = np.diff(positions)
        spacing = float(np.median(np.diff(metres) / steps))
        # Wider than one vine and three quarters: an alley, and no error of the coordinates.
        breaks = [int(p) for p in positions[:-1][np.diff(metres) - steps * spacing > 0.75 * spacing]]
    behind = np.array([positions > p for p in breaks], dtype=float).reshape(len(breaks), positions.size)
    vines = positions - first - behind.sum(axis=0)
    terms = np.column_stack([np.ones(positions.size), vines, behind.T])
    start, step, *gaps = np.linalg.lstsq(terms, metres, rcond=None)[0].tolist()
    end = start + step * (last - first - len(breaks)) + sum(gaps)
    return np.array([start, end]), dict(zip(breaks, gaps, strict=True))
