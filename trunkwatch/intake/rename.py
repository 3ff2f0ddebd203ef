"""Blocks and vineyards renamed, and a mistaken block taken back or brought back: corrections, so that nothing is lost."""

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.whole_folder import writing_folder
from trunkwatch.errors import RecordError, UnknownBlockError
from trunkwatch.intake.add import Added, add_frames, add_to_folder, add_to_store
from trunkwatch.spreadsheets.folder import read_folder
from trunkwatch.spreadsheets.one_step import OneStep
from trunkwatch.spreadsheets.own_vineyard import name_blocks
from trunkwatch.store import Store
from trunkwatch.vineyard.block_names import Block, BlockNames, Name
from trunkwatch.vineyard.records import family_of, later_than, now_text, record_id, roots_of, standing
from trunkwatch.vineyard.tables import frame_of, records_of

__all__ = ["bring_back", "rename_block", "rename_vineyard", "take_back"]

#: Tables of what was seen and done in a block, with the words for one record and for several.
_SEEN: dict[str, tuple[str, str]] = {
    "symptoms": ("finding", "findings"),
    "surveys": ("survey", "surveys"),
    "work": ("piece of work", "pieces of work"),
    "plants": ("line of plants", "lines of plants"),
    "bud_counts": ("bud count", "bud counts"),
    "budbreak": ("day of budbreak", "days of budbreak"),
    "pruning": ("line of rows pruned", "lines of rows pruned"),
    "photos": ("photo", "photos"),
}


def rename_block(path: str | Path, block: str, *, label: str = "", vineyard: str = "") -> str:
    """Give a block another label, or another vineyard; its records stay with it.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    block : str
        The block as it is named, or was.
    label, vineyard : str
        New label and new vineyard; each stays as it is where it is empty.

    Returns
    -------
    str
        The name that people use from now on.

    Raises
    ------
    UnknownBlockError
        If there is no such block, or several are named so.
    RecordError
        If it is named so already.
    FaultyNotesError
        If another block has, or had, that name.
    """
    with _writing(path) as write:
        names = write.known().names()
        found = names.find(block)
        now = (vineyard.strip() or found.vineyard, label.strip() or found.label)
        if now == found.today:
            raise RecordError(f"block {names.outside(found)!r} is named so already; give another name")
        if found.vineyard:
            _correct(write, [(found.today, now)])
        else:
            _name(write, names, [found], now[0])
            if now[1] != found.label:
                _correct(write, [((now[0], found.label), now)])
        return _called_now(write, [now])[0]


def rename_vineyard(path: str | Path, old: str, new: str) -> tuple[str, ...]:
    """Give a vineyard another name; an empty old name means the vineyard without a name.

    Returns
    -------
    tuple of str
        Its blocks, as people name them from now on.

    Raises
    ------
    RecordError
        If there is no such vineyard, or another one has the new name.
    """
    with _writing(path) as write:
        names = write.known().names()
        own = [block for block in names.blocks if block.vineyard == old]
        listed = ", ".join(repr(one) for one in names.vineyards)
        if not own:
            raise RecordError(f"no vineyard {old!r}; the vineyards are: {listed}")
        if new.strip() in names.vineyards:
            raise RecordError(
                f"there is a vineyard {new.strip()!r} already; --block B --to-vineyard {new.strip()!r} moves a block to it"
            )
        if old:
            _correct(write, [(block.today, (new.strip(), block.label)) for block in own])
        else:
            _name(write, names, own, new.strip())
        return _called_now(write, [(new.strip(), block.label) for block in own])


class _Folder:
    """A folder that is open to write: what is done to it is one step."""

    def __init__(self, step: OneStep) -> None:
        self._step = step

    def known(self) -> Store:
        """Return what is known now, with what was done already."""
        notes = read_folder(self._step.folder, self._step)
        notes.raise_if_faulty()
        store = Store.in_memory()
        store.append(notes.frames, named=True)
        return store

    def add(self, frames: dict[str, pd.DataFrame]) -> None:
        add_to_folder(self._step, lambda _known: frames)

    def name(self, own: list[Block], vineyard: str) -> None:
        """Write the name of the vineyard of some blocks where they have none."""
        labels = {label for block in own for _, label in block.names}
        name_blocks(self._step.folder, labels, vineyard, step=self._step)


class _File:
    """The same for a file."""

    def __init__(self, store: Store) -> None:
        self._store = store

    def known(self) -> Store:
        return self._store

    def add(self, frames: dict[str, pd.DataFrame]) -> None:
        add_to_store(self._store, lambda _known: frames)

    def name(self, own: list[Block], vineyard: str) -> None:
        self._store.give_vineyard([block.root for block in own], vineyard)


@contextmanager
def _writing(path: str | Path) -> Iterator[_Folder | _File]:
    """Open a vineyard to write: all that is done is put in place together, or nothing of it."""
    where = Path(path)
    if where.is_dir():
        with writing_folder(where) as step:
            yield _Folder(step)
        return
    open_vineyard(where).close()  # no vineyard: says what it is
    with Store.writing(where) as store:
        yield _File(store)


def _called_now(write: _Folder | _File, names: list[Name]) -> tuple[str, ...]:
    known = write.known().names()
    return tuple(known.outside(one) for one in known.blocks if one.today in names)


def _correct(write: _Folder | _File, changes: list[tuple[Name, Name]]) -> None:
    """Let blocks stand under new names."""
    store = write.known()
    records = [_corrected(store, old, vineyard=new[0], block=new[1]) for old, new in changes]
    write.add({"blocks": frame_of("blocks", records)})


def _name(write: _Folder | _File, names: BlockNames, own: list[Block], vineyard: str) -> None:
    """Give the vineyard of some blocks, which has no name, a name: these are the same blocks in every copy from now on.

    That they had no name before stays on record, so that an earlier copy can be merged.
    """
    for block in own:
        other = names.of_name(vineyard, block.label)
        if other is not None and other.root != block.root:
            raise RecordError(
                f"{vineyard!r} has, or had, a block {block.label!r} already: --block {block.label} --to gives this one another label first"
            )
    write.name(own, vineyard)
    store = write.known()
    after = [_corrected(store, (vineyard, block.label)) for block in own]
    before = [{**one, "vineyard": "", "recorded_at": ""} for one in after]
    before = [{**one, "id": record_id("blocks", one)} for one in before]
    after = [{**one, "corrects": old["id"]} for one, old in zip(after, before, strict=True)]
    write.add({"blocks": frame_of("blocks", [*before, *after])})


def take_back(path: str | Path, block: str, *, with_records: bool = False) -> Added:
    """Take a block back that never was; all that was written of it stays readable.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    block : str
        The block as it is named.
    with_records : bool
        Take back its findings, surveys, work and plants too.

    Raises
    ------
    RecordError
        If it has such records and `with_records` is off.
    """
    with open_vineyard(path) as store:
        found = store.names().find(block)
        name = store.names().outside(found)
        tables = {table: store.frame(table, name) for table in ("rows", *_SEEN)}
        many = {table: len(tables[table]) for table in _SEEN if len(tables[table])}
        if many and not with_records:
            told = ", ".join(f"{count:,} {_SEEN[table][count > 1]}" for table, count in many.items())
            raise RecordError(
                f"block {name!r} has {told} on record: --with-records takes them back too (they stay readable), "
                "--to gives the block another label"
            )
        # One moment for all, by which they are brought back together: after all that was written of any of them.
        every = [store.frame(table, name, all_versions=True)["recorded_at"] for table in ("blocks", *tables)]
        now = later_than((moment for moments in every for moment in moments), now_text())
        frames = {"blocks": frame_of("blocks", [_corrected(store, found.today, void="yes", recorded_at=now)])}
        for table, frame in tables.items():
            frames[table] = frame_of(
                table, [_correction(one, void="yes", recorded_at=now) for one in records_of(frame)]
            )
    return add_frames(path, frames)


def bring_back(path: str | Path, block: str) -> Added:
    """Let a block stand again that was taken back, with the records that were taken back with it.

    Raises
    ------
    RecordError
        If no block of that name was taken back.
    """
    with open_vineyard(path) as store:
        names = store.names()
        gone = [one for one in names.every if not one.stands and block in _called(one)]
        if len(gone) != 1:
            listed = ", ".join("/".join(filter(None, one.today)) for one in names.every if not one.stands)
            raise UnknownBlockError(f"no block {block!r} was taken back; taken back: {listed or 'none'}")
        void = _last(store.stored("blocks"), gone[0].root)
        now = later_than([str(void["recorded_at"])], now_text())
        frames = {}
        for table in ("blocks", "rows", *_SEEN):
            kept = store.stored(table)
            own = kept[(kept["void"] == "yes") & (kept["recorded_at"] == void["recorded_at"])]
            if table == "blocks":
                own = own[own["id"] == void["id"]]
            else:
                own = own[[(v, b) in gone[0].names for v, b in zip(own["vineyard"], own["block"], strict=True)]]
            frames[table] = frame_of(table, [_correction(one, void="", recorded_at=now) for one in records_of(own)])
    return add_frames(path, frames)


def _called(block: Block) -> set[str]:
    return {label for _, label in block.names} | {f"{owner}/{label}" for owner, label in block.names}


def _last(blocks: pd.DataFrame, root: str) -> dict[str, Any]:
    """Return the record by which a block was taken back."""
    roots = roots_of(blocks)
    own: Iterable[dict[str, Any]] = (
        one for one in records_of(blocks) if roots.get(str(one["id"]), str(one["id"])) == root and one["void"] == "yes"
    )
    return max(own, key=lambda one: (str(one["recorded_at"]), str(one["id"])))


def _corrected(store: Store, name: Name, **changes: str) -> dict[str, Any]:
    """Return a correction of what stands of a block."""
    blocks = store.stored("blocks")
    own = next(one for one in records_of(standing(blocks)) if (str(one["vineyard"]), str(one["block"])) == name)
    moments = family_of(blocks, str(own["id"]))[1]["recorded_at"]
    return _correction(own, **{"recorded_at": later_than(moments, now_text())} | changes)


def _correction(record: dict[str, Any], **changes: str) -> dict[str, Any]:
    """Return a correction of a record; it follows on what stands, so that a name may come back."""
    told = {name: value for name, value in record.items() if name not in ("id", "read_from", "device", "observer")}
    return {
        **told,
        "corrects": record["id"],
        "void": "",
        "recorded_at": later_than([str(record["recorded_at"])], now_text()),
        **changes,
    }
