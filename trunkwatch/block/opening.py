"""One road from a folder or a file to the history of a block."""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.errors import FileError, NotAVineyardError, RecordError, UnknownBlockError
from trunkwatch.grid import RowGrid
from trunkwatch.ground import Placed, place, rows_from_ends
from trunkwatch.history import (
    DEFINITIONS,
    MATURE_LIVING,
    BlockHistory,
    BlockRecords,
    Condition,
    build_history,
)
from trunkwatch.spreadsheets.folder import read_folder
from trunkwatch.store import Store

__all__ = ["BlockSeason", "load", "open_vineyard", "records_of_block"]


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
    records : BlockRecords
        What it was made of.
    notes : tuple of str
        What a reader should know before the numbers.
    """

    history: BlockHistory
    without_winter: BlockHistory | None
    season: int
    placed: Placed = field(repr=False)
    records: BlockRecords = field(repr=False)
    notes: tuple[str, ...] = ()

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
    """Open a vineyard to read: a folder of notes goes into memory, a file is opened as it is.

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
    where = Path(path)
    if where.is_dir():
        notes = read_folder(where)
        if not keep_good:
            notes.raise_if_faulty()
        store = Store.in_memory()
        store.append(notes.frames, named=True)
        return store
    if not where.exists():
        raise FileError(f"no vineyard at {str(path)!r}; `trunkwatch new {path}` starts one")
    if where.suffix.casefold() != ".gpkg":
        raise NotAVineyardError(
            f"{str(path)!r} is no vineyard: a folder of notes or a .gpkg file is; "
            "`trunkwatch load` takes single CSV and XLSX files into one"
        )
    return Store.open(where)


def records_of_block(store: Store, block: str | None) -> BlockRecords:
    """Return the standing records of one block; of the only block where none is named.

    Raises
    ------
    UnknownBlockError
        If there is no such block, several are named so, or none is named and there are several.
    """
    names = store.names()
    if block is None:
        if len(names.labels) != 1:
            raise UnknownBlockError(f"which block? --block takes one of: {', '.join(names.labels)}")
        block = names.labels[0]
    found = names.find(block)
    name = names.outside(found)
    record = {str(k): v for k, v in store.frame("blocks", name).iloc[-1].items()} | {"block": name}
    tables = {
        table: names.outwards(table, store.frame(table, name))
        for table in ("rows", "plants", "surveys", "symptoms", "work")
    }
    return BlockRecords(block=record, **tables)


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
    records = records_of_block(path, block)
    grid, placed, records = laid_out(records)
    history, notes = _history(records, grid, definition, season)
    if not history.seasons:
        raise RecordError(f"block {records.name!r} has no survey, finding or work yet; `trunkwatch log` adds them")
    wanted = season or (history.counted_seasons or history.seasons)[-1]
    history.index_of(wanted)
    winter = (records.symptoms["cause"] == "winter_injury").any()
    without = build_history(records, grid, history.definition, without_winter=True, through=wanted) if winter else None
    if wanted != history.seasons[-1]:
        history = build_history(records, grid, history.definition, through=wanted)
    return BlockSeason(
        history,
        without,
        wanted,
        placed,
        records,
        (*notes, *history.notes, *_grid_notes(grid, placed, str(records.block.get("replaces") or ""))),
    )


def laid_out(records: BlockRecords) -> tuple[RowGrid, Placed, BlockRecords]:
    block, rows = records.block, records.rows
    if len(rows) and rows[["start_longitude", "end_longitude"]].notna().any(axis=None):
        found, rows = rows_from_ends(block, rows)
        block = found
    grid = RowGrid.from_tables(block, rows)
    full = BlockRecords(block, rows, records.plants, records.surveys, records.symptoms, records.work)
    return grid, place(grid, block, rows), full


def _history(
    records: BlockRecords, grid: RowGrid, definition: str | None, season: int | None
) -> tuple[BlockHistory, tuple[str, ...]]:
    history = build_history(records, grid, definition or "any")
    counts = season in history.counted_seasons if season else bool(history.counted_seasons)
    if definition or counts:
        return history, ()
    others = {name: build_history(records, grid, name) for name in DEFINITIONS if name != "any"}
    best = max(others.values(), key=lambda h: (season in h.counted_seasons, len(h.counted_seasons)))
    if not best.counted_seasons or (season and season not in best.counted_seasons):
        return history, ()
    reason = next((look.reason for look in history.looks if not look.counted), "")
    return best, (
        f"cases are those of the definition '{best.definition}': no season counts for 'any' ({reason})"
        if not season
        else f"cases are those of the definition '{best.definition}': {season} does not count for 'any'",
    )


def _grid_notes(grid: RowGrid, placed: Placed, replaced: str) -> tuple[str, ...]:
    notes = [f"it replaces block {replaced}, whose records stand by themselves"] if replaced else []
    if grid.assumed_spacing:
        notes.append(
            "no spacing is written: nothing is said in metres, nor of a direction along the rows; write row_spacing_m and vine_spacing_m"
        )
    if grid.drifting:
        notes.append(f"rows {', '.join(grid.drifting)} do not keep step with the others: neighbours by metres")
    if not placed:
        notes.append(f"not placed on the earth: {placed.reason}")
    return tuple(notes)


def last_date(records: BlockRecords) -> str:
    """Return the last day in the records, empty where there is none."""
    days = pd.concat([records.surveys["date"], records.symptoms["date"], records.work["date"]])
    return str(days.max()) if len(days) else ""
