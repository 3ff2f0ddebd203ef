"""The lines of a shared store: asked for and added in the words of `Lines`, in the tables of the server."""

from collections.abc import Collection, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trunkwatch.store.address import Address
from trunkwatch.store.lines import AT_ONCE, Lines
from trunkwatch.store.shared_schema import SCHEMA
from trunkwatch.store.shared_server import server_errors
from trunkwatch.vineyard.tables import TABLES, empty_frame

if TYPE_CHECKING:
    from sqlalchemy import Connection

__all__ = ["SharedLines", "filled_columns"]

#: Records that go to the server in one statement.
_CHUNK = 5_000


def filled_columns(table: str, frame: pd.DataFrame) -> dict[str, tuple[str, list[Any]]]:
    """Return the columns that have anything in them, each with its kind on the server; no number is None."""
    found: dict[str, tuple[str, list[Any]]] = {}
    for column in TABLES[table].columns:
        values = frame[column.name].to_numpy()
        if column.is_number:
            missing = pd.isna(values)
            if not missing.all():
                cells = [None if cell != cell else cell for cell in values.tolist()]
                found[column.name] = ("float8", cells)
        elif values.any():
            found[column.name] = ("text", values.tolist())
    return found


class SharedLines(Lines):
    """Read and add the lines of every table of one grower.

    Parameters
    ----------
    server : Connection
        In a transaction.
    address : Address
        For messages.
    grower : str
        Whose lines.
    to_write : bool
        Whether nobody else adds lines meanwhile, so that an answer is good until lines are added here.
    """

    def __init__(self, server: "Connection", address: Address, grower: str, *, to_write: bool) -> None:
        self._server = server
        self._address = address
        self._grower = grower
        self._path = Path(f"{address.shown} ({grower})")
        self._beside = to_write
        self._asked: dict[str, dict[object, Any]] = {}
        self._known: tuple[set[str], set[str]] | None = None

    def forget(self) -> None:
        """Forget what was asked: lines were taken back."""
        self._asked.clear()
        self._known = None

    def has_corrections(self, table: str) -> bool:
        """Tell whether any line of a table corrects another."""
        return table in self._what_is_there()[0]

    def _what_is_there(self) -> tuple[set[str], set[str]]:
        """Return the tables with corrections, and those of which lines were taken out: one question for all of them."""
        if self._known is None:
            corrected = (
                f"SELECT '{table}', 1 WHERE EXISTS (SELECT FROM {SCHEMA}.\"{table}\" WHERE grower = ? AND corrects <> '')"
                for table in TABLES
            )
            question = f"{' UNION ALL '.join(corrected)} UNION ALL SELECT DISTINCT kind, 2 FROM {SCHEMA}.replaced WHERE grower = ?"
            rows = self._ask(question, (self._grower,) * (len(TABLES) + 1))
            self._known = {str(row[0]) for row in rows if row[1] == 1}, {str(row[0]) for row in rows if row[1] == 2}
        return self._known

    def sources(self, table: str) -> tuple[str, ...]:
        """Return the view of what counts of a table."""
        return (f'{SCHEMA}."kept_{table}"',)

    def _order(self, source: str) -> str:  # noqa: ARG002 - every view has its running number
        return "number"

    def _ask(self, question: str, values: Sequence[object] = ()) -> list[tuple[Any, ...]]:
        with server_errors(self._address):
            bound = tuple(list(value) if isinstance(value, tuple) else value for value in values)
            rows = self._server.exec_driver_sql(question.replace("?", "%s"), bound)
            return [tuple(row) for row in rows]

    def by_id(self, table: str, ids: Iterable[str]) -> pd.DataFrame:
        """Return the lines with these ids."""
        wanted = tuple(sorted(set(ids)))
        if not wanted:
            return empty_frame(table)
        if len(wanted) > AT_ONCE:
            return self._selected(table, "WHERE id = ANY(?)", (wanted,))
        return self.select(table, "WHERE id = ANY(?)", (wanted,))

    def _linked(self, table: str, wanted: str, by: str, ids: Collection[str]) -> set[str]:
        only = " AND corrects <> ''" if by == "corrects" else ""
        (source,) = self.sources(table)
        rows = self._ask(f"SELECT {wanted} FROM {source} WHERE {by} = ANY(?){only}", (tuple(sorted(ids)),))
        return {str(name) for (name,) in rows}

    @property
    def waiting(self) -> int:
        """No line waits: all are in the tables."""
        return 0

    def insert(self, table: str, frame: pd.DataFrame, numbers: Sequence[int] = ()) -> None:
        """Add records; all columns of the table are there.

        Parameters
        ----------
        table : str
            Name of the table.
        frame : DataFrame
            Records.
        numbers : sequence of int
            Places of records that were taken out, which these take; behind all others where left out.
        """
        for at in range(0, len(frame), _CHUNK):
            part = frame.iloc[at : at + _CHUNK]
            more: dict[str, tuple[str, list[Any]]] = {}
            if numbers:
                more["number"] = ("int8", list(numbers[at : at + _CHUNK]))
            if turns := self._turns(table, part["id"].tolist()):
                more["turn"] = ("int2", [turns.get(name, 0) for name in part["id"]])
            self._put(table, part, more)
        self._asked.pop(table, None)
        if self._known is not None and frame["corrects"].to_numpy().any():
            self._known[0].add(table)

    def _turns(self, table: str, ids: Sequence[str]) -> dict[str, int]:
        """Return how many records had an id before that was taken out, of those ids of which any had."""
        if table not in self._what_is_there()[1]:
            return {}
        asked = (
            f"SELECT id, max(turn) + 1 FROM {SCHEMA}.replaced WHERE grower = ? AND kind = ? AND id = ANY(?) GROUP BY id"
        )
        rows = self._ask(asked, (self._grower, table, tuple(ids)))
        return {str(name): int(turn) for name, turn in rows}

    def _put(self, table: str, frame: pd.DataFrame, more: dict[str, tuple[str, list[Any]]]) -> None:
        if frame.empty:
            return
        columns = {**more, **filled_columns(table, frame)}
        listed = ", ".join(f'"{name}"' for name in columns)
        places = ", ".join(f"c{index}" for index in range(len(columns)))
        arrays = ", ".join(f"%s::{kind}[]" for kind, _ in columns.values())
        self._ask_nothing(
            f'INSERT INTO {SCHEMA}."{table}" (grower, {listed}) SELECT %s, {places} '
            f"FROM unnest({arrays}) WITH ORDINALITY AS u({places}, place) ORDER BY place",
            (self._grower, *(cells for _, cells in columns.values())),
        )

    def take_out(self, table: str, ids: Sequence[str], turns: Sequence[int]) -> None:
        """Note that records do not count any more; they stay where they are."""
        self._ask_nothing(
            f"INSERT INTO {SCHEMA}.replaced (grower, kind, id, turn) "
            "SELECT %s, %s, c0, c1 FROM unnest(%s::text[], %s::int2[]) AS u(c0, c1)",
            (self._grower, table, list(ids), list(turns)),
        )
        self._asked.pop(table, None)
        if self._known is not None:
            self._known[1].add(table)

    def places(self, table: str) -> list[tuple[int, int]]:
        """Return number and turn of every line that counts, in their order."""
        (source,) = self.sources(table)
        return [
            (int(number), int(turn)) for number, turn in self._ask(f"SELECT number, turn FROM {source} ORDER BY number")
        ]

    def place(self, table: str, name: str) -> tuple[int, int] | None:
        """Return number and turn of a line that counts."""
        (source,) = self.sources(table)
        rows = self._ask(f"SELECT number, turn FROM {source} WHERE id = ?", (name,))
        return (int(rows[0][0]), int(rows[0][1])) if rows else None

    def _ask_nothing(self, statement: str, values: Sequence[object]) -> None:
        with server_errors(self._address):
            self._server.exec_driver_sql(statement, tuple(values))
