"""All records of a vineyard in SQLite: in memory for a folder of notes, in one file otherwise.

Records are only ever added. The same record twice is taken once; a record with a known id and
other values is reported, and taken only on request, as a correction.
"""

import logging
import sqlite3
from collections.abc import Collection, Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager, nullcontext
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Self

import numpy as np
import pandas as pd

from trunkwatch import rights
from trunkwatch.errors import FaultyNotesError, UnknownBlockError
from trunkwatch.store.address import is_shared
from trunkwatch.store.again import Changed, compared, corrections, differences, with_moments
from trunkwatch.store.appending import Appending
from trunkwatch.store.beside import take_in
from trunkwatch.store.form import give_form, give_ids
from trunkwatch.store.geopackage import drop_spatial_indexes
from trunkwatch.store.lines import Lines
from trunkwatch.store.log import MOST_WAITING, empty_log, read_log, waiting_frames, waiting_records
from trunkwatch.store.map_layers import MapLayers
from trunkwatch.store.merging import Merging
from trunkwatch.store.outcome import Outcome
from trunkwatch.store.photo_files import PhotoFiles
from trunkwatch.store.schema import create_tables
from trunkwatch.store.seal import LOST_FRAMES, OTHER_PROGRAM, change_sealed
from trunkwatch.store.spare import forget_spares, spare_bytes
from trunkwatch.store.touched import change_counter, names_in, note_touched
from trunkwatch.store.upgrade import give_vineyard
from trunkwatch.store.whole import (
    connect_read,
    create_file,
    refuse_read_only,
    replaced_by_copy,
    shared_turn,
    told_errors,
)
from trunkwatch.vineyard.block_names import AmbiguousNameError, Block, BlockNames, Name
from trunkwatch.vineyard.named_records import named_records
from trunkwatch.vineyard.records import now_text, roots_of, standing
from trunkwatch.vineyard.tables import TABLES, empty_frame

if TYPE_CHECKING:
    from trunkwatch.store.shared import SharedStore

__all__ = ["Changed", "Outcome", "Store"]

_LOG = logging.getLogger("trunkwatch")


def _shared() -> "type[SharedStore]":
    from trunkwatch.store.shared import SharedStore

    return SharedStore


class Store(MapLayers, PhotoFiles, Merging):
    """Records of one vineyard.

    The caller opens the transaction (`with store.transaction():`) where several additions
    belong together; `append` opens its own otherwise.
    """

    def __init__(self, db: sqlite3.Connection, path: Path | None = None, *, beside: bool = False) -> None:
        self._db = db
        self.path = path
        self.folder: Path | None = None  # of the notes that a store in memory was read from
        self._beside = beside
        self._lines = Lines(db, path, beside=beside)
        self._moved: dict[str, frozenset[Name]] = {}
        self._names: BlockNames | None = None

    @classmethod
    def in_memory(cls) -> "Store":
        """Open an empty store that lives as long as the object."""
        db = sqlite3.connect(":memory:", isolation_level=None)
        db.execute("PRAGMA foreign_keys = ON")
        create_tables(db)
        return cls(db)

    @classmethod
    def create(cls, path: str | Path) -> None:
        """Make an empty vineyard file (GeoPackage)."""
        create_file(Path(path))

    @classmethod
    def open(cls, path: str | Path) -> "Store":
        """Open a file to read.

        Raises
        ------
        FileError
            If it is not there, damaged, locked, no vineyard, or of another version.
        """
        if is_shared(path):
            return _shared().open_to_read(path)
        store = cls(connect_read(Path(path)), Path(path))
        try:
            with told_errors(Path(path)):
                log = read_log(store._db)
                store._lines.wait(waiting_records(log))
            if log.damaged:
                _LOG.warning(
                    "%s: %d of the latest entries cannot be read: `trunkwatch check` says more", path, log.damaged
                )
        except BaseException:
            store.close()
            raise
        return store

    @classmethod
    @contextmanager
    def writing(cls, path: str | Path) -> Iterator["Store"]:
        """Hand out a store to write; the file changes in one step when all went well, or not at all.

        What waited in the log of the file goes into its tables.
        """
        if is_shared(path):
            with _shared().open_to_write(path) as store:
                yield store
            return
        with replaced_by_copy(Path(path)) as db:
            yield cls._whole(db, Path(path))

    @classmethod
    def _whole(cls, db: sqlite3.Connection, path: Path) -> "Store":
        """Return a store over a copy to write, with what waited in its log in the tables."""
        store = cls(db, path)
        drop_spatial_indexes(db)
        log = read_log(db)
        if log.payloads or log.damaged:
            store.put(waiting_frames(log), lost=log.damaged)
        if path.exists() and change_counter(path) != log.counter + log.written:
            with store.transaction():  # another program has written: nobody knows of which blocks
                change_sealed(db, OTHER_PROGRAM, 1)
                note_touched(db, {name for block in store.names().every for name in block.names} | {("", "")})
        return store

    def put(self, frames: Mapping[str, pd.DataFrame], *, lost: int = 0) -> None:
        """Put records that waited into the tables of a copy, and empty its log; how many of it were lost is kept."""
        with self.transaction():
            if lost:
                change_sealed(self._db, LOST_FRAMES, lost)
            spare = spare_bytes(self._db, frames)
            for table, frame in frames.items():
                self._insert(table, frame)
            empty_log(self._db, self.path.stat().st_size if self.path is not None and self.path.exists() else 0, spare)

    @classmethod
    @contextmanager
    def appending(cls, path: str | Path) -> Iterator["Store"]:
        """Hand out a store to which a few records are added; they are in the file when all went well, or none of them.

        They wait in its log, which takes the same time whatever the size of the file; they go straight into the
        tables where there is no room in it, or another program reads at this moment. Nothing but `append` may be
        called that writes. Writers of this process who wait for the same file share a turn: each sees what those
        before it have added, and all are in the file, or none, before any of them is let go.
        """
        if is_shared(path):
            with _shared().open_to_write(path, one_step=True) as shared:
                yield shared
            return
        where = rights.real_path(Path(path))
        refuse_read_only(where)
        with (
            shared_turn(
                where,
                Path(path),
                begin=lambda: cls._to_append(where, Path(path)),
                end=Appending.end,
                more=Appending.has_room,
            ) as appending,
            appending.part() as store,
        ):
            yield store

    @classmethod
    def _to_append(cls, where: Path, path: Path) -> "Appending[Store]":
        with told_errors(where):
            take_in(where)
        db = connect_read(where, by_turns=True)
        try:
            store = cls(db, path, beside=True)
            with told_errors(where):
                log = read_log(db)
                store._lines.wait(waiting_records(log))
        except BaseException:
            db.close()
            raise
        return Appending(store, db, store._lines, where, log, lambda copy, fresh: cls._whole(copy, where).put(fresh))

    def _told(self) -> AbstractContextManager[None]:
        """Tell damage in one line."""
        return told_errors(self.path) if self.path is not None else nullcontext()

    @property
    def connection(self) -> sqlite3.Connection:
        """The database, for the layers of the file."""
        return self._db

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Close the store."""
        self._db.close()

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Take all that is written inside, or nothing of it."""
        self._db.execute("BEGIN" if self._beside else "BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            self._forget()
            raise
        self._db.execute("COMMIT")

    def _one_transaction(self) -> AbstractContextManager[None]:
        """Return the transaction of the caller, or one of its own."""
        return nullcontext() if self._db.in_transaction else self.transaction()

    def _forget(self) -> None:
        """Forget what was asked of the records: they have changed."""
        self._moved.clear()
        self._names = None

    def names(self) -> BlockNames:
        """Return what the names of blocks mean."""
        if self._names is None:
            self._names = BlockNames.of(self.stored("blocks"))
        return self._names

    def append(self, frames: Mapping[str, pd.DataFrame], *, take_changes: bool = False, named: bool = False) -> Outcome:
        """Add records.

        Parameters
        ----------
        frames : mapping of table name to DataFrame
            Columns as in `trunkwatch.vineyard.tables`.
        take_changes : bool
            Take records that are known with other values as corrections of these.
        named : bool
            The records have been through `named_records` with the blocks of this store.

        Returns
        -------
        Outcome

        Raises
        ------
        FaultyNotesError
            If it is not clear which block a record means.
        """
        outcome = Outcome()
        with self._one_transaction():
            if not named:
                told = named_records(self.stored("blocks"), frames, self.stored)
                if told.faults:
                    raise FaultyNotesError(told.faults)
                frames = told.frames
            self._append(frames, outcome, take_changes=take_changes)
        return outcome

    def _append(self, frames: Mapping[str, pd.DataFrame], outcome: Outcome, *, take_changes: bool) -> None:
        for table in TABLES:
            if table not in frames or frames[table].empty:
                continue
            now = now_text()
            frame = with_moments(frames[table], self._corrected(table, frames[table]), now)
            again, known = self._take_new(table, frame, outcome)
            versions, names = self._corrected(table, frame), self.names()
            lines = compared(table, frame, differences(table, known, again, names), versions, names)
            if take_changes and (ids := {one.id for one in (*lines.changed, *lines.superseded) if one.values}):
                of_lines = again[again["id"].isin(ids)]
                known = pd.concat([known[~known["id"].isin(versions["id"])], versions], ignore_index=True)
                self._insert(table, corrections(table, of_lines, known, known["id"], now))
                lines = lines.with_taken(set(of_lines["id"]))
            outcome.same[table] = len(again) - len(lines.changed)
            outcome.changed += lines.changed
            outcome.superseded += lines.superseded

    def _take_new(self, table: str, frame: pd.DataFrame, outcome: Outcome) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Insert the records whose id is not known yet; return the others as they come in, and as they are known."""
        known = self._known(table, frame["id"])
        if known.empty and frame["id"].is_unique:
            outcome.new[table] = len(frame)
            self._insert(table, frame)
            return frame.iloc[:0], known
        is_known = frame["id"].isin(known.index) | frame["id"].duplicated()
        fresh = frame[~is_known] if is_known.any() else frame
        again = frame[frame["id"].isin(known.index)]
        outcome.new[table] = len(fresh)
        self._insert(table, fresh)
        return again, known

    def _corrected(self, table: str, frame: pd.DataFrame) -> pd.DataFrame:
        """Return every version of the records that some lines are of, where these are corrections or were corrected."""
        if not frame["corrects"].to_numpy().any() and not self._lines.has_corrections(table):
            return empty_frame(table)
        pairs = frame[frame["corrects"] != ""][["id", "corrects"]]
        ids = {*frame["id"], *pairs["corrects"]}
        if len(ids) > MOST_WAITING:  # one question for all links of the table
            links = pd.concat([self._lines.links(table), pairs], ignore_index=True)
            roots = roots_of(links)
            wanted = {roots.get(name, name) for name in ids} & set(roots.values())
            return self._lines.by_id(table, wanted | {name for name, root in roots.items() if root in wanted})
        found = self._lines.family(table, ids)
        roots = roots_of(pd.concat([found[found["corrects"] != ""][["id", "corrects"]], pairs], ignore_index=True))
        corrected = set(roots.values())
        own = np.array([roots.get(name, name) in corrected for name in found["id"]], dtype=bool)
        return found[own].reset_index(drop=True)

    def give_vineyard(self, roots: Sequence[str], vineyard: str) -> None:
        """Give blocks of a vineyard without a name, and all their records, its name.

        Parameters
        ----------
        roots : sequence of str
            Ids of the first records of the blocks.
        vineyard : str
            The name.
        """
        with self._one_transaction():
            self._give_vineyard(roots, vineyard)
            self._forget()
            self._forget_spares()
            self._touch({name for block in self.names().every for name in block.names})

    def _give_vineyard(self, roots: Sequence[str], vineyard: str) -> None:
        give_vineyard(self._db, roots, vineyard)

    def _touch(self, names: set[Name]) -> None:
        """Note that records of some blocks changed."""
        if self.path is not None and not self._beside:
            note_touched(self._db, names)

    def _forget_spares(self) -> None:
        """Drop the second copies in the log: what they hold no longer stands so in the tables."""
        if self.path is not None:
            forget_spares(self._db)

    def _known(self, table: str, ids: pd.Series) -> pd.DataFrame:
        return self._lines.by_id(table, ids.tolist()).set_index("id", drop=False)

    def _insert(self, table: str, frame: pd.DataFrame) -> None:
        if frame.empty:
            return
        self._moved.pop(table, None)
        if table == "blocks":
            self._names = None
        self._lines.insert(table, frame)
        self._touch(names_in({table: frame}))

    def family(self, table: str, ids: Sequence[str]) -> pd.DataFrame:
        """Return every version of the records of which these ids are a version, as they are kept."""
        return self._lines.family(table, ids)

    def around(self, table: str, pairs: Collection[tuple[str, str]]) -> pd.DataFrame:
        """Return every version of the records that have, or had, one of some rows, as they are kept.

        Parameters
        ----------
        table : str
            One with a row in every record.
        pairs : collection of (block, row)
            Labels.
        """
        parts = [self._lines.select(table, "WHERE block = ? AND row = ?", pair) for pair in sorted(pairs)]
        filled = [part for part in parts if len(part)] or parts[:1]
        found = filled[0] if len(filled) == 1 else pd.concat(filled, ignore_index=True)
        return self._lines.family(table, found["id"].tolist()) if self._lines.has_corrections(table) else found

    def stored(self, table: str, ids: Sequence[str] | None = None) -> pd.DataFrame:
        """Return every version of every record as it is kept: under the first name of its block.

        Parameters
        ----------
        table : str
            Name of the table.
        ids : sequence of str, optional
            Only the records with these ids.
        """
        return self._lines.select(table) if ids is None else self._lines.by_id(table, ids)

    def frame(self, table: str, block: str | None = None, *, all_versions: bool = False) -> pd.DataFrame:
        """Return the records of a table in the order they came.

        They carry block and vineyard as these are named today; every version of a block carries its own name.

        Parameters
        ----------
        table : str
            Name of the table.
        block : str, optional
            Only this block's, or, of weather and costs, only those of its vineyard: any name that the block has
            or had, with vineyard and slash where several have that label.
        all_versions : bool
            Superseded and voided records too.

        Raises
        ------
        UnknownBlockError
            If several blocks are named so.
        """
        names = self.names()
        own = None
        if block is not None:
            try:
                own = names.find(block)
            except AmbiguousNameError:
                raise
            except UnknownBlockError:
                if "block" in TABLES[table].names:  # records whose block is not known
                    found = self._lines.select(table, "WHERE block = ?", (block,))
                    return found if all_versions else standing(found).reset_index(drop=True)
        if own is None:
            found = self.stored(table)
            return names.today(table, found if all_versions else standing(found).reset_index(drop=True))
        if table == "blocks":
            found = self.stored(table)
            roots = roots_of(found)
            of_block = found[[roots.get(name, name) == own.root for name in found["id"]]]
            return (of_block if all_versions else standing(of_block)).reset_index(drop=True)
        if "block" not in TABLES[table].names:
            return self._of_vineyard(table, own, all_versions=all_versions)
        return names.today(table, self._of_block(table, own, all_versions=all_versions))

    def _of_vineyard(self, table: str, block: Block, *, all_versions: bool) -> pd.DataFrame:
        names = self.names()
        owners = set(names.names_of_vineyard(block.vineyard))
        if len(names.vineyards) == 1:
            owners.add("")  # written before the vineyard was known
        found = self.stored(table)
        if not all_versions:
            found = standing(found)
        return names.today(table, found[found["vineyard"].isin(owners)].reset_index(drop=True))

    def _of_block(self, table: str, block: Block, *, all_versions: bool) -> pd.DataFrame:
        return self._lines.once(
            table,
            ("of block", block, all_versions),
            lambda: self._read_of_block(table, block, all_versions=all_versions),
        )

    def _read_of_block(self, table: str, block: Block, *, all_versions: bool) -> pd.DataFrame:
        labels = sorted({label for _, label in block.names} | {f"{owner}/{label}" for owner, label in block.names})
        found = self._lines.select(table, f"WHERE block IN ({', '.join('?' * len(labels))})", tuple(labels))
        found = self.names().of_block(found, block)
        if all_versions:
            return found
        # A correction may have moved a record to another block: it must not stand in both.
        if self._moved_between(table).isdisjoint(zip(found["vineyard"], found["block"], strict=True)):
            return standing(found).reset_index(drop=True)
        corrections = self._lines.select(table, "WHERE corrects <> ''")
        elsewhere = corrections[~corrections["id"].isin(found["id"])]
        stands = set(standing(pd.concat([found, elsewhere], ignore_index=True))["id"])
        return found[found["id"].isin(stands)].reset_index(drop=True)

    def _moved_between(self, table: str) -> frozenset[Name]:
        """Return the blocks between which corrections have moved records; asked once, the answer is nearly always none."""
        if table not in self._moved:
            self._moved[table] = frozenset(self._lines.moved(table))
        return self._moved[table]

    def blocks_of(self, table: str, ids: Collection[str]) -> list[Name]:
        """Return the blocks, as they are kept, of some records and of all corrections of these."""
        if not ids:
            return []
        found = self._lines.by_id(table, self._lines.family_ids(table, ids))
        return list(dict.fromkeys(zip(found["vineyard"], found["block"], strict=True)))

    @property
    def waiting(self) -> int:
        """How many records wait in the log of the file."""
        return self._lines.waiting

    def accept(self) -> None:
        """Give a copy to write the form of a new file, and every record without one its id, and seal all as they are.

        The layers are empty afterwards; all that `check` finds in cells was mended before.
        """
        self._db.execute("PRAGMA foreign_keys = OFF")
        with self.transaction():
            give_ids(self._db, self._lines)
            give_form(self._db)
            forget_spares(self._db)
            note_touched(self._db, {name for block in self.names().every for name in block.names} | {("", "")})
        self._db.execute("PRAGMA foreign_keys = ON")
        self._forget()

    def blocks(self) -> tuple[str, ...]:
        """Return the names of all blocks in the order they came: the label, or vineyard/label where several have it."""
        return self.names().labels
