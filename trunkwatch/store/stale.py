"""Blocks whose map layers are older than their records: they are drawn anew when there is time."""

import sqlite3
from collections.abc import Mapping

import pandas as pd

from trunkwatch.vineyard.tables import TABLES, records_of

__all__ = ["has_stale", "make_stale", "note_stale", "stale_blocks"]

TABLE = "trunkwatch_to_draw"


def make_stale(db: sqlite3.Connection) -> None:
    """Make the table of such blocks, empty."""
    db.execute(
        f"CREATE TABLE {TABLE} (vineyard TEXT NOT NULL, block TEXT NOT NULL, PRIMARY KEY (vineyard, block)) WITHOUT ROWID"
    )


def note_stale(db: sqlite3.Connection, frames: Mapping[str, pd.DataFrame]) -> None:
    """Note the blocks of new records; in a transaction of the caller."""
    names = {
        (str(one["vineyard"]), str(one["block"]))
        for table, frame in frames.items() if "block" in TABLES[table].names
        for one in records_of(frame[["vineyard", "block"]].drop_duplicates())
    }  # fmt: skip
    db.executemany(f"INSERT OR IGNORE INTO {TABLE} VALUES (?, ?)", sorted(names))


def has_stale(db: sqlite3.Connection) -> bool:
    """Tell whether there is such a block."""
    return db.execute(f"SELECT 1 FROM {TABLE} LIMIT 1").fetchone() is not None


def stale_blocks(db: sqlite3.Connection) -> list[tuple[str, str]]:
    """Return the blocks as (vineyard, block), and forget them."""
    found = [(str(vineyard), str(block)) for vineyard, block in db.execute(f"SELECT vineyard, block FROM {TABLE}")]
    if found:
        db.execute(f"DELETE FROM {TABLE}")
    return found
