"""Cells, versions, days and rows for the reference: sections 1 to 3 of the rules of reading.

How a rule that can be read in two ways is read stands at the top of ``reference.py`` (Q1 and so on).
"""

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, timedelta

Record = dict[str, object]
Table = list[Record]
Vine = tuple[str, int]

ONE_DAY = timedelta(days=1)


# Cells


def text(record: Record, column: str) -> str:
    """Return the text of a cell, "" where nothing is written."""
    value = record.get(column)
    return "" if value is None or value != value else str(value).strip()


def number(record: Record, column: str) -> float | None:
    """Return the number in a cell, None where nothing is written."""
    written = text(record, column)
    try:
        value = float(written)
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def whole(record: Record, column: str) -> int | None:
    """Return the whole number in a cell, None where there is none."""
    value = number(record, column)
    return int(value) if value is not None and value == int(value) else None


def real_day(written: str) -> date | None:
    """Return the day that is written as YYYY-MM-DD, None where it is not."""
    if not re.fullmatch(r"\d{4}-\d{2}-\d{2}", written):
        return None
    try:
        return date.fromisoformat(written)
    except ValueError:
        return None


def words(written: str) -> list[str]:
    """Return what is written between semicolons."""
    return [part.strip() for part in written.split(";") if part.strip()]


def as_range(written: str) -> range:
    """Return the positions of "7", "1..40" or "5..95/10"."""
    shape = re.fullmatch(r"\s*(\d+)\s*(?:\.\.\s*(\d+)\s*(?:/\s*(\d+)\s*)?)?", written)
    if not shape:
        return range(0)
    first = int(shape[1])
    return range(first, int(shape[2] or first) + 1, int(shape[3] or 1) or 1)


# Which records stand (1)


def standing(table: Iterable[Record]) -> Table:
    """Return the records that stand, in the order in which they are written."""
    records = list(table)
    corrects = {text(record, "id"): text(record, "corrects") for record in records}

    def root(record: Record) -> str:
        name, passed = text(record, "id"), set()
        while corrects.get(name) and name not in passed:
            passed.add(name)
            name = corrects[name]
        return name

    stand: Table = []
    for name in {root(record): None for record in records}:
        chain = [record for record in records if root(record) == name]
        later = [record for record in chain if text(record, "corrects")]
        winner = max(later or chain, key=lambda record: (text(record, "recorded_at"), text(record, "id")))
        if text(winner, "void") != "yes":
            stand.append(winner)
    places = {id(record): place for place, record in enumerate(records)}
    return sorted(stand, key=lambda record: places[id(record)])


# Days, seasons (2)


@dataclass(frozen=True)
class Calendar:
    """Seasons and kinds of days on one side of the equator."""

    south: bool

    def season(self, day: date) -> int:
        """Return the season of a day."""
        return day.year + 1 if day.month >= (5 if self.south else 11) else day.year

    def kind(self, day: date) -> str:
        """Return whether a day is dormant, spring or summer."""
        month = (day.month + 5) % 12 + 1 if self.south else day.month
        if month in (11, 12, 1, 2, 3):
            return "dormant"
        return "spring" if month in (4, 5, 6) else "summer"

    def first_day(self, season: int) -> date:
        """Return the first day of a season."""
        return date(season - 1, 5 if self.south else 11, 1)

    def last_day(self, season: int) -> date:
        """Return the last day of a season."""
        return self.first_day(season + 1) - ONE_DAY


# Rows and vines (3)


@dataclass(frozen=True)
class RowLine:
    """One line of the rows: a label, and the row on the ground that bore it."""

    label: str
    ground: str
    order: tuple[float, int]
    first: int
    last: int
    bay_ends: str
    since: date
    until: date

    def bays(self) -> list[range]:
        """Return the positions of each bay, counted from the row's start."""
        every = re.fullmatch(r"every\s+(\d+)", self.bay_ends)
        if every and int(every[1]) > 0:
            ends = list(range(self.first + int(every[1]) - 1, self.last, int(every[1])))
        else:
            ends = [int(end) for end in words(self.bay_ends) if end.isdigit()]
        if not self.bay_ends:
            return []
        ends = [end for end in ends if end < self.last] + [self.last]
        starts = [self.first, *(end + 1 for end in ends[:-1])]
        return [range(start, end + 1) for start, end in zip(starts, ends, strict=True)]


class Ground:
    """The rows of a block on any day."""

    def __init__(self, rows: Table) -> None:
        self.lines: list[RowLine] = []
        for place, record in enumerate(rows):
            order, first, last = number(record, "row_order"), whole(record, "first"), whole(record, "last")
            label = text(record, "row")
            self.lines.append(
                RowLine(
                    label=label,
                    ground=f"label {label}" if order is None else f"order {order}",
                    order=(math.inf if order is None else order, place),
                    first=1 if first is None else first,
                    last=0 if last is None else last,
                    bay_ends=text(record, "bay_ends"),
                    since=real_day(text(record, "valid_from")) or date.min,
                    until=real_day(text(record, "valid_to")) or date.max,
                ),
            )
        self.today = {line.ground: line for line in self.lines if line.until == date.max}
        self.vines = {
            (line.label, position) for line in self.today.values() for position in range(line.first, line.last + 1)
        }

    def on(self, day: date | None) -> list[RowLine]:
        """Return the rows as labelled on a day (None: today) in the order of the ground."""
        if day is None:
            lines = list(self.today.values())
        else:
            lines = [line for line in self.lines if line.since <= day <= line.until]
        return sorted(lines, key=lambda line: line.order)

    def row(self, label: str, day: date | None) -> RowLine | None:
        """Return the row that bore a label on a day, else the one that bears it today."""
        then = (line for line in self.on(day) if line.label == label)
        return next(then, next((line for line in self.on(None) if line.label == label), None))

    def vine(self, line: RowLine, position: int) -> Vine | None:
        """Return the vine at a labelled position of a row, by the label of today."""
        if line.ground not in self.today or not line.first <= position <= line.last:
            return None
        vine = (self.today[line.ground].label, position)
        return vine if vine in self.vines else None

    def labelled(self, record: Record, day: date | None) -> tuple[RowLine, int, bool] | None:
        """Return row and written position of a record, and whether a bay named it."""
        line = self.row(text(record, "row"), day)
        if line is None:
            return None
        if text(record, "position"):
            position = whole(record, "position")
            return None if position is None else (line, position, False)
        bay, vine, bays = whole(record, "bay"), whole(record, "vine"), line.bays()
        if bay is None or vine is None or not 1 <= bay <= len(bays) or not 1 <= vine <= len(bays[bay - 1]):
            return None
        return line, bays[bay - 1][vine - 1], True
