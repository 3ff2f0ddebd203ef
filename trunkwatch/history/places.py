"""From what a scout wrote, a row and a position, to the cell of the grid that is meant.

Scouts count from either end of a row, count living vines only, or write bay and vine in the
bay. The records keep what was written; it is turned into a cell here, each time it is read.
"""

import math
from collections.abc import Callable, Mapping
from typing import Any

import pandas as pd

from trunkwatch.errors import UnknownVineError
from trunkwatch.grid import RowGrid
from trunkwatch.vineyard.tables import number_in, records_of

__all__ = ["Cell", "Places"]

Cell = tuple[int, int]
Empty = Callable[[Cell, str], bool]


class Places:
    """Finds cells of one block.

    Parameters
    ----------
    grid : RowGrid
        The block's rows and positions.
    rows : DataFrame, optional
        All lines of the `rows` table, ended ones too: a record is read with the labels that held
        on its day.
    """

    def __init__(self, grid: RowGrid, rows: pd.DataFrame | None = None) -> None:
        self.grid = grid
        self._dated = _dated_labels(grid, rows) if rows is not None else {}
        self._row = {label: number for number, label in enumerate(grid.rows) if label}
        self._stations: list[dict[int, int]] = [
            {int(position): station for station, position in enumerate(line) if position >= 0} for line in grid.position
        ]

    def row_number(self, label: str, day: str = "") -> int | None:
        """Return the grid row that a label stood for on a day; today's where no day is given."""
        for since, until, number in self._dated.get(label, ()) if day else ():
            if since <= day <= until:
                return number
        return self._row.get(label)

    def labels_on(self, day: str) -> tuple[str, ...]:
        """Return the row labels that held on a day, in the order of the ground."""
        if not self._dated:
            return self.grid.rows
        labels = list(self.grid.rows)
        for label, spans in self._dated.items():
            for since, until, number in spans:
                if since <= day <= until:
                    labels[number] = label
        return tuple(labels)

    def find(self, row: str, position: str, bay: str = "", vine: float = math.nan, day: str = "") -> Cell | None:
        """Return the cell counted from the row's start, or None if there is no such position."""
        number = self.row_number(row, day)
        counted = self._counted(row, position, bay, vine)
        if number is None or counted is None:
            return None
        station = self._stations[number].get(counted)
        return None if station is None else (number, station)

    def _counted(self, row: str, position: str, bay: str, vine: float) -> int | None:
        if position:
            return int(position) if position.isdecimal() else None
        if not bay or math.isnan(vine):
            return None
        try:
            return self.grid.position_of_bay(row, int(bay), int(vine))
        except (UnknownVineError, ValueError):
            return None

    def line(self, row: str, day: str = "") -> list[Cell]:
        """Return the cells of a row in the order of their positions; empty if there is no such row."""
        number = self.row_number(row, day)
        if number is None:
            return []
        stations = self._stations[number]
        return [(number, stations[position]) for position in sorted(stations)]

    def counted(
        self,
        row: str,
        count: int,
        *,
        from_end: bool = False,
        living_only: bool = False,
        empty: Empty,
        day: str,
    ) -> Cell | None:
        """Return the cell that a scout reaches by counting.

        Parameters
        ----------
        row : str
            Row label.
        count : int
            What was counted: positions as they are labelled, or living vines from 1.
        from_end : bool
            Counted from the far end: the last position is the first that is counted.
        living_only : bool
            Empty positions and dead vines were not counted.
        empty : callable
            Tells whether a cell holds no living vine on a day.
        day : str
            Day of the count, YYYY-MM-DD.
        """
        line = self.line(row, day)
        if not line:
            return None
        if living_only:
            line = [cell for cell in line if not empty(cell, day)]
            index = count - 1
        else:
            index = count - int(self.grid.first[line[0][0]])
        if not 0 <= index < len(line):
            return None
        return line[-1 - index] if from_end else line[index]


def _dated_labels(grid: RowGrid, rows: pd.DataFrame) -> dict[str, list[tuple[str, str, int]]]:
    """Tell which row of today each label stood for, where labels have dates.

    Two lines of the table are one row on the ground if they have the same `row_order` (or, where
    that is not written, the same `across_m`).
    """
    records = [record for record in records_of(rows) if str(record["block"]) == grid.block]
    if not any(record["valid_from"] or record["valid_to"] for record in records):
        return {}
    today = {_ground(record): grid.rows.index(str(record["row"])) for record in records
             if str(record["row"]) in grid.rows and not record["valid_to"]}  # fmt: skip
    dated: dict[str, list[tuple[str, str, int]]] = {}
    for record in records:
        number = today.get(_ground(record))
        if number is not None:
            span = (str(record["valid_from"]) or "0000-00-00", str(record["valid_to"]) or "9999-99-99", number)
            dated.setdefault(str(record["row"]), []).append(span)
    return dated


def _ground(record: Mapping[str, Any]) -> tuple[str, float]:
    order = number_in(record, "row_order")
    return ("across", number_in(record, "across_m")) if math.isnan(order) else ("order", order)
