"""The lines of a database: those in its tables, and behind them those that wait in its log."""

import sqlite3
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from contextlib import nullcontext
from pathlib import Path
from typing import Any, TypeVar, cast

import numpy as np
import pandas as pd

from trunkwatch.store.refuse import refuse_wrong
from trunkwatch.store.schema import index_sql
from trunkwatch.store.seal import SEAL, change_sealed, columns_of, next_number, seals_of
from trunkwatch.store.whole import told_errors
from trunkwatch.vineyard.tables import TABLES, Record, cells_of, empty_frame, records_of

__all__ = ["Lines"]

Answer = TypeVar("Answer")
#: Records above which indexes are made after the import instead of during it.
MANY = 50_000
#: Ids that are asked for in one question.
AT_ONCE = 500


class Lines:
    """Read and add the lines of every table.

    Parameters
    ----------
    db : Connection
        Its temporary tables hold the lines that wait.
    path : Path, optional
        Of the file, for messages.
    beside : bool
        Whether new lines wait beside the tables instead of going into them.
    """

    def __init__(self, db: sqlite3.Connection, path: Path | None = None, *, beside: bool = False) -> None:
        self._db = db
        self._path = path
        self._beside = beside
        self._waiting: set[str] = set()
        self.fresh: dict[str, list[pd.DataFrame]] = {}
        self._asked: dict[str, dict[object, Any]] = {}

    def once(self, table: str, question: object, answer: Callable[[], Answer]) -> Answer:
        """Answer a question of a table; beside the tables the answer of before, as nothing else changes them meanwhile.

        The file is locked for all who keep to turns, and what is added goes through `insert`. Nobody changes a frame in place.
        """
        if not self._beside:
            return answer()
        known = self._asked.setdefault(table, {})
        if question not in known:
            known[question] = answer()
        return cast("Answer", known[question])

    def wait(self, records: Mapping[str, Sequence[Record]]) -> None:
        """Let records, which may leave columns out, wait behind those in the tables."""
        for table, listed in records.items():
            names = TABLES[table].names
            marks = ", ".join("?" * len(names))
            columns = ", ".join(f'"{name}"' for name in names)
            self._db.executemany(
                f"INSERT INTO {self._room(table)} ({columns}) VALUES ({marks})", cells_of(table, listed)
            )

    @property
    def many_fresh(self) -> int:
        """How many records were added beside the tables."""
        return sum(len(frame) for frames in self.fresh.values() for frame in frames)

    def mark(self) -> dict[str, int]:
        """Return how far records were added beside the tables, for `back_to`."""
        return {table: len(frames) for table, frames in self.fresh.items()}

    def back_to(self, mark: Mapping[str, int]) -> bool:
        """Forget the records that were added since a mark; tell whether there were any, which may still be seen then."""
        added = [table for table, frames in self.fresh.items() if len(frames) > mark.get(table, 0)]
        for table in added:
            del self.fresh[table][mark.get(table, 0) :]
        return bool(added)

    def _room(self, table: str) -> str:
        """Return the name of the table in which lines wait."""
        name = f'temp."waiting_{table}"'
        if table not in self._waiting:
            self._db.execute(f'CREATE TEMP TABLE "waiting_{table}" AS SELECT * FROM main."{table}" LIMIT 0')
            self._db.execute(f'CREATE INDEX temp."waiting_{table}_id" ON "waiting_{table}" (id)')
            self._db.execute(f'CREATE INDEX temp."waiting_{table}_corrects" ON "waiting_{table}" (corrects)')
            self._waiting.add(table)
        return name

    def sources(self, table: str) -> tuple[str, ...]:
        """Return the names under which a table is read, in the order of their lines."""
        return (f'main."{table}"', f'temp."waiting_{table}"') if table in self._waiting else (f'main."{table}"',)

    def insert(self, table: str, frame: pd.DataFrame) -> None:
        """Add records; all columns of the table are there."""
        if frame.empty:
            return
        self._asked.pop(table, None)
        if self._beside:
            self.fresh.setdefault(table, []).append(frame)
            self.wait({table: records_of(frame)})
            return
        # Many records at once: it is quicker to sort for the indexes afterwards than to file each record.
        indexes = index_sql(TABLES[table]) if len(frame) > MANY else {}
        for index in indexes:
            self._db.execute(f'DROP INDEX IF EXISTS "{index}"')
        self._fill(table, frame)
        for statement in indexes.values():
            self._db.execute(statement)

    def _fill(self, table: str, frame: pd.DataFrame) -> None:
        names, columns = [], []
        for column in TABLES[table].columns:
            values = frame[column.name].to_numpy()
            # Columns with nothing in them keep their default: most columns of most imports.
            if column.is_number:
                missing = pd.isna(values)
                if missing.all():
                    continue
                cells = values.tolist()
                if missing.any():
                    cells = [None if cell != cell else cell for cell in cells]
            elif not values.any():
                continue
            else:
                cells = values.tolist()
            names.append(column.name)
            columns.append(cells)
        if self._path is not None and SEAL in columns_of(self._db, table):
            first = next_number(self._db, table)
            numbers = np.arange(first, first + len(frame), dtype=np.int64)
            seals = seals_of(table, {one: frame[one].to_numpy() for one in names}, numbers)
            names += ["number", SEAL]
            columns += [numbers.tolist(), seals.tolist()]
            change_sealed(self._db, table, len(frame))
        marks = ", ".join("?" * len(names))
        listed = ", ".join(f'"{one}"' for one in names)
        self._db.executemany(f'INSERT INTO main."{table}" ({listed}) VALUES ({marks})', zip(*columns, strict=True))

    def select(self, table: str, where: str = "", values: tuple[object, ...] = ()) -> pd.DataFrame:
        """Return lines in the order in which they came.

        Parameters
        ----------
        table : str
            Name of the table.
        where : str
            Clause of the question, over the columns of the table.
        values : tuple
            For its marks.
        """
        return self.once(table, (where, values), lambda: self._selected(table, where, values))

    def _selected(self, table: str, where: str, values: tuple[object, ...]) -> pd.DataFrame:
        if not self.has_any(table):  # asked once, where a block of forty has none of most tables
            return empty_frame(table)
        listed = ", ".join(f'"{name}"' for name in TABLES[table].names)
        rows = []
        for source in self.sources(table):
            rows += self._ask(f"SELECT {listed} FROM {source} {where} ORDER BY {self._order(source)}", values)
        if not rows:
            return empty_frame(table)
        columns = list(zip(*rows, strict=True))
        if self._path is not None:
            refuse_wrong(self._path, table, columns)
        data = {}
        for column, cells in zip(TABLES[table].columns, columns, strict=True):
            if column.is_number:
                data[column.name] = np.array([np.nan if cell is None else cell for cell in cells], dtype=float)
            else:
                data[column.name] = np.array(cells, dtype=object)
        return pd.DataFrame(data)

    def _order(self, source: str) -> str:
        """Return by what the lines of a source stand in the order in which they came."""
        return "number" if source.startswith("main") else "rowid"

    def _ask(self, question: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        """Return the answer to a question; damage is told in one line."""
        with told_errors(self._path) if self._path else nullcontext():
            return self._db.execute(question, values).fetchall()

    def by_id(self, table: str, ids: Iterable[str]) -> pd.DataFrame:
        """Return the lines with these ids."""
        if not self.has_any(table):
            return empty_frame(table)
        listed = list(ids)
        if len(listed) <= AT_ONCE:
            few = sorted(set(listed))
            marks = ", ".join("?" * len(few))
            return self.select(table, f"WHERE id IN ({marks})", tuple(few)) if few else empty_frame(table)
        self._want(listed)
        return self._selected(table, "WHERE id IN (SELECT id FROM temp.wanted)", ())

    @property
    def waiting(self) -> int:
        """How many lines wait."""
        return sum(int(self._ask(f'SELECT count(*) FROM temp."waiting_{table}"')[0][0]) for table in self._waiting)

    def has_corrections(self, table: str) -> bool:
        """Tell whether any line of a table corrects another."""
        return self._has(table, "WHERE corrects <> ''")

    def has_any(self, table: str) -> bool:
        """Tell whether a table has a line."""
        return self._has(table, "")

    def _has(self, table: str, where: str) -> bool:
        def asked() -> bool:
            return any(bool(self._ask(f"SELECT 1 FROM {source} {where} LIMIT 1")) for source in self.sources(table))

        return self.once(table, ("has", where), asked)

    def family(self, table: str, ids: Iterable[str]) -> pd.DataFrame:
        """Return every version of the records of which these ids are a version."""
        if not self.has_corrections(table):
            return self.by_id(table, ids)
        return self.by_id(table, self.family_ids(table, self._upwards(table, set(ids))))

    def family_ids(self, table: str, ids: Collection[str]) -> set[str]:
        """Return these ids, those of all their corrections, and of corrections of these."""
        seen: set[str] = set()
        new = set(ids)
        while new:
            seen |= new
            new = self._linked(table, "id", "corrects", new) - seen
        return seen

    def _upwards(self, table: str, ids: set[str]) -> set[str]:
        seen: set[str] = set()
        new = set(ids)
        while new:
            seen |= new
            new = self._linked(table, "corrects", "id", new) - seen - {""}
        return seen

    def _linked(self, table: str, wanted: str, by: str, ids: Collection[str]) -> set[str]:
        found: set[str] = set()
        listed = sorted(ids)
        for at in range(0, len(listed), AT_ONCE):
            some = listed[at : at + AT_ONCE]
            marks = ", ".join("?" * len(some))
            only = " AND corrects <> ''" if by == "corrects" else ""
            for source in self.sources(table):
                rows = self._ask(f"SELECT {wanted} FROM {source} WHERE {by} IN ({marks}){only}", some)
                found |= {name for (name,) in rows}
        return found

    def _want(self, ids: Iterable[str]) -> None:
        """Put ids where a query finds them."""
        self._db.execute("CREATE TEMP TABLE IF NOT EXISTS wanted (id TEXT PRIMARY KEY) WITHOUT ROWID")
        self._db.execute("DELETE FROM temp.wanted")
        self._db.executemany("INSERT OR IGNORE INTO temp.wanted VALUES (?)", ((name,) for name in ids))

    def moved(self, table: str) -> set[tuple[str, str]]:
        """Return the blocks, as (vineyard, block), between which corrections have moved records."""
        found: set[tuple[str, str]] = set()
        for now in self.sources(table):
            for old in self.sources(table):
                rows = self._ask(
                    f"SELECT now.vineyard, now.block, old.vineyard, old.block FROM {now} now JOIN {old} old "
                    "ON old.id = now.corrects WHERE now.corrects <> '' AND (now.block <> old.block OR now.vineyard <> old.vineyard)"
                )
                found |= {name for cells in rows for name in (cells[:2], cells[2:])}
        return found

    def links(self, table: str) -> pd.DataFrame:
        """Return id and target of all corrections of a table."""
        rows = [
            row
            for source in self.sources(table)
            for row in self._ask(f"SELECT id, corrects FROM {source} WHERE corrects <> ''")
        ]
        return pd.DataFrame(rows, columns=["id", "corrects"])
