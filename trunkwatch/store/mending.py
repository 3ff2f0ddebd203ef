"""Records that were damaged in their table, put back from the second copy that the log still holds."""

import contextlib
import sqlite3
from pathlib import Path
from typing import Any

from trunkwatch.store.inside import look_inside
from trunkwatch.store.schema import index_sql
from trunkwatch.store.seal import SEAL, seals_of
from trunkwatch.store.spare import spare_records
from trunkwatch.store.store import Store
from trunkwatch.store.whole import connect_read, told_errors
from trunkwatch.vineyard.kept_cells import described
from trunkwatch.vineyard.tables import TABLES, cells_of

__all__ = ["mend_file"]


def mend_file(path: Path) -> tuple[list[str], int]:
    """Put damaged records back as they were written, where the log still holds a second copy of them.

    Parameters
    ----------
    path : Path
        The file; it is old or mended, never between.

    Returns
    -------
    mended : list of str
        Which records were put back.
    left : int
        How many damaged records the log does not hold.

    Raises
    ------
    FileError
        If the file cannot be read or written.
    """
    inside, records, left = look_inside(path), {}, 0
    with contextlib.closing(connect_read(path)) as db, told_errors(path):
        spares = spare_records(db)
    for table, kept in inside.tables.items():
        numbers = {number for place in kept.mendable if (number := kept.numbers[place]) is not None}
        left += sum("damaged" in what for place, what in kept.unfit.items() if place not in kept.mendable)
        if numbers:
            records[table] = {number: spares[table][number] for number in sorted(numbers)}
    if not records:
        return [], left
    with Store.writing(path) as store, store.transaction():
        for table, by_number in records.items():
            _put_back(store.connection, table, by_number)
    return [described(table, one, number) for table, some in records.items() for number, one in some.items()], left


def _put_back(db: sqlite3.Connection, table: str, records: dict[int, dict[str, Any]]) -> None:
    """Write records over what stands under their numbers; the indexes, which hold damaged values too, are made anew."""
    indexes = index_sql(TABLES[table])
    for index in indexes:
        db.execute(f'DROP INDEX IF EXISTS "{index}"')
    names = TABLES[table].names
    set_to = ", ".join(f'"{name}" = ?' for name in (*names, SEAL))
    for number, cells in zip(records, cells_of(table, list(records.values())), strict=True):
        seal = int(seals_of(table, {name: [cell] for name, cell in zip(names, cells, strict=True)}, [number])[0])
        db.execute(f'UPDATE "{table}" SET {set_to} WHERE number = ?', (*cells, seal, number))
    for statement in indexes.values():
        db.execute(statement)
