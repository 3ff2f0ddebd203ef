"""From what a scout wrote, a row and a position, to the cell of the grid that is meant.

Scouts count from either end of a row, count living vines only, or write bay and vine in the
bay. The records keep what was written; it is turned into a cell here, each time it is read.
"""

import math
from collections.abc import Callable

from trunkwatch.errors import UnknownVineError
from trunkwatch.grid import RowGrid

__all__ = ["Cell", "Places"]

Cell = tuple[int, int]
Empty = Callable[[Cell, str], bool]


class Places:
    """Finds cells of one block.

    Parameters
    ----------
    grid : RowGrid
        The block's rows and positions.
    """

    def __init__(self, grid: RowGrid) -> None:
        self.grid = grid
        self._row = {label: number for number, label in enumerate(grid.rows) if label}
        self._stations: list[dict[int, int]] = [
            {int(position): station for station, position in enumerate(line) if position >= 0} for line in grid.position
        ]

    def find(self, row: str, position: str, bay: str = "", vine: float = math.nan) -> Cell | None:
        """Return the cell counted from the row's start, or None if there is no such position."""
        number = self._row.get(row)
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

    def line(self, row: str) -> list[Cell]:
        """Return the cells of a row in the order of their positions; empty if there is no such row."""
        number = self._row.get(row)
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
        line = self.line(row)
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
