"""The log inside a vineyard file: new records wait in it until they are put into the tables.

People mail the file, and a map program may have it open. A record must be in the named file itself when it is
acknowledged, and the file must be whole at every moment, also where the program is ended in the middle of a change.
Copying the whole file for one record keeps both promises and takes the longer the larger the file is. So the file holds
a blob of fixed size, whose pages are written over in place: the tables, their indexes and the structure of the file are
not touched by that, so that it is whole whichever of the writes came to pass. What is in the blob is a row of frames, each
with its length and a checksum: one that is not whole was never acknowledged, and does not count.
"""

import contextlib
import json
import sqlite3
import struct
import zlib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

__all__ = [
    "MOST_WAITING",
    "Log",
    "append_frame",
    "empty_log",
    "framed",
    "make_log",
    "read_log",
    "records_by_table",
    "waiting_frames",
]

TABLE = "trunkwatch_log"
#: Bytes of the log: of a small file, of a large one, and from which size of the file on.
SMALL, LARGE, LARGE_FROM = 64 * 1024, 256 * 1024, 4_000_000
#: More records than these at once go into the tables straight away.
MOST_WAITING = 200
_HEAD = struct.Struct("<II")
#: Seconds to wait for a program that reads the file at this moment; then the record takes the long road.
PATIENCE_S = 0.3


@dataclass(frozen=True, slots=True)
class Log:
    """What waits in a file.

    Attributes
    ----------
    epoch : int
        Counts how often the log was emptied: frames of an earlier time do not count.
    size : int
        Bytes that it has room for.
    end : int
        Where the next frame begins.
    payloads : tuple of bytes
        Of every whole frame, in order.
    counter : int
        The file's counter of changes as we left it: more than that and the frames were changes of another program.
    """

    epoch: int
    size: int
    end: int
    payloads: tuple[bytes, ...]
    counter: int = 0


def make_log(db: sqlite3.Connection) -> None:
    """Make the table of the log, empty."""
    db.execute(
        f"CREATE TABLE {TABLE} (number INTEGER PRIMARY KEY CHECK (number = 1), epoch INTEGER NOT NULL, "
        "counter INTEGER NOT NULL, held BLOB NOT NULL)"
    )
    db.execute(f"INSERT INTO {TABLE} VALUES (1, 1, 0, zeroblob({SMALL}))")


def empty_log(db: sqlite3.Connection, file_bytes: int) -> None:
    """Empty the log, in a transaction of the caller: what waited is in the tables now."""
    size = LARGE if file_bytes >= LARGE_FROM else SMALL
    if db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (TABLE,)).fetchone() is None:
        make_log(db)
    db.execute(f"UPDATE {TABLE} SET epoch = epoch + 1, held = zeroblob(?) WHERE number = 1", (size,))


def note_counter(db: sqlite3.Connection, counter: int) -> None:
    """Note where the counter of changes stands after this very change, the last one of a writer.

    Parameters
    ----------
    db : Connection
        In no transaction.
    counter : int
        As it is now.
    """
    db.execute("BEGIN IMMEDIATE")
    # Writing what stands there already is no change to the database, and would not raise the counter.
    for told in (-1, counter + 1):
        db.execute(f"UPDATE {TABLE} SET counter = ? WHERE number = 1", (told,))
    db.execute("COMMIT")


def read_log(db: sqlite3.Connection) -> Log:
    """Read all whole frames."""
    there = db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (TABLE,)).fetchone()
    row = there and db.execute(f"SELECT epoch, length(held), counter FROM {TABLE} WHERE number = 1").fetchone()
    if row is None:  # taken out by another program: nothing waits, and everything goes the long road
        return Log(0, 0, 0, ())
    epoch, size = int(row[0]), int(row[1])
    payloads: list[bytes] = []
    end = 0
    with db.blobopen(TABLE, "held", 1, readonly=True) as blob:
        while end + _HEAD.size <= size:
            length, mark = _HEAD.unpack(blob.read(_HEAD.size))
            if not length or end + _HEAD.size + length > size:
                break
            payload = blob.read(length)
            if mark != _mark(epoch, end, payload):
                break
            payloads.append(payload)
            end += _HEAD.size + length
    return Log(epoch, size, end, tuple(payloads), int(row[2]))


def _mark(epoch: int, at: int, payload: bytes) -> int:
    """Return the checksum of a frame: of when and where it was written, too."""
    return zlib.crc32(payload, zlib.crc32(struct.pack("<QQ", epoch, at)))


def framed(frames: Mapping[str, Iterable[Mapping[str, Any]]]) -> bytes:
    """Return new records by table as the log holds them; cells with nothing in them are left out."""
    told = {table: [_filled(record) for record in records] for table, records in frames.items()}
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()


def _filled(record: Mapping[str, Any]) -> dict[str, Any]:
    return {name: cell for name, cell in record.items() if cell not in ("", None) and cell == cell}


def waiting_frames(log: Log) -> dict[str, pd.DataFrame]:
    """Return the records that wait, by table, in order."""
    records: dict[str, list[dict[str, Any]]] = {}
    for payload in log.payloads:
        for table, listed in json.loads(payload).items():
            records.setdefault(table, []).extend(listed)
    return {table: frame_of(table, listed) for table, listed in records.items() if table in TABLES}


def names_of(payload: bytes) -> set[tuple[str, str]]:
    """Return the blocks, as (vineyard, block), that the records of a frame are about."""
    told = json.loads(payload)
    return {(str(one.get("vineyard", "")), str(one.get("block", ""))) for listed in told.values() for one in listed}


def append_frame(path: Path, log: Log, payload: bytes) -> bool:
    """Write a frame behind the others, forced to disk; in place, by whoever has the turn to write.

    Parameters
    ----------
    path : Path
        The file, which nothing lies beside.
    log : Log
        As it was read since the turn was taken.
    payload : bytes
        As `framed` makes it.

    Returns
    -------
    bool
        False where there is no room, or another program is reading at this moment: nothing was written.
    """
    if log.end + _HEAD.size + len(payload) > log.size:
        return False
    with contextlib.closing(sqlite3.connect(path, isolation_level=None, timeout=PATIENCE_S)) as db:
        # Nothing to roll back to: the pages of the log are the only ones that change, and no other page speaks of them.
        db.execute("PRAGMA journal_mode = OFF")
        db.execute("PRAGMA synchronous = FULL")
        try:
            db.execute("BEGIN EXCLUSIVE")
        except sqlite3.OperationalError as error:
            if "locked" in str(error) or "busy" in str(error):
                return False
            raise
        with db.blobopen(TABLE, "held", 1) as blob:
            if len(blob) != log.size:
                db.execute("ROLLBACK")
                return False
            blob.seek(log.end)
            blob.write(_HEAD.pack(len(payload), _mark(log.epoch, log.end, payload)) + payload)
        db.execute("COMMIT")
    return True


def records_by_table(frames: Mapping[str, pd.DataFrame]) -> dict[str, list[dict[str, Any]]]:
    """Return frames as lists of records."""
    return {table: records_of(frame) for table, frame in frames.items() if len(frame)}
