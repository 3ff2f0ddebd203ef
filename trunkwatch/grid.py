"""The row grid of a block: which position stands where, in rows and stations and in metres.

A station is a place along the rows that all rows share; a position is what is painted on the
posts or counted. Rows of odd length, a slanted headland and an alley in the middle of a row
shift the one against the other. The grid knows nothing of plants or findings.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.errors import RecordError, UnknownVineError
from trunkwatch.vineyard.row_layout import bay_ends_of, breaks_of, natural_key

__all__ = ["RowGrid", "Rule"]

Rule = Literal["row", "across", "rook", "queen", "diagonal"]

#: Spacing taken where none is written, in metres (common practice, no source). The grid says so.
ASSUMED_VINE_M, ASSUMED_ROW_M = 2.0, 2.5


@dataclass(frozen=True, slots=True)
class _Line:
    """One row as written, its stations still counted from the base line."""

    label: str
    across_m: float
    first: int
    stations: NDArray[np.int64]
    along_m: NDArray[np.float64]
    bay_ends: tuple[int, ...]
    cultivar: str
    drifts: bool


@dataclass(frozen=True, slots=True, eq=False)
class RowGrid:
    """Rows and stations of one block.

    Attributes
    ----------
    block : str
        Label of the block.
    rows : tuple of str
        Row labels in the order of the ground; "" is an empty line in a wide alley between rows.
    exists : (rows, stations) bool array
        Cells that hold a position.
    position : (rows, stations) int32 array
        Position in the cell, -1 for none.
    along_m, across_m : (rows, stations) float array
        Metres in the block's own frame: the way positions grow, and away from the first row;
        nan where there is no position.
    row_spacing_m, vine_spacing_m : float
        Metres.
    assumed_spacing : bool
        Whether a spacing was not written and is a guess, so that metres mean nothing.
    first, last : (rows,) int array
        First and last position; 0 and -1 on an empty line.
    bay_ends : tuple of tuple of int
        Last position of each bay of each row; empty where bays are not known.
    cultivar : tuple of str
        Of each row.
    drifting : tuple of str
        Rows whose own spacing takes them more than half a vine from the others' stations.
    """

    block: str
    rows: tuple[str, ...]
    exists: NDArray[np.bool_] = field(repr=False)
    position: NDArray[np.int32] = field(repr=False)
    along_m: NDArray[np.float64] = field(repr=False)
    across_m: NDArray[np.float64] = field(repr=False)
    row_spacing_m: float
    vine_spacing_m: float
    assumed_spacing: bool
    first: NDArray[np.int64] = field(repr=False)
    last: NDArray[np.int64] = field(repr=False)
    bay_ends: tuple[tuple[int, ...], ...] = field(repr=False)
    cultivar: tuple[str, ...] = field(repr=False)
    drifting: tuple[str, ...] = ()

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and stations."""
        return (self.position.shape[0], self.position.shape[1])

    @property
    def labels(self) -> tuple[str, ...]:
        """Row labels without the empty lines."""
        return tuple(label for label in self.rows if label)

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
        lines = _valid_on(rows, on)
        if lines.empty:
            raise RecordError(f"block {name!r} has no rows; write them into rows.csv: block, row, first, last")
        twice = lines["row"][lines["row"].duplicated()]
        if len(twice):
            raise RecordError(f"block {name!r} has row {twice.iloc[0]!r} twice; each row label stands once")
        vine, row = _or_nan(block.get("vine_spacing_m")), _or_nan(block.get("row_spacing_m"))
        assumed = bool(np.isnan(vine) or np.isnan(row))
        vine = ASSUMED_VINE_M if np.isnan(vine) else vine
        row = ASSUMED_ROW_M if np.isnan(row) else row
        ordered = _in_order(lines, row)
        reverse = block.get("numbering") == "serpentine"
        laid = [
            _lay(name, line, across, vine, reverse=reverse and number % 2 == 1)
            for number, (line, across) in enumerate(ordered)
        ]
        return cls._assemble(name, str(block.get("cultivar") or ""), laid, row, vine, assumed=assumed)

    @classmethod
    def _assemble(
        cls, name: str, cultivar: str, laid: Sequence[_Line], row_m: float, vine_m: float, *, assumed: bool
    ) -> "RowGrid":
        places = _row_places([line.across_m for line in laid], row_m)
        low = min(int(line.stations.min()) for line in laid)
        width = max(int(line.stations.max()) for line in laid) - low + 1
        height = places[-1] + 1
        position = np.full((height, width), -1, dtype=np.int32)
        along, across = np.full((height, width), np.nan), np.full((height, width), np.nan)
        labels, cultivars = [""] * height, [""] * height
        bays: list[tuple[int, ...]] = [()] * height
        first, last = np.zeros(height, dtype=np.int64), np.full(height, -1, dtype=np.int64)
        for place, line in zip(places, laid, strict=True):
            at = line.stations - low
            position[place, at] = np.arange(line.first, line.first + len(at))
            along[place, at], across[place, at] = line.along_m, line.across_m
            labels[place], cultivars[place] = line.label, line.cultivar or cultivar
            bays[place] = line.bay_ends
            first[place], last[place] = line.first, line.first + len(at) - 1
        return cls(
            block=name, rows=tuple(labels), exists=position >= 0, position=position, along_m=along, across_m=across,
            row_spacing_m=row_m, vine_spacing_m=vine_m, assumed_spacing=assumed, first=first, last=last,
            bay_ends=tuple(bays), cultivar=tuple(cultivars),
            drifting=tuple(line.label for line in laid if line.drifts),
        )  # fmt: skip

    def cell(self, row: str, position: int) -> tuple[int, int]:
        """Return the (row index, station index) of a position.

        Raises
        ------
        UnknownVineError
            If the block has no such row, or the row no such position.
        """
        if not row or row not in self.rows:
            named = self.labels
            raise UnknownVineError(f"block {self.block!r} has no row {row!r}; its rows: {named[0]} to {named[-1]}")
        number = self.rows.index(row)
        found = np.flatnonzero(self.position[number] == position) if position >= 0 else np.array([], dtype=int)
        if not found.size:
            raise UnknownVineError(
                f"row {row!r} of block {self.block!r} has no position {position}; "
                f"its positions: {self.first[number]} to {self.last[number]}"
            )
        return number, int(found[0])

    def label(self, row_index: int, station_index: int) -> tuple[str, int]:
        """Return the row label and the position of a cell.

        Raises
        ------
        UnknownVineError
            If the cell holds no position.
        """
        position = int(self.position[row_index, station_index])
        if position < 0:
            raise UnknownVineError(f"no position at row index {row_index}, station index {station_index}")
        return self.rows[row_index], position

    def position_of_bay(self, row: str, bay: int, vine: int) -> int:
        """Return the position of the n-th vine in a bay, both counted from the row's start.

        Raises
        ------
        UnknownVineError
            If the row has no bays written, or no such bay or vine.
        """
        number = self.cell(row, int(self.first[self.rows.index(row)]) if row in self.rows else 0)[0]
        ends = self.bay_ends[number]
        if not ends:
            raise UnknownVineError(f"row {row!r} of block {self.block!r} has no bay_ends; write them into the rows table")
        if not 1 <= bay <= len(ends):
            raise UnknownVineError(f"row {row!r} of block {self.block!r} has no bay {bay}; it has {len(ends)}")
        start = int(self.first[number]) if bay == 1 else ends[bay - 2] + 1
        if not 1 <= vine <= ends[bay - 1] - start + 1:
            raise UnknownVineError(
                f"bay {bay} of row {row!r} has no vine {vine}; it has {ends[bay - 1] - start + 1} vines"
            )
        return start + vine - 1

    def bay_of(self, row: str, position: int) -> tuple[int, int]:
        """Return bay and vine in the bay of a position; (0, 0) where bays are not known."""
        number, _ = self.cell(row, position)
        ends = self.bay_ends[number]
        if not ends:
            return 0, 0
        bay = int(np.searchsorted(ends, position))
        start = int(self.first[number]) if bay == 0 else ends[bay - 1] + 1
        return bay + 1, position - start + 1

    def joins(self, rule: Rule) -> Rule | NDArray[np.int64]:
        """Return the rule's name where the rows keep step, else the pairs that it means on the ground."""
        return self.pairs(rule) if self.drifting else rule

    def pairs(self, rule: Rule) -> NDArray[np.int64]:
        """List the neighbours of a rule by where the positions really stand.

        Along the row the next position, unless an alley lies between. Across, in the next line,
        the nearest position within half a spacing along the row; diagonals are the neighbours
        of that one.

        Returns
        -------
        (pairs, 2) int64 array
            Flat indices into the grid.
        """
        along = self._along_pairs() if rule in ("row", "rook", "queen") else []
        steps = {"across": (0,), "rook": (0,), "queen": (-1, 0, 1), "diagonal": (-1, 1)}.get(rule, ())
        found = along + [pair for step in steps for pair in self._across_pairs(step)]
        return np.array(sorted(found), dtype=np.int64).reshape(-1, 2)

    def _along_pairs(self) -> list[tuple[int, int]]:
        width = self.shape[1]
        left, right = self.exists[:, :-1], self.exists[:, 1:]
        return [(int(r) * width + int(s), int(r) * width + int(s) + 1) for r, s in np.argwhere(left & right)]

    def _across_pairs(self, step: int) -> list[tuple[int, int]]:
        width, half = self.shape[1], self.vine_spacing_m / 2
        found = []
        for row in range(self.shape[0] - 1):
            here, there = np.flatnonzero(self.exists[row]), np.flatnonzero(self.exists[row + 1])
            if not here.size or not there.size:
                continue
            target = self.along_m[row, here] + step * self.vine_spacing_m
            gap = np.abs(self.along_m[row + 1, there][None, :] - target[:, None])
            nearest = gap.argmin(axis=1)
            near = gap[np.arange(here.size), nearest] <= half + 1e-9
            found += [
                (row * width + int(a), (row + 1) * width + int(b))
                for a, b in zip(here[near], there[nearest[near]], strict=True)
            ]
        return found


def _or_nan(value: Any) -> float:
    return float(value) if value not in (None, "") else float("nan")


def _valid_on(rows: pd.DataFrame, on: str | None) -> pd.DataFrame:
    """Keep the row labels that hold on a day; the latest where no day is given."""
    since = rows["valid_from"].replace("", "0000-00-00")
    until = rows["valid_to"].replace("", "9999-99-99")
    day = on or max(since, default="0000-00-00")
    return rows[(since <= day) & (day <= until)]


def _in_order(lines: pd.DataFrame, row_m: float) -> list[tuple[Mapping[str, Any], float]]:
    """Put rows in the order of the ground, with the distance of each from the first."""
    records = [{str(k): v for k, v in line.items()} for line in lines.to_dict("records")]
    if all(not np.isnan(line["across_m"]) for line in records):
        records.sort(key=lambda line: (line["across_m"], natural_key(line["row"])))
        return [(line, float(line["across_m"])) for line in records]
    if all(not np.isnan(line["row_order"]) for line in records):
        records.sort(key=lambda line: (line["row_order"], natural_key(line["row"])))
        return [(line, (line["row_order"] - records[0]["row_order"]) * row_m) for line in records]
    records.sort(key=lambda line: natural_key(line["row"]))
    return [(line, number * row_m) for number, line in enumerate(records)]


def _lay(block: str, line: Mapping[str, Any], across_m: float, vine_m: float, *, reverse: bool) -> _Line:
    """Give every position of a row its station and its metres, counted once for the row."""
    where = f"block {block!r}, row {line['row']!r}"
    first = 1 if np.isnan(line["first"]) else int(line["first"])
    if np.isnan(line["last"]):
        raise RecordError(f"{where}: last is empty; expected: the last position of the row")
    last = int(line["last"])
    if last < first:
        raise RecordError(f"{where}: last is {last}; expected: {first} (first) or more")
    spacing = vine_m if np.isnan(line["spacing_m"]) else float(line["spacing_m"])
    start = 0.0 if np.isnan(line["start_m"]) else float(line["start_m"])
    breaks = breaks_of(str(line["breaks"]), where)
    beyond = [p for p in breaks if not first <= p < last]
    if beyond:
        raise RecordError(f"{where}: breaks names position {beyond[0]}; expected: {first} to {last - 1}")
    count = last - first + 1
    steps = np.ones(count - 1, dtype=np.int64)
    metres = np.full(count - 1, spacing)
    for position, gap in breaks.items():
        # An alley is an alley even where it is hardly wider than a spacing: never a join across it.
        steps[position - first] = 1 + max(1, round(gap / spacing) - 1)
        metres[position - first] = gap
    stations = round(start / vine_m) + np.concatenate([[0], np.cumsum(steps)]).astype(np.int64)
    along = start + np.concatenate([[0.0], np.cumsum(metres)])
    drift = np.ptp(along - stations * vine_m) - sum(abs(gap - (1 + max(1, round(gap / spacing) - 1)) * spacing)
                                                  for gap in breaks.values())  # fmt: skip
    if reverse:
        stations, along = stations[::-1].copy(), along[::-1].copy()
    return _Line(
        str(line["row"]), across_m, first, stations, along,
        bay_ends_of(str(line["bay_ends"]), first, last, where), str(line["cultivar"]), bool(drift > vine_m / 2 + 1e-9),
    )  # fmt: skip


def _row_places(across: Sequence[float], row_m: float) -> list[int]:
    """Return the grid row of each line: a gap of one and a half spacings or more leaves empty lines."""
    places = [0]
    for before, after in zip(across, across[1:], strict=False):
        spaces = (after - before) / row_m
        places.append(places[-1] + (max(2, round(spaces)) if spaces >= 1.5 - 1e-9 else 1))
    return places
