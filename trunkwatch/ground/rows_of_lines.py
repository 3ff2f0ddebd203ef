"""Rows drawn as lines, with vines set along them."""

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from trunkwatch.errors import RecordError
from trunkwatch.ground.block_frame import Points
from trunkwatch.ground.laid_points import LaidPoints, LaidRow
from trunkwatch.ground.linked_rows import LinkedRows
from trunkwatch.ground.row_sides import sides_of

__all__ = ["laid_lines"]


def laid_lines(lines: Sequence[Sequence[Points]], vine_m: float, name: str = "") -> tuple[Points, LaidPoints]:
    """Set vines along lines of rows, the first on the first point of its line.

    Parameters
    ----------
    lines : sequence of sequence of (n, 2) float array
        Of each row its parts, one behind the other, in metres; between two parts lies an alley.
    vine_m : float
        Metres from vine to vine.
    name : str
        Label of the block, for messages.

    Returns
    -------
    points : (vines, 2) float array
        Where the vines stand.
    laid : LaidPoints
        Their rows.

    Raises
    ------
    RecordError
        If there are fewer than two lines, one is shorter than a vine spacing, or they have no order.
    """
    if len(lines) < 2:
        raise RecordError(f"block {name!r} has {len(lines)} line; expected: two or more, a line each row")
    rows = [[_vines_along(part, vine_m) for part in line] for line in _one_way(lines)]
    short = [number for number, row in enumerate(rows) if sum(len(part) for part in row) < 2]
    if short:
        raise RecordError(
            f"block {name!r}: line {short[0] + 1} is shorter than {vine_m:g} m; expected: a line from the first vine of a row to its last"
        )
    points = np.concatenate([part for row in rows for part in row])
    counts = [sum(len(part) for part in row) for row in rows]
    number = np.repeat(np.arange(len(rows)), counts)
    cuts = np.cumsum([0, *counts])
    positions = [np.arange(1, count + 1) for count in counts]
    breaks = [_breaks(row) for row in rows]
    along_m = np.concatenate([_metres(row, vine_m) for row in rows])
    way = np.gradient(points, axis=0)
    for first, last in pairwise(cuts):
        way[first:last] = np.gradient(points[first:last], axis=0)
    way /= np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    found = LinkedRows(number, along_m, way, vine_m, vine_m, 2.0)
    sides = sides_of(points, found)
    if sides.parts > 1 or sides.contrary > 0.01:
        raise RecordError(
            f"block {name!r}: its {len(lines)} lines lie in {sides.parts} groups or cross; expected: the rows of one block, one beside the other"
        )
    low = float(sides.across_m.min())
    laid = tuple(
        LaidRow(
            np.arange(cuts[n], cuts[n + 1]),
            positions[n],
            along_m[cuts[n] : cuts[n + 1]],
            breaks[n],
            vine_m,
            float(sides.across_m[n]) - low,
            float(sides.start_m[n]),
        )
        for n in sides.order.tolist()
    )
    return points, LaidPoints(laid, vine_m, sides.row_m, 0.0, np.array([], dtype=np.int64), way)


def _vines_along(line: Points, vine_m: float) -> Points:
    length = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(line, axis=0).T))])
    # A line drawn a hand too short still holds its last vine.
    at = np.arange(0, length[-1] + 0.2 * vine_m, vine_m)
    return np.column_stack([np.interp(at, length, axis) for axis in line.T])


def _breaks(row: Sequence[Points]) -> dict[int, float]:
    found, count = {}, 0
    for part, following in pairwise(row):
        count += len(part)
        found[count] = float(np.hypot(*(following[0] - part[-1])))
    return found


def _metres(row: Sequence[Points], vine_m: float) -> Points:
    gaps = list(_breaks(row).values())
    found, at = [], 0.0
    for part, gap in zip(row, [*gaps, 0.0], strict=True):
        found.append(at + vine_m * np.arange(len(part)))
        at += vine_m * (len(part) - 1) + gap
    return np.concatenate(found)


def _one_way(lines: Sequence[Sequence[Points]]) -> list[list[Points]]:
    """Turn lines so that each runs as the one beside it does."""
    whole = [np.concatenate(list(line)) for line in lines]
    middles = np.array([line.mean(axis=0) for line in whole])
    chords = np.array([line[-1] - line[0] for line in whole])
    turned = [list(line) for line in lines]
    done = [0]
    waiting = list(range(1, len(lines)))
    while waiting:
        away = np.hypot(*(middles[waiting][:, None] - middles[done][None]).transpose(2, 0, 1))
        here, there = np.unravel_index(int(away.argmin()), away.shape)
        number, beside = waiting.pop(int(here)), done[int(there)]
        if chords[number] @ chords[beside] < 0:
            chords[number] *= -1
            turned[number] = [part[::-1] for part in turned[number][::-1]]
        done.append(number)
    return turned
