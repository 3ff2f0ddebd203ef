"""What can still be read of a damaged file."""

import contextlib
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import quote

import pandas as pd

from trunkwatch.vineyard.tables import TABLES, frame_of

__all__ = ["rescued_frames"]


def rescued_frames(path: Path) -> tuple[dict[str, pd.DataFrame], dict[str, int]]:
    """Read every record that a damaged file still gives.

    Parameters
    ----------
    path : Path
        The damaged file; it is opened to read only.

    Returns
    -------
    frames : dict of str to DataFrame
        Records by table.
    lost : dict of str to int
        For each table how many running numbers could not be read; -1 where the table itself is gone.
    """
    frames, lost = {}, {}
    with _opened(path.resolve()) as db:
        for table in TABLES:
            frames[table], lost[table] = _table(db, table)
    return frames, lost


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[sqlite3.Connection]:
    """Open a copy of the file with what lies beside it, so that a journal is taken in; the file alone where that fails."""
    with tempfile.TemporaryDirectory(prefix="trunkwatch-rescue-") as folder:
        copy = Path(folder) / "copy.gpkg"
        try:
            for ending in ("", "-wal", "-journal"):
                beside = path.with_name(path.name + ending)
                if beside.exists():
                    shutil.copyfile(beside, f"{copy}{ending}")
            db = sqlite3.connect(copy, isolation_level=None)
            db.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except (OSError, sqlite3.DatabaseError):
            db = sqlite3.connect(f"file:{quote(str(path))}?mode=ro&immutable=1", uri=True, isolation_level=None)
        with contextlib.closing(db):
            yield db


def _table(db: sqlite3.Connection, table: str) -> tuple[pd.DataFrame, int]:
    try:
        there = [row[1] for row in db.execute(f'PRAGMA table_info("{table}")')]
        names = [name for name in TABLES[table].names if name in there]
    except sqlite3.DatabaseError:
        return frame_of(table, []), -1
    if not names:
        return frame_of(table, []), -1
    rows: dict[int, tuple[object, ...]] = {}
    lost = _span(db, table, names, 1, _last(db, table), rows)
    records = [dict(zip(names, rows[number], strict=True)) for number in sorted(rows)]
    return frame_of(table, records), lost


def _last(db: sqlite3.Connection, table: str) -> int:
    """Return the last running number, by doubling where the file no longer tells it."""
    try:
        return int(db.execute(f'SELECT coalesce(max(number), 0) FROM "{table}"').fetchone()[0])
    except sqlite3.DatabaseError:
        return 1 << 20


def _span(
    db: sqlite3.Connection, table: str, names: list[str], low: int, high: int, rows: dict[int, tuple[object, ...]]
) -> int:
    """Read running numbers low to high; halve the span around what cannot be read."""
    if high < low:
        return 0
    listed = ", ".join(f'"{name}"' for name in names)
    try:
        found = db.execute(
            f'SELECT number, {listed} FROM "{table}" WHERE number BETWEEN ? AND ? ORDER BY number', (low, high)
        ).fetchall()
    except sqlite3.DatabaseError:
        if low == high:
            return 1
        middle = (low + high) // 2
        return _span(db, table, names, low, middle, rows) + _span(db, table, names, middle + 1, high, rows)
    for number, *cells in found:
        rows[number] = tuple(cells)
    return 0
