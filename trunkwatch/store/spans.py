"""The records of a table that can still be read, whatever is damaged around them, and the names of those that cannot."""

import contextlib
import sqlite3
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from trunkwatch.store.seal import SEAL
from trunkwatch.store.unreadable import UNREADABLE
from trunkwatch.vineyard.kept_cells import described
from trunkwatch.vineyard.tables import TABLES

__all__ = ["Readable", "described_by_indexes", "readable_records"]

#: A record takes so many bytes at least: no table of a file has more of them than that allows.
LEAST_BYTES = 20
#: Questions that may fail before a table is given up.
_MOST_FAILED = 200_000


@dataclass(slots=True)
class Readable:
    """What can be read of a table.

    Attributes
    ----------
    columns : tuple of str
        The columns of the vineyard that it has; none where the table itself is gone.
    rows : dict of int to tuple
        Cells of these columns, and the seal behind them, by running number.
    failed : set of int
        Running numbers at which reading failed.
    last : int
        The last running number, as far as it is known.
    is_known : bool
        Whether it is.
    has_seals : bool
        Whether the table has the column of seals.
    """

    columns: tuple[str, ...] = ()
    rows: dict[int, tuple[Any, ...]] = field(default_factory=dict)
    failed: set[int] = field(default_factory=set)
    last: int = 0
    is_known: bool = False
    has_seals: bool = False


def readable_records(db: sqlite3.Connection, table: str, count: int | None, most: int) -> Readable:
    """Read every record of a table that can be read.

    Parameters
    ----------
    db : Connection
        Open to read.
    table : str
        Name of the table.
    count : int or None
        How many it should have; None where that is not known.
    most : int
        More than these no file of the size has.
    """
    try:
        there = {str(row[1]).casefold() for row in db.execute(f'PRAGMA table_info("{table}")')}
        is_table = db.execute("SELECT type FROM sqlite_master WHERE name = ?", (table,)).fetchone()
    except UNREADABLE:
        return Readable()
    names = tuple(name for name in TABLES[table].names if name in there)
    if not names or is_table is None or is_table[0] != "table":
        return Readable()
    found = Readable(names, has_seals=SEAL in there)
    number = "number" if "number" in there else "rowid"
    listed = ", ".join([number, *(f'"{name}"' for name in names), SEAL if found.has_seals else "NULL"])
    found.last, found.is_known = _last(db, table, number, count, most)
    asked = f'SELECT {listed} FROM "{table}" NOT INDEXED WHERE {number} BETWEEN ? AND ? ORDER BY {number}'
    _span(db, asked, min(1, _first(db, table, number)), found)
    if not found.is_known:
        found.last = max(found.rows, default=0)
    return found


def _first(db: sqlite3.Connection, table: str, number: str) -> int:
    with contextlib.suppress(*UNREADABLE):
        return int(db.execute(f'SELECT coalesce(min({number}), 1) FROM "{table}" NOT INDEXED').fetchone()[0])
    return 1


def _last(db: sqlite3.Connection, table: str, number: str, count: int | None, most: int) -> tuple[int, bool]:
    """Return the last running number, and whether it is known.

    The end of the table tells it; where that cannot be read, the indexes do: they hold the number of every record.
    """
    told = []
    asked = [f'SELECT max({number}) FROM "{table}" NOT INDEXED']
    with contextlib.suppress(*UNREADABLE):
        indexes = [row[1] for row in db.execute(f'PRAGMA index_list("{table}")')]
        asked += [
            f'SELECT max({number}) FROM "{table}" INDEXED BY "{name}"'
            for name in indexes
            if name.endswith(("_id", "_block"))
        ]
    for question in asked:
        with contextlib.suppress(*UNREADABLE):
            told.append(int(db.execute(question).fetchone()[0] or 0))
            if question is asked[0]:
                break
    if told:
        return max(*told, count or 0), True
    return max(most, count or 0), False


def _span(db: sqlite3.Connection, asked: str, low: int, found: Readable) -> None:
    """Read running numbers from the lowest to the last; halve the span around what cannot be read."""
    spans, failures = [(low, found.last)], 0
    while spans and failures < _MOST_FAILED:
        low, high = spans.pop()
        try:
            for number, *cells in db.execute(asked, (low, high)):
                if not (isinstance(number, int) and low <= number <= high):
                    raise sqlite3.DatabaseError("out of order")
                found.rows[number] = tuple(cells)
                low = number + 1
        except UNREADABLE:
            failures += 1
            if low < high:  # all before it was read
                middle = (low + high) // 2
                spans += [(middle + 1, high), (low, middle)]
            else:
                found.failed.add(low)


def described_by_indexes(
    db: sqlite3.Connection, table: str, there: Collection[int], numbers: Collection[int] = ()
) -> dict[int, str]:
    """Say which records are meant of which the indexes know, and that are not among those read.

    Parameters
    ----------
    db : Connection
        Open to read.
    table : str
        Name of the table.
    there : collection of int
        Running numbers that were read.
    numbers : collection of int
        Others that are named too, by their number where the indexes do not know them.
    """
    has = TABLES[table].names
    told: dict[int, dict[str, object]] = {number: {} for number in numbers}
    for ending, columns in (("id", ("id",)), ("block", tuple(name for name in ("block", "row") if name in has))):
        for number, cells in _index_cells(db, table, ending, columns).items():
            if number in there and number not in numbers:
                continue
            told.setdefault(number, {}).update(zip(columns, cells, strict=True))
    return {number: described(table, told[number], number) for number in sorted(told)}


def _index_cells(
    db: sqlite3.Connection, table: str, ending: str, columns: Sequence[str]
) -> Mapping[int, tuple[object, ...]]:
    """Return what an index holds of every record, from both of its ends on as far as it can be read."""
    found: dict[int, tuple[object, ...]] = {}
    if not columns or (ending == "block" and "block" not in columns):
        return found
    listed = ", ".join(columns)
    for way in ("ASC", "DESC"):
        order = ", ".join(f"{name} {way}" for name in columns)
        asked = f'SELECT number, {listed} FROM "{table}" INDEXED BY "{table}_{ending}" ORDER BY {order}'
        passed: set[object] = set()
        with contextlib.suppress(*UNREADABLE):
            for number, *cells in db.execute(asked):
                if number in passed:  # damaged pages may lead back, round and round
                    raise sqlite3.DatabaseError("out of order")
                passed.add(number)
                if not isinstance(number, int) or not all(isinstance(cell, str) for cell in cells):
                    continue
                found[number] = tuple(cells)
            break
    return found
