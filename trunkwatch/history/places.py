"""From what a scout wrote, a row and a position, to the cell of the grid that is meant.

Scouts count from either end of a row, count living vines only, or write bay and vine in the
bay. The records keep what was written; it is turned into a cell here, each time it is read,
with the labels and the layout of the row that held on its day: an interplanted row is counted
anew from that day on, and what was written before still names the same vine by its metres.
"""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import pandas as pd

from trunkwatch.errors import RecordError, UnknownVineError
from trunkwatch.grid import RowGrid
from trunkwatch.vineyard.tables import number_in, records_of

__all__ = ["Cell", "Places"]

Cell = tuple[int, int]
Empty = Callable[[Cell, str], bool]
#: An earlier position is the vine of today that stands within this share of the spacing.
SAME_VINE = 0.3
#: Columns of `rows` that say where its positions stand.
_LAYOUT = ("first", "last", "numbered_from", "start_m", "spacing_m", "breaks")


@dataclass(frozen=True, slots=True)
class _Span:
    """What a label stood for from one day to another: a row of today's grid, and its positions there."""

    since: str
    until: str
    row: int
    station: Mapping[int, int]  # position as counted then -> station of today; without vines that are gone
    number: int = -1  # of the row that it is today, among those with a label


class Places:
    """Finds cells of one block.

    Parameters
    ----------
    grid : RowGrid
        The block's rows and positions.
    rows : DataFrame, optional
        All lines of the `rows` table, ended ones too: a record is read with the labels that held
        on its day.
    block : mapping, optional
        The block's line, which says how rows are numbered.

    Attributes
    ----------
    planted_between : mapping of cell to day
        Positions that earlier layouts of their row have not got, and the day from which it has them.
    """

    def __init__(self, grid: RowGrid, rows: pd.DataFrame | None = None, block: Mapping[str, Any] | None = None) -> None:
        self.grid = grid
        self._stations: list[dict[int, int]] = [
            dict(sorted((position, int(station)) for position, station in enumerate(row.stations, row.first)))
            for row in grid.named
        ]
        self._today = {
            row.label: _Span("", "", row.line, self._stations[number], number) for number, row in enumerate(grid.named)
        }
        self._dated = _dated_labels(grid, rows, self._stations, block or {}) if rows is not None else {}
        self._late = _late_rows(self._dated)
        self.planted_between: dict[Cell, str] = _planted_between(
            self._dated, self._stations, self._late, [row.line for row in grid.named]
        )

    def _span(self, label: str, day: str) -> _Span | None:
        """Return what a label stood for on a day; today's where no day is given."""
        for span in self._dated.get(label, ()) if day else ():
            if span.since <= day <= span.until:
                return span
        return self._today.get(label)

    def row_number(self, label: str, day: str = "") -> int | None:
        """Return the row that a label stood for on a day, as its number in `RowGrid.named`; today's where no day is given."""
        span = self._span(label, day)
        return None if span is None else span.number

    def labels_on(self, day: str) -> tuple[str, ...]:
        """Return the row labels that held on a day, in the order of the ground."""
        if not self._dated:
            return self.grid.labels
        labels = list(self.grid.labels)
        for number, since in self._late.items():
            if day < since:
                labels[number] = ""  # nobody walked a row that was not there yet
        for label, spans in self._dated.items():
            for span in spans:
                if span.since <= day <= span.until:
                    labels[span.number] = label
        return tuple(labels)

    def find(self, row: str, position: str, bay: str = "", vine: float = math.nan, day: str = "") -> Cell | None:
        """Return the cell counted from the row's start, or None if there is no such position."""
        span = self._span(row, day)
        # Bays are those of the row on the ground, whatever it was called on the day.
        counted = None if span is None else self._counted(self.grid.named[span.number].label, position, bay, vine)
        if span is None or counted is None:
            return None
        station = span.station.get(counted)
        return None if station is None else (span.row, station)

    def _counted(self, row: str, position: str, bay: str, vine: float) -> int | None:
        if position:
            # No position has ten digits, and Python makes no int of five thousand.
            return int(position) if position.isdecimal() and len(position) < 10 else None
        if not bay or math.isnan(vine):
            return None
        try:
            return self.grid.position_of_bay(row, int(bay), int(vine))
        except (UnknownVineError, ValueError):
            return None

    def line(self, row: str, day: str = "") -> list[Cell]:
        """Return the cells of a row in the order of their positions; empty if there is no such row."""
        span = self._span(row, day)
        return [] if span is None else [(span.row, span.station[position]) for position in sorted(span.station)]

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
        """Return the cell that a scout reaches by counting; see `counted_run`."""
        cells = self.counted_run(
            row, range(count, count + 1), from_end=from_end, living_only=living_only, empty=empty, day=day
        )
        return cells[0] if cells else None

    def counted_run(
        self,
        row: str,
        counts: range,
        *,
        from_end: bool = False,
        living_only: bool = False,
        empty: Empty,
        day: str,
    ) -> list[Cell]:
        """Return the cells that a scout reaches by counting, without the counts that lie outside the row.

        Parameters
        ----------
        row : str
            Row label.
        counts : range
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
        span = self._span(row, day)
        if not line or span is None:
            return []
        before = 1 if living_only else min(span.station)
        if living_only:
            line = [cell for cell in line if not empty(cell, day)]
        if from_end:
            line.reverse()
        # The row bounds the work, however far somebody wrote that the walk went.
        low = max(0, -((counts.start - before) // counts.step))
        within = range(counts.start + low * counts.step, min(counts.stop, before + len(line)), counts.step)
        return [line[count - before] for count in within]


def _dated_labels(
    grid: RowGrid, rows: pd.DataFrame, stations: list[dict[int, int]], block: Mapping[str, Any]
) -> dict[str, list[_Span]]:
    """Tell which row of today each label stood for, where labels have dates.

    Two lines of the table are one row on the ground if they have the same `row_order` (or, where
    that is not written, the same `across_m`).
    """
    records = [record for record in records_of(rows) if str(record["block"]) == grid.block]
    if not any(record["valid_from"] or record["valid_to"] for record in records):
        return {}
    today: dict[tuple[str, float], list[Mapping[str, Any]]] = {}
    for record in records:
        if str(record["row"]) in grid.labels and not record["valid_to"]:
            today.setdefault(_ground(record), []).append(record)
    dated: dict[str, list[_Span]] = {}
    for record in records:
        there = today.get(_ground(record), [])
        # On a line with several rows the label says which one it is.
        same = there if len(there) == 1 else [now for now in there if now["row"] == record["row"]]
        if not same:
            continue
        now = same[-1]
        number = grid.labels.index(str(now["row"]))
        since, until = str(record["valid_from"]) or "0000-00-00", str(record["valid_to"]) or "9999-99-99"
        span = _Span(since, until, grid.named[number].line, stations[number], number)
        if any(_written(record, column) != _written(now, column) for column in _LAYOUT):
            span = replace(span, station=_by_metres(grid, rows, block, record, number))
        dated.setdefault(str(record["row"]), []).append(span)
    return dated


def _written(record: Mapping[str, Any], column: str) -> str:
    value = record[column]
    return "" if value is None or value != value else str(value)


def _by_metres(
    grid: RowGrid, rows: pd.DataFrame, block: Mapping[str, Any], record: Mapping[str, Any], number: int
) -> dict[int, int]:
    """Find today's station of each position of an ended row line, by where they stand along the row."""
    lay = {**block, "block": grid.block, "vine_spacing_m": grid.vine_spacing_m, "row_spacing_m": grid.row_spacing_m}
    try:
        then = RowGrid.from_tables(lay, rows, str(record["valid_to"] or record["valid_from"]))
    except RecordError:  # the checks name it
        return {
            position: int(station)
            for position, station in enumerate(grid.named[number].stations, grid.named[number].first)
        }
    old, now = then.row(str(record["row"])), grid.named[number]
    here = np.sort(now.stations)
    spots = grid.along_m[now.line, here]
    found = {}
    for station in np.sort(old.stations):
        away = np.abs(spots - then.along_m[old.line, station])
        near = int(away.argmin())
        if away[near] <= SAME_VINE * grid.vine_spacing_m:
            found[int(then.position[old.line, station])] = int(here[near])
    return found


def _late_rows(dated: Mapping[str, list[_Span]]) -> dict[int, str]:
    """Name the rows that came when other rows of the block were there already, and since when."""
    begins: dict[int, str] = {}
    for spans in dated.values():
        for span in spans:
            begins[span.number] = min(span.since, begins.get(span.number, span.since))
    start = min(begins.values(), default="")
    return {row: since for row, since in begins.items() if since > start}


def _planted_between(
    dated: Mapping[str, list[_Span]], stations: list[dict[int, int]], late: Mapping[int, str], lines: list[int]
) -> dict[Cell, str]:
    """Name the positions that came only with a new row, or when their row was laid out anew, and since when."""
    by_row: dict[int, list[_Span]] = {}
    for spans in dated.values():
        for span in spans:
            by_row.setdefault(span.number, []).append(span)
    found: dict[Cell, str] = {
        (lines[number], station): since for number, since in late.items() for station in stations[number].values()
    }
    for number, spans in by_row.items():
        first = min(spans, key=lambda span: span.since)
        for station in stations[number].values():
            if station in first.station.values():
                continue
            since = min((span.since for span in spans if station in span.station.values()), default=first.since)
            found[lines[number], station] = since
    return found


def _ground(record: Mapping[str, Any]) -> tuple[str, float]:
    order = number_in(record, "row_order")
    return ("across", number_in(record, "across_m")) if math.isnan(order) else ("order", order)
