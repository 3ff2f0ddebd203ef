"""What is known already of the records that come in: all of a table, or what lies around some of them."""

from collections.abc import Collection, Mapping
from functools import cache
from typing import Protocol

import pandas as pd

from trunkwatch.intake.checks import Near, frames_of
from trunkwatch.store import Store
from trunkwatch.vineyard.block_names import Block
from trunkwatch.vineyard.records import roots_of
from trunkwatch.vineyard.tables import TABLES, empty_frame

__all__ = ["BY_ROW", "Known", "KnownFrames", "KnownStore", "frames_around"]

#: Tables whose records stand on a row: what lies around them is what stands on that row.
BY_ROW = ("plants", "symptoms", "work")


class Known(Protocol):
    """All versions of the records that are known, under the first names of their blocks as they are kept."""

    def __call__(self, table: str) -> pd.DataFrame:
        """Return a table, whole."""

    def family(self, table: str, ids: Collection[str]) -> pd.DataFrame:
        """Return every version of the records of which these ids are a version; perhaps others too."""

    def around(self, table: str, new: pd.DataFrame) -> pd.DataFrame:
        """Return what new records could be versions or twins of; perhaps others too."""


class KnownFrames:
    """What is known of a folder: its tables are in memory."""

    def __init__(self, frames: Mapping[str, pd.DataFrame]) -> None:
        self._frames = frames

    def __call__(self, table: str) -> pd.DataFrame:
        """Return a table, whole."""
        return self._frames[table]

    def family(self, table: str, ids: Collection[str]) -> pd.DataFrame:  # noqa: ARG002
        """Return the table, whole: it is in memory."""
        return self._frames[table]

    def around(self, table: str, new: pd.DataFrame) -> pd.DataFrame:  # noqa: ARG002
        """Return the table, whole: it is in memory."""
        return self._frames[table]


class KnownStore:
    """What is known of a file: asked for as far as it is needed."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def __call__(self, table: str) -> pd.DataFrame:
        """Return a table, whole."""
        return self._store.stored(table)

    def family(self, table: str, ids: Collection[str]) -> pd.DataFrame:
        """Return every version of the records of which these ids are a version."""
        return self._store.family(table, list(ids))

    def around(self, table: str, new: pd.DataFrame) -> pd.DataFrame:
        """Return the records on the rows of new ones, and all versions of those that these name; else the table, whole."""
        if table not in BY_ROW:
            return self(table)
        own = self.family(table, {*new["id"], *new["corrects"]} - {""})
        rows = self._store.around(table, set(zip(new["block"], new["row"], strict=True)))
        return _together(rows, own)


def _together(one: pd.DataFrame, other: pd.DataFrame) -> pd.DataFrame:
    if other.empty:
        return one
    more = other[~other["id"].isin(one["id"])]
    return pd.concat([one, more], ignore_index=True) if len(more) and len(one) else (one if len(one) else more)


def frames_around(
    store: Store, blocks: Collection[Block], new: Mapping[str, pd.DataFrame]
) -> tuple[dict[str, pd.DataFrame], Near] | None:
    """Return the tables as far as they lie around new records: their rows, and the blocks, rows and surveys whole.

    Parameters
    ----------
    store : Store
        What is known.
    blocks : collection of Block
        Whose records the new ones are.
    new : mapping of table name to DataFrame
        New records.

    Returns
    -------
    (dict of str to DataFrame, Near) or None
        None where the new records are not of single rows: they may be about anything in their blocks.
    """
    if any(table not in (*BY_ROW, "surveys") for table, frame in new.items() if len(frame)):
        return None
    names = store.names()
    frames = frames_of(store, blocks, tables=("blocks", "rows", "surveys"))
    pairs: set[tuple[str, str]] = set()
    for table in BY_ROW:
        if table in new and len(new[table]):
            frame = new[table]
            old = store.family(table, sorted({*frame["id"], *frame["corrects"]} - {""}))
            pairs |= set(zip(frame["block"], frame["row"], strict=True)) | set(
                zip(old["block"], old["row"], strict=True)
            )
    if any(not row for _, row in pairs):
        return None
    pairs = _all_labels(pairs, frames["rows"], {(label, names.outside(b)) for b in blocks for _, label in b.names})
    for table in TABLES:
        if table in BY_ROW:
            frames[table] = names.today(table, store.around(table, pairs)) if pairs else _nothing_of(table)
        elif table not in frames:
            frames[table] = _nothing_of(table)
    surveys = frozenset(new["surveys"]["id"]) if "surveys" in new else frozenset()
    return frames, Near(frozenset(row for _, row in pairs), surveys)


@cache
def _nothing_of(table: str) -> pd.DataFrame:
    """Return a table with no row, the same one each time: nobody changes it."""
    return empty_frame(table)


def _all_labels(pairs: set[tuple[str, str]], rows: pd.DataFrame, calls: set[tuple[str, str]]) -> set[tuple[str, str]]:
    """Return all labels that rows bore, under all names of their blocks: a row that was renumbered is one row."""
    wanted = {row for _, row in pairs}
    lines = list(zip(*(rows[name].tolist() for name in ("id", "row", "row_order")), strict=True))
    roots = roots_of(rows)
    places = {(roots.get(name, name), order) for name, row, order in lines if row in wanted}
    orders = {order for _, order in places if order == order}
    ids = {name for name, _ in places}
    labels = wanted | {row for name, row, order in lines if order in orders or roots.get(name, name) in ids}
    return {(label, row) for label, _ in {*calls, *pairs} for row in labels}
