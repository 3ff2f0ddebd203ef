"""One road from a folder or a file to the reading and the history of a block."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from trunkwatch.block.spoken_to import follow_store
from trunkwatch.block.whole_folder import read_whole_folder
from trunkwatch.errors import FileError, NotAVineyardError, NothingWrittenError, UnknownBlockError
from trunkwatch.grid import RowGrid
from trunkwatch.ground import Placed, on_the_ground, place, rows_from_ends
from trunkwatch.history import (
    DEFINITIONS,
    MATURE_LIVING,
    BlockHistory,
    BlockReading,
    BlockRecords,
    Condition,
    build_history,
    read_block,
)
from trunkwatch.history.reasons import SeasonNote
from trunkwatch.store import Store, as_path, is_shared
from trunkwatch.vineyard.calendar import season_bounds

__all__ = [
    "BlockNote",
    "BlockNoteKind",
    "BlockSeason",
    "Readings",
    "block_line",
    "load",
    "open_vineyard",
    "read",
    "records_of_block",
    "season_of_block",
]


class BlockNoteKind(Enum):
    """What a reader should know before the numbers of a block; words in `trunkwatch.block.words`."""

    LATER_SEASON = 1
    DEFINITION = 2
    REPLACES = 3
    NO_SPACING = 4
    DRIFTING = 5
    NOT_PLACED = 6


class BlockNote(NamedTuple):
    """One note: the season that it is about (0 for none), and looks, definition, block, rows or cause by name."""

    kind: BlockNoteKind
    season: int = 0
    names: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class BlockSeason:
    """One season of one block, with the years before it.

    Attributes
    ----------
    history : BlockHistory
        The block over its years under the case definition.
    without_winter : BlockHistory or None
        The same with findings of suspected winter injury taken as no case; None where there are none.
    season : int
        Year of the harvest.
    placed : Placed
        Where the positions stand on the earth; false where that is not known.
    as_of : str
        Day up to which records speak for what stands on a vine: the season's last where the season was asked for, else
        the last of all records, which may lie in a season that is still under way.
    notes : tuple of BlockNote or SeasonNote
        What a reader should know before the numbers.
    known_until : str
        Day after which work is taken as not known yet, to look back from an earlier season.
    """

    history: BlockHistory
    without_winter: BlockHistory | None
    season: int
    placed: Placed = field(repr=False)
    as_of: str = ""
    notes: tuple[BlockNote | SeasonNote, ...] = ()
    known_until: str = "9999-99-99"

    @property
    def reading(self) -> BlockReading:
        """The block's records, read once; all years of them."""
        return self.history.reading

    @property
    def block(self) -> Mapping[str, object]:
        """The block's line."""
        return self.reading.records.block

    @property
    def grafted(self) -> bool:
        """Whether vines are grafted, or may be: a shoot from below the union is then rootstock."""
        return str(self.block.get("grafted") or "") != "no"

    @property
    def index(self) -> int:
        """Place of the season in the history."""
        return self.history.index_of(self.season)

    @property
    def vines(self) -> NDArray[np.bool_]:
        """Mature living vines looked at: the mask of every test, (rows, stations)."""
        return np.isin(self.history.condition[self.index], MATURE_LIVING)

    @property
    def cases(self) -> NDArray[np.bool_]:
        """Vines showing this season, (rows, stations)."""
        return np.asarray(self.history.condition[self.index] == Condition.SHOWING)


def open_vineyard(path: str | Path, *, keep_good: bool = False) -> Store:
    """Open a vineyard to read: a folder of notes goes into memory, a file or a shared store is opened as it is.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    keep_good : bool
        Take the good lines of files that have faulty ones.

    Raises
    ------
    FileError
        If there is nothing, or nothing that can be read.
    FaultyNotesError
        If notes have faults and `keep_good` is off.
    """
    where = as_path(path)
    if where.is_dir():
        notes = read_whole_folder(where)
        if not keep_good:
            notes.raise_if_faulty()
        store = Store.in_memory()
        store.folder = where
        store.append(notes.frames, named=True)
        follow_store(store)
        return store
    if is_shared(where):
        store = Store.open(where)
        follow_store(store)
        return store
    if not where.exists():
        raise FileError(f"no vineyard at {str(path)!r}; `trunkwatch new {path}` starts one")
    if where.suffix.casefold() != ".gpkg":
        raise NotAVineyardError(
            f"{str(path)!r} is no vineyard: a folder of notes or a .gpkg file is; "
            "`trunkwatch load` takes single CSV and XLSX files into one"
        )
    store = Store.open(where)
    follow_store(store)
    return store


def records_of_block(store: Store, block: str | None) -> BlockRecords:
    """Return the standing records of one block; of the only block where none is named.

    Raises
    ------
    UnknownBlockError
        If there is no such block, several are named so, or none is named and there are several.
    """
    record = block_line(store, block)
    names = store.names()
    tables = {
        table: names.outwards(table, store.frame(table, str(record["block"])))
        for table in ("rows", "plants", "surveys", "symptoms", "work")
    }
    return BlockRecords(block=record, **tables)


def block_line(store: Store, block: str | None) -> dict[str, Any]:
    """Return the line of one block, named as it is called outside; errors as in `records_of_block`."""
    names = store.names()
    if block is None:
        if len(names.labels) != 1:
            raise UnknownBlockError(f"which block? --block takes one of: {', '.join(names.labels)}")
        block = names.labels[0]
    name = names.outside(names.find(block))
    follow_store(store, name)
    return {str(k): v for k, v in store.frame("blocks", name).iloc[-1].items()} | {"block": name}


def load(
    path: str | Path | Store,
    block: str | None = None,
    season: int | None = None,
    *,
    definition: str | None = None,
    keep_good: bool = False,
) -> BlockSeason:
    """Read one block up to one season.

    Parameters
    ----------
    path : str, Path or Store
        Folder, file, or a store that is open already.
    block : str, optional
        Label of the block; may be left out where there is only one.
    season : int, optional
        Year of the harvest; the last counted one where left out.
    definition : {"any", "leaf", "dieback"}, optional
        Case definition. Where left out it is `any`, or, where no season counts for that, the
        one for which most seasons count; a note says so.
    keep_good : bool
        As in `open_vineyard`.

    Raises
    ------
    TrunkwatchError
        If the data stand in the way.
    ValueError
        If there is no such definition.
    """
    if not isinstance(path, Store):
        with open_vineyard(path, keep_good=keep_good) as store:
            return load(store, block, season, definition=definition)
    reading, placed = read(path, block)
    return season_of_block(reading, placed, season, definition=definition)


def read(store: Store, block: str | None = None) -> tuple[BlockReading, Placed]:
    """Read the records of a block once.

    Raises
    ------
    TrunkwatchError
        If there is no such block, or its rows cannot be laid out.
    """
    grid, placed, records = laid_out(records_of_block(store, block))
    return read_block(records, grid), placed


class Readings:
    """The blocks of one vineyard, each read once: report, plan, forecast and lists of a run share them.

    Parameters
    ----------
    store : Store
        Open to read, and not written to while these are used.
    most : int
        Blocks kept in memory; of a larger vineyard the one used longest ago is let go.
    """

    def __init__(self, store: Store, most: int = 64) -> None:
        self.store = store
        self._most = most
        self._kept: dict[str, tuple[BlockReading, Placed]] = {}

    def of(self, block: str | None) -> tuple[BlockReading, Placed]:
        """Return a block and where it lies; errors as in `read`."""
        name = str(block_line(self.store, block)["block"])
        found = self._kept.pop(name, None) or read(self.store, name)
        self._kept[name] = found
        while len(self._kept) > self._most:
            self._kept.pop(next(iter(self._kept)))
        return found

    def season(self, block: str | None, season: int | None = None, *, definition: str | None = None) -> BlockSeason:
        """Return one season of a block; parameters and errors as in `load`."""
        return season_of_block(*self.of(block), season, definition=definition)


def season_of_block(
    reading: BlockReading, placed: Placed, season: int | None = None, *, definition: str | None = None
) -> BlockSeason:
    """Return one season of a block that is read; parameters and errors as in `load`."""
    history, notes = _history(reading, definition, season)
    if not history.seasons:
        raise NothingWrittenError(
            f"block {history.block!r} has no survey, finding or work yet; `trunkwatch log` adds them"
        )
    wanted = history.seasons[-1]
    winter = any(finding.cause == "winter_injury" for finding in reading.findings)
    without = build_history(reading, history.definition, without_winter=True, through=wanted) if winter else None
    end = season_bounds(wanted, reading.hemisphere)[1]
    return BlockSeason(
        history,
        without,
        wanted,
        placed,
        end if season is not None else max(end, reading.last_day),
        (
            *notes,
            *history.notes,
            *_grid_notes(reading.grid, placed, str(reading.records.block.get("replaces") or "")),
        ),
    )


def laid_out(records: BlockRecords) -> tuple[RowGrid, Placed, BlockRecords]:
    block, rows = records.block, records.rows
    if len(rows) and rows[["start_longitude", "end_longitude"]].notna().any(axis=None):
        found, rows = rows_from_ends(block, rows)
        block = found
    grid = RowGrid.from_tables(block, rows)
    full = BlockRecords(block, rows, records.plants, records.surveys, records.symptoms, records.work)
    placed = place(grid, block, rows, records.plants)
    return on_the_ground(grid, placed), placed, full


def _history(
    reading: BlockReading, definition: str | None, season: int | None
) -> tuple[BlockHistory, tuple[BlockNote, ...]]:
    """Build the history up to the season that is meant, under the definition that is meant."""
    whole = build_history(reading, definition or "any")
    if not whole.seasons:
        return whole, ()
    if season is not None:
        whole.index_of(season)
    wanted = season or _usual_season(whole)
    history = whole if wanted == whole.seasons[-1] else build_history(reading, whole.definition, through=wanted)
    if season is None:
        later = [look for look in whole.looks if look.counted and look.season > wanted]
        return history, tuple(BlockNote(BlockNoteKind.LATER_SEASON, look.season, look.looks) for look in later)
    if definition:
        return history, ()
    best = max(
        (build_history(reading, name, through=season) for name in DEFINITIONS),
        key=lambda h: (season in h.counted_seasons, len(h.compared_seasons), h.definition == "any"),
    )
    if best.definition == "any" or season not in best.counted_seasons:
        return history, ()
    return best, (BlockNote(BlockNoteKind.DEFINITION, season, (best.definition,)),)


def _usual_season(history: BlockHistory) -> int:
    """Return the last counted season; one that lacks a class of looks which the season before had is taken to be under way."""
    counted = [look for look in history.looks if look.counted]
    if not counted:
        return history.seasons[-1]
    if len(counted) > 1 and counted[-1].classes < counted[-2].classes:
        return counted[-2].season
    return counted[-1].season


def _grid_notes(grid: RowGrid, placed: Placed, replaced: str) -> tuple[BlockNote, ...]:
    notes = [BlockNote(BlockNoteKind.REPLACES, names=(replaced,))] if replaced else []
    if grid.assumed_spacing:
        notes.append(BlockNote(BlockNoteKind.NO_SPACING))
    if grid.drifting:
        notes.append(BlockNote(BlockNoteKind.DRIFTING, names=tuple(grid.drifting)))
    if not placed:
        notes.append(BlockNote(BlockNoteKind.NOT_PLACED, names=(placed.reason,)))
    return tuple(notes)
