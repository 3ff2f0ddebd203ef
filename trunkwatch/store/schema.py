"""The tables of the store, made from the words of the vineyard, and the steps that led to them.

A step is numbered and never changes once it is released; step and mark are made in one
transaction. ``PRAGMA user_version`` belongs to the GeoPackage standard, so the number stands in a
table of its own.
"""

import sqlite3
from collections.abc import Callable

from trunkwatch.store.geopackage import index_layers, make_geopackage, make_layers, register_attributes
from trunkwatch.store.log import make_log
from trunkwatch.store.photo_files import make_photo_files
from trunkwatch.store.seal import add_seals, seal_new_tables
from trunkwatch.store.statements import index_sql, table_sql
from trunkwatch.store.touched import make_touched
from trunkwatch.store.upgrade import add_columns, name_by_vineyard
from trunkwatch.vineyard.tables import TABLES

__all__ = ["STEPS", "VERSION", "create_tables", "index_sql", "schema_version", "table_sql", "take_steps"]


def _records(db: sqlite3.Connection) -> None:
    for table in TABLES.values():
        db.execute(table_sql(table))
    make_indexes(db)


def make_indexes(db: sqlite3.Connection) -> None:
    """Make the indexes of all tables that are not there yet."""
    for table in TABLES.values():
        for statement in index_sql(table).values():
            db.execute(statement.replace(" INDEX ", " INDEX IF NOT EXISTS ", 1))


def _first(db: sqlite3.Connection) -> None:
    _records(db)
    make_geopackage(db)
    register_attributes(db, list(TABLES))


def _by_vineyard_and_label(db: sqlite3.Connection) -> None:
    name_by_vineyard(db)
    make_indexes(db)
    index_layers(db)


def _log_and_rows(db: sqlite3.Connection) -> None:
    add_columns(db)
    for table in TABLES.values():
        if "row" in table.names:  # found by block alone until now
            db.execute(f'DROP INDEX IF EXISTS "{table.name}_block"')
    make_indexes(db)
    make_log(db)
    make_touched(db)
    add_seals(db)


def _new_tables(db: sqlite3.Connection) -> None:
    add_columns(db)
    make_indexes(db)
    registered = {str(name) for (name,) in db.execute("SELECT table_name FROM gpkg_contents")}
    register_attributes(db, [table for table in TABLES if table not in registered])
    seal_new_tables(db)


def _photos(db: sqlite3.Connection) -> None:
    _new_tables(db)
    make_photo_files(db)


#: Number, what it does, how. The last number is the version of a file.
STEPS: tuple[tuple[int, str, Callable[[sqlite3.Connection], None]], ...] = (
    (1, "records, registered as a GeoPackage", _first),
    (2, "layers of blocks, rows, vines and conditions", make_layers),
    (
        3,
        "blocks known by vineyard and label, rows with the end they are numbered from, indexes of the layers",
        _by_vineyard_and_label,
    ),
    (4, "a log inside the file for new records, indexes by row, a seal on every record", _log_and_rows),
    (5, "the quality of the shoot to retrain, and snow on the ground in the weather", add_columns),
    (6, "counts of buds, the day on which buds broke, and rows pruned", _new_tables),
    (7, "photos of findings and work, as related media", _photos),
    (8, "whether the wound of a cut was protected, and why planned work was not done", add_columns),
    (9, "how the vineyard is spoken to: spelling, units, paper", _new_tables),
)
VERSION = STEPS[-1][0]


def create_tables(db: sqlite3.Connection) -> None:
    """Make the record tables alone, for a store in memory."""
    _records(db)


def schema_version(db: sqlite3.Connection) -> int:
    """Return the version of a file, 0 where it has none."""
    there = db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'trunkwatch_step'").fetchone()[0]
    return int(db.execute("SELECT coalesce(max(number), 0) FROM trunkwatch_step").fetchone()[0]) if there else 0


def take_steps(db: sqlite3.Connection, upto: int = VERSION) -> list[str]:
    """Take the steps that a file has not taken yet, each with its mark in one transaction.

    Returns
    -------
    list of str
        What was done.
    """
    done = []
    for number, told, step in STEPS:
        if schema_version(db) >= number or number > upto:
            continue
        db.execute("BEGIN IMMEDIATE")
        try:
            db.execute("CREATE TABLE IF NOT EXISTS trunkwatch_step (number INTEGER PRIMARY KEY, told TEXT NOT NULL)")
            step(db)
            db.execute("INSERT INTO trunkwatch_step VALUES (?, ?)", (number, told))
        except BaseException:
            db.execute("ROLLBACK")
            raise
        db.execute("COMMIT")
        done.append(f"{number}: {told}")
    return done
