"""All records of a vineyard in SQLite: in memory for a folder of notes, in one file otherwise.

Records are only ever added. The same record twice is taken once; a record with a known id and
other values is reported, and taken only on request, as a correction.
"""

import sqlite3
import uuid
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager, nullcontext
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import TracebackType
from typing import Self

import numpy as np
import pandas as pd

from trunkwatch.errors import FaultyNotesError, UnknownBlockError
from trunkwatch.store.again import Changed, compared, corrections, differences, with_moments
from trunkwatch.store.geopackage import LAYERS, clear_conditions, set_extent, write_conditions, write_layer
from trunkwatch.store.one_name import named_since, refuse_one_name_for_two
from trunkwatch.store.schema import create_tables, index_sql
from trunkwatch.store.upgrade import give_vineyard
from trunkwatch.store.whole import connect_read, create_file, replaced_by_copy, told_errors
from trunkwatch.vineyard.block_names import AmbiguousNameError, Block, BlockNames, Name
from trunkwatch.vineyard.named_records import named_records, with_vineyard
from trunkwatch.vineyard.records import PROVENANCE, now_text, record_id, roots_of, standing
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of, records_of

__all__ = ["Changed", "Outcome", "Store"]

#: Records above which indexes are made after the import instead of during it.
MANY = 50_000


@dataclass(slots=True)
class Outcome:
    """What became of records that were handed in."""

    new: dict[str, int] = field(default_factory=dict)
    same: dict[str, int] = field(default_factory=dict)
    changed: list[Changed] = field(default_factory=list)
    superseded: list[Changed] = field(
        default_factory=list
    )  # that do not stand as they came in: written otherwise since


class Store:
    """Records of one vineyard.

    The caller opens the transaction (`with store.transaction():`) where several additions
    belong together; `append` opens its own otherwise.
    """

    def __init__(self, db: sqlite3.Connection, path: Path | None = None) -> None:
        self._db = db
        self.path = path
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
        return cls(connect_read(Path(path)), Path(path))

    @classmethod
    @contextmanager
    def writing(cls, path: str | Path) -> Iterator["Store"]:
        """Hand out a store to write; the file changes in one step when all went well, or not at all."""
        with replaced_by_copy(Path(path)) as db:
            yield cls(db, Path(path))

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
        self._db.execute("BEGIN IMMEDIATE")
        try:
            yield
        except BaseException:
            self._db.execute("ROLLBACK")
            self._forget()
            raise
        self._db.execute("COMMIT")

    def _forget(self) -> None:
        """Forget what was asked of the records: they have changed."""
        self._moved.clear()
        self._names = None

    def names(self) -> BlockNames:
        """Return what the names of blocks mean."""
        if self._names is None:
            self._names = BlockNames(self.stored("blocks"))
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
        with nullcontext() if self._db.in_transaction else self.transaction():
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
                every = [name for (name,) in self._db.execute(f'SELECT id FROM "{table}"')]
                self._insert(table, corrections(table, of_lines, known, every, now))
                lines = lines.with_taken(set(of_lines["id"]))
            outcome.same[table] = len(again) - len(lines.changed)
            outcome.changed += lines.changed
            outcome.superseded += lines.superseded

    def _take_new(self, table: str, frame: pd.DataFrame, outcome: Outcome) -> tuple[pd.DataFrame, pd.DataFrame]:
        """Insert the records whose id is not known yet; return the others as they come in, and as they are known."""
        known = self._known(table, frame["id"])
        is_known = frame["id"].isin(known.index) | frame["id"].duplicated()
        fresh = frame[~is_known] if is_known.any() else frame
        again = frame[frame["id"].isin(known.index)]
        outcome.new[table] = len(fresh)
        self._insert(table, fresh)
        return again, known

    def _corrected(self, table: str, frame: pd.DataFrame) -> pd.DataFrame:
        """Return every version of the records that some lines are of, where these are corrections or were corrected."""
        linked = self._db.execute(f"SELECT id, corrects FROM \"{table}\" WHERE corrects <> ''").fetchall()
        pairs = frame[frame["corrects"] != ""][["id", "corrects"]]
        if not linked and pairs.empty:
            return empty_frame(table)
        roots = roots_of(pd.concat([pd.DataFrame(linked, columns=["id", "corrects"]), pairs], ignore_index=True))
        wanted = {roots.get(name, name) for name in frame["id"]} & set(roots.values())
        ids = [name for name, root in roots.items() if root in wanted]
        return self._known(table, pd.Series([*wanted, *ids], dtype=object)).reset_index(drop=True)

    def merge(self, frames: Mapping[str, pd.DataFrame]) -> Outcome:
        """Take the records of another store; what comes out is the same in any order of merging.

        The outcome is a function of the set of records alone. Of records with one id and
        different values the smallest by its values is the record, and every one of them stands
        as a correction of it, so that the one written down last counts. Of equal records the
        latest provenance is kept.

        Parameters
        ----------
        frames : mapping of table name to DataFrame
            All versions of all records of the other store, as it keeps them (`stored`).

        Raises
        ------
        RecordError
            If two blocks that are not one would have one name.
        """
        outcome = Outcome()
        with nullcontext() if self._db.in_transaction else self.transaction():
            here = {table: self.stored(table) for table in ("blocks", "rows")}
            for root, vineyard in named_since(here, frames):
                self.give_vineyard([root], vineyard)
            for root, vineyard in named_since(frames, here):
                frames = with_vineyard(frames, [root], vineyard)
            told = named_records(self.stored("blocks"), frames, self.stored, filled=True, current=True).frames
            refuse_one_name_for_two({table: self.stored(table) for table in ("blocks", "rows")}, told)
            for table in TABLES:
                if table not in told or told[table].empty:
                    continue
                again, known = self._take_new(table, told[table], outcome)
                changed = differences(table, known, again, self.names())
                outcome.same[table] = len(again) - len(changed)
                outcome.changed += changed
                for record in records_of(again):
                    self._merge_one(table, record)
        outcome.changed = [replace(one, stands=self._stands(one)) for one in outcome.changed]
        return outcome

    def give_vineyard(self, roots: Sequence[str], vineyard: str) -> None:
        """Give blocks of a vineyard without a name, and all their records, its name.

        Parameters
        ----------
        roots : sequence of str
            Ids of the first records of the blocks.
        vineyard : str
            The name.
        """
        with nullcontext() if self._db.in_transaction else self.transaction():
            give_vineyard(self._db, roots, vineyard)
            self._forget()

    def _stands(self, changed: Changed) -> dict[str, object]:
        """Return what stands of a record that two files had with different values; nothing where it was taken back."""
        family = self._family(changed.table, changed.id)
        now = records_of(standing(family))
        return {name: now[0][name] for name in changed.values} if now else {}

    def _family(self, table: str, root: str) -> pd.DataFrame:
        """Return a record and all corrections of it, of corrections of it and so on."""
        return self._select(
            table,
            "WHERE id IN (WITH RECURSIVE family(id) AS (SELECT ? UNION "
            f"SELECT c.id FROM \"{table}\" c JOIN family f ON c.corrects = f.id WHERE c.corrects <> '') SELECT id FROM family)",
            (root,),
        )

    def _merge_one(self, table: str, there: dict[str, object]) -> None:
        """Merge one record whose id is known."""
        here = records_of(self._known(table, pd.Series([there["id"]])))[0]
        if _values(table, here) == _values(table, there):
            latest = max(here, there, key=_provenance)
            self._latest_provenance(table, latest)
            self._latest_provenance(table, _as_correction(table, latest))
            return
        for variant in (here, there):
            correction = _as_correction(table, variant)
            if self._known(table, pd.Series([correction["id"]])).empty:
                self._insert(table, frame_of(table, [correction]))
            else:
                self._latest_provenance(table, correction)
        if _values(table, there) < _values(table, here):
            self._db.execute(f'DELETE FROM "{table}" WHERE id = ?', (here["id"],))
            self._forget()
            self._insert(table, frame_of(table, [there]))

    def _latest_provenance(self, table: str, record: Mapping[str, object]) -> None:
        """Keep the later of two provenances of one record; nothing where the record is not there.

        Who wrote it later may have known what was written in between, and meant it all the same.
        """
        marks = _provenance(record)
        self._db.execute(
            f'UPDATE "{table}" SET recorded_at = ?, device = ?, read_from = ? '
            "WHERE id = ? AND (?, ?, ?) > (recorded_at, device, read_from)",
            (*marks, record["id"], *marks),
        )

    def _known(self, table: str, ids: pd.Series) -> pd.DataFrame:
        total = self._db.execute(f'SELECT count(*) FROM "{table}"').fetchone()[0]
        if not total:
            return empty_frame(table).set_index("id", drop=False)
        self._want(ids.tolist())
        return self._select(table, "WHERE id IN (SELECT id FROM wanted)", ()).set_index("id", drop=False)

    def _want(self, ids: Iterable[str]) -> None:
        """Put ids where a query finds them."""
        self._db.execute("CREATE TEMP TABLE IF NOT EXISTS wanted (id TEXT PRIMARY KEY) WITHOUT ROWID")
        self._db.execute("DELETE FROM wanted")
        self._db.executemany("INSERT OR IGNORE INTO wanted VALUES (?)", ((name,) for name in ids))

    def _insert(self, table: str, frame: pd.DataFrame) -> None:
        if frame.empty:
            return
        self._moved.pop(table, None)
        if table == "blocks":
            self._names = None
        names, columns = [], []
        for column in TABLES[table].columns:
            values = frame[column.name]
            # Columns with nothing in them keep their default: most columns of most imports.
            if column.is_number:
                missing = values.isna()
                if missing.all():
                    continue
                cells = values.tolist()
                if missing.any():
                    cells = [None if cell != cell else cell for cell in cells]
            elif not values.to_numpy().any():
                continue
            else:
                cells = values.tolist()
            names.append(column.name)
            columns.append(cells)
        marks = ", ".join("?" * len(names))
        listed = ", ".join(f'"{name}"' for name in names)
        # Many records at once: it is quicker to sort for the indexes afterwards than to file each record.
        indexes = index_sql(TABLES[table]) if len(frame) > MANY else {}
        for index in indexes:
            self._db.execute(f'DROP INDEX "{index}"')
        self._db.executemany(f'INSERT INTO "{table}" ({listed}) VALUES ({marks})', zip(*columns, strict=True))
        for statement in indexes.values():
            self._db.execute(statement)

    def _select(self, table: str, where: str, values: tuple[object, ...]) -> pd.DataFrame:
        names = TABLES[table].names
        listed = ", ".join(f'"{name}"' for name in names)
        with told_errors(self.path) if self.path else nullcontext():
            rows = self._db.execute(
                f'SELECT {listed} FROM "{table}" {where} ORDER BY number',
                values,
            ).fetchall()
        if not rows:
            return empty_frame(table)
        data = {}
        for column, cells in zip(TABLES[table].columns, zip(*rows, strict=True), strict=True):
            if column.is_number:
                data[column.name] = np.array([np.nan if cell is None else cell for cell in cells], dtype=float)
            else:
                data[column.name] = np.array(cells, dtype=object)
        return pd.DataFrame(data)

    def stored(self, table: str, ids: Sequence[str] | None = None) -> pd.DataFrame:
        """Return every version of every record as it is kept: under the first name of its block.

        Parameters
        ----------
        table : str
            Name of the table.
        ids : sequence of str, optional
            Only the records with these ids.
        """
        if ids is None:
            return self._select(table, "", ())
        return self._known(table, pd.Series(list(ids), dtype=object)).reset_index(drop=True)

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
                    found = self._select(table, "WHERE block = ?", (block,))
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
        labels = sorted({label for _, label in block.names} | {f"{owner}/{label}" for owner, label in block.names})
        found = self._select(table, f"WHERE block IN ({', '.join('?' * len(labels))})", tuple(labels))
        found = self.names().of_block(found, block)
        if all_versions:
            return found
        # A correction may have moved a record to another block: it must not stand in both.
        if self._moved_between(table).isdisjoint(zip(found["vineyard"], found["block"], strict=True)):
            return standing(found).reset_index(drop=True)
        corrections = self._select(table, "WHERE corrects <> ''", ())
        elsewhere = corrections[~corrections["id"].isin(found["id"])]
        stands = set(standing(pd.concat([found, elsewhere], ignore_index=True))["id"])
        return found[found["id"].isin(stands)].reset_index(drop=True)

    def _moved_between(self, table: str) -> frozenset[Name]:
        """Return the blocks between which corrections have moved records; asked once, the answer is nearly always none."""
        if table not in self._moved:
            rows = self._db.execute(
                f'SELECT now.vineyard, now.block, old.vineyard, old.block FROM "{table}" now JOIN "{table}" old '
                "ON old.id = now.corrects WHERE now.corrects <> '' AND (now.block <> old.block OR now.vineyard <> old.vineyard)"
            )
            self._moved[table] = frozenset(name for cells in rows for name in (cells[:2], cells[2:]))
        return self._moved[table]

    def blocks_of(self, table: str, ids: Collection[str]) -> list[Name]:
        """Return the blocks, as they are kept, of some records and of all corrections of these."""
        if not ids:
            return []
        self._want(ids)
        rows = self._db.execute(
            "WITH RECURSIVE family(id) AS (SELECT id FROM wanted UNION "
            f"SELECT c.id FROM \"{table}\" c JOIN family f ON c.corrects = f.id WHERE c.corrects <> '') "
            f'SELECT DISTINCT vineyard, block FROM "{table}" WHERE id IN (SELECT id FROM family)'
        )
        return [(vineyard, block) for vineyard, block in rows]

    def mapped(self) -> tuple[str, ...]:
        """Return the names of the blocks that are on the map layers of the file."""
        return tuple(name for (name,) in self._db.execute("SELECT DISTINCT block FROM map_blocks ORDER BY fid"))

    def clear_map(self, block: str) -> None:
        """Take a block off the map layers of the file."""
        with self.transaction():
            clear_conditions(self._db, block)
            for name in LAYERS:
                self._db.execute(f'DELETE FROM "{name}" WHERE block = ?', (block,))

    def write_map(
        self,
        block: str,
        layers: Mapping[str, pd.DataFrame],
        conditions: Sequence[tuple[str, int, int, str, int]],
        bounds: tuple[float, float, float, float],
    ) -> None:
        """Put a block on the map layers of the file, in place of what was there.

        Parameters
        ----------
        block : str
            Label of the block.
        layers : mapping of layer name to DataFrame
            First column `geom` with WKB bytes, then the columns of the layer.
        conditions : sequence of (row, position, season, condition, looked_at)
            Of the vines in the layer `map_vines`.
        bounds : (float, float, float, float)
            West, south, east, north of the block, degrees.
        """
        with self.transaction():
            clear_conditions(self._db, block)
            for name, frame in layers.items():
                write_layer(self._db, name, frame, block)
            write_conditions(self._db, block, conditions)
            set_extent(self._db, bounds)

    def blocks(self) -> tuple[str, ...]:
        """Return the names of all blocks in the order they came: the label, or vineyard/label where several have it."""
        return self.names().labels


def _values(table: str, record: Mapping[str, object]) -> str:
    """Return all that a record says, as text that can be compared."""
    says = [name for name in TABLES[table].names if name not in PROVENANCE]
    return "\x1f".join(str(record[name]) for name in says)


def _provenance(record: Mapping[str, object]) -> tuple[str, ...]:
    return tuple(str(record[name]) for name in PROVENANCE)


def _as_correction(table: str, record: Mapping[str, object]) -> dict[str, object]:
    """Return a record as a correction of its own id.

    Its id is none that a correction has which a person wrote: that the record was once as it was first written is
    another thing than that it was corrected back to it.
    """
    correction = {**record, "corrects": record["id"], "id": ""}
    return {**correction, "id": str(uuid.uuid5(uuid.UUID(record_id(table, correction)), "one of several values"))}
