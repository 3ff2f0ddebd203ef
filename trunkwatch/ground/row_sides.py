"""Rows that were found among points, put in the order of the ground: which row lies beside which, and how far."""

from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_matrix, identity
from scipy.sparse.csgraph import connected_components
from scipy.sparse.linalg import spsolve
from scipy.spatial import cKDTree

from trunkwatch.ground.block_frame import Points
from trunkwatch.ground.linked_rows import FEWEST, LinkedRows

__all__ = ["Sides", "one_row_each", "sides_of", "strays_put_in"]

#: Two rows that see each other this often at least lie beside each other.
FEWEST_LOOKS = 2


@dataclass(frozen=True, slots=True)
class Sides:
    """The order of rows.

    Attributes
    ----------
    order : (rows,) int array
        Rows from left to right as one looks along them.
    across_m, start_m : (rows,) float array
        Metres from the leftmost row, and from the base line to the zero of the row's own metres.
    contrary : float
        Share of the looks to the side that contradict the order.
    parts : int
        Groups of rows that have no row beside each other: 1 for a block.
    row_m, narrow_m : float
        Metres to the next row, as a rule and where rows are closest.
    """

    order: NDArray[np.int64] = field(repr=False)
    across_m: Points = field(repr=False)
    start_m: Points = field(repr=False)
    contrary: float
    parts: int
    row_m: float
    narrow_m: float


@dataclass(frozen=True, slots=True)
class _Looks:
    """Looks from row to row: the row looked from and at, metres to the right, and the shift along."""

    left: NDArray[np.int64]
    right: NDArray[np.int64]
    apart: Points
    shift: Points
    count: NDArray[np.int64]


def one_row_each(points: Points, found: LinkedRows) -> tuple[LinkedRows, Sides]:
    """Join pieces that lie in one line between the same rows, none beside the other: pieces of one row; and put rows in order."""
    around = _around(points, found)
    sides = sides_of(points, found, around)
    for _ in range(12):
        pairs = _in_one_line(points, found, sides)
        if not pairs:
            break
        row, along_m = found.row.copy(), found.along_m.copy()
        for first, second, shift in pairs:
            moved = found.row == second
            along_m[moved] += shift
            row[moved] = first
        found = replace(found, row=_renumbered(row), along_m=along_m)
        sides = sides_of(points, found, around)
    return found, sides


def _renumbered(row: NDArray[np.int64]) -> NDArray[np.int64]:
    known, found = row >= 0, row.copy()
    found[known] = np.unique(row[known], return_inverse=True)[1]
    return found


def strays_put_in(points: Points, found: LinkedRows, sides: Sides) -> tuple[LinkedRows, Sides]:
    """Give points in no row, and pieces too short for one, to the row whose line the rows around them tell; and order again."""
    size = np.bincount(found.row[found.row >= 0], minlength=int(found.row.max()) + 1)
    stray = np.flatnonzero((found.row < 0) | (size[found.row] < FEWEST))
    held = np.setdiff1d(np.arange(len(points)), stray)
    if not stray.size or held.size < 2:
        return found, sides
    count = min(8, held.size)
    near = held[cKDTree(points[held]).query(points[stray], k=count)[1].reshape(stray.size, count)]
    step = points[stray][:, None] - points[near]
    way = found.along[near]
    across = sides.across_m[found.row[near]] + way[..., 1] * step[..., 0] - way[..., 0] * step[..., 1]
    rows = np.flatnonzero(size >= FEWEST)
    rows = rows[np.argsort(sides.across_m[rows], kind="stable")]
    row, along_m = found.row.copy(), found.along_m.copy()
    row[stray], along_m[stray] = -1, np.nan
    for number, place in enumerate(stray.tolist()):
        middle = float(np.median(across[number]))
        off = np.abs(sides.across_m[rows] - middle)
        best = int(off.argmin())
        own = int(rows[best])
        if off[best] < 0.3 * sides.narrow_m:
            row[place] = own
            along_m[place] = _metres_in(points, found, np.flatnonzero(found.row == own), place)
    found = replace(found, row=_renumbered(row), along_m=along_m)
    return found, sides_of(points, found)


def _metres_in(points: Points, found: LinkedRows, own: NDArray[np.int64], stray: int) -> float:
    """Return how far along a row a point stands, by the nearest points of that row: rows beside it may be longer or shorter there."""
    step = points[stray] - points[own]
    near = np.argsort(np.hypot(*step.T), kind="stable")[:4]
    # On an arc the chord lies midway between the ways at both ends.
    there = found.along[own[near]]
    there = there + np.where(there @ found.along[stray] < 0, -1.0, 1.0)[:, None] * found.along[stray]
    ahead = np.einsum("kd,kd->k", step[near], there) / np.maximum(np.hypot(*there.T), 1e-12)
    return float(np.median(found.along_m[own[near]] + ahead))


def _in_one_line(points: Points, found: LinkedRows, sides: Sides) -> list[tuple[int, int, float]]:
    """Return pieces that are nearer across than two rows and have no vines beside each other, and how to shift the second."""
    pairs: list[tuple[int, int, float]] = []
    used: set[int] = set()
    for place, a in enumerate(sides.order.tolist()):
        for b in sides.order[place + 1 : place + 3].tolist():
            if sides.across_m[b] - sides.across_m[a] > 0.6 * sides.narrow_m:
                break
            if a in used or b in used:
                continue
            own, other = np.flatnonzero(found.row == a), np.flatnonzero(found.row == b)
            first, second = (a, b) if own.size >= other.size else (b, a)
            own, other = (own, other) if own.size >= other.size else (other, own)
            own = own[np.argsort(found.along_m[own], kind="stable")]
            here = found.along_m[own] + sides.start_m[first]
            there = found.along_m[other] + sides.start_m[second]
            behind = np.clip(np.searchsorted(here, there), 1, here.size - 1)
            near = np.where(np.abs(here[behind] - there) < np.abs(here[behind - 1] - there), behind, behind - 1)
            away = np.abs(here[near] - there)
            if (away < 0.5 * found.vine_m).mean() < 0.2:
                at = int(away.argmin())
                one, two = own[near[at]], other[at]
                way = found.along[one] + found.along[two]
                ahead = float((points[two] - points[one]) @ way / max(float(np.hypot(*way)), 1e-12))
                pairs.append((first, second, float(found.along_m[one]) + ahead - float(found.along_m[two])))
                used |= {a, b}
    return pairs


def _around(points: Points, found: LinkedRows) -> NDArray[np.int64]:
    """Return the nearest points that are in a row of every point that is, (points, neighbors), as numbers among those."""
    held = points[found.row >= 0]
    count = min(30, len(held) - 1)
    return np.asarray(cKDTree(held).query(held, k=count + 1)[1], dtype=np.int64)[:, 1:]


def _looks(points: Points, found: LinkedRows, near: NDArray[np.int64]) -> _Looks:
    """Look from every point to the nearest point of another row to its right and to its left."""
    held = np.flatnonzero(found.row >= 0)
    row, along, metres = found.row[held], found.along[held], found.along_m[held]
    x, y = (axis[near] - axis[:, None] for axis in points[held].T)
    ahead = x * along[:, :1] + y * along[:, 1:]
    right = x * along[:, 1:] - y * along[:, :1]
    other = (row[near] != row[:, None]) & (np.abs(ahead) < 0.75 * found.vine_m)
    edges = []
    for side in (1.0, -1.0):
        away = np.where(other & (right * side > 0), right * side, np.inf)
        first = away.argmin(axis=1)
        here = np.flatnonzero(np.isfinite(away[np.arange(held.size), first]))
        first = first[here]
        there = near[here, first]
        # The metres of the other row at the place right beside.
        shift = metres[here] + ahead[here, first] - metres[there]
        left, rightmost = (row[here], row[there]) if side > 0 else (row[there], row[here])
        edges.append((left, rightmost, away[here, first], shift * side))
    left, rightmost, apart, shift = (np.concatenate(part) for part in zip(*edges, strict=True))
    rows = int(row.max()) + 1
    key, which = np.unique(left * rows + rightmost, return_inverse=True)
    order = np.argsort(which, kind="stable")
    cuts = np.searchsorted(which[order], np.arange(key.size + 1))
    groups = [order[a:b] for a, b in pairwise(cuts)]
    keep = np.array([group.size >= FEWEST_LOOKS for group in groups], dtype=bool)
    return _Looks(
        (key // rows)[keep],
        (key % rows)[keep],
        np.array([np.median(apart[g]) for g in groups])[keep],
        np.array([np.median(shift[g]) for g in groups])[keep],
        np.array([g.size for g in groups])[keep],
    )


def sides_of(points: Points, found: LinkedRows, around: NDArray[np.int64] | None = None) -> Sides:
    """Put rows in order.

    Parameters
    ----------
    points : (n, 2) float array
        Metres.
    found : LinkedRows
        Their rows, two or more.
    around : (held, neighbors) int array, optional
        What `_around` gives, where it is known already: it is the same as long as the same points are in a row.
    """
    looks = _looks(points, found, _around(points, found) if around is None else around)
    rows = int(found.row.max()) + 1
    graph = coo_matrix((np.ones(looks.left.size), (looks.left, looks.right)), shape=(rows, rows))
    parts = int(connected_components(graph, directed=False)[0])
    across = _fitted(looks, looks.apart, rows)
    start = _fitted(looks, looks.shift, rows)
    order = np.argsort(across, kind="stable")
    place = np.empty(rows, dtype=np.int64)
    place[order] = np.arange(rows)
    against = looks.count[place[looks.left] > place[looks.right]].sum()
    apart = np.repeat(looks.apart, looks.count) if looks.count.size else np.array([found.row_m])
    return Sides(
        order,
        across,
        start,
        float(against / max(looks.count.sum(), 1)),
        parts,
        float(np.median(apart)),
        float(np.quantile(apart, 0.05)),
    )


def _fitted(looks: _Looks, differences: Points, rows: int) -> Points:
    """Return a number for each row such that the differences from row to row fit best."""
    a, b, weight = looks.left, looks.right, looks.count.astype(float)
    lap = coo_matrix((-weight, (a, b)), shape=(rows, rows)).tocsr()
    lap = lap + lap.T
    diagonal = -np.asarray(lap.sum(axis=1)).ravel()
    lap = lap + coo_matrix((diagonal, (np.arange(rows), np.arange(rows))), shape=(rows, rows)) + 1e-9 * identity(rows)
    pull = np.bincount(b, weight * differences, rows) - np.bincount(a, weight * differences, rows)
    return np.atleast_1d(np.asarray(spsolve(lap.tocsc(), pull), dtype=float))
