"""The lines of a shared store: asked for and added in the words of `Lines`, in the tables of the server."""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trunkwatch.store.address import Address
from trunkwatch.store.lines import AT_ONCE, Lines
from trunkwatch.store.shared_schema import SCHEMA
from trunkwatch.store.shared_server import OvertakenError, server_errors
from trunkwatch.vineyard.tables import TABLES, empty_frame

if TYPE_CHECKING:
    from sqlalchemy import Connection

__all__ = ["SharedLines", "filled_columns"]

#: Records that go to the server in one statement.
_CHUNK = 5_000


#: Questions of which it is known which lines answer them.
_OF_ROW, _BY_ID = "WHERE block = ? AND row = ?", "WHERE id = ANY(?)"


@dataclass(frozen=True, slots=True)
class _There:
    """What is known of all tables of a grower.

    Attributes
    ----------
    last : dict of str to int
        The largest number of each table.
    corrected, taken_out : set of str
        Tables with corrections; tables of which lines were taken out.
    """

    last: dict[str, int]
    corrected: set[str]
    taken_out: set[str]


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
        self._known: _There | None = None
        self._turn = ""
        self._read: dict[str, set[tuple[str, str]] | None] = {}

    def read_first(self, turn: str) -> None:
        """Read without the turn to write, which is taken before the first line is added; what was read is looked at again then.

        Parameters
        ----------
        turn : str
            Name of the turn.
        """
        self._turn = turn
        self._what_is_there()  # before all else is read: nothing that comes later is overlooked

    def _take_turn(self) -> None:
        """Take the turn to write, if it was not taken before.

        Lines are numbered by who has the turn: what came since has larger numbers than what was there.

        Raises
        ------
        OvertakenError
            If others have written what was read here.
        """
        if not self._turn:
            return
        turn, self._turn = self._turn, ""
        self._ask_nothing("SELECT pg_advisory_xact_lock(hashtextextended(%s, 0))", (turn,))
        last = self._what_is_there().last
        asked = [f"SELECT FROM {SCHEMA}.replaced WHERE grower = ? AND number > ?"]
        values: list[object] = [self._grower, last["replaced"]]
        for table, pairs in self._read.items():
            new = f'SELECT FROM {SCHEMA}."{table}" WHERE grower = ? AND number > ?'
            values += [self._grower, last[table]]
            if pairs is not None:  # single rows alone were read: a correction may have taken a record off them
                new += " AND (corrects <> ''"
                if pairs:
                    new += ' OR (block, "row") IN (SELECT * FROM unnest(?::text[], ?::text[]))'
                    values += [tuple(block for block, _ in sorted(pairs)), tuple(row for _, row in sorted(pairs))]
                new += ")"
            asked.append(new)
        if self._ask(f"SELECT {' OR '.join(f'EXISTS ({one})' for one in asked)}", values)[0][0]:
            raise OvertakenError(
                f"{self._address.shown}: others have written about the same vines at this moment: try again"
            )

    def _selected(self, table: str, where: str, values: tuple[object, ...]) -> pd.DataFrame:
        known = self._read.setdefault(table, set())
        if where == _OF_ROW and known is not None:
            known.add((str(values[0]), str(values[1])))
        elif where != _BY_ID:
            self._read[table] = None  # the table, or a block of it, whole
        return super()._selected(table, where, values)

    def forget(self) -> None:
        """Forget what was asked: lines were taken back."""
        self._asked.clear()
        self._known = None

    def has_corrections(self, table: str) -> bool:
        """Tell whether any line of a table corrects another."""
        self._read.setdefault(table, set())
        return table in self._what_is_there().corrected

    def _what_is_there(self) -> "_There":
        """Return what is to be known of all tables, by one question."""
        if self._known is None:
            every = [
                f"SELECT '{table}', (SELECT max(number) FROM {SCHEMA}.\"{table}\" WHERE grower = ?), "
                f"EXISTS (SELECT FROM {SCHEMA}.\"{table}\" WHERE grower = ? AND corrects <> ''), "
                f"EXISTS (SELECT FROM {SCHEMA}.replaced WHERE grower = ? AND kind = '{table}')"
                for table in TABLES
            ]
            every.append(
                f"SELECT 'replaced', (SELECT max(number) FROM {SCHEMA}.replaced WHERE grower = ?), false, false"
            )
            rows = self._ask(" UNION ALL ".join(every), (self._grower,) * (3 * len(TABLES) + 1))
            self._known = _There(
                {str(row[0]): int(row[1] or 0) for row in rows},
                {str(row[0]) for row in rows if row[2]},
                {str(row[0]) for row in rows if row[3]},
            )
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
            return self._selected(table, _BY_ID, (wanted,))
        return self.select(table, _BY_ID, (wanted,))

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
        self._take_turn()
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
            self._known.corrected.add(table)

    def _turns(self, table: str, ids: Sequence[str]) -> dict[str, int]:
        """Return how many records had an id before that was taken out, of those ids of which any had."""
        if table not in self._what_is_there().taken_out:
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
        self._take_turn()
        self._ask_nothing(
            f"INSERT INTO {SCHEMA}.replaced (grower, kind, id, turn) "
            "SELECT %s, %s, c0, c1 FROM unnest(%s::text[], %s::int2[]) AS u(c0, c1)",
            (self._grower, table, list(ids), list(turns)),
        )
        self._asked.pop(table, None)
        if self._known is not None:
            self._known.taken_out.add(table)

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
