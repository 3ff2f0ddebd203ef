"""A seal on every record: a number made from its cells, by which a change that was not ours is told.

It stands in a column of its own, which belongs to no table of the vineyard, so that nothing else sees it. A seal is the
sum of a number for the record's running number and for each cell that is not empty, of the cell's column and its value:
columns may be in any order, and a record that is changed by us gets the difference alone. One that did not fit before does not fit after that either.
How many sealed records each table has stands beside, so that one that was taken out is missed.
"""

import sqlite3
import zlib
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.vineyard.tables import TABLES, Record

__all__ = [
    "LOST_FRAMES",
    "OTHER_PROGRAM",
    "SEAL",
    "add_seals",
    "change_sealed",
    "columns_of",
    "make_sealed",
    "next_number",
    "resealed",
    "seal_all",
    "seal_new_tables",
    "sealed",
    "seals_of",
]

SEAL = "seal"
TABLE = "trunkwatch_sealed"
#: Names in the table of counts that are no tables: whether another program has written since all was accepted, and how
#: many damaged records of the log were left behind when it was emptied.
OTHER_PROGRAM, LOST_FRAMES = "other program", "lost frames"
_MASK = (1 << 64) - 1
#: Cells by which it is told whether a column has many words.
_FEW = 1000
#: Running numbers that no file of ours comes to.
_FAR = 1 << 53
Cells = Mapping[str, Sequence[object] | NDArray[Any]]


def seals_of(table: str, cells: Cells, numbers: Sequence[int] | NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the seals of some records.

    Parameters
    ----------
    table : str
        Name of the table.
    cells : mapping of column to sequence
        Cells as they are kept; columns with nothing in them may be left out.
    numbers : sequence of int
        Running numbers of the records: they say in which order records came.
    """
    own = np.asarray(numbers, dtype=np.int64).view(np.uint64)
    total = _spread(own + _spread(np.array([zlib.crc32(table.encode())], dtype=np.uint64)))
    for column in TABLES[table].columns:
        if column.name not in cells or not len(own):
            continue
        key = zlib.crc32(f"{table}.{column.name}".encode())
        total += _numbers(cells[column.name], key) if column.is_number else _texts(cells[column.name], key)
    return total.view(np.int64)


def _spread(number: NDArray[np.uint64]) -> NDArray[np.uint64]:
    """Spread every bit of some numbers over all of theirs (the finalizer of splitmix64)."""
    number = (number ^ (number >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    number = (number ^ (number >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return number ^ (number >> np.uint64(31))


def _numbers(cells: Sequence[object] | NDArray[Any], key: int) -> NDArray[np.uint64]:
    if not isinstance(cells, np.ndarray) and set(map(type, cells)) - {float, int, type(None)}:
        # Text or bytes among them, by another program.
        return _texts([None if cell is None else f"no number: {cell!r}" for cell in cells], key)
    bits = (np.asarray(cells, dtype=float) + 0.0).view(np.uint64)
    return np.where(np.isnan(bits.view(float)), np.uint64(0), _spread(bits + _spread(np.array([key], dtype=np.uint64))))


def _texts(cells: Sequence[object] | NDArray[Any], key: int) -> NDArray[np.uint64]:
    words = np.empty(len(cells), dtype=object)
    words[:] = list(cells)
    first = words[:_FEW]
    if len(set(first)) > len(first) // 2:  # nearly every one is another: putting equal ones together saves nothing
        return _told(words.tolist(), key)
    place, distinct = pd.factorize(words)
    out: NDArray[np.uint64] = np.append(_told(distinct, key), np.uint64(0))[place]  # -1, the last one, for None
    return out


def _told(words: Iterable[object], key: int) -> NDArray[np.uint64]:
    """Return a number for each word, 0 for an empty one."""
    crc = zlib.crc32
    marks = [
        0
        if not word
        else crc(word.encode("utf-8", "surrogatepass"), key)
        if type(word) is str
        else crc(repr(word).encode(), ~key & 0xFFFFFFFF)
        for word in words
    ]
    told = np.array(marks, dtype=np.uint64)
    return np.where(told == 0, np.uint64(0), _spread((np.uint64(key) << np.uint64(32)) | told))


def columns_of(db: sqlite3.Connection, table: str) -> list[str]:
    """Return the columns that a table has in the file."""
    return [str(row[1]) for row in db.execute(f'PRAGMA main.table_info("{table}")')]


def resealed(table: str, seal: int | None, before: Record, now: Record) -> int | None:
    """Return the seal of a record that we change: what did not fit before does not fit now."""
    if seal is None:
        return None
    old, new = (seals_of(table, {name: [cell] for name, cell in one.items()}, [0])[0] for one in (before, now))
    number = (int(seal) + int(new) - int(old)) & _MASK
    return number - (1 << 64) if number >> 63 else number


def next_number(db: sqlite3.Connection, table: str) -> int:
    """Return the running number of the next record; what another program has put far beyond all others does not count."""
    (last,) = db.execute(f'SELECT max(number) FROM main."{table}" WHERE number < {_FAR}').fetchone()
    return max(int(last or 0), 0) + 1


def make_sealed(db: sqlite3.Connection) -> None:
    """Make the table of counts, empty."""
    db.execute(f"CREATE TABLE IF NOT EXISTS {TABLE} (name TEXT PRIMARY KEY, records INTEGER NOT NULL)")


def add_seals(db: sqlite3.Connection) -> None:
    """Give every table the column of seals, and every record in it its seal."""
    make_sealed(db)
    for table in TABLES:
        if SEAL not in columns_of(db, table):
            db.execute(f'ALTER TABLE "{table}" ADD COLUMN {SEAL} INTEGER')
    seal_all(db)


def seal_new_tables(db: sqlite3.Connection) -> None:
    """Give tables that came since, and are empty, the column of seals; the seals of all others stay as they are."""
    make_sealed(db)
    for table in TABLES:
        if SEAL not in columns_of(db, table):
            db.execute(f'ALTER TABLE "{table}" ADD COLUMN {SEAL} INTEGER')
        change_sealed(db, table, 0)


def seal_all(db: sqlite3.Connection) -> None:
    """Seal all records as they are, in a transaction of the caller."""
    make_sealed(db)
    for table in TABLES:
        names = TABLES[table].names
        listed = ", ".join(f'"{name}"' for name in names)
        rows = db.execute(f'SELECT number, {listed} FROM "{table}"').fetchall()
        columns = list(zip(*rows, strict=True)) or [()] * (len(names) + 1)
        seals = seals_of(table, dict(zip(names, columns[1:], strict=True)), columns[0])
        db.executemany(
            f'UPDATE "{table}" SET {SEAL} = ? WHERE number = ?', zip(seals.tolist(), columns[0], strict=True)
        )
        _note(db, table, len(rows))
    _note(db, OTHER_PROGRAM, 0)
    _note(db, LOST_FRAMES, 0)


def _note(db: sqlite3.Connection, name: str, count: int) -> None:
    db.execute(f"INSERT OR REPLACE INTO {TABLE} VALUES (?, ?)", (name, count))


def change_sealed(db: sqlite3.Connection, name: str, change: int) -> None:
    """Count records that come in or go out, in a transaction of the caller."""
    make_sealed(db)
    db.execute(
        f"INSERT INTO {TABLE} VALUES (?1, ?2) ON CONFLICT (name) DO UPDATE SET records = records + ?2", (name, change)
    )


def sealed(db: sqlite3.Connection) -> dict[str, int]:
    """Return how many sealed records each table should have; nothing where the file does not tell."""
    if db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (TABLE,)).fetchone() is None:
        return {}
    return {str(name): count for name, count in db.execute(f"SELECT name, records FROM {TABLE}")}
