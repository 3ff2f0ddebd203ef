"""A store that several share, on a PostgreSQL server: one grower's record of it, read and written as any vineyard.

The rows are the events of a vineyard file, and what stands is worked out by the same code. Who writes has the turn of
the grower from the first question to the end, so that each sees all that was written before; the turn is the server's,
and ends with the transaction, however the program ends. What was acknowledged is on the disk of the server.
"""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pandas as pd

from trunkwatch.errors import FileError, NotAVineyardError
from trunkwatch.store.address import Address, address_of
from trunkwatch.store.outcome import as_correction, provenance, values_of
from trunkwatch.store.shared_layers import SharedLayers
from trunkwatch.store.shared_lines import SharedLines
from trunkwatch.store.shared_schema import SCHEMA
from trunkwatch.store.shared_server import WAIT_S, OvertakenError, checked_version, connected, upgrade_shared
from trunkwatch.store.store import Store
from trunkwatch.store.upgrade import renamed
from trunkwatch.vineyard.named_records import with_vineyard
from trunkwatch.vineyard.records import PROVENANCE
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

if TYPE_CHECKING:
    from sqlalchemy import Connection

__all__ = ["OvertakenError", "SharedStore", "add_grower", "make_shared"]


class SharedStore(SharedLayers, Store):
    """Records of one grower in a shared store.

    Parameters
    ----------
    server : Connection
        In a transaction.
    address : Address
        Where it is.
    grower : str
        Whose records.
    to_write : bool
        Whether it has the turn to write.
    """

    def __init__(self, server: "Connection", address: Address, grower: str, *, to_write: bool) -> None:
        self._server = server
        self.address = address
        self.grower = grower
        self.path = address.path
        self.folder = None
        self._beside = False
        self._lines: SharedLines = SharedLines(server, address, grower, to_write=to_write)
        self._moved = {}
        self._names = None
        self._open_ones = ExitStack()
        self._is_one_step = False

    @classmethod
    def open_to_read(cls, path: str | Path) -> "SharedStore":
        """Open a record to read, as it is at this moment.

        Raises
        ------
        FileError
            If the server cannot be reached, holds no store, or one of another version, or it is not clear whose
            record is meant.
        """
        address = address_of(path)
        with ExitStack() as stack:
            server = stack.enter_context(connected(address, to_write=False))
            grower = _open(server, address)
            _let_know(server, grower)
            store = cls(server, address, grower, to_write=False)
            store._open_ones = stack.pop_all()
        return store

    @classmethod
    @contextmanager
    def open_to_write(cls, path: str | Path, *, one_step: bool = False) -> Iterator["SharedStore"]:
        """Hand out a record to write, to one writer at a time: all is kept when all went well, or nothing of it.

        Parameters
        ----------
        path : str or Path
            The address.
        one_step : bool
            What is added is added at once: where that fails, nothing else is kept of it.
        """
        address = address_of(path)
        with connected(address, to_write=True) as server:
            grower = _open(server, address)
            _let_know(server, grower, "write")
            store = cls(server, address, grower, to_write=True)
            store._is_one_step = one_step
            yield store

    @classmethod
    @contextmanager
    def open_to_try(cls, path: str | Path) -> Iterator["SharedStore"]:
        """Hand out a record to add to while others write: the turn is taken when all is checked, for the writing alone.

        Raises
        ------
        OvertakenError
            If others have written meanwhile what was read; nothing is kept then, and `open_to_write` is the way.
        """
        address = address_of(path)
        with connected(address, to_write=True) as server:
            grower = _open(server, address)
            _let_know(server, grower)
            store = cls(server, address, grower, to_write=True)
            store._is_one_step = True
            store._lines.read_first(_turn_of(grower))
            yield store

    @classmethod
    @contextmanager
    def open_to_draw(cls, path: str | Path) -> Iterator["SharedStore | None"]:
        """Hand out a record to draw the layers of, while others write on; None where somebody else draws them."""
        address = address_of(path)
        with connected(address, to_write=True) as server:
            grower = _open(server, address)
            has_turn = _let_know(server, grower, "map")
            yield cls(server, address, grower, to_write=False) if has_turn else None

    def close(self) -> None:
        """Let the connection go."""
        self._open_ones.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Take all that is written inside, or nothing of it."""
        try:
            with self._told(), self._server.begin_nested():
                yield
        except BaseException:
            self._forget()
            self._lines.forget()
            raise

    def _one_transaction(self) -> AbstractContextManager[None]:
        return nullcontext() if self._is_one_step else self.transaction()

    def _to_merge(self, table: str, again: pd.DataFrame, known: pd.DataFrame) -> list[dict[str, Any]]:
        """Leave out what is kept as it comes in: each record of the others is a question to the server."""
        here = dict(zip(known["id"], records_of(known), strict=True))
        coming = records_of(again)
        alike = [one for one in coming if _text(table, one) == _text(table, here[one["id"]])]
        variants = {
            str(as_correction(table, one)["id"]): one["id"] for one in alike if self._lines.has_corrections(table)
        }
        kept = {variants[name] for name in self._lines.by_id(table, variants)["id"]} if variants else set()
        same = {one["id"] for one in alike} - kept
        return [one for one in coming if one["id"] not in same]

    def _take_out(self, table: str, record: Mapping[str, object]) -> None:
        name = str(record["id"])
        place = self._lines.place(table, name)
        if place is not None:
            self._lines.take_out(table, [name], [place[1]])

    def _latest_provenance(self, table: str, record: Mapping[str, object]) -> None:
        name = str(record["id"])
        here = records_of(self._lines.by_id(table, [name]))
        place = self._lines.place(table, name)
        if not here or place is None or provenance(record) <= provenance(here[0]):
            return
        marks = dict(zip(PROVENANCE, provenance(record), strict=True))
        self._lines.take_out(table, [name], [place[1]])
        again = frame_of(table, [{**here[0], **marks}])
        self._lines.insert(table, again, [place[0]])
        self._forget()
        self._touch({(str(here[0]["vineyard"]), str(here[0].get("block", "")))})

    def _give_vineyard(self, roots: Sequence[str], vineyard: str) -> None:
        """Let records stand under the name of their vineyard, in place of those that they were."""
        frames = {table: self.stored(table) for table in TABLES}
        for table, now in with_vineyard(frames, roots, vineyard).items():
            places = self._lines.places(table)
            before = records_of(frames[table])
            at = {number: index for index, (number, _) in enumerate(places)}
            told = list(renamed(table, [number for number, _ in places], frames[table], now))
            if not told:
                continue
            self._lines.take_out(
                table, [old["id"] for _, old, _ in told], [places[at[number]][1] for number, _, _ in told]
            )
            again = frame_of(table, [{**before[at[number]], **new} for number, _, new in told])
            self._lines.insert(table, again, [number for number, _, _ in told])

    def put(self, frames: Mapping[str, pd.DataFrame], *, lost: int = 0) -> None:  # noqa: ARG002 - of a file
        """Do nothing: no record waits in a shared store.

        Raises
        ------
        FileError
            If records are handed in.
        """
        if any(map(len, frames.values())):
            raise FileError(f"{self.address.shown} has no log of its own: records are added to it as they come")

    def accept(self) -> None:
        """Refuse: nobody but its owner can change records of a shared store.

        Raises
        ------
        FileError
            Always.
        """
        raise FileError(
            f"{self.address.shown} is a shared store: nothing in it is accepted as it is; correct the records"
        )


def _text(table: str, record: Mapping[str, object]) -> tuple[str, tuple[str, ...]]:
    return values_of(table, record), provenance(record)


def _open(server: "Connection", address: Address) -> str:
    """Return whose record is meant, of a store of the present version."""
    seen = checked_version(server, address)
    grower = address.grower or (seen[0] if len(seen) == 1 else "")
    if not seen:
        raise NotAVineyardError(
            f"{address.shown}: this login sees no grower; who owns the store lets it in: "
            f"SELECT {SCHEMA}.add_writer('LOGIN', 'GROWER')"
        )
    if grower not in seen:
        what = f"this login sees no grower {grower!r}:" if grower else "which grower is meant?"
        raise NotAVineyardError(f"{address.shown}: {what} add ?grower=NAME, a name of: {', '.join(seen)}")
    return grower


def _turn_of(grower: str, kind: str = "") -> str:
    """Return the name of a turn of a grower."""
    return f"{SCHEMA} {kind}{grower}"


def _let_know(server: "Connection", grower: str, turn: str = "") -> bool:
    """Let the server know whose record is meant, and wait for a turn or try to get it; tell whether it was got."""
    asked = f"SELECT set_config('{SCHEMA}.grower', %s, true), set_config('lock_timeout', '{WAIT_S}s', true), "
    values = (grower, _turn_of(grower, "map " if turn == "map" else "")) if turn else (grower,)
    take = {
        "write": "pg_advisory_xact_lock(hashtextextended(%s, 0)) IS NOT NULL",
        "map": "pg_try_advisory_xact_lock(hashtextextended(%s, 0))",
    }
    return bool(server.exec_driver_sql(asked + take.get(turn, "true"), values).one()[2])


def make_shared(path: str | Path) -> list[str]:
    """Make a shared store in a database, or bring it to the present version; return what was done."""
    return upgrade_shared(address_of(path))


def add_grower(path: str | Path, grower: str) -> None:
    """Add a grower to a shared store, by its owner; nothing where there is one of that name."""
    address = address_of(path)
    with connected(address, to_write=True) as server:
        checked_version(server, address)
        server.exec_driver_sql(f"SELECT {SCHEMA}.add_grower(%s)", (grower,))
