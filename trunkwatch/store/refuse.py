"""What is not read: a file without a table or a column of ours, and records with a cell that cannot be.

Another program may have renamed a column, or written what no rate knows. Reading on would give other rates without a
word, so it is refused in one line; `trunkwatch check` reads such a file all the same, and names everything.
"""

import sqlite3
from collections.abc import Sequence
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError
from trunkwatch.vineyard.kept_cells import circle_in, described, first_wrong
from trunkwatch.vineyard.tables import TABLES

__all__ = ["refuse_missing", "refuse_wrong"]


def refuse_missing(db: sqlite3.Connection, path: Path) -> None:
    """Refuse a file in which a table or a column of ours is missing: a question for it would be answered with its name."""
    there: dict[str, set[str]] = {}
    marks = ", ".join("?" * len(TABLES))
    for table, column in db.execute(
        "SELECT m.name, c.name FROM main.sqlite_master m, pragma_table_info(m.name) c "
        f"WHERE m.type = 'table' AND m.name IN ({marks})",
        tuple(TABLES),
    ):
        there.setdefault(table, set()).add(str(column).casefold())
    for table in TABLES.values():
        missing = [name for name in ("number", *table.names) if name not in there.get(table.name, ())]
        if not missing:
            continue
        what = (
            f"table {table.name} has no column {missing[0]!r}"
            if table.name in there
            else f"table {table.name!r} is gone"
        )
        raise FileError(
            f"{path.name}: {what}: another program has taken it out or given it another name; undo that there, or "
            f"`trunkwatch check {path}` names all that was changed"
        )


def refuse_wrong(path: Path, table: str, columns: Sequence[Sequence[Any]]) -> None:
    """Refuse records of which a cell cannot be, an id stands twice, or corrections go in a circle.

    Parameters
    ----------
    path : Path
        The file.
    table : str
        Name of the table.
    columns : sequence of sequences
        Its cells by column, as they are kept.

    Raises
    ------
    FileError
        With the record, the column, the value and the way out.
    """
    names = TABLES[table].names
    way = f"put it right where it was changed; `trunkwatch check {path}` names all of them"
    for column, cells in zip(TABLES[table].columns, columns, strict=True):
        wrong = first_wrong(column, cells)
        if wrong is not None:
            which = described(table, {name: cells[wrong.place] for name, cells in zip(names, columns, strict=True)})
            raise FileError(
                f"{path.name}: {which}: {column.name} cannot be {cells[wrong.place]!r}; expected: {wrong.expected}; {way}"
            )
    ids, corrects = columns[names.index("id")], columns[names.index("corrects")]
    if len(set(ids)) < len(ids):
        seen: set[str] = set()
        twice = next(name for name in ids if name in seen or seen.add(name))  # type: ignore[func-returns-value]
        raise FileError(f"{path.name}: id {twice!r} stands twice in {table}; {way}")
    if any(corrects) and (circle := circle_in(ids, corrects)):
        raise FileError(
            f"{path.name}: corrections of {table} go in a circle ({', '.join(circle)}), so that none stands; {way}"
        )
