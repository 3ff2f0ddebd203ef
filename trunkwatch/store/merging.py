"""Taking the records of another store: what comes out is the same in any order of merging."""

import sqlite3
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.store.again import Changed, differences
from trunkwatch.store.one_name import named_since, refuse_one_name_for_two
from trunkwatch.store.outcome import Outcome, as_correction, provenance, values_of
from trunkwatch.store.seal import SEAL, change_sealed, resealed
from trunkwatch.store.touched import names_in
from trunkwatch.vineyard.block_names import BlockNames, Name
from trunkwatch.vineyard.named_records import named_records, with_vineyard
from trunkwatch.vineyard.records import PROVENANCE, standing
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

__all__ = ["Merging"]


class Merging(ABC):
    """What a store does when it merges; how records are kept is the store's."""

    path: Path | None
    _db: sqlite3.Connection

    @abstractmethod
    def stored(self, table: str, ids: Sequence[str] | None = None) -> pd.DataFrame:
        """Return all versions of all records, or those of some ids."""

    @abstractmethod
    def names(self) -> BlockNames:
        """Return the names of blocks."""

    @abstractmethod
    def family(self, table: str, ids: Sequence[str]) -> pd.DataFrame:
        """Return records with all that corrects them."""

    @abstractmethod
    def give_vineyard(self, roots: Sequence[str], vineyard: str) -> None:
        """Give blocks of a vineyard without a name, and all their records, its name."""

    @abstractmethod
    def _one_transaction(self) -> AbstractContextManager[None]: ...

    @abstractmethod
    def _take_new(self, table: str, frame: pd.DataFrame, outcome: Outcome) -> tuple[pd.DataFrame, pd.DataFrame]: ...

    @abstractmethod
    def _known(self, table: str, ids: pd.Series) -> pd.DataFrame: ...

    @abstractmethod
    def _insert(self, table: str, frame: pd.DataFrame) -> None: ...

    @abstractmethod
    def _forget(self) -> None: ...

    @abstractmethod
    def _forget_spares(self) -> None: ...

    @abstractmethod
    def _touch(self, names: set[Name]) -> None: ...

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
        with self._one_transaction():
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
                for record in self._to_merge(table, again, known):
                    self._merge_one(table, record)
        outcome.changed = [replace(one, stands=self._stands(one)) for one in outcome.changed]
        return outcome

    def _stands(self, changed: Changed) -> dict[str, object]:
        """Return what stands of a record that two files had with different values; nothing where it was taken back."""
        now = records_of(standing(self.family(changed.table, [changed.id])))
        return {name: now[0][name] for name in changed.values} if now else {}

    def _to_merge(self, table: str, again: pd.DataFrame, known: pd.DataFrame) -> list[dict[str, Any]]:  # noqa: ARG002
        """Return the records, all of them known, that may change what is kept."""
        return records_of(again)

    def _merge_one(self, table: str, there: dict[str, object]) -> None:
        """Merge one record whose id is known."""
        here = records_of(self._known(table, pd.Series([there["id"]])))[0]
        if values_of(table, here) == values_of(table, there):
            latest = max(here, there, key=provenance)
            self._latest_provenance(table, latest)
            self._latest_provenance(table, as_correction(table, latest))
            return
        for variant in (here, there):
            correction = as_correction(table, variant)
            if self._known(table, pd.Series([correction["id"]])).empty:
                self._insert(table, frame_of(table, [correction]))
            else:
                self._latest_provenance(table, correction)
        if values_of(table, there) < values_of(table, here):
            self._take_out(table, here)
            self._forget()
            self._insert(table, frame_of(table, [there]))

    def _take_out(self, table: str, record: Mapping[str, object]) -> None:
        """Take a record out, for another of the same id."""
        self._db.execute(f'DELETE FROM "{table}" WHERE id = ?', (record["id"],))
        if self.path is not None:
            change_sealed(self._db, table, -1)

    def _latest_provenance(self, table: str, record: Mapping[str, object]) -> None:
        """Keep the later of two provenances of one record; nothing where the record is not there.

        Who wrote it later may have known what was written in between, and meant it all the same.
        """
        marks = provenance(record)
        listed = ", ".join(PROVENANCE)
        kept = SEAL if self.path is not None else "NULL"
        rows = self._db.execute(
            f'SELECT number, {kept}, {listed} FROM "{table}" WHERE id = ? AND (?, ?, ?) > ({listed})',
            (record["id"], *marks),
        ).fetchall()
        for number, seal, *before in rows:
            changed: dict[str, object] = dict(zip(PROVENANCE, marks, strict=True))
            if seal is not None:
                changed[SEAL] = resealed(table, seal, dict(zip(PROVENANCE, before, strict=True)), changed)
            set_to = ", ".join(f"{name} = ?" for name in changed)
            self._db.execute(f'UPDATE "{table}" SET {set_to} WHERE number = ?', (*changed.values(), number))
        self._forget_spares()
        self._touch(names_in({table: frame_of(table, [record])}))
