"""Neighbor rules on a row grid: which two vines form a join.

A rule is a list of half-plane offsets (rows apart, stations apart): each unordered pair of
vines is met once. Rows are usually further apart than vines in a row, so a rule in index
units is not the same distance in meters in both directions; `offsets_within` gives rules in
meters. A block whose rows drift against each other has no common stations: its joins are
handed over as pairs of cells.
"""

from collections.abc import Sequence
from typing import Literal, get_args

import numpy as np
from numpy.typing import NDArray

Rule = Literal["row", "across", "rook", "queen", "diagonal"]
Offset = tuple[int, int]
Joins = Rule | Sequence[Offset] | NDArray[np.int64]

__all__ = ["Joins", "Offset", "Rule", "half_offsets", "is_pairs", "joined_pairs", "offsets_within"]


def is_pairs(joins: Joins) -> bool:
    """Tell whether the joins are handed over as a (k, 2) array of flat cell indices."""
    return isinstance(joins, np.ndarray)


def half_offsets(joins: Rule | Sequence[Offset], order: int = 1) -> list[Offset]:
    """Return the offsets of a rule, one for each unordered pair of vines.

    Parameters
    ----------
    joins : {"row", "across", "rook", "queen", "diagonal"} or sequence of (int, int)
        Along the row; across rows; both; all eight around (for order k the k-th ring);
        the four corners only; or offsets (rows apart, stations apart) of your own.
    order : int
        How many vines apart. Ignored for offsets of your own.

    Raises
    ------
    ValueError
        If the rule is unknown, the order below 1, or an offset is (0, 0).
    """
    if not isinstance(joins, str):
        return _checked_offsets(joins)
    if order < 1:
        raise ValueError(f"order is {order}: 1 or more is needed")
    if joins not in get_args(Rule):
        raise ValueError(f"joins is {joins!r}: one of {', '.join(get_args(Rule))} or a list of offsets")
    along, across, corners = [(0, order)], [(order, 0)], [(order, -order), (order, order)]
    named = {"row": along, "across": across, "rook": along + across, "diagonal": corners}
    if joins in named:
        return named[joins]
    return [
        (rows, stations)
        for rows in range(order + 1)
        for stations in range(-order, order + 1)
        if max(rows, abs(stations)) == order and (rows > 0 or stations > 0)
    ]


def _checked_offsets(offsets: Sequence[Offset]) -> list[Offset]:
    half: list[Offset] = []
    for rows, stations in offsets:
        if rows == 0 and stations == 0:
            raise ValueError("an offset is (0, 0): a vine is no neighbor of itself")
        upper = (rows, stations) if (rows > 0 or (rows == 0 and stations > 0)) else (-rows, -stations)
        if upper not in half:
            half.append((int(upper[0]), int(upper[1])))
    if not half:
        raise ValueError("no offsets given: at least one (rows apart, stations apart) is needed")
    return half


def offsets_within(
    radius_m: float, row_spacing_m: float, vine_spacing_m: float, *, beyond_m: float = 0.0
) -> list[Offset]:
    """Return the offsets of all pairs farther than `beyond_m` and at most `radius_m` apart on the ground.

    Raises
    ------
    ValueError
        If a spacing or the radius is not positive, or no pair lies in the band.
    """
    if min(radius_m, row_spacing_m, vine_spacing_m) <= 0:
        raise ValueError(
            f"radius {radius_m} m, row spacing {row_spacing_m} m, vine spacing {vine_spacing_m} m: all must be above 0"
        )
    rows = int(radius_m / row_spacing_m + 1e-9)
    stations = int(radius_m / vine_spacing_m + 1e-9)
    slack = 1e-9 * radius_m
    half = [
        (dr, ds)
        for dr in range(rows + 1)
        for ds in range(-stations, stations + 1)
        if (dr > 0 or ds > 0)
        and beyond_m + slack < np.hypot(dr * row_spacing_m, ds * vine_spacing_m) <= radius_m + slack
    ]
    if not half:
        raise ValueError(f"no two vines lie more than {beyond_m} m and at most {radius_m} m apart: widen the band")
    return half


def joined_pairs(joins: Joins, vines: NDArray[np.bool_], order: int = 1) -> NDArray[np.int64]:
    """List every join between two vines that count, as flat indices into the grid.

    Parameters
    ----------
    joins : rule, offsets, or (k, 2) int array
        As in `half_offsets`; an array is taken as pairs of flat cell indices, of which those
        between two vines that count are kept.
    vines : (rows, stations) bool array
        The vines that count.

    Returns
    -------
    (joins, 2) int64 array
    """
    if isinstance(joins, np.ndarray):
        pairs = _checked_pairs(joins, vines.size)
        flat = vines.ravel()
        return pairs[flat[pairs[:, 0]] & flat[pairs[:, 1]]]
    rows, stations = vines.shape
    cell = np.arange(vines.size, dtype=np.int64).reshape(vines.shape)
    found = []
    for dr, ds in half_offsets(joins, order):
        if dr >= rows or abs(ds) >= stations:
            continue
        here = (slice(0, rows - dr), slice(max(0, -ds), stations - max(0, ds)))
        there = (slice(dr, rows), slice(max(0, ds), stations - max(0, -ds)))
        both = vines[here] & vines[there]
        found.append(np.column_stack([cell[here][both], cell[there][both]]))
    return np.concatenate(found) if found else np.empty((0, 2), dtype=np.int64)


def _checked_pairs(pairs: NDArray[np.int64], size: int) -> NDArray[np.int64]:
    if pairs.ndim != 2 or pairs.shape[1] != 2 or not np.issubdtype(pairs.dtype, np.integer):
        raise ValueError(f"joins is an array of shape {pairs.shape}: (joins, 2) whole numbers are needed")
    if pairs.size and (pairs.min() < 0 or pairs.max() >= size):
        raise ValueError(f"joins names cell {int(pairs.max())} of a grid of {size} cells")
    ordered = np.unique(np.sort(pairs.astype(np.int64), axis=1), axis=0)
    if (ordered[:, 0] == ordered[:, 1]).any():
        raise ValueError("joins pairs a vine with itself: name two different cells")
    return ordered
