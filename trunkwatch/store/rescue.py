"""What can still be read of a damaged file: from its tables, from the log in it, and by what lies beside it."""

import contextlib
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pandas as pd

from trunkwatch.store.beside import has_hot_journal
from trunkwatch.store.log import Log, read_log, waiting_frames
from trunkwatch.store.photo_files import readable_photos
from trunkwatch.store.seal import sealed
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

__all__ = ["Rescued", "Saved", "rescue_file", "rescued_frames", "rescued_photos"]

#: A record takes so many bytes at least: no table of a file has more of them than that allows.
_LEAST_BYTES = 20
#: Questions that may fail before a table is given up.
_MOST_FAILED = 200_000


@dataclass(slots=True)
class Saved:
    """What became of one table.

    Attributes
    ----------
    read : int
        Records of the table that were read.
    waited : int
        Records that waited in the log.
    missing : int
        Running numbers that are missing among those read and up to the last one that is known; -1 where the table
        itself is gone.
    is_known : bool
        Whether the last running number is known: otherwise more may be missing.
    left_out : list of str
        Cells that could not be taken, in words.
    """

    read: int = 0
    waited: int = 0
    missing: int = 0
    is_known: bool = True
    left_out: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Rescued:
    """What was saved of a file.

    Attributes
    ----------
    frames : dict of str to DataFrame
        Records by table, those that waited in the log behind the others.
    saved : dict of str to Saved
        What became of each table.
    beside : str
        What became of a journal beside the file, in words; empty where there was none.
    damaged : int
        Entries of the log that could not be read.
    half : bool
        Whether an entry of the log was begun and not finished.
    """

    frames: dict[str, pd.DataFrame] = field(default_factory=dict)
    saved: dict[str, Saved] = field(default_factory=dict)
    beside: str = ""
    damaged: int = 0
    half: bool = False


def rescued_frames(path: Path) -> tuple[dict[str, pd.DataFrame], dict[str, int]]:
    """Return the records that a damaged file still gives, and how many running numbers of each table are missing.

    Parameters
    ----------
    path : Path
        The damaged file; it is opened to read only.
    """
    rescued = rescue_file(path)
    return rescued.frames, {table: saved.missing for table, saved in rescued.saved.items()}


def rescue_file(path: Path) -> Rescued:
    """Read every record that a damaged file still gives.

    Parameters
    ----------
    path : Path
        The damaged file; it is opened to read only.
    """
    rescued = Rescued()
    with _opened(path.resolve()) as (db, beside):
        rescued.beside = beside
        waiting = _waiting(db, rescued)
        counts = _counts(db)
        most = path.stat().st_size // _LEAST_BYTES
        for table in TABLES:
            records, saved = _table(db, table, counts.get(table), most)
            there = {record["id"] for record in records}
            behind = [record for record in waiting.get(table, []) if record["id"] not in there]
            saved.waited = len(behind)
            rescued.frames[table] = frame_of(table, [*records, *behind])
            rescued.saved[table] = saved
    return rescued


def rescued_photos(path: Path) -> Iterator[bytes]:
    """Hand out the bytes of every photo that a damaged file still gives, and that are what they were."""
    with _opened(path.resolve()) as (db, _):
        yield from readable_photos(db)


def _waiting(db: sqlite3.Connection, rescued: Rescued) -> dict[str, list[dict[str, Any]]]:
    try:
        log = read_log(db)
    except sqlite3.DatabaseError:
        log = Log(0, 0, 0, (), damaged=1)
    rescued.damaged, rescued.half = log.damaged, log.half
    return {table: records_of(frame) for table, frame in waiting_frames(log).items()}


def _counts(db: sqlite3.Connection) -> dict[str, int]:
    with contextlib.suppress(sqlite3.DatabaseError):
        return {name: count for name, count in sealed(db).items() if isinstance(count, int)}
    return {}


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[tuple[sqlite3.Connection, str]]:
    """Open a copy of the file with what lies beside it, so that a journal is taken in; the file alone where that fails.

    What another program wrote and never finished is taken back so; it is told in words what became of it.
    """
    hot = has_hot_journal(path)
    wal = path.with_name(f"{path.name}-wal")
    has_wal = wal.exists() and wal.stat().st_size > 0
    said = []
    if hot:
        said.append(f"{path.name}-journal: what another program had begun and not finished is left out")
    if has_wal:
        said.append(f"{wal.name}: what another program had finished there is taken in, the rest is left out")
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
            if hot or has_wal:
                said = [
                    f"what lies beside {path.name} could not be taken in: some of what is saved may never have been finished"
                ]
        db.text_factory = _text
        with contextlib.closing(db):
            yield db, "; ".join(said)


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", errors="replace")


def _table(db: sqlite3.Connection, table: str, count: int | None, most: int) -> tuple[list[dict[str, Any]], Saved]:
    try:
        there = {str(row[1]).casefold() for row in db.execute(f'PRAGMA table_info("{table}")')}
        is_table = db.execute("SELECT type FROM sqlite_master WHERE name = ?", (table,)).fetchone()
    except sqlite3.DatabaseError:
        return [], Saved(missing=-1)
    names = [name for name in TABLES[table].names if name in there]
    if not names or is_table is None or is_table[0] != "table":
        return [], Saved(missing=-1)
    saved = Saved()
    saved.left_out += [f"column {name} is gone" for name in TABLES[table].names if name not in there]
    rows: dict[int, tuple[object, ...]] = {}
    number = "number" if "number" in there else "rowid"
    listed = ", ".join([number, *(f'"{name}"' for name in names)])
    last, saved.is_known = _last(db, table, number, count, most)
    asked = f'SELECT {listed} FROM "{table}" NOT INDEXED WHERE {number} BETWEEN ? AND ? ORDER BY {number}'
    _span(db, asked, min(1, _first(db, table, number)), last, rows)
    saved.read = len(rows)
    last = max(rows, default=0) if not saved.is_known else last
    gaps = max(0, last - len(rows)) if min(rows, default=1) > 0 else 0
    saved.missing = gaps if count is None or not saved.is_known else max(count - len(rows), 0)
    if count is not None and not saved.is_known:
        saved.missing, saved.is_known = max(count - len(rows), 0), True
    records = [_taken(table, dict(zip(names, rows[at], strict=True)), at, saved) for at in sorted(rows)]
    return records, saved


def _taken(table: str, record: dict[str, Any], number: int, saved: Saved) -> dict[str, Any]:
    """Return a record with what its columns can take; what they cannot is told."""
    out = {}
    for name, cell in record.items():
        if TABLES[table].column(name).is_number:
            fits = cell is None or isinstance(cell, (int, float))
        else:
            fits = not isinstance(cell, bytes)
        if not fits:
            saved.left_out.append(f"record {number}, column {name}: {cell!r:.60}")
        out[name] = cell if fits else None
    return out


def _first(db: sqlite3.Connection, table: str, number: str) -> int:
    with contextlib.suppress(sqlite3.DatabaseError):
        return int(db.execute(f'SELECT coalesce(min({number}), 1) FROM "{table}" NOT INDEXED').fetchone()[0])
    return 1


def _last(db: sqlite3.Connection, table: str, number: str, count: int | None, most: int) -> tuple[int, bool]:
    """Return the last running number, and whether it is known.

    The end of the table tells it; where that cannot be read, the indexes do: they hold the number of every record.
    """
    told = []
    asked = [f'SELECT max({number}) FROM "{table}" NOT INDEXED']
    with contextlib.suppress(sqlite3.DatabaseError):
        indexes = [row[1] for row in db.execute(f'PRAGMA index_list("{table}")')]
        asked += [
            f'SELECT max({number}) FROM "{table}" INDEXED BY "{name}"'
            for name in indexes
            if name.endswith(("_id", "_block"))
        ]
    for question in asked:
        with contextlib.suppress(sqlite3.DatabaseError):
            told.append(int(db.execute(question).fetchone()[0] or 0))
            if question is asked[0]:
                break
    if told:
        return max(*told, count or 0), True
    return max(most, count or 0), False


def _span(db: sqlite3.Connection, asked: str, low: int, high: int, rows: dict[int, tuple[object, ...]]) -> None:
    """Read running numbers low to high; halve the span around what cannot be read."""
    spans, failed = [(low, high)], 0
    while spans and failed < _MOST_FAILED:
        low, high = spans.pop()
        try:
            for number, *cells in db.execute(asked, (low, high)):
                rows[number] = tuple(cells)
                low = number + 1
        except sqlite3.DatabaseError:
            failed += 1
            if low < high:  # all before it was read
                middle = (low + high) // 2
                spans += [(middle + 1, high), (low, middle)]
