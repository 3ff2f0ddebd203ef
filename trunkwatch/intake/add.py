"""New records into a vineyard: checked against what is there, then all of them or none."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.intake.checks import check_frames, frames_of
from trunkwatch.intake.layers import refresh_layers
from trunkwatch.intake.points import name_points
from trunkwatch.spreadsheets.folder import once, read_folder
from trunkwatch.spreadsheets.own_vineyard import fill_vineyards, without_one_vineyard
from trunkwatch.spreadsheets.write import append_records
from trunkwatch.store import Changed, Store, turn_to_write
from trunkwatch.vineyard.block_names import Block, BlockNames
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.named_records import named_records
from trunkwatch.vineyard.records import record_id
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of, records_of

__all__ = ["Added", "add_frames", "add_records", "merge_file"]


@dataclass(frozen=True, slots=True)
class Added:
    """What became of new records."""

    new: dict[str, int]
    same: dict[str, int]
    changed: tuple[Changed, ...]
    notes: tuple[Fault, ...]  # what the new records make odd
    ids: Mapping[str, list[str]] = field(default_factory=dict)  # of the records of each table, as they were handed in


def add_records(
    path: str | Path, table: str, records: Sequence[Mapping[str, Any]], *, take_changes: bool = False
) -> Added:
    """Add records of one table to a folder or a file; see `add_frames`."""
    return add_frames(path, {table: frame_of(table, records)}, take_changes=take_changes)


def add_frames(
    path: str | Path,
    frames: Mapping[str, pd.DataFrame],
    *,
    take_changes: bool = False,
    keep_good: bool = False,
) -> Added:
    """Add records to a vineyard.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    frames : mapping of table name to DataFrame
        New records.
    take_changes : bool
        Take records that are known with other values, as corrections.
    keep_good : bool
        Leave faulty records out instead of refusing all.

    Raises
    ------
    FaultyNotesError
        If a new record has a fault and `keep_good` is off.
    RecordError
        If a correction names a record that is not there.
    """
    where = Path(path)
    if where.is_dir():
        with turn_to_write(where):
            known = _folder_frames(where)
            store = Store.in_memory()
            store.append(known, named=True)
            named, ids, twice = _named(store, frames, keep_good=keep_good)
            taken, notes = _checked(store, known, named, keep_good=keep_good)
            before = store.names()
            outcome = store.append(taken, take_changes=take_changes, named=True)
            fill_vineyards(where, before, store.names())
            _into_folder(where, store, known)
        return Added(outcome.new, outcome.same, tuple(outcome.changed), (*twice, *notes), ids)
    with Store.writing(where) as store:
        named, ids, twice = _named(store, frames, keep_good=keep_good)
        # Records of other blocks cannot be at odds with these.
        own = _blocks_of(store.names(), named)
        taken, notes = _checked(store, frames_of(store, own), named, keep_good=keep_good, only=own)
        outcome = store.append(taken, take_changes=take_changes, named=True)
        refresh_layers(store, _blocks_of(store.names(), taken))
    return Added(outcome.new, outcome.same, tuple(outcome.changed), (*twice, *notes), ids)


def _named(
    store: Store, frames: Mapping[str, pd.DataFrame], *, keep_good: bool
) -> tuple[dict[str, pd.DataFrame], dict[str, list[str]], list[Fault]]:
    """Find the block and the id of every new record; return them, the ids as handed in, and lines that stand twice."""
    found = named_records(store.stored("blocks"), frames, store.stored)
    named, ids, notes = {}, {}, []
    faults = list(found.faults)
    for table, frame in found.frames.items():
        ids[table] = frame["id"].tolist()
        named[table], twice = once(table, frame)
        faults += [fault for fault in twice if fault.weight == "fault"]
        notes += [fault for fault in twice if fault.weight == "note"]
    if faults and not keep_good:
        raise FaultyNotesError(faults)
    return _without(named, found.faults), ids, notes + (faults if keep_good else [])


def merge_file(path: str | Path, other: str | Path) -> Added:
    """Take all records of another vineyard file into a file; the order of merging makes no difference.

    Records are taken as they are, faults and all: they were checked where they were written, and
    `check` lists what does not fit together.

    Raises
    ------
    FileError
        If either file cannot be read, or the first not written.
    """
    with Store.open(other) as source:
        frames = {table: source.stored(table) for table in TABLES}
    with Store.writing(path) as store:
        outcome = store.merge(frames)
        refresh_layers(store, store.names().blocks)
    return Added(outcome.new, outcome.same, tuple(outcome.changed), ())


def _blocks_of(names: BlockNames, frames: Mapping[str, pd.DataFrame]) -> list[Block]:
    """Return the blocks that are known already and that records mean, or meant before they were corrected."""
    found: dict[Block, None] = {}
    roots = {block.root: block for block in names.every}
    for table, frame in frames.items():
        if "block" in TABLES[table].names:
            pairs = dict.fromkeys(zip(frame["vineyard"], frame["block"], strict=True))
            found |= dict.fromkeys(block for pair in pairs if (block := names.of_name(*pair)) is not None)
        if table == "blocks":
            found |= dict.fromkeys(roots[one] for one in (*frame["id"], *frame["corrects"]) if one in roots)
    return list(found)


def _checked(
    store: Store,
    known: Mapping[str, pd.DataFrame],
    named: Mapping[str, pd.DataFrame],
    *,
    keep_good: bool,
    only: Collection[Block] | None = None,
) -> tuple[Mapping[str, pd.DataFrame], list[Fault]]:
    blocks, rows = (_joined(known, named, table) for table in ("blocks", "rows"))
    named = name_points(named, blocks, rows)
    bad, notes = _new_faults(known, named, only)
    if bad and not keep_good:
        raise FaultyNotesError(bad)
    taken = _without(named, bad) if bad else named
    _corrections_have_originals(store, taken)
    return taken, notes


def _joined(known: Mapping[str, pd.DataFrame], new: Mapping[str, pd.DataFrame], table: str) -> pd.DataFrame:
    parts = [known[table]] + ([new[table][~new[table]["id"].isin(known[table]["id"])]] if table in new else [])
    return pd.concat([part for part in parts if len(part)] or [known[table]], ignore_index=True)


def _folder_frames(where: Path) -> dict[str, pd.DataFrame]:
    if not any(where.glob("*.csv")) and not any(where.glob("*.xlsx")):
        return {table: empty_frame(table) for table in TABLES}  # a vineyard that begins with this import
    notes = read_folder(where)
    notes.raise_if_faulty()
    return notes.frames


def _new_faults(
    known: Mapping[str, pd.DataFrame], new: Mapping[str, pd.DataFrame], only: Collection[Block] | None
) -> tuple[list[Fault], list[Fault]]:
    """Return faults and notes that are there with the new records and not without them."""
    joined = {table: _joined(known, new, table) for table in TABLES}
    if only is not None:  # the blocks that come in with these records are whole
        names = BlockNames(joined["blocks"])
        before = {block.root for block in BlockNames(known["blocks"]).every}
        roots = {block.root for block in only}
        only = [block for block in names.every if block.root in roots or block.root not in before]
    there = {str(fault) for fault in check_frames(known, only=only)}
    found = [fault for fault in check_frames(joined, only=only) if str(fault) not in there]
    return [f for f in found if f.weight == "fault"], [f for f in found if f.weight == "note"]


def _without(named: Mapping[str, pd.DataFrame], bad: Sequence[Fault]) -> dict[str, pd.DataFrame]:
    places = {f"{fault.file}:{fault.line}" for fault in bad}
    return {table: frame[~frame["read_from"].isin(places)] for table, frame in named.items()}


def _corrections_have_originals(store: Store, named: Mapping[str, pd.DataFrame]) -> None:
    for table, frame in named.items():
        own = set(frame["id"])
        targets = [target for target in frame["corrects"] if target and target not in own]
        there = set(store.stored(table, targets)["id"]) if targets else set()
        missing = [target for target in targets if target not in there]
        if missing:
            raise RecordError(f"no record {missing[0]!r} in {table} to correct; `trunkwatch export` shows the ids")


def _into_folder(folder: Path, store: Store, known: Mapping[str, pd.DataFrame]) -> None:
    """Write what is new in the store to the folder's files, one file after the other, each in one step."""
    names = store.names()
    for table in TABLES:
        full = store.stored(table)
        fresh = full[~full["id"].isin(known[table]["id"])]
        made = [one["id"] == record_id(table, {**one, "id": ""}) for one in records_of(fresh)]
        records = records_of(without_one_vineyard(table, names.today(table, fresh), names))
        if records:
            append_records(folder, table, [_plain(one, made_id=own) for one, own in zip(records, made, strict=True)])


def _plain(record: Mapping[str, Any], *, made_id: bool) -> dict[str, Any]:
    """Leave out an id that the key makes again, and where the record was read from."""
    plain = {name: value for name, value in record.items() if name != "read_from"}
    return {**plain, "id": ""} if made_id else plain
