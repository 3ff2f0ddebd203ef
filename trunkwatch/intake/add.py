"""New records into a vineyard: checked against what is there, then all of them or none."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import pandas as pd

from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.intake.checks import check_frames, frames_of
from trunkwatch.intake.foreign import frames_of_file
from trunkwatch.intake.layers import refresh_layers
from trunkwatch.intake.points import name_points
from trunkwatch.spreadsheets.folder import once, read_folder
from trunkwatch.spreadsheets.write import append_records
from trunkwatch.store import Changed, Outcome, Store, turn_to_write
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import record_id, with_ids
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of

__all__ = ["Added", "Known", "add_frames", "add_made", "add_records", "merge_file"]


#: All versions of all records of a table, by its name.
Known = Callable[[str], pd.DataFrame]


class Settled(Protocol):
    """What is to be written of records, and what is known of them already."""

    @property
    def frame(self) -> pd.DataFrame:
        """Records to add."""

    @property
    def same(self) -> int:
        """How many are known already."""

    @property
    def changed(self) -> tuple[Changed, ...]:
        """Which are known with other values."""

    @property
    def ids(self) -> tuple[str, ...]:
        """Of all of them, in order."""

    @property
    def corrected(self) -> int:
        """How many of the records to add are corrections of records that stand."""


@dataclass(frozen=True, slots=True)
class Added:
    """What became of new records."""

    new: dict[str, int]
    same: dict[str, int]
    changed: tuple[Changed, ...]
    notes: tuple[Fault, ...]  # what the new records make odd
    lines: int | None = None  # of a foreign spreadsheet: how many were taken
    left_out: tuple[Fault, ...] = ()  # faults of the records that were left out, with `keep_good`
    ids: tuple[str, ...] = ()  # of records that were entered one by one, in their order


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
    settle: Callable[[str, pd.DataFrame, pd.DataFrame], Settled] | None = None,
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
    settle : callable, optional
        As in `add_made`.

    Raises
    ------
    FaultyNotesError
        If a new record has a fault and `keep_good` is off, or no line can be named that it is in.
    RecordError
        If a correction names a record that is not there.
    """
    return add_made(path, lambda _known: frames, take_changes=take_changes, keep_good=keep_good, settle=settle)


def add_made(
    path: str | Path,
    make: Callable[[Known], Mapping[str, pd.DataFrame]],
    *,
    take_changes: bool = False,
    keep_good: bool = False,
    settle: Callable[[str, pd.DataFrame, pd.DataFrame], Settled] | None = None,
) -> Added:
    """Add records that are made from what is known, while nobody else can write.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    make : callable
        Takes a function from the name of a table to all versions of its records; returns new records by table.
    take_changes, keep_good : bool
        As in `add_frames`.
    settle : callable, optional
        Takes the name of a table, new records with their ids, and all versions of its records; returns what is to be
        added.

    Raises
    ------
    FaultyNotesError, RecordError
        As in `add_frames`, and what `make` raises.
    """
    try:
        return _add_made(Path(path), make, take_changes=take_changes, keep_good=keep_good, settle=settle)
    except _NothingToWriteError:
        return Added({}, {}, (), ())


class _NothingToWriteError(Exception):
    """Leaves the vineyard as it is."""


def _add_made(
    where: Path,
    make: Callable[[Known], Mapping[str, pd.DataFrame]],
    *,
    take_changes: bool,
    keep_good: bool,
    settle: Callable[[str, pd.DataFrame, pd.DataFrame], Settled] | None,
) -> Added:
    if where.is_dir():
        with turn_to_write(where):
            known = _folder_frames(where)
            named, twice = _named(make(known.__getitem__), keep_good=keep_good)
            taken, notes, ready, bad = _checked(known, named, known.__getitem__, keep_good=keep_good, settle=settle)
            store = Store.in_memory()
            store.append(known)
            outcome = store.append(taken, take_changes=take_changes)
            _into_folder(where, store, known)
        return _added(outcome, notes, ready, [*twice, *bad])
    with Store.writing(where) as store:

        def full(table: str) -> pd.DataFrame:
            return store.frame(table, all_versions=True)

        named, twice = _named(make(full), keep_good=keep_good)
        # Records of other blocks cannot be at odds with these.
        blocks = _blocks_of(named, full)
        taken, notes, ready, bad = _checked(frames_of(store, blocks), named, full, keep_good=keep_good, settle=settle)
        outcome = store.append(taken, take_changes=take_changes)
        refresh_layers(store, _blocks_of(taken, full))
    return _added(outcome, notes, ready, [*twice, *bad])


def _named(frames: Mapping[str, pd.DataFrame], *, keep_good: bool) -> tuple[dict[str, pd.DataFrame], list[Fault]]:
    """Return the records with their ids, each once, and the faults of those that contradict themselves."""
    named = {}
    left_out: list[Fault] = []
    for table, frame in frames.items():
        if len(frame):
            named[table], twice = once(table, with_ids(table, frame))
            contradictions = [fault for fault in twice if fault.weight == "fault"]
            if contradictions and not keep_good:
                raise FaultyNotesError(contradictions)
            left_out += contradictions
    if not named:
        raise _NothingToWriteError
    return named, left_out


def _added(outcome: Outcome, notes: Sequence[Fault], ready: Mapping[str, Settled], left_out: Sequence[Fault]) -> Added:
    """Put together what the store tells and what was known before it was asked."""
    new, same, changed = dict(outcome.new), dict(outcome.same), list(outcome.changed)
    for table, one in ready.items():
        new[table] = new.get(table, 0) - one.corrected
        same[table] = same.get(table, 0) + one.same
        changed += one.changed
    ids = tuple(name for one in ready.values() for name in one.ids)
    return Added(new, same, tuple(changed), tuple(notes), ids=ids, left_out=tuple(left_out))


def merge_file(path: str | Path, other: str | Path) -> Added:
    """Take all records of another vineyard file into a file; the order of merging makes no difference.

    Records are taken as they are, faults and all: they were checked where they were written, and
    `check` lists what does not fit together.

    Raises
    ------
    FileError
        If either file cannot be read, or the first not written.
    """
    frames = frames_of_file(Path(other))
    with Store.writing(path) as store:
        outcome = store.merge(frames)
        refresh_layers(store, store.blocks())
    return Added(outcome.new, outcome.same, tuple(outcome.changed), ())


def _blocks_of(frames: Mapping[str, pd.DataFrame], known: Known) -> list[str]:
    """Return the blocks of some records, and those of the records that they correct."""
    found: dict[str, None] = {}
    for table, frame in frames.items():
        if "block" not in TABLES[table].names:
            continue
        found |= dict.fromkeys(frame["block"].tolist())
        if originals := set(frame["corrects"]) - {""}:
            there = known(table)
            found |= dict.fromkeys(there.loc[there["id"].isin(originals), "block"].tolist())
    return list(found)


def _checked(
    known: Mapping[str, pd.DataFrame],
    named: Mapping[str, pd.DataFrame],
    full: Known,
    *,
    keep_good: bool,
    settle: Callable[[str, pd.DataFrame, pd.DataFrame], Settled] | None,
) -> tuple[Mapping[str, pd.DataFrame], list[Fault], dict[str, Settled], list[Fault]]:
    """Return the records to take, what they make odd, what was told of them before, and the faults of what was left out."""
    blocks, rows = (
        pd.concat([known[table], named[table]]) if table in named else known[table] for table in ("blocks", "rows")
    )
    named = name_points(named, blocks, rows)
    ready = {} if settle is None else {table: settle(table, frame, full(table)) for table, frame in named.items()}
    named = {table: ready[table].frame if table in ready else frame for table, frame in named.items()}
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
    return named, notes, ready, left_out


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
