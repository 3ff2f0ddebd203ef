"""Points put together into rows: each linked to those ahead in its strip, pieces joined over gaps and alleys."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, identity
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import spsolve
from scipy.spatial import cKDTree

from trunkwatch.ground.block_frame import Points
from trunkwatch.ground.row_course import near_points, rows_run

__all__ = ["FEWEST", "LinkedRows", "linked_rows"]

Pairs = tuple[NDArray[np.int64], NDArray[np.int64]]
#: No gap or alley in a row is wider.
WIDEST_JOIN_M = 32.0
#: A piece of a row has so many points, or is no row of its own.
FEWEST = 4


@dataclass(frozen=True, slots=True)
class LinkedRows:
    """Points in rows that have no order yet.

    Attributes
    ----------
    row : (n,) int array
        Number of the row, -1 for a point in none.
    along_m : (n,) float array
        Metres along the row from its first point; nan in none.
    along : (n, 2) float array
        The way the row runs at each point.
    vine_m, row_m : float
        About how far apart vines and rows are.
    clear : float
        As of `Course`.
    """

    row: NDArray[np.int64] = field(repr=False)
    along_m: Points = field(repr=False)
    along: Points = field(repr=False)
    vine_m: float
    row_m: float
    clear: float


def linked_rows(points: Points) -> LinkedRows:
    """Put points together into rows.

    Parameters
    ----------
    points : (n, 2) float array
        Metres, a vine each, in any order; ten or more, no two in one place.
    """
    near = near_points(points)
    x, y = (axis[near[:, 0]] - axis for axis in points.T)
    thin = 0.3 * float(np.median(np.hypot(x, y)))
    course = rows_run(points, near, thin)
    ways = _Ways.of(course.along, near)
    ahead, beside = ways.ahead(points), ways.beside(points)
    here = np.repeat(np.arange(len(points)), near.shape[1]).reshape(near.shape)
    caught = np.abs(beside) < 1.5 * thin
    vine_m = _commonest_step(here[caught], ahead[caught], len(points))
    # A vine by itself is not to be drawn into the row beside it.
    breadth = 0.25 * _between_rows(ahead, beside, vine_m)[1]
    thinned = _thinned(points, course.along, ways, ahead, 3.6 * vine_m, breadth)
    beside = ways.beside(thinned)
    row_m, narrow_m = _between_rows(ahead, beside, vine_m)
    linked = (np.abs(beside) < 0.35 * narrow_m) & (ahead > 0) & (ahead < 3.6 * vine_m)
    row, along_m = _pieces(len(points), (here[linked], near[linked]), ahead[linked])
    # The near before the far, which must lie the more truly in line; rows beside tell of the rest.
    for reach, aside in ((0.2, 0.35), (0.4, 0.3), (0.3, 0.5), (0.6, 0.2)):
        row, along_m = _joined(thinned, course.along, row, along_m, vine_m, aside * narrow_m, reach * WIDEST_JOIN_M)
    size = np.bincount(row)
    alone = size[row] < 2
    row, along_m = np.where(alone, -1, row), np.where(alone, np.nan, along_m)
    row[~alone] = np.unique(row[~alone], return_inverse=True)[1]
    return LinkedRows(row, along_m, course.along, vine_m, row_m, course.clear)


@dataclass(frozen=True, slots=True)
class _Ways:
    """The way of the row between each point and each of its neighbors: the mean of theirs; all in the shape of `near`."""

    near: NDArray[np.int64]
    x: Points
    y: Points

    @classmethod
    def of(cls, along: Points, near: NDArray[np.int64]) -> "_Ways":
        # Column by column: of many million pairs arrays of two columns take three times as long.
        other_x, other_y = (axis[near] for axis in along.T.copy())
        own_x, own_y = along[:, :1], along[:, 1:]
        sign = np.copysign(1.0, own_x * other_x + own_y * other_y)
        way_x, way_y = own_x + sign * other_x, own_y + sign * other_y
        length = np.maximum(np.sqrt(way_x * way_x + way_y * way_y), 1e-12)
        return cls(near, way_x / length, way_y / length)

    def ahead(self, points: Points) -> Points:
        """Return how far each neighbor lies ahead of its point."""
        x, y = self._steps(points)
        return np.asarray(x * self.x + y * self.y)

    def beside(self, points: Points) -> Points:
        """Return how far each neighbor lies to the left of its point."""
        x, y = self._steps(points)
        return np.asarray(self.x * y - self.y * x)

    def _steps(self, points: Points) -> tuple[Points, Points]:
        x, y = (axis[self.near] - axis[:, None] for axis in points.T.copy())
        return x, y


def _commonest_step(here: NDArray[np.int64], ahead: Points, count: int) -> float:
    """Return the spacing of which most steps in the rows are a whole multiple, near the usual first step."""
    first = np.full(count, np.inf)
    np.minimum.at(first, here[ahead > 0.2], ahead[ahead > 0.2])
    known = first[np.isfinite(first)]
    if known.size < 3:
        return float(np.median(known)) if known.size else 1.0
    usual = float(np.median(known))
    steps = usual * np.exp(np.linspace(np.log(0.7), np.log(1.4), 281))
    close = ahead[(ahead > 0.2) & (ahead < 3.6 * usual)]
    seen, edges = np.histogram(close, bins=np.arange(0, 3.7 * usual, usual / 100))
    middle = (edges[:-1] + edges[1:]) / 2
    return float(steps[np.cos(2 * np.pi * middle[None, :] / steps[:, None]).dot(seen).argmax()])


def _thinned(points: Points, along: Points, ways: _Ways, ahead: Points, reach_m: float, breadth_m: float) -> Points:
    """Move each point sideways into the middle of its row: the noise across shrinks, places along stay."""
    close = np.abs(ahead) < reach_m
    breadth = min(0.3 * float(np.median(np.abs(ahead[close]))), breadth_m) if close.any() else breadth_m
    side = np.column_stack([-along[:, 1], along[:, 0]])
    found = points.copy()
    for _ in range(3):
        beside = ways.beside(found)
        weight = np.where(close, np.exp(-0.5 * (beside / breadth) ** 2), 0.0)
        shift = (weight * beside).sum(axis=1) / (weight.sum(axis=1) + 1)
        found = found + shift[:, None] * side
    return found


def _between_rows(ahead: Points, beside: Points, vine_m: float) -> tuple[float, float]:
    """Return the usual distance between rows and that of the closest twentieth."""
    other = (np.abs(ahead) < 0.8 * vine_m) & (np.abs(beside) > 0.7 * vine_m)
    nearest = np.where(other, np.abs(beside), np.inf).min(axis=1)
    known = nearest[np.isfinite(nearest)]
    if known.size < 3:
        return 2 * vine_m, 2 * vine_m
    return float(np.median(known)), float(np.quantile(known, 0.05))


def _pieces(count: int, links: Pairs, ahead: Points) -> tuple[NDArray[np.int64], Points]:
    """Return the piece that each point belongs to, and metres along it that fit its links best."""
    here, there = links
    graph = coo_matrix((np.ones(here.size), (here, there)), shape=(count, count))
    piece = connected_components(graph, directed=False)[1].astype(np.int64)
    weight = 1 / np.maximum(ahead, 0.2)
    one_way = coo_matrix((-weight, (here, there)), shape=(count, count)).tocsr()
    both = one_way + one_way.T
    own = coo_matrix((-np.asarray(both.sum(axis=1)).ravel(), (np.arange(count), np.arange(count))), shape=both.shape)
    pull = np.bincount(there, weight * ahead, count) - np.bincount(here, weight * ahead, count)
    along_m = np.asarray(spsolve((both + own + 1e-9 * identity(count)).tocsc(), pull))
    first = np.full(int(piece.max()) + 1, np.inf)
    np.minimum.at(first, piece, along_m)
    return piece, along_m - first[piece]


def _ends(
    thinned: Points, along: Points, row: NDArray[np.int64], along_m: Points, *, last: bool
) -> tuple[Points, Points, Points]:
    """Return of each piece the metres of its first or last point, the point as its neighbors put it, and its way."""
    key = -along_m if last else along_m
    order = np.lexsort((key, row))
    start = np.searchsorted(row[order], np.arange(int(row.max()) + 1))
    place = np.arange(row.size) - start[row[order]]
    near = place < 6
    index, which = order[near], row[order][near]
    count = np.bincount(which)
    own = order[start]
    way = np.column_stack([np.bincount(which, along[index, axis]) for axis in (0, 1)])
    way = way / np.maximum(np.hypot(*way.T), 1e-12)[:, None]
    middle = np.column_stack([np.bincount(which, thinned[index, axis]) / count for axis in (0, 1)])
    # The end itself, put sideways onto the line through the last few.
    out = np.einsum("nd,nd->n", thinned[own] - middle, way)
    straight = middle + out[:, None] * way
    return along_m[own], np.where((count > 2)[:, None], (straight + thinned[own]) / 2, thinned[own]), along[own]


def _joined(
    thinned: Points,
    along: Points,
    row: NDArray[np.int64],
    along_m: Points,
    vine_m: float,
    aside_m: float,
    reach_m: float,
) -> tuple[NDArray[np.int64], Points]:
    """Join pieces where one goes on in the line of the other: each is the other's best."""
    for _ in range(8):
        end_m, end, end_way = _ends(thinned, along, row, along_m, last=True)
        _, start, start_way = _ends(thinned, along, row, along_m, last=False)
        found = cKDTree(end).query_ball_tree(cKDTree(start), reach_m)
        a = np.repeat(np.arange(len(end)), [len(near) for near in found])
        b = np.array([other for near in found for other in near], dtype=np.int64)
        keep = a != b
        a, b = a[keep], b[keep]
        step = start[b] - end[a]
        way = end_way[a] + start_way[b]
        long = np.hypot(*way.T)
        way = way / np.maximum(long, 1e-12)[:, None]
        ahead = np.einsum("nd,nd->n", step, way)
        beside = np.abs(way[:, 0] * step[:, 1] - way[:, 1] * step[:, 0])
        # On an arc the chord lies midway between both ways, however much it turns; more than a right angle is no row.
        fits = (long > 1.4) & (ahead > 0.3 * vine_m) & (beside < aside_m) & (beside < 0.5 * ahead)
        a, b, ahead, cost = a[fits], b[fits], ahead[fits], (beside / aside_m + 2 * ahead / WIDEST_JOIN_M)[fits]
        if not a.size:
            break
        order = np.argsort(cost)
        best_a, best_b = (np.full(len(end), -1) for _ in range(2))
        best_a[a[order[::-1]]], best_b[b[order[::-1]]] = order[::-1], order[::-1]
        chosen = order[(best_a[a[order]] == order) & (best_b[b[order]] == order)]
        if not chosen.size:
            break
        row, along_m = _shifted(row, along_m, end_m, a[chosen], b[chosen], ahead[chosen])
    return row, along_m


def _shifted(
    row: NDArray[np.int64], along_m: Points, end_m: Points, a: NDArray[np.int64], b: NDArray[np.int64], ahead: Points
) -> tuple[NDArray[np.int64], Points]:
    """Put the pieces `b` behind the pieces `a`."""
    before = np.full(end_m.size, -1)
    before[b] = a
    jump = np.zeros(end_m.size)
    jump[b] = end_m[a] + ahead
    head, offset = np.arange(end_m.size), np.zeros(end_m.size)
    for piece in range(end_m.size):
        at, total, seen = piece, 0.0, 0
        while before[at] >= 0 and seen <= end_m.size:
            total, at, seen = total + jump[at], int(before[at]), seen + 1
        head[piece], offset[piece] = at, total
    found = np.unique(head[row], return_inverse=True)[1].astype(np.int64)
    return found, along_m + offset[row]
