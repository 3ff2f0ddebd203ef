"""New records into a vineyard: checked against what is there, then all of them or none."""

from collections.abc import Callable, Collection, Mapping, Sequence
from contextlib import AbstractContextManager, suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Protocol

import pandas as pd

from trunkwatch.block.whole_folder import writing_folder
from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.intake.check_clock import check_clock
from trunkwatch.intake.checks import Near, check_frames, frames_of
from trunkwatch.intake.foreign import frames_of_file
from trunkwatch.intake.known import Known, KnownFrames, KnownStore, frames_around
from trunkwatch.intake.layers import draw_shared, refresh_layers
from trunkwatch.intake.points import name_points
from trunkwatch.intake.two_growers import may_be_two
from trunkwatch.spreadsheets.folder import files_in, once, read_folder
from trunkwatch.spreadsheets.one_step import OneStep
from trunkwatch.spreadsheets.own_vineyard import fill_vineyards, without_one_vineyard
from trunkwatch.spreadsheets.write import append_records
from trunkwatch.store import Changed, Outcome, Store, is_shared
from trunkwatch.store.shared import OvertakenError, SharedStore
from trunkwatch.vineyard.block_names import Block, BlockNames
from trunkwatch.vineyard.calendar import local_day
from trunkwatch.vineyard.faults import Fault, folded
from trunkwatch.vineyard.named_records import named_records
from trunkwatch.vineyard.records import record_id
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of, records_of

__all__ = [
    "Added", "Known", "add_frames", "add_made", "add_records", "add_to_folder", "add_to_store", "merge_file", "put_into_tables",
]  # fmt: skip


#: More records than these at once are checked against their whole blocks.
FEW = 200
#: Tables that say where positions lie.
_LAYOUT = ("blocks", "rows")
#: Makes new records, by table, from what is known.
Make = Callable[[Known], Mapping[str, pd.DataFrame]]
#: Opens a vineyard to have a few records added.
Road = Callable[[Path], AbstractContextManager[Store]]


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

    @property
    def superseded(self) -> tuple[Changed, ...]:
        """Which are known, and do not stand any more."""


#: Takes the name of a table, new records with their ids, and what is known around them; tells what is to be added.
Settle = Callable[[str, pd.DataFrame, pd.DataFrame], Settled]


@dataclass(frozen=True, slots=True)
class Added:
    """What became of new records."""

    new: dict[str, int]
    same: dict[str, int]
    changed: tuple[Changed, ...]
    notes: tuple[Fault, ...]  # what the new records make odd
    lines: int | None = None  # of a foreign spreadsheet: how many were taken
    left_out: tuple[Fault, ...] = ()  # faults of the records that were left out, with `keep_good`
    ids: tuple[str, ...] = ()  # of the records as they were handed in, one table after the other
    superseded: tuple[Changed, ...] = ()  # that do not stand as they came in, with what stands now


@dataclass(slots=True)
class _Coming:
    """New records on their way in.

    Attributes
    ----------
    frames : dict of table name to DataFrame
        Records that are still to be taken.
    ids : dict of table name to list of str
        Of all records of a table, as they were handed in.
    notes, left_out : list of Fault
        What they make odd; faults of those that were left out.
    ready : dict of table name to Settled
        What was told of them before the store was asked.
    """

    frames: dict[str, pd.DataFrame]
    ids: dict[str, list[str]]
    notes: list[Fault]
    left_out: list[Fault]
    ready: dict[str, Settled] = field(default_factory=dict)

    def renamed(self, table: str, before: Sequence[str], now: Sequence[str]) -> None:
        """Follow records that got another id."""
        told = dict(zip(before, now, strict=True))
        self.ids[table] = [told.get(name, name) for name in self.ids[table]]


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
    settle: Settle | None = None,
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
    many = sum(map(len, frames.values())) > FEW
    return add_made(
        path, lambda _known: frames, take_changes=take_changes, keep_good=keep_good, settle=settle, many=many
    )


def add_made(
    path: str | Path,
    make: Make,
    *,
    take_changes: bool = False,
    keep_good: bool = False,
    settle: Settle | None = None,
    many: bool = False,
) -> Added:
    """Add records that are made from what is known, while nobody else can write.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    make : callable
        Takes what is known, which is under the first names of its blocks; returns new records by table.
    take_changes, keep_good : bool
        As in `add_frames`.
    settle : callable, optional
        Takes the name of a table, new records with their ids, and what is known around them; returns what is to be
        added.
    many : bool
        Whether more records are to be expected than go into the log of a file.

    Raises
    ------
    FaultyNotesError, RecordError
        As in `add_frames`, and what `make` raises.
    """
    where = Path(path)
    to = _into_folder if where.is_dir() else _into_tables if many else _into_file
    try:
        if to is _into_file and is_shared(where):
            with suppress(OvertakenError):
                return _into_file(
                    where,
                    make,
                    take_changes=take_changes,
                    keep_good=keep_good,
                    settle=settle,
                    road=SharedStore.open_to_try,
                )
        return to(where, make, take_changes=take_changes, keep_good=keep_good, settle=settle)
    except _NothingToWriteError:
        return Added({}, {}, (), ())


class _NothingToWriteError(Exception):
    """Leaves the vineyard as it is."""


class _NewLayoutError(Exception):
    """Sends records the road into the tables."""


def _into_folder(where: Path, make: Make, *, take_changes: bool, keep_good: bool, settle: Settle | None) -> Added:
    with writing_folder(where) as step:
        return add_to_folder(step, make, take_changes=take_changes, keep_good=keep_good, settle=settle)


def add_to_folder(
    step: OneStep, make: Make, *, take_changes: bool = False, keep_good: bool = False, settle: Settle | None = None
) -> Added:
    """Add records to a folder as part of a step; as `add_made`."""
    known = _folder_frames(step)
    made = _made(make, KnownFrames(known))
    store = Store.in_memory()
    store.append(known, named=True)
    coming = _named(store, made, keep_good=keep_good)
    _check(store, known, coming, KnownFrames(known), keep_good=keep_good, settle=settle)
    before = store.names()
    outcome = store.append(coming.frames, take_changes=take_changes, named=True)
    fill_vineyards(step.folder, before, store.names(), step=step)
    _write_new(step, store, known)
    return _added(outcome, coming)


def _into_file(
    where: Path, make: Make, *, take_changes: bool, keep_good: bool, settle: Settle | None, road: Road = Store.appending
) -> Added:
    """Add a few records to a file: they wait in its log, except where they change the layout of a block."""
    try:
        with road(where) as store:
            coming = _named(store, _made(make, KnownStore(store)), keep_good=keep_good)
            _refuse_layout(coming)
            return _added(
                _appended(store, coming, take_changes=take_changes, keep_good=keep_good, settle=settle), coming
            )
    except _NewLayoutError:
        return _into_tables(where, make, take_changes=take_changes, keep_good=keep_good, settle=settle)


def _refuse_layout(coming: _Coming) -> None:
    if any(len(coming.frames.get(table, ())) for table in _LAYOUT):
        raise _NewLayoutError


def _into_tables(where: Path, make: Make, *, take_changes: bool, keep_good: bool, settle: Settle | None) -> Added:
    """Add records to the tables of a file, and draw its layers."""
    with Store.writing(where) as store:
        return add_to_store(store, make, take_changes=take_changes, keep_good=keep_good, settle=settle)


def add_to_store(
    store: Store, make: Make, *, take_changes: bool = False, keep_good: bool = False, settle: Settle | None = None
) -> Added:
    """Add records to a store that is open to write; as `add_made`."""
    coming = _named(store, _made(make, KnownStore(store)), keep_good=keep_good)
    outcome = _appended(store, coming, take_changes=take_changes, keep_good=keep_good, settle=settle)
    refresh_layers(store, _blocks_of(store, coming.frames))
    return _added(outcome, coming)


def _appended(store: Store, coming: _Coming, *, take_changes: bool, keep_good: bool, settle: Settle | None) -> Outcome:
    """Check records against what lies around them, and add them."""
    # Records of other blocks cannot be at odds with these, and of the same block those of other rows seldom.
    own = _blocks_of(store, coming.frames)
    found = frames_around(store, own, coming.frames) if _count(coming.frames) <= FEW else None
    there, near = (frames_of(store, own), None) if found is None else found
    _check(store, there, coming, KnownStore(store), keep_good=keep_good, settle=settle, only=own, near=near)
    return store.append(coming.frames, take_changes=take_changes, named=True)


def put_into_tables(path: str | Path, *, largest: int | None = None) -> bool:
    """Put what waits in the log of a file into its tables, and draw the map layers of what changed.

    A map program shows the tables; every command of trunkwatch reads both.

    Parameters
    ----------
    path : str or Path
        File; of a folder nothing is to be done.
    largest : int, optional
        Size in bytes from which a file is left as it is as long as its log has room: it takes a copy of the file.

    Returns
    -------
    bool
        Whether anything was put into the tables.
    """
    where = Path(path)
    if is_shared(where):
        return draw_shared(where)
    if not where.is_file():
        return False
    with Store.open(where) as store:
        if not store.waiting and not store.stale():
            return False
    if largest is not None and where.stat().st_size > largest:
        return False
    with Store.writing(where) as store:
        refresh_layers(store, ())
    return True


def _made(make: Make, known: Known) -> dict[str, pd.DataFrame]:
    made = {table: frame for table, frame in make(known).items() if len(frame)}
    if not made:
        raise _NothingToWriteError
    return made


def _named(store: Store, frames: Mapping[str, pd.DataFrame], *, keep_good: bool) -> _Coming:
    """Find the block and the id of every new record, and take each once; tell the faults of those that cannot be."""
    found = named_records(store.stored("blocks"), frames, store.stored)
    named, ids, notes, twofold = {}, {}, [], []
    for table in frames:
        frame = found.frames[table]
        ids[table] = frame["id"].tolist()
        named[table], twice = once(table, frame)
        twofold += [fault for fault in twice if fault.weight == "fault"]
        notes += [fault for fault in twice if fault.weight == "note"]
    kept = _without(named, found.faults) if found.faults else named
    faults = [*found.faults, *twofold]
    if faults and not keep_good:
        raise FaultyNotesError(faults)
    if found.faults and _count(kept) == _count(named):
        raise FaultyNotesError(found.faults)
    return _Coming(kept, ids, notes, faults)


def _count(frames: Mapping[str, pd.DataFrame]) -> int:
    return sum(len(frame) for frame in frames.values())


def _added(outcome: Outcome, coming: _Coming) -> Added:
    """Put together what the store tells and what was known before it was asked."""
    new, same, changed = dict(outcome.new), dict(outcome.same), list(outcome.changed)
    superseded = list(outcome.superseded)
    for table, one in coming.ready.items():
        new[table] = new.get(table, 0) - one.corrected
        same[table] = same.get(table, 0) + one.same
        changed += one.changed
        superseded += one.superseded
    ids = tuple(name for listed in coming.ids.values() for name in listed)
    return Added(
        new,
        same,
        tuple(changed),
        tuple(coming.notes),
        ids=ids,
        left_out=tuple(coming.left_out),
        superseded=tuple(superseded),
    )


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
    twofold = may_be_two(Path(path), frames)
    with Store.writing(path) as store:
        outcome = store.merge(frames)
        refresh_layers(store, store.names().blocks)
    notes = [*twofold, *folded(check_clock(frames, local_day()))]
    return Added(outcome.new, outcome.same, tuple(outcome.changed), tuple(notes))


def _blocks_of(store: Store, frames: Mapping[str, pd.DataFrame]) -> list[Block]:
    """Return the blocks that are known already and that records mean, or meant before they were corrected."""
    found: dict[Block, None] = {}
    names = store.names()
    roots = {block.root: block for block in names.every}
    for table, frame in frames.items():
        if table == "blocks":
            found |= dict.fromkeys(roots[one] for one in (*frame["id"], *frame["corrects"]) if one in roots)
        if "block" in TABLES[table].names:
            pairs = dict.fromkeys(zip(frame["vineyard"], frame["block"], strict=True))
            pairs |= dict.fromkeys(store.blocks_of(table, set(frame["corrects"]) - {""}))
            found |= dict.fromkeys(block for pair in pairs if (block := names.of_name(*pair)) is not None)
    return list(found)


def _check(
    store: Store,
    known: Mapping[str, pd.DataFrame],
    coming: _Coming,
    full: Known,
    *,
    keep_good: bool,
    settle: Settle | None,
    only: Collection[Block] | None = None,
    near: Near | None = None,
) -> None:
    """Settle what is known already, name points, and leave out, or refuse, the records that are at fault."""
    blocks, rows = (_joined(known, coming.frames, table) for table in ("blocks", "rows"))
    for table, frame in name_points(coming.frames, blocks, rows, lambda: full("plants")).items():
        coming.renamed(table, coming.frames[table]["id"].tolist(), frame["id"].tolist())
        coming.frames[table] = frame
    if settle is not None:
        for table, frame in coming.frames.items():
            coming.ready[table] = one = settle(table, frame, full.around(table, frame))
            coming.renamed(table, frame["id"].tolist(), one.ids)
            coming.frames[table] = one.frame
    bad, notes = _new_faults(known, coming.frames, only, near=near)
    while bad:  # what is left out may be what other records need
        kept = _without(coming.frames, bad)
        if not keep_good or _count(kept) == _count(coming.frames):
            raise FaultyNotesError(bad)
        coming.left_out += bad
        coming.frames = kept
        bad, notes = _new_faults(known, kept, only, near=near)
    coming.notes += notes
    _corrections_have_originals(store, coming.frames)


def _joined(known: Mapping[str, pd.DataFrame], new: Mapping[str, pd.DataFrame], table: str) -> pd.DataFrame:
    if table not in new or new[table].empty:
        return known[table]
    there = set(known[table]["id"])
    is_new = [name not in there for name in new[table]["id"]]
    parts = [known[table], new[table] if all(is_new) else new[table][is_new]]
    return pd.concat([part for part in parts if len(part)] or [known[table]], ignore_index=True)


def _folder_frames(step: OneStep) -> dict[str, pd.DataFrame]:
    if not files_in(step.folder, step):
        return {table: empty_frame(table) for table in TABLES}  # a vineyard that begins with this import
    notes = read_folder(step.folder, step)
    notes.raise_if_faulty()
    return notes.frames


def _new_faults(
    known: Mapping[str, pd.DataFrame],
    new: Mapping[str, pd.DataFrame],
    only: Collection[Block] | None,
    *,
    near: Near | None,
) -> tuple[list[Fault], list[Fault]]:
    """Return faults and notes that are there with the new records and not without them."""
    joined = {table: _joined(known, new, table) for table in TABLES}
    if only is not None:  # the blocks that come in with these records are whole
        names = BlockNames.of(joined["blocks"])
        were = names if joined["blocks"] is known["blocks"] else BlockNames.of(known["blocks"])
        before = {block.root for block in were.every}
        roots = {block.root for block in only}
        only = [block for block in names.every if block.root in roots or block.root not in before]
    found = check_frames(joined, only=only, near=near and _with_fresh(near, known, new))
    if found:  # mostly there is nothing, and what was there before need not be asked for
        there = {str(fault) for fault in check_frames(known, only=only, near=near)}
        found = [fault for fault in found if str(fault) not in there]
    return [f for f in found if f.weight == "fault"], [f for f in found if f.weight == "note"]


def _with_fresh(near: Near, known: Mapping[str, pd.DataFrame], new: Mapping[str, pd.DataFrame]) -> Near:
    """Tell which new records are versions of nothing, where all are: the checks ask for less then, and tell the same."""
    if any(table not in ("symptoms", "work") or frame["corrects"].any() for table, frame in new.items() if len(frame)):
        return near
    fresh = {table: frozenset(frame["id"]) for table, frame in new.items() if len(frame)}
    if any(not ids.isdisjoint(known[table]["id"]) for table, ids in fresh.items()):
        return near
    return near._replace(fresh=frozenset[str]().union(*fresh.values()))


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


def _write_new(step: OneStep, store: Store, known: Mapping[str, pd.DataFrame]) -> None:
    """Write what is new in the store to the folder's files."""
    names = store.names()
    for table in TABLES:
        full = store.stored(table)
        fresh = full[~full["id"].isin(known[table]["id"])]
        made = [one["id"] == record_id(table, {**one, "id": ""}) for one in records_of(fresh)]
        records = records_of(without_one_vineyard(table, names.today(table, fresh), names))
        if records:
            plain = [_plain(one, made_id=own) for one, own in zip(records, made, strict=True)]
            append_records(step.folder, table, plain, step=step)


def _plain(record: Mapping[str, Any], *, made_id: bool) -> dict[str, Any]:
    """Leave out an id that the key makes again, and where the record was read from."""
    plain = {name: value for name, value in record.items() if name != "read_from"}
    return {**plain, "id": ""} if made_id else plain
