"""The outline of foci: the sides of their cells that no other cell of the same focus shares."""

import numpy as np
from numpy.typing import NDArray

from trunkwatch.maps.frame import DrawingFrame

__all__ = ["focus_outlines", "inner_sides"]

#: The four sides of a cell: the neighbour beyond it, as (row step, station step).
SIDES = ((-1, 0), (0, 1), (1, 0), (0, -1))


def inner_sides(labels: NDArray[np.int64], cell: tuple[int, int]) -> list[bool]:
    """Tell for each of the four `SIDES` of a cell whether the same focus goes on beyond it."""
    height, width = labels.shape
    found = []
    for down, right in SIDES:
        row, station = cell[0] + down, cell[1] + right
        inside = 0 <= row < height and 0 <= station < width
        found.append(bool(inside and labels[row, station] == labels[cell]))
    return found


def _across(frame: DrawingFrame) -> NDArray[np.float64]:
    """Return the unit vector at right angles to the rows, towards the next row."""
    turned = np.array([-np.nanmean(frame.along[:, 1]), np.nanmean(frame.along[:, 0])])
    turned /= max(float(np.hypot(*turned)), 1e-9)
    present = np.isfinite(frame.x).any(axis=1)
    rows = np.flatnonzero(present)
    if rows.size < 2:
        return -turned
    step = np.array(
        [
            np.nanmean(frame.x[rows[-1]]) - np.nanmean(frame.x[rows[0]]),
            np.nanmean(frame.y[rows[-1]]) - np.nanmean(frame.y[rows[0]]),
        ]
    )
    return turned if float(step @ turned) >= 0 else -turned


def focus_outlines(
    frame: DrawingFrame, labels: NDArray[np.int64], *, smallest: int = 2
) -> dict[int, NDArray[np.float64]]:
    """Return the outline of every focus as line segments in metres of the frame.

    Parameters
    ----------
    frame : DrawingFrame
        The block as it is drawn.
    labels : (rows, stations) int array
        Number of the focus in its cells, 0 elsewhere.
    smallest : int
        Foci of fewer vines are left out: a single vine needs no outline.

    Returns
    -------
    dict of int to (segments, 4) float array
        Number of the focus to x, y of one end and x, y of the other.

    Raises
    ------
    ValueError
        If the labels have another shape than the block.
    """
    if labels.shape != frame.x.shape:
        raise ValueError(f"foci are {labels.shape} but the grid is {frame.x.shape}: the same shape is needed")
    across = _across(frame) * frame.row_m / 2
    found: dict[int, NDArray[np.float64]] = {}
    for focus in np.unique(labels[labels > 0]):
        cells = np.argwhere((labels == focus) & np.isfinite(frame.x))
        if len(cells) < smallest:
            continue
        segments = [
            side for row, station in cells for side in _cell_sides(frame, labels, (int(row), int(station)), across)
        ]
        found[int(focus)] = np.array(segments)
    return found


def _cell_sides(
    frame: DrawingFrame, labels: NDArray[np.int64], cell: tuple[int, int], across: NDArray[np.float64]
) -> list[NDArray[np.float64]]:
    middle = np.array([frame.x[cell], frame.y[cell]])
    along = frame.along[cell[0]] * frame.vine_m / 2
    sides = []
    for (down, right), inner in zip(SIDES, inner_sides(labels, cell), strict=True):
        if inner:
            continue
        to_side = down * across + right * along
        half = along if down else across
        sides.append(np.concatenate([middle + to_side - half, middle + to_side + half]))
    return sides
