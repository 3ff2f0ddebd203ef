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
from dataclasses import dataclass, replace
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
    "frames_in",
    "make_log",
    "read_log",
    "records_by_table",
    "room_of",
    "waiting_frames",
    "waiting_records",
]

TABLE = "trunkwatch_log"
#: Bytes of the log: of a small file, of a large one, and from which size of the file on.
SMALL, LARGE, LARGE_FROM = 64 * 1024, 256 * 1024, 4_000_000
#: More records than these at once go into the tables straight away.
MOST_WAITING = 200
_HEAD = struct.Struct("<II")
#: Bytes that are read at once.
_AT_ONCE = 16 * 1024
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
    damaged : int
        How many frames are not whole, and are gone over.
    half : bool
        Whether behind the last frame something was begun: by a writer that was ended, which acknowledged nothing.
    behind : int
        Bytes behind the room of the log, which `store.spare` speaks of.
    """

    epoch: int
    size: int
    end: int
    payloads: tuple[bytes, ...]
    counter: int = 0
    damaged: int = 0
    half: bool = False
    behind: int = 0

    @property
    def written(self) -> int:
        """How many frames were written, the damaged among them."""
        return len(self.payloads) + self.damaged


def make_log(db: sqlite3.Connection) -> None:
    """Make the table of the log, empty."""
    db.execute(
        f"CREATE TABLE {TABLE} (number INTEGER PRIMARY KEY CHECK (number = 1), epoch INTEGER NOT NULL, "
        "counter INTEGER NOT NULL, held BLOB NOT NULL)"
    )
    db.execute(f"INSERT INTO {TABLE} VALUES (1, 1, 0, zeroblob({SMALL}))")


def empty_log(db: sqlite3.Connection, file_bytes: int, behind: bytes = b"") -> None:
    """Empty the log, in a transaction of the caller: what waited is in the tables now.

    Parameters
    ----------
    db : Connection
        A copy to write.
    file_bytes : int
        Size of the file.
    behind : bytes
        What is kept behind the room of the log; left out where it is longer than that.
    """
    size = LARGE if file_bytes >= LARGE_FROM else SMALL
    if len(behind) > size:  # the file has become smaller: together they would be taken for a large log
        behind = b""
    if db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (TABLE,)).fetchone() is None:
        make_log(db)
    db.execute(f"UPDATE {TABLE} SET epoch = epoch + 1, held = zeroblob(?) WHERE number = 1", (size + len(behind),))
    if behind:
        with db.blobopen(TABLE, "held", 1) as blob:
            blob.seek(size)
            blob.write(behind)


def room_of(length: int) -> int:
    """Return how many bytes of a blob are the room of the log: what is longer has something behind it."""
    return LARGE if length >= LARGE else min(length, SMALL)


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
    if not all(isinstance(cell, int) for cell in row):
        raise sqlite3.DatabaseError(f"{TABLE} holds what no log is")
    epoch, length, counter = row
    size = room_of(length)
    with db.blobopen(TABLE, "held", 1, readonly=True) as blob:
        held = _used(blob, size)
    return replace(frames_in(held, epoch, size, counter), behind=length - size)


def _used(blob: sqlite3.Blob, size: int) -> bytes:
    """Read the log up to where nothing was written for longer than a frame's head: most of it is empty."""
    held = bytearray()
    while len(held) < size:
        part = blob.read(min(_AT_ONCE, size - len(held)))
        held += part
        if not any(part):
            break
    return bytes(held)


def frames_in(held: bytes, epoch: int, size: int, counter: int = 0) -> Log:
    """Take a log apart.

    A frame that is not whole is gone over where a whole one lies behind it; or where all its bytes are there, so that
    no writer was ended over it. Behind the last one the next may begin.

    Parameters
    ----------
    held : bytes
        What is in the log.
    epoch, size, counter : int
        As in `Log`.
    """
    payloads: list[bytes] = []
    at = damaged = 0
    while at + _HEAD.size <= len(held):
        length, _ = _HEAD.unpack_from(held, at)
        if not any(held[at : at + _HEAD.size]):
            behind = _next_whole(held, at, epoch, size)
            if behind is None:
                break
            damaged += 1
            at = behind
            continue
        after = at + _HEAD.size + length
        if _whole(held, at, epoch, size):
            payloads.append(held[at + _HEAD.size : after])
            at = after
            continue
        if not _whole(held, after, epoch, size):
            behind = _next_whole(held, at + 1, epoch, size)
            # What a writer did not come to write is zeros, and no text ends in them.
            is_all_there = length and after <= len(held) and held[after - 1]
            if behind is None and not is_all_there:
                break
            after = after if behind is None else behind
        damaged += 1
        at = after
    return Log(epoch, size, at, tuple(payloads), counter, damaged, any(held[at : at + _HEAD.size]))


def _whole(held: bytes, at: int, epoch: int, size: int) -> bool:
    """Tell whether a whole frame begins at a place."""
    if at + _HEAD.size > len(held):
        return False
    length, mark = _HEAD.unpack_from(held, at)
    after = at + _HEAD.size + length
    return bool(length > 0 and after <= size and mark == _mark(epoch, at, held[at + _HEAD.size : after]))


def _next_whole(held: bytes, start: int, epoch: int, size: int) -> int | None:
    """Return where the next whole frame begins; its text begins with a brace, so few places are tried."""
    at = held.find(b"{", start + _HEAD.size)
    while at >= 0:
        if _whole(held, at - _HEAD.size, epoch, size):
            return at - _HEAD.size
        at = held.find(b"{", at + 1)
    return None


def _mark(epoch: int, at: int, payload: bytes) -> int:
    """Return the checksum of a frame: of when and where it was written, too."""
    return zlib.crc32(payload, zlib.crc32(struct.pack("<QQ", epoch, at)))


def framed(frames: Mapping[str, Iterable[Mapping[str, Any]]]) -> bytes:
    """Return new records by table as the log holds them; cells with nothing in them are left out."""
    told = {table: [_filled(record) for record in records] for table, records in frames.items()}
    return json.dumps(told, ensure_ascii=False, separators=(",", ":"), allow_nan=False).encode()


def _filled(record: Mapping[str, Any]) -> dict[str, Any]:
    return {name: cell for name, cell in record.items() if cell not in ("", None) and cell == cell}


def waiting_records(log: Log) -> dict[str, list[dict[str, Any]]]:
    """Return the records that wait, by table, in order; cells with nothing in them are left out."""
    records: dict[str, list[dict[str, Any]]] = {}
    for payload in log.payloads:
        for table, listed in json.loads(payload).items():
            records.setdefault(table, []).extend(listed)
    return {table: listed for table, listed in records.items() if table in TABLES}


def waiting_frames(log: Log) -> dict[str, pd.DataFrame]:
    """Return the records that wait as tables."""
    return {table: frame_of(table, listed) for table, listed in waiting_records(log).items()}


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
            if len(blob) != log.size + log.behind:
                db.execute("ROLLBACK")
                return False
            blob.seek(log.end)
            blob.write(_HEAD.pack(len(payload), _mark(log.epoch, log.end, payload)) + payload)
        db.execute("COMMIT")
    return True


def records_by_table(frames: Mapping[str, pd.DataFrame]) -> dict[str, list[dict[str, Any]]]:
    """Return frames as lists of records."""
    return {table: records_of(frame) for table, frame in frames.items() if len(frame)}
