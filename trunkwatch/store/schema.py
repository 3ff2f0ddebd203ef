"""The tables of the store, made from the words of the vineyard."""

import sqlite3

from trunkwatch.vineyard.tables import TABLES, Table

__all__ = ["create_tables", "table_sql"]


def table_sql(table: Table) -> str:
    """Return the statement that makes a table: a running number, every column, the id once."""
    columns = ["number INTEGER PRIMARY KEY"]
    for column in table.columns:
        kind = "REAL" if column.is_number else "TEXT NOT NULL DEFAULT ''"
        unique = " UNIQUE" if column.name == "id" else ""
        columns.append(f'"{column.name}" {kind}{unique}')
    return f'CREATE TABLE "{table.name}" ({", ".join(columns)}) STRICT'


def create_tables(db: sqlite3.Connection) -> None:
    """Make all tables of an empty store."""
    for table in TABLES.values():
        db.execute(table_sql(table))
        if "block" in table.names:
            db.execute(f'CREATE INDEX "{table.name}_block" ON "{table.name}" (block)')
