"""New records into a vineyard: checked against what is there, then all of them or none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.intake.checks import check_frames, frames_of
from trunkwatch.intake.layers import refresh_layers
from trunkwatch.intake.points import name_points
from trunkwatch.spreadsheets.folder import once, read_folder
from trunkwatch.spreadsheets.write import append_records
from trunkwatch.store import Changed, Store, turn_to_write
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import record_id, with_ids
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of

__all__ = ["Added", "add_frames", "add_records", "merge_file"]


@dataclass(frozen=True, slots=True)
class Added:
    """What became of new records."""

    new: dict[str, int]
    same: dict[str, int]
    changed: tuple[Changed, ...]
    notes: tuple[Fault, ...]  # what the new records make odd
    lines: int | None = None  # of a foreign spreadsheet: how many were taken
    left_out: tuple[Fault, ...] = ()  # faults of the records that were left out, with `keep_good`


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
        Leave faulty records out instead of refusing all; `Added.left_out` tells which.

    Raises
    ------
    FaultyNotesError
        If a new record has a fault and `keep_good` is off, or no line can be named that it is in.
    RecordError
        If a correction names a record that is not there.
    """
    where = Path(path)
    named = {}
    left_out: list[Fault] = []
    for table, frame in frames.items():
        if len(frame):
            named[table], twice = once(table, with_ids(table, frame))
            left_out += [fault for fault in twice if fault.weight == "fault"]
            if left_out and not keep_good:
                raise FaultyNotesError(left_out)
    if where.is_dir():
        with turn_to_write(where):
            known = _folder_frames(where)
            taken, notes, bad = _checked(known, named, keep_good=keep_good)
            store = Store.in_memory()
            store.append(known)
            outcome = store.append(taken, take_changes=take_changes)
            _into_folder(where, store, known)
        return Added(outcome.new, outcome.same, tuple(outcome.changed), tuple(notes), left_out=(*left_out, *bad))
    with Store.writing(where) as store:
        # Records of other blocks cannot be at odds with these.
        taken, notes, bad = _checked(frames_of(store, _blocks_of(named)), named, keep_good=keep_good)
        outcome = store.append(taken, take_changes=take_changes)
        refresh_layers(store, _blocks_of(taken))
    return Added(outcome.new, outcome.same, tuple(outcome.changed), tuple(notes), left_out=(*left_out, *bad))


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
        frames = frames_of(source)
    with Store.writing(path) as store:
        outcome = store.merge(frames)
        refresh_layers(store, store.blocks())
    return Added(outcome.new, outcome.same, tuple(outcome.changed), ())


def _blocks_of(frames: Mapping[str, pd.DataFrame]) -> list[str]:
    found: dict[str, None] = {}
    for table, frame in frames.items():
        if "block" in TABLES[table].names:
            found |= dict.fromkeys(frame["block"].tolist())
    return list(found)


def _checked(
    known: Mapping[str, pd.DataFrame], named: Mapping[str, pd.DataFrame], *, keep_good: bool
) -> tuple[Mapping[str, pd.DataFrame], list[Fault], list[Fault]]:
    """Return what can be taken, what it makes odd, and the faults of what was left out."""
    blocks, rows = (
        pd.concat([known[table], named[table]]) if table in named else known[table] for table in ("blocks", "rows")
    )
    named = name_points(named, blocks, rows)
    left_out: list[Fault] = []
    bad, notes = _new_faults(known, named)
    while bad:  # what is left out may be what other records need
        kept = _without(named, bad)
        if not keep_good or all(len(kept[table]) == len(frame) for table, frame in named.items()):
            raise FaultyNotesError(bad)
        left_out += bad
        named = kept
        bad, notes = _new_faults(known, named)
    _corrections_have_originals(known, named)
    return named, notes, left_out


def _folder_frames(where: Path) -> dict[str, pd.DataFrame]:
    if not any(where.glob("*.csv")) and not any(where.glob("*.xlsx")):
        return {table: empty_frame(table) for table in TABLES}  # a vineyard that begins with this import
    notes = read_folder(where)
    notes.raise_if_faulty()
    return notes.frames


def _new_faults(known: Mapping[str, pd.DataFrame], new: Mapping[str, pd.DataFrame]) -> tuple[list[Fault], list[Fault]]:
    """Return faults and notes that are there with the new records and not without them."""
    before = {str(fault) for fault in check_frames(known)}
    joined = {}
    for table in TABLES:
        parts = [known[table]] + ([new[table][~new[table]["id"].isin(known[table]["id"])]] if table in new else [])
        joined[table] = pd.concat([part for part in parts if len(part)] or [known[table]], ignore_index=True)
    found = [fault for fault in check_frames(joined) if str(fault) not in before]
    return [f for f in found if f.weight == "fault"], [f for f in found if f.weight == "note"]


def _without(named: Mapping[str, pd.DataFrame], bad: Sequence[Fault]) -> dict[str, pd.DataFrame]:
    places = {f"{fault.file}:{fault.line}" for fault in bad}
    return {table: frame[~frame["read_from"].isin(places)] for table, frame in named.items()}


def _corrections_have_originals(known: Mapping[str, pd.DataFrame], named: Mapping[str, pd.DataFrame]) -> None:
    for table, frame in named.items():
        targets = frame.loc[frame["corrects"] != "", "corrects"]
        there = set(known[table]["id"]) | set(frame["id"])
        missing = [target for target in targets if target not in there]
        if missing:
            raise RecordError(f"no record {missing[0]!r} in {table} to correct; `trunkwatch export` shows the ids")


def _into_folder(folder: Path, store: Store, known: Mapping[str, pd.DataFrame]) -> None:
    """Write what is new in the store to the folder's files, one file after the other, each in one step."""
    for table in TABLES:
        full = store.frame(table, all_versions=True)
        fresh = full[~full["id"].isin(known[table]["id"])]
        records = [_plain(table, record) for record in fresh.to_dict("records")]
        if records:
            append_records(folder, table, records)


def _plain(table: str, record: Mapping[Any, Any]) -> dict[str, Any]:
    """Leave out an id that the key makes again, and where the record was read from."""
    plain = {str(name): value for name, value in record.items() if name != "read_from"}
    if plain["id"] == record_id(table, {**plain, "id": ""}):
        plain["id"] = ""
    return plain
