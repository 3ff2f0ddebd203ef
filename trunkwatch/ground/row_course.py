"""The way rows run, point by point: vines stand closer in the row than rows stand apart.

Pairs of near points are counted by the way they lie in small squares of the ground. In every direction a strip as thin as a
row is laid through each point; the direction whose strips catch most is the way rows run there.
"""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from trunkwatch.ground.block_frame import Points

__all__ = ["Course", "near_pairs", "rows_run"]

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


def near_pairs(points: Points, count: int = NEIGHBORS) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return each point with its nearest neighbors, as two arrays of indices."""
    count = min(count, len(points) - 1)
    near = np.asarray(cKDTree(points).query(points, k=count + 1)[1])[:, 1:]
    return np.repeat(np.arange(len(points)), count), near.reshape(-1).astype(np.int64)


def rows_run(points: Points, pairs: tuple[NDArray[np.int64], NDArray[np.int64]], thin_m: float) -> Course:
    """Tell which way rows run at every point.

    Parameters
    ----------
    points : (n, 2) float array
        Metres.
    pairs : two int arrays
        Near points, as from `near_pairs`.
    thin_m : float
        Half the breadth of the strips, metres: about a quarter of the distance between vines.
    """
    here, there = pairs
    step = points[there] - points[here]
    apart = np.hypot(*step.T)
    square, middles = _squares(points, 3.5 * float(np.median(apart)))
    counts = _counted(square[here], len(middles), step, apart, thin_m)
    counts = _with_around(counts, middles, 5)
    best = counts.argmax(axis=1)
    # Sharpened by the pairs that lie within a strip of that way, the longer the more.
    way: NDArray[np.float64] = np.asarray(np.pi / WAYS * (best + 0.5), dtype=float)
    home = square[here]
    x, y = step[:, 0], step[:, 1]
    for _ in range(3):
        cos, sin = np.cos(way)[home], np.sin(way)[home]
        beside = np.abs(y * cos - x * sin)
        caught = np.flatnonzero((beside < 1.5 * thin_m) & (np.abs(x * cos + y * sin) > beside))
        # The squared length times the cosine and sine of twice the angle.
        double = [
            np.bincount(home[caught], part[caught], len(middles)).astype(float)[:, None]
            for part in (x * x - y * y, 2 * x * y)
        ]
        east, north = (_with_around(part, middles, 3)[:, 0] for part in double)
        way = np.where(np.hypot(east, north) > 0, np.arctan2(north, east) / 2, way)
    usual = counts.mean(axis=1)
    clear = float(np.median(counts.max(axis=1)[usual > 0] / usual[usual > 0])) if (usual > 0).any() else 1.0
    along = _between(points, middles, _one_way(way, middles))
    for _ in range(3):
        along = _by_own_pairs(along, pairs, step, thin_m)
    return Course(along, clear)


def _by_own_pairs(
    along: Points, pairs: tuple[NDArray[np.int64], NDArray[np.int64]], step: Points, thin_m: float
) -> Points:
    """Turn the way at each point to that of the pairs in its row, and then to the mean of the points around it."""
    here, there = pairs
    x, y, own_x, own_y = step[:, 0], step[:, 1], along[here, 0], along[here, 1]
    ahead = x * own_x + y * own_y
    beside = np.abs(x * own_y - y * own_x)
    caught = np.flatnonzero((beside < 1.5 * thin_m) & (np.abs(ahead) > beside))
    weight = np.sign(ahead[caught]) * np.hypot(x[caught], y[caught])
    found = _summed(here[caught], weight[:, None] * step[caught], len(along)) + 1e-6 * along
    found = np.asarray(found / np.hypot(*found.T)[:, None])
    # Neighbors that point the other way belong to another turn of the rows, or to nothing.
    other_x, other_y = found[there, 0], found[there, 1]
    sign = np.where(other_x * found[here, 0] + other_y * found[here, 1] < 0, -1.0, 1.0)
    alike = np.column_stack([sign * other_x, sign * other_y])
    mean = _summed(here, alike, len(along)) + 2 * found
    return np.asarray(mean / np.maximum(np.hypot(*mean.T), 1e-12)[:, None])


def _summed(index: NDArray[np.int64], values: Points, count: int) -> Points:
    return np.column_stack([np.bincount(index, axis, count) for axis in values.T]).astype(float)


def _squares(points: Points, side_m: float) -> tuple[NDArray[np.int64], Points]:
    """Return the square that each point lies in, and the middle of the points of each."""
    cells = np.floor((points - points.min(axis=0)) / side_m).astype(np.int64)
    square = np.unique(cells[:, 0] * (cells[:, 1].max() + 1) + cells[:, 1], return_inverse=True)[1]
    count = np.bincount(square)
    middles = np.column_stack([np.bincount(square, axis) / count for axis in points.T])
    return square.astype(np.int64), middles


def _counted(
    square: NDArray[np.int64], squares: int, step: Points, apart: Points, thin_m: float
) -> NDArray[np.float64]:
    """Count the pairs of each square that a strip of each way catches, (squares, ways)."""
    way = np.floor(np.arctan2(step[:, 1], step[:, 0]) % np.pi / np.pi * WAYS).astype(np.int64) % WAYS
    edges = np.quantile(apart, np.linspace(0, 1, 9)[1:-1])
    ring = np.searchsorted(edges, apart)
    total = np.zeros((squares, WAYS))
    number_of = np.arange(WAYS)
    turned = np.minimum(number_of, WAYS - number_of) * np.pi / WAYS
    for number in range(8):
        own = ring == number
        if not own.any():
            continue
        found = np.bincount(square[own] * WAYS + way[own], minlength=squares * WAYS).reshape(squares, WAYS)
        # A pair lies in the strips of all ways that miss its own by less than the strip is thin.
        weight = np.exp(-0.5 * (np.sin(turned) * float(np.median(apart[own])) / thin_m) ** 2)
        total += np.fft.irfft(np.fft.rfft(found, axis=1) * np.fft.rfft(weight)[None], WAYS, axis=1)
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
