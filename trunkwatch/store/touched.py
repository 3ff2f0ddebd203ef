"""When the records of each block last changed, and whether its map layers are as new as they.

Each block has a stamp that is another one after every change of its records. Who keeps answers about a block asks for
its stamp instead of reading it anew; layers are drawn when there is time, and carry the stamp that they were drawn at.
Other programs write no stamps: that one has written is told by the counter that every writing program raises.
"""

import secrets
import sqlite3
from collections.abc import Iterable, Mapping
from pathlib import Path

import pandas as pd

from trunkwatch.vineyard.tables import TABLES

__all__ = ["change_counter", "make_touched", "names_in", "note_drawn", "note_touched", "stale_blocks", "stamps"]

TABLE = "trunkwatch_touched"
#: Place of the file change counter in the head of every SQLite file (file format, section 1.3.7).
_COUNTER_AT = 24


def make_touched(db: sqlite3.Connection) -> None:
    """Make the table of stamps, empty."""
    db.execute(
        f"CREATE TABLE IF NOT EXISTS {TABLE} (vineyard TEXT NOT NULL, block TEXT NOT NULL, stamp TEXT NOT NULL, "
        "drawn TEXT NOT NULL DEFAULT '', PRIMARY KEY (vineyard, block)) WITHOUT ROWID"
    )


def names_in(frames: Mapping[str, pd.DataFrame]) -> set[tuple[str, str]]:
    """Return the blocks, as (vineyard, block), that records are about; weather and costs are about no block: ""."""
    found: set[tuple[str, str]] = set()
    for table, frame in frames.items():
        blocks = frame["block"] if "block" in TABLES[table].names else [""] * len(frame)
        found |= set(zip(frame["vineyard"], blocks, strict=True))
    return found


def note_touched(db: sqlite3.Connection, names: Iterable[tuple[str, str]]) -> None:
    """Give blocks a new stamp; in a transaction of the caller."""
    make_touched(db)  # another program may have taken it out
    db.executemany(
        f"INSERT INTO {TABLE} (vineyard, block, stamp) VALUES (?, ?, ?) "
        "ON CONFLICT (vineyard, block) DO UPDATE SET stamp = excluded.stamp",
        [(vineyard, block, secrets.token_hex(8)) for vineyard, block in sorted(names)],
    )


def note_drawn(db: sqlite3.Connection) -> None:
    """Note that all layers are as new as the records."""
    if _is_there(db):
        db.execute(f"UPDATE {TABLE} SET drawn = stamp WHERE drawn <> stamp")


def _is_there(db: sqlite3.Connection) -> bool:
    return db.execute("SELECT 1 FROM sqlite_master WHERE name = ?", (TABLE,)).fetchone() is not None


def stale_blocks(db: sqlite3.Connection) -> list[tuple[str, str]]:
    """Return the blocks whose layers are older than their records, as (vineyard, block)."""
    if not _is_there(db):
        return []
    rows = db.execute(f"SELECT vineyard, block FROM {TABLE} WHERE drawn <> stamp AND block <> ''")
    return [(str(vineyard), str(block)) for vineyard, block in rows]


def stamps(db: sqlite3.Connection) -> dict[tuple[str, str], str]:
    """Return the stamp of every block that ever changed, by (vineyard, block)."""
    if not _is_there(db):
        return {}
    rows = db.execute(f"SELECT vineyard, block, stamp FROM {TABLE}")
    return {(str(vineyard), str(block)): str(stamp) for vineyard, block, stamp in rows}


def change_counter(path: Path) -> int:
    """Return the counter that every program raises with every change of the file."""
    with path.open("rb") as file:
        file.seek(_COUNTER_AT)
        return int.from_bytes(file.read(4), "big")
