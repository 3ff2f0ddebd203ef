"""The way rows run, point by point: vines stand closer in the row than rows stand apart.

Pairs of near points are counted by the way they lie in small squares of the ground. In every direction a strip as thin as a
row is laid through each point; the direction whose strips catch most is the way rows run there.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from trunkwatch.ground.block_frame import Points

__all__ = ["Course", "near_points", "rows_run"]

#: Neighbors of each point that are looked at: about three vines each way and the two next rows.
NEIGHBORS = 24
#: Ways that are tried, from 0 to 180 degrees.
WAYS = 90


@dataclass(frozen=True, slots=True)
class Course:
    """The way rows run.

    Attributes
    ----------
    along : (n, 2) float array
        Unit vector at each point; of the two ways one, the same as at the points around it.
    clear : float
        How much more points lie along the rows than any way, as a rule of all squares; 1 where there are no rows.
    """

    along: Points = field(repr=False)
    clear: float


def near_points(points: Points, count: int = NEIGHBORS) -> NDArray[np.int64]:
    """Return the nearest neighbors of each point, (points, count)."""
    count = min(count, len(points) - 1)
    return np.asarray(cKDTree(points).query(points, k=count + 1)[1], dtype=np.int64)[:, 1:]


def rows_run(points: Points, near: NDArray[np.int64], thin_m: float) -> Course:
    """Tell which way rows run at every point.

    Parameters
    ----------
    points : (n, 2) float array
        Metres.
    near : (n, neighbors) int array
        Near points, as from `near_points`.
    thin_m : float
        Half the breadth of the strips, metres: about a quarter of the distance between vines.
    """
    # All in the shape of `near`: what is of the point itself is spread over its neighbors, not fetched for each.
    x, y = (axis[near] - axis[:, None] for axis in points.T.copy())
    apart = np.hypot(x, y)
    square, middles = _squares(points, 3.5 * float(np.median(apart)))
    counts = _counted(square, len(middles), (x, y), apart, thin_m)
    counts = _with_around(counts, middles, 5)
    best = counts.argmax(axis=1)
    # Sharpened by the pairs that lie within a strip of that way, the longer the more.
    way: NDArray[np.float64] = np.asarray(np.pi / WAYS * (best + 0.5), dtype=float)
    # The squared length times the cosine and sine of twice the angle.
    doubled = (x * x - y * y, 2 * x * y)
    for _ in range(3):
        cos, sin = np.cos(way)[square][:, None], np.sin(way)[square][:, None]
        beside = np.abs(y * cos - x * sin)
        caught = (beside < 1.5 * thin_m) & (np.abs(x * cos + y * sin) > beside)
        double = [
            np.bincount(square, (part * caught).sum(axis=1), len(middles)).astype(float)[:, None] for part in doubled
        ]
        east, north = (_with_around(part, middles, 3)[:, 0] for part in double)
        way = np.where(np.hypot(east, north) > 0, np.arctan2(north, east) / 2, way)
    usual = counts.mean(axis=1)
    clear = float(np.median(counts.max(axis=1)[usual > 0] / usual[usual > 0])) if (usual > 0).any() else 1.0
    along = _between(points, middles, _one_way(way, middles))
    for _ in range(3):
        along = _by_own_pairs(along, near, (x, y), thin_m)
    return Course(along, clear)


def _by_own_pairs(along: Points, near: NDArray[np.int64], step: tuple[Points, Points], thin_m: float) -> Points:
    """Turn the way at each point to that of the pairs in its row, and then to the mean of the points around it."""
    x, y = step
    own_x, own_y = along[:, :1], along[:, 1:]
    ahead = x * own_x + y * own_y
    beside = np.abs(x * own_y - y * own_x)
    caught = (beside < 1.5 * thin_m) & (np.abs(ahead) > beside)
    weight = np.where(caught, np.copysign(np.hypot(x, y), ahead), 0.0)
    found = np.column_stack([(weight * axis).sum(axis=1) for axis in (x, y)]) + 1e-6 * along
    found = np.asarray(found / np.hypot(*found.T)[:, None])
    # Neighbors that point the other way belong to another turn of the rows, or to nothing.
    other_x, other_y = (axis[near] for axis in found.T.copy())
    sign = np.copysign(1.0, other_x * found[:, :1] + other_y * found[:, 1:])
    mean = np.column_stack([(sign * other).sum(axis=1) for other in (other_x, other_y)]) + 2 * found
    return np.asarray(mean / np.maximum(np.hypot(*mean.T), 1e-12)[:, None])


def _squares(points: Points, side_m: float) -> tuple[NDArray[np.int64], Points]:
    """Return the square that each point lies in, and the middle of the points of each."""
    cells = np.floor((points - points.min(axis=0)) / side_m).astype(np.int64)
    square = np.unique(cells[:, 0] * (cells[:, 1].max() + 1) + cells[:, 1], return_inverse=True)[1]
    count = np.bincount(square)
    middles = np.column_stack([np.bincount(square, axis) / count for axis in points.T])
    return square.astype(np.int64), middles


def _counted(
    square: NDArray[np.int64], squares: int, step: tuple[Points, Points], apart: Points, thin_m: float
) -> NDArray[np.float64]:
    """Count the pairs of each square that a strip of each way catches, (squares, ways)."""
    way = np.floor(np.arctan2(step[1], step[0]) % np.pi / np.pi * WAYS).astype(np.int64) % WAYS
    # Half a million of them tell where the rings lie as well as all.
    sample = apart.ravel()[:: max(apart.size // 500_000, 1)]
    edges = np.quantile(sample, np.linspace(0, 1, 9)[1:-1])
    ring = np.searchsorted(edges, apart)
    place = (ring * squares + square[:, None]) * WAYS + way
    found = np.bincount(place.ravel(), minlength=8 * squares * WAYS).reshape(8, squares, WAYS)
    total = np.zeros((squares, WAYS))
    number_of = np.arange(WAYS)
    turned = np.minimum(number_of, WAYS - number_of) * np.pi / WAYS
    usual = [*edges, float(sample.max())]
    for number in range(8):
        if not found[number].any():
            continue
        middle = (usual[number] + (usual[number - 1] if number else float(sample.min()))) / 2
        # A pair lies in the strips of all ways that miss its own by less than the strip is thin.
        weight = np.exp(-0.5 * (np.sin(turned) * middle / thin_m) ** 2)
        total += np.fft.irfft(np.fft.rfft(found[number], axis=1) * np.fft.rfft(weight)[None], WAYS, axis=1)
    return total


def _with_around(values: NDArray[np.float64], middles: Points, count: int) -> NDArray[np.float64]:
    """Add to each square what its nearest squares hold."""
    count = min(count, len(middles))
    near = cKDTree(middles).query(middles, k=count)[1].reshape(len(middles), count)
    return np.asarray(values[near].sum(axis=1))


def _one_way(way: NDArray[np.float64], middles: Points) -> Points:
    """Turn the ways of the squares so that each points like those around it, going out from the first."""
    along = np.column_stack([np.cos(way), np.sin(way)])
    near = cKDTree(middles).query(middles, k=min(9, len(middles)))[1].reshape(len(middles), -1)
    done = np.zeros(len(middles), dtype=bool)
    for first in range(len(middles)):
        if done[first]:
            continue
        waiting, done[first] = [first], True
        while waiting:
            here = waiting.pop()
            for there in near[here]:
                if not done[there]:
                    if along[there] @ along[here] < 0:
                        along[there] *= -1
                    done[there] = True
                    waiting.append(int(there))
    return along


def _between(points: Points, middles: Points, along: Points) -> Points:
    """Return the way at each point, between those of the squares around it."""
    count = min(5, len(middles))
    found = cKDTree(middles).query(points, k=count)
    away, near = (np.asarray(part).reshape(len(points), count) for part in found)
    weight = 1 / (away + 0.3 * float(np.median(away)) + 1e-9) ** 2
    lead = along[near[:, 0]]
    signs = np.where(np.einsum("nkd,nd->nk", along[near], lead) < 0, -1.0, 1.0)
    total = np.einsum("nk,nkd->nd", weight * signs, along[near])
    length = np.hypot(*total.T)
    return np.asarray(np.where(length[:, None] > 0, total / np.maximum(length, 1e-12)[:, None], lead))
