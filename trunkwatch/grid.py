"""The row grid of a block: which position stands where, in rows and stations and in meters.

A station is a place along the rows that all rows share; a position is what is painted on the
posts or counted. Rows of odd length, a slanted headland and an alley in the middle of a row
shift the one against the other. The grid knows nothing of plants or findings.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.errors import RecordError, UnknownVineError
from trunkwatch.vineyard.row_layout import RowLine, Spacings, lay_out, whole
from trunkwatch.vineyard.rows_on_day import ordered_rows, rows_valid_on
from trunkwatch.vineyard.tables import number_in

__all__ = ["NamedRow", "RowGrid", "Rule"]

Rule = Literal["row", "across", "rook", "queen", "diagonal"]

#: Spacing taken where a block has none, in metres (common practice, no source). The grid says so.
ASSUMED_VINE_M, ASSUMED_ROW_M = 2.0, 2.5
#: A larger grid is a slip of the pen in last, breaks, row_order, start_m or across_m, and would fill the memory.
MOST_CELLS = 1_000_000
#: Two rows nearer than this share of the row spacing are one row written twice, or wrong.
CLOSEST_ROWS = 0.25
#: Metres within which two distances are the same.
SAME_M = 1e-6


@dataclass(frozen=True, slots=True, eq=False)
class NamedRow:
    """What is painted on one end post: a whole line of posts, or 7A of a line on which 7B stands behind it.

    Attributes
    ----------
    label : str
        Row label.
    line : int
        Row index in the grid.
    first, last : int
        First and last position.
    stations : (positions,) int array
        Station index of each position, the first one first.
    bay_ends : tuple of int
        Last position of each bay; empty where bays are not known.
    cultivar : str
        Of the row, else of the block.
    """

    label: str
    line: int
    first: int
    last: int
    stations: NDArray[np.int64] = field(repr=False)
    bay_ends: tuple[int, ...] = ()
    cultivar: str = ""

    @property
    def backwards(self) -> bool:
        """Whether it is numbered from the far end."""
        return bool(self.stations[0] > self.stations[-1])


@dataclass(frozen=True, slots=True, eq=False)
class RowGrid:
    """Rows and stations of one block.

    A row of the grid is a line of posts. Where a row is divided (7A, and 7B behind it), both stand on one line, so that
    the vines beside them are their neighbors; `named` lists what has a label of its own.

    Attributes
    ----------
    block : str
        Label of the block.
    rows : tuple of str
        What stands on each line in the order of the ground, 7A/7B for a divided row; "" is an empty line in a wide alley
        between rows.
    named : tuple of NamedRow
        The rows by their labels, in the order of the ground.
    which : (rows, stations) int32 array
        Number in `named` of the row that a cell belongs to, -1 for none.
    exists : (rows, stations) bool array
        Cells that hold a position.
    position : (rows, stations) int32 array
        Position in the cell, -1 for none.
    along_m, across_m : (rows, stations) float array
        Meters in the block's own frame: the way positions grow, and away from the first row;
        nan where there is no position.
    row_spacing_m, vine_spacing_m : float
        Meters.
    assumed_spacing : bool
        Whether a spacing was not written and is a guess, so that meters mean nothing.
    drifting : tuple of str
        Rows whose own spacing takes them more than half a vine from the others' stations.
    ground_m : (east, north) or None
        Meters of every position where rows were surveyed and may curve; neighbors across are then those beside each other there.
    """

    block: str
    rows: tuple[str, ...]
    named: tuple[NamedRow, ...] = field(repr=False)
    which: NDArray[np.int32] = field(repr=False)
    exists: NDArray[np.bool_] = field(repr=False)
    position: NDArray[np.int32] = field(repr=False)
    along_m: NDArray[np.float64] = field(repr=False)
    across_m: NDArray[np.float64] = field(repr=False)
    row_spacing_m: float
    vine_spacing_m: float
    assumed_spacing: bool
    drifting: tuple[str, ...] = ()
    ground_m: tuple[NDArray[np.float64], NDArray[np.float64]] | None = field(default=None, repr=False)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and stations."""
        return (self.position.shape[0], self.position.shape[1])

    @property
    def labels(self) -> tuple[str, ...]:
        """Row labels in the order of the ground, without the empty lines."""
        return tuple(row.label for row in self.named)

    @property
    def is_divided(self) -> bool:
        """Whether several rows stand on one line somewhere."""
        return len(self.named) > sum(bool(name) for name in self.rows)

    @classmethod
    def from_tables(cls, block: Mapping[str, Any], rows: pd.DataFrame, on: str | None = None) -> "RowGrid":
        """Lay out a block.

        Parameters
        ----------
        block : mapping
            A row of the `blocks` table.
        rows : DataFrame
            The rows of the block, as in the `rows` table.
        on : str, optional
            Day (YYYY-MM-DD) whose row labels are taken; the latest where left out.

        Raises
        ------
        RecordError
            If there is no row, a label stands twice, or a cell cannot be read.
        """
        name = str(block["block"])
        ordered = ordered_rows(name, rows_valid_on(name, rows, on))
        spacings = _spacings_of(block, ordered)
        lines = lay_out(block, ordered, spacings)
        return cls._assemble(name, str(block.get("cultivar") or ""), lines, spacings)

    @classmethod
    def _assemble(cls, name: str, cultivar: str, lines: Sequence[RowLine], spacings: Spacings) -> "RowGrid":
        places = _grid_rows(name, lines, spacings.row_m)
        low = min(int(line.stations.min()) for line in lines)
        shape = (places[-1] + 1, max(int(line.stations.max()) for line in lines) - low + 1)
        if shape[0] * shape[1] > MOST_CELLS:
            raise RecordError(
                f"block {name!r} would lie on {shape[0]} rows x {shape[1]} stations; expected: "
                f"at most {MOST_CELLS} places (look at last, breaks, row_order, across_m and start_m of its rows)"
            )
        position, which = np.full(shape, -1, dtype=np.int32), np.full(shape, -1, dtype=np.int32)
        along, across = np.full(shape, np.nan), np.full(shape, np.nan)
        named = []
        for number, (place, line) in enumerate(zip(places, lines, strict=True)):
            at = line.stations - low
            position[place, at] = np.arange(line.first, line.first + at.size)
            along[place, at], across[place, at], which[place, at] = line.along_m, line.across_m, number
            named.append(
                NamedRow(
                    line.label,
                    place,
                    line.first,
                    line.first + at.size - 1,
                    at,
                    line.bay_ends,
                    line.cultivar or cultivar,
                )
            )
        return cls(
            block=name,
            rows=_line_names(named, shape[0]),
            named=tuple(named),
            which=which,
            exists=position >= 0,
            position=position,
            along_m=along,
            across_m=across,
            row_spacing_m=spacings.row_m,
            vine_spacing_m=spacings.vine_m,
            assumed_spacing=spacings.assumed,
            drifting=_drifting_rows(named, along, spacings.vine_m),
        )

    def cell(self, row: str, position: int) -> tuple[int, int]:
        """Return the (row index, station index) of a position.

        Raises
        ------
        UnknownVineError
            If the block has no such row, or the row no such position.
        """
        own = self.row(row)
        if not own.first <= position <= own.last:
            raise UnknownVineError(
                f"row {row!r} of block {self.block!r} has no position {position}; its positions: {own.first} to {own.last}"
            )
        return own.line, int(own.stations[position - own.first])

    def row(self, label: str) -> NamedRow:
        """Return a row by its label.

        Raises
        ------
        UnknownVineError
            If the block has no such row.
        """
        found = next((row for row in self.named if row.label == label), None)
        if found is None:
            every = self.labels
            raise UnknownVineError(f"block {self.block!r} has no row {label!r}; its rows: {every[0]} to {every[-1]}")
        return found

    def row_at(self, row_index: int, station_index: int) -> NamedRow:
        """Return the row that a cell belongs to.

        Raises
        ------
        UnknownVineError
            If the cell holds no position.
        """
        number = int(self.which[row_index, station_index])
        if number < 0:
            raise UnknownVineError(f"no position at row index {row_index}, station index {station_index}")
        return self.named[number]

    def rows_on(self, line: int) -> tuple[NamedRow, ...]:
        """Return the rows that stand on a line of posts, one behind the other; none on an empty line."""
        return tuple(row for row in self.named if row.line == line)

    def label(self, row_index: int, station_index: int) -> tuple[str, int]:
        """Return the row label and the position of a cell.

        Raises
        ------
        UnknownVineError
            If the cell holds no position.
        """
        return self.row_at(row_index, station_index).label, int(self.position[row_index, station_index])

    def position_of_bay(self, row: str, bay: int, vine: int) -> int:
        """Return the position of the n-th vine in a bay, both counted from the row's start.

        Raises
        ------
        UnknownVineError
            If the row has no bays written, or no such bay or vine.
        """
        own = self.row(row)
        ends = own.bay_ends
        if not ends:
            raise UnknownVineError(
                f"row {row!r} of block {self.block!r} has no bay_ends; write them into the rows table"
            )
        if not 1 <= bay <= len(ends):
            raise UnknownVineError(f"row {row!r} of block {self.block!r} has no bay {bay}; it has {len(ends)}")
        start = own.first if bay == 1 else ends[bay - 2] + 1
        if not 1 <= vine <= ends[bay - 1] - start + 1:
            raise UnknownVineError(
                f"bay {bay} of row {row!r} has no vine {vine}; it has {ends[bay - 1] - start + 1} vines"
            )
        return start + vine - 1

    def bay_of(self, row: str, position: int) -> tuple[int, int]:
        """Return bay and vine in the bay of a position; (0, 0) where bays are not known."""
        self.cell(row, position)  # refuses what is not there
        own = self.row(row)
        ends = own.bay_ends
        if not ends:
            return 0, 0
        bay = int(np.searchsorted(ends, position))
        start = own.first if bay == 0 else ends[bay - 1] + 1
        return bay + 1, position - start + 1

    def joins(self, rule: Rule, order: int = 1) -> Rule | NDArray[np.int64]:
        """Return the rule's name where it holds on the ground, else the pairs that it means there.

        It does not hold where rows drift or were surveyed, nor, at corners, where a narrow alley runs aslant
        through the rows: a corner in the grid may then lie on either side of it.
        """
        corners = rule in ("queen", "diagonal") and order == 1 and self._has_corners_over_alleys()
        return self.pairs(rule, order) if self.drifting or corners or self.ground_m is not None else rule

    def _has_corners_over_alleys(self) -> bool:
        before, after = np.zeros(self.shape, dtype=bool), np.zeros(self.shape, dtype=bool)
        for row, line in enumerate(self.exists):
            at = np.flatnonzero(line)
            before[row, at], after[row, at] = _at_alley(at, -1), _at_alley(at, 1)
        rising, falling = after[:-1, :-1] & before[1:, 1:], before[:-1, 1:] & after[1:, :-1]
        return bool(rising.any() or falling.any())

    def pairs(self, rule: Rule, order: int = 1) -> NDArray[np.int64]:
        """List the neighbors of a rule by where the positions really stand.

        Along the row the position `order` further on, with no alley between. Across, in the
        row `order` further on, the nearest position within half a spacing along; both, where two
        are equally near. At a corner likewise, `order` spacings further along.

        Parameters
        ----------
        rule : {"row", "across", "rook", "queen", "diagonal"}
            As for the tests; queen of order k is the k-th ring.
        order : int
            How many vines apart.

        Returns
        -------
        (pairs, 2) int64 array
            Flat indices into the grid, the smaller first, each pair once.

        Raises
        ------
        ValueError
            If the rule is unknown or the order below 1.
        """
        if order < 1:
            raise ValueError(f"order is {order}: 1 or more is needed")
        along, across = [(0, order)], [(order, 0)]
        corners = [(order, -order), (order, order)]
        ring = [(r, s) for r in range(1, order + 1) for s in range(-order, order + 1) if max(r, abs(s)) == order]
        offsets = {
            "row": along,
            "across": across,
            "rook": along + across,
            "diagonal": corners,
            "queen": along + ring,
        }
        if rule not in offsets:
            raise ValueError(f"rule is {rule!r}: one of {', '.join(offsets)}")
        found = [
            self._along_pairs(stations) if rows == 0 else self._ground_pairs(rows, stations, strict=order == 1)
            for rows, stations in offsets[rule]
        ]
        return np.unique(np.concatenate(found), axis=0)

    def _along_pairs(self, stations: int) -> NDArray[np.int64]:
        flat = np.arange(self.position.size).reshape(self.shape)
        both = self.exists[:, :-stations] & self.exists[:, stations:]
        return np.column_stack([flat[:, :-stations][both], flat[:, stations:][both]]).astype(np.int64)

    def _metres_beside(
        self, row: int, here: NDArray[np.int64], other: int, there: NDArray[np.int64]
    ) -> NDArray[np.float64]:
        """Return where positions of a row stand, in the metres along another row."""
        if self.ground_m is None or there.size < 2:
            return np.asarray(self.along_m[row, here])
        east, north = self.ground_m
        points, line = (np.column_stack([east[r, at], north[r, at]]) for r, at in ((row, here), (other, there)))
        return _beside_m(points, line, self.along_m[other, there])

    def _ground_pairs(self, rows: int, stations: int, *, strict: bool) -> NDArray[np.int64]:
        """Pair positions `rows` rows apart and `stations` spacings along; strict: not over an alley."""
        width, half = self.shape[1], self.vine_spacing_m / 2
        # On the border between two offsets the pair belongs to the one straight across.
        reach = half + SAME_M if stations == 0 else half - SAME_M
        found = [np.empty((0, 2), dtype=np.int64)]
        for row in range(self.shape[0] - rows):
            here, there = np.flatnonzero(self.exists[row]), np.flatnonzero(self.exists[row + rows])
            if not here.size or not there.size:
                continue
            target = self._metres_beside(row, here, row + rows, there) + stations * self.vine_spacing_m
            spots = self.along_m[row + rows, there]
            a, b = np.vstack([_nearest(target, spots), _nearest(spots, target)[:, ::-1]]).T
            near = np.abs(target[a] - spots[b]) <= reach
            if strict and stations:
                near &= ~(_at_alley(here, stations)[a] & _at_alley(there, -stations)[b])
            a, b = a[near], b[near]
            found.append(np.column_stack([row * width + here[a], (row + rows) * width + there[b]]))
        return np.concatenate(found)


def _beside_m(
    points: NDArray[np.float64], row: NDArray[np.float64], along_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return the metres along a row, at a right angle to it, of points beside it."""
    apart = ((points[:, None] - row[None]) ** 2).sum(axis=2)
    near = apart.argmin(axis=1)
    # The way of the row by two vines on each side: the error of one point does not turn it.
    low, high = np.clip(near - 2, 0, None), np.clip(near + 2, None, len(row) - 1)
    way = row[high] - row[low]
    long = np.sqrt((way**2).sum(axis=1))
    ahead = ((points - row[near]) * way).sum(axis=1) / np.maximum(long, SAME_M)
    return np.asarray(along_m[near] + ahead)


def _nearest(these: NDArray[np.float64], those: NDArray[np.float64]) -> NDArray[np.int64]:
    """Pair each of these with the nearest of those, or with both that are equally near; both rise."""
    behind = np.searchsorted(those, these)
    sides = np.clip(np.column_stack([behind - 1, behind]), 0, those.size - 1)
    gap = np.abs(those[sides] - these[:, None])
    one, side = np.nonzero(gap <= gap.min(axis=1, keepdims=True) + SAME_M)
    return np.column_stack([one, sides[one, side]]).astype(np.int64)


def _at_alley(at: NDArray[np.int64], side: int) -> NDArray[np.bool_]:
    """Tell of the stations `at` of a row, all that exist, which have an alley on that side."""
    wide = np.diff(at) > 1
    return np.append(wide, False) if side > 0 else np.insert(wide, 0, False)


def _spacings_of(block: Mapping[str, Any], ordered: Sequence[Mapping[str, Any]]) -> Spacings:
    """Return the spacings of a block, from its rows where the block has none."""
    name = block["block"]
    vine, row = number_in(block, "vine_spacing_m"), number_in(block, "row_spacing_m")
    own = [number_in(record, "spacing_m") for record in ordered]
    across = np.array([number_in(record, "across_m") for record in ordered])
    if math.isnan(vine) and not any(math.isnan(metres) for metres in own):
        vine = float(np.median(own))
    lines = np.unique(across)  # rows of one line lie equally far from the first
    if math.isnan(row) and lines.size > 1 and not np.isnan(across).any():
        row = float(np.median(np.diff(lines)))
    if math.isnan(vine) and math.isnan(row):
        return Spacings(ASSUMED_VINE_M, ASSUMED_ROW_M, assumed=True)
    for column, metres in (("vine_spacing_m", vine), ("row_spacing_m", row)):
        if not 0 < metres < math.inf:
            shown = "''" if math.isnan(metres) else f"{metres:g}"
            raise RecordError(f"block {name!r}: {column} is {shown}; expected: meters above 0")
    return Spacings(vine, row, assumed=False)


def _grid_rows(block: str, lines: Sequence[RowLine], row_m: float) -> list[int]:
    """Return the grid row of each line: a gap of one and a half spacings or more leaves empty ones."""
    places = [0]
    for before, after in pairwise(lines):
        if after.goes_on:
            places.append(places[-1])
            continue
        spaces = (after.across_m - before.across_m) / row_m
        if not abs(spaces) < MOST_CELLS:  # not a number, without end, or beyond all vineyards
            raise RecordError(
                f"block {block!r}, row {after.label!r}: it would lie {after.across_m - before.across_m:g} m from row {before.label!r}; "
                f"expected: about {row_m:g} m (look at row_order and across_m)"
            )
        if spaces < CLOSEST_ROWS:
            raise RecordError(
                f"block {block!r}, row {after.label!r}: across_m is {after.across_m:g}, "
                f"{spaces * row_m:.2f} m from row {before.label!r}; expected: about {row_m:g} m "
                "(a row that goes on behind an alley is one row with a break)"
            )
        empty = max(1, whole(spaces) - 1) if spaces >= 1.5 - 1e-9 else 0
        places.append(places[-1] + 1 + empty)
    return places


def _line_names(named: Sequence[NamedRow], lines: int) -> tuple[str, ...]:
    names: list[list[str]] = [[] for _ in range(lines)]
    for row in named:
        names[row.line].append(row.label)
    return tuple("/".join(own) for own in names)


def _drifting_rows(named: Sequence[NamedRow], along_m: NDArray[np.float64], vine_m: float) -> tuple[str, ...]:
    """Name the rows that do not keep step with a neighbour, of a divided row all parts.

    Over the stations that two neighbouring rows share, the metres between them change by more
    than half a vine. Of the two it is the one whose step is further from the
    rows' usual one, and then from the block's.
    """
    steps = np.full(len(along_m), np.nan)
    for row, line in enumerate(along_m):
        at = np.flatnonzero(~np.isnan(line))
        if at.size > 1:
            steps[row] = (line[at[-1]] - line[at[0]]) / (at[-1] - at[0])
    known = steps[~np.isnan(steps)]
    usual = np.median(known) if known.size else vine_m
    off = [(round(abs(step - usual), 9), round(abs(step - vine_m), 9)) for step in steps]
    drifting: set[int] = set()
    for row in range(len(along_m) - 1):
        apart = along_m[row + 1] - along_m[row]
        apart = apart[~np.isnan(apart)]
        if apart.size and np.ptp(apart) > vine_m / 2 + 1e-9:
            worst = max(off[row], off[row + 1])
            drifting.update(r for r in (row, row + 1) if off[r] == worst)
    return tuple(row.label for row in named if row.line in drifting)
