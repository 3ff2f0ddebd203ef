"""An earlier file, in which a block was known by its label alone, brought to vineyard and label."""

import sqlite3
from collections.abc import Collection, Iterable, Iterator

import pandas as pd

from trunkwatch.store.seal import SEAL, columns_of, resealed
from trunkwatch.store.statements import table_sql
from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.named_records import named_records, with_vineyard
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of

__all__ = ["add_columns", "give_vineyard", "name_by_vineyard", "renamed"]


def add_columns(db: sqlite3.Connection) -> None:
    """Give an earlier file the tables and columns that came since, with nothing in them; in a transaction of the caller.

    Each step from which on records are read under today's columns begins with it.
    """
    for table in TABLES.values():
        there = columns_of(db, table.name)
        if not there:
            db.execute(table_sql(table))
            continue
        for column in table.columns:
            if column.name not in there:
                kind = "REAL" if column.is_number else "TEXT NOT NULL DEFAULT ''"
                db.execute(f'ALTER TABLE "{table.name}" ADD COLUMN "{column.name}" {kind}')


def name_by_vineyard(db: sqlite3.Connection) -> None:
    """Give every record its vineyard, and the id that it has with it; corrections follow.

    Parameters
    ----------
    db : Connection
        In a transaction of the caller.
    """
    add_columns(db)
    frames = {table: _records(db, table) for table in TABLES}
    told = named_records(empty_frame("blocks"), {table: frame for table, (_, frame) in frames.items()})
    for table, frame in told.frames.items():
        numbers, before = frames[table]
        _write(db, table, numbers, before, _to_the_last(table, frame, told.names))


def give_vineyard(db: sqlite3.Connection, roots: Collection[str], vineyard: str) -> None:
    """Give blocks of a vineyard without a name, and all their records, its name.

    Parameters
    ----------
    db : Connection
        In a transaction of the caller.
    roots : collection of str
        Ids of the first records of the blocks.
    vineyard : str
        The name.
    """
    frames = {table: _records(db, table) for table in TABLES}
    told = with_vineyard({table: frame for table, (_, frame) in frames.items()}, roots, vineyard)
    for table, frame in told.items():
        _write(db, table, *frames[table], frame)


def _to_the_last(table: str, frame: pd.DataFrame, names: BlockNames) -> pd.DataFrame:
    """Give records that two blocks of one label could claim to the last of them, which showed them until now."""
    if "block" not in TABLES[table].names or table == "blocks":
        return frame
    pairs = list(zip(frame["vineyard"], frame["block"], strict=True))
    firsts = {}
    for owner, label in set(pairs):
        meant = names.meant(owner, label)
        firsts[owner, label] = meant[-1].first if len(meant) > 1 else (owner, label)
    return frame.assign(vineyard=[firsts[pair][0] for pair in pairs], block=[firsts[pair][1] for pair in pairs])


def _records(db: sqlite3.Connection, table: str) -> tuple[list[int], pd.DataFrame]:
    names = TABLES[table].names
    listed = ", ".join(f'"{name}"' for name in names)
    rows = db.execute(f'SELECT number, {listed} FROM "{table}" ORDER BY number').fetchall()
    return [row[0] for row in rows], frame_of(table, [dict(zip(names, row[1:], strict=True)) for row in rows])


def renamed(
    table: str, numbers: Iterable[int], before: pd.DataFrame, now: pd.DataFrame
) -> Iterator[tuple[int, dict[str, str], dict[str, str]]]:
    """Hand out the records that are named otherwise now: number, and the cells that change, as they were and are."""
    columns = ["id", "corrects", "vineyard", *(["block"] if "block" in TABLES[table].names else [])]
    was = list(before[columns].itertuples(index=False, name=None))
    told = list(now[columns].itertuples(index=False, name=None))
    taken = {cells[0] for cells in was}
    for number, old, new in zip(numbers, was, told, strict=True):
        if old == new:
            continue
        # Two records that have one key now keep two ids: none may be lost.
        name = old[0] if new[0] != old[0] and new[0] in taken else new[0]
        taken.add(name)
        yield number, dict(zip(columns, old, strict=True)), dict(zip(columns, (name, *new[1:]), strict=True))


def _write(db: sqlite3.Connection, table: str, numbers: list[int], before: pd.DataFrame, now: pd.DataFrame) -> None:
    has_seals = SEAL in columns_of(db, table)
    for number, old, new in renamed(table, numbers, before, now):
        set_to = ", ".join(f'"{name}" = ?' for name in new)
        db.execute(f'UPDATE "{table}" SET {set_to} WHERE number = ?', (*new.values(), number))
        if has_seals:
            (seal,) = db.execute(f'SELECT {SEAL} FROM "{table}" WHERE number = ?', (number,)).fetchone()
            db.execute(f'UPDATE "{table}" SET {SEAL} = ? WHERE number = ?', (resealed(table, seal, old, new), number))
