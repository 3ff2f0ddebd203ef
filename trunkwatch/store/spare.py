"""A second copy of the latest records: behind the room of the log, once they were put into the tables.

A table is read for years, and a disk may lose a part of it. What was put into the tables from the log stays behind its
room as it was written, with the running number that each record got, until later records take its place. By its seal a
record of a table is told to be damaged; the copy whose seal is that one is what was written. Nothing else reads them. Whoever changes records in the tables forgets the copies.
"""

import json
import sqlite3
import struct
import zlib
from collections.abc import Mapping, Sequence
from typing import Any

import pandas as pd

from trunkwatch.store.log import SMALL, TABLE, framed, room_of
from trunkwatch.store.seal import next_number, seals_of
from trunkwatch.store.unreadable import UNREADABLE
from trunkwatch.vineyard.tables import TABLES, Record, frame_of, records_of

__all__ = ["Spares", "forget_spares", "is_copy", "spare_bytes", "spare_records"]

_HEAD = struct.Struct("<II")
_MARK = b"once more"
#: Copies by table and running number.
Spares = dict[str, dict[int, dict[str, Any]]]


def spare_bytes(db: sqlite3.Connection, frames: Mapping[str, pd.DataFrame]) -> bytes:
    """Return what is to stand behind a log: the copies that stand there and new ones, the latest that have room.

    Parameters
    ----------
    db : Connection
        The file as it is, before the records are put into their tables.
    frames : mapping of table to DataFrame
        The records.
    """
    copies = list(_frames(_behind(db)))
    for table, frame in frames.items():
        first = next_number(db, table)
        copies += [
            framed({table: [{"number": number, **record}]}) for number, record in enumerate(records_of(frame), first)
        ]
    room = max(SMALL, room_of(_length(db)))
    kept: list[bytes] = []
    for payload in reversed(copies):
        room -= _HEAD.size + len(payload)
        if room < 0:
            break
        kept.append(_HEAD.pack(len(payload), _checksum(payload)) + payload)
    return b"".join(reversed(kept))


def spare_records(db: sqlite3.Connection) -> Spares:
    """Return the copies that stand behind the log and are whole; the later one of two of a record."""
    spares: Spares = {}
    for payload in _frames(_behind(db)):
        for table, records in json.loads(payload).items():
            for record in records if table in TABLES else ():
                number = int(record.pop("number"))
                spares.setdefault(table, {})[number] = records_of(frame_of(table, [record]))[0]
    return spares


def forget_spares(db: sqlite3.Connection) -> None:
    """Forget all copies, in a transaction of the caller: records in the tables are changed."""
    length = _length(db)
    if length > (room := room_of(length)):
        db.execute(f"UPDATE {TABLE} SET held = substr(held, 1, ?) WHERE number = 1", (room,))


def is_copy(table: str, spare: Record, number: int, as_read: Record, seal: object) -> bool:
    """Tell whether a copy is what a damaged record was: what was sealed, or, where the seal is damaged, what it reads.

    Parameters
    ----------
    table : str
        Name of the table.
    spare : mapping
        The copy.
    number : int
        Running number of both.
    as_read : mapping
        The record as it reads.
    seal : object
        What stands in the place of its seal.
    """
    right, other = (
        int(seals_of(table, {name: [cell] for name, cell in one.items()}, [number])[0]) for one in (spare, as_read)
    )
    return right in (seal, other)


def _length(db: sqlite3.Connection) -> int:
    there = db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (TABLE,)).fetchone()
    row = there and db.execute(f"SELECT length(held) FROM {TABLE} WHERE number = 1").fetchone()
    return row[0] if row and isinstance(row[0], int) else 0


def _behind(db: sqlite3.Connection) -> bytes:
    try:
        length = _length(db)
        if length <= room_of(length):
            return b""
        with db.blobopen(TABLE, "held", 1, readonly=True) as blob:
            blob.seek(room_of(length))
            return blob.read()
    except UNREADABLE:
        return b""


def _frames(held: bytes) -> Sequence[bytes]:
    """Return the frames that are whole; what is not is gone over to the next one, whose text begins with a brace."""
    out, at = [], 0
    while at >= 0 and at + _HEAD.size <= len(held):
        length, mark = _HEAD.unpack_from(held, at)
        payload = held[at + _HEAD.size : at + _HEAD.size + length]
        if length and len(payload) == length and mark == _checksum(payload):
            out.append(payload)
            at += _HEAD.size + length
        else:
            at = held.find(b"{", at + _HEAD.size + 1) - _HEAD.size
            if at < 0:
                break
    return out


def _checksum(payload: bytes) -> int:
    return zlib.crc32(payload, zlib.crc32(_MARK))
