"""The column `vineyard` in spreadsheets: left out where there is one vineyard, written where that is no longer clear."""

from collections.abc import Collection, Iterable, Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.folder import files_in, table_of_sheet
from trunkwatch.spreadsheets.one_step import OneStep
from trunkwatch.spreadsheets.table import read_table
from trunkwatch.spreadsheets.worksheet import read_sheets
from trunkwatch.spreadsheets.write import fill_column
from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.tables import TABLES

__all__ = ["fill_vineyards", "frames_to_write", "name_blocks", "without_one_vineyard"]


def without_one_vineyard(table: str, frame: pd.DataFrame, names: BlockNames) -> pd.DataFrame:
    """Return records without their vineyard where all blocks are of one; blocks keep theirs.

    Parameters
    ----------
    table : str
        Name of the table.
    frame : DataFrame
        Records as their blocks are named today.
    names : BlockNames
        Of all blocks.
    """
    if table == "blocks" or len(names.vineyards) > 1:
        return frame
    only = set(names.vineyards) | {""}
    return frame.assign(vineyard=["" if owner in only else owner for owner in frame["vineyard"]])


def frames_to_write(frames: Mapping[str, pd.DataFrame], names: BlockNames) -> dict[str, pd.DataFrame]:
    """Return all tables as they are written out."""
    return {table: without_one_vineyard(table, frame, names) for table, frame in frames.items()}


def fill_vineyards(folder: Path, before: BlockNames, after: BlockNames, *, step: OneStep | None = None) -> list[Path]:
    """Write the vineyard into the lines of a folder for which it was clear before new blocks came, and is not after.

    Parameters
    ----------
    folder : Path
        A folder of notes without faults.
    before, after : BlockNames
        Of the blocks there were, and of those with the new ones.
    step : OneStep, optional
        What this is part of; a step of its own where left out.

    Returns
    -------
    list of Path
        Files that were written.

    Raises
    ------
    FileError
        If such a line stands in a workbook: only CSV files are written to.
    """
    if not before.blocks:
        return []
    found = []
    for path in files_in(folder, step):
        sheets = read_sheets(path, raw=step.new(path) if step else None)
        for sheet in sheets:
            table = table_of_sheet(sheet, path, alone=len(sheets) == 1)
            if table is None or table == "blocks":
                continue
            frame, _ = read_table(sheet, table)
            owners = [_written(table, record, before, after) for record in frame.to_dict("records")]
            if not any(owners):
                continue
            if path.suffix.casefold() != ".csv":
                raise FileError(
                    f"{path.name}: write the column vineyard into the sheet {sheet.name} first ({next(filter(None, owners))}); "
                    "with the new block it is not clear any more which vineyard its lines mean"
                )
            found.append((path, table, owners))
    _fill(folder, found, step)
    return [path for path, _, _ in found]


def _fill(folder: Path, found: Iterable[tuple[Path, str, list[str]]], step: OneStep | None) -> None:
    own = step or OneStep(folder)
    for path, table, owners in found:
        fill_column(path, table, "vineyard", owners, step=own)
    if step is None:
        own.put_in_place()


def name_blocks(folder: Path, labels: Collection[str], vineyard: str, *, step: OneStep | None = None) -> list[Path]:
    """Write the name of the vineyard into the lines of blocks that have none; `step` as in `fill_vineyards`.

    Raises
    ------
    FileError
        If such a line stands in a workbook: only CSV files are written to.
    """
    found = []
    for path in files_in(folder, step):
        sheets = read_sheets(path, raw=step.new(path) if step else None)
        for sheet in sheets:
            if table_of_sheet(sheet, path, alone=len(sheets) == 1) != "blocks":
                continue
            frame, _ = read_table(sheet, "blocks")
            owners = [
                vineyard if not owner and label in labels else ""
                for owner, label in zip(frame["vineyard"], frame["block"], strict=True)
            ]
            if any(owners) and path.suffix.casefold() != ".csv":
                raise FileError(f"{path.name}: write {vineyard!r} into the column vineyard of the sheet {sheet.name}")
            found += [(path, "blocks", owners)] if any(owners) else []
    _fill(folder, found, step)
    return [path for path, _, _ in found]


def _written(table: str, record: Mapping[Any, Any], before: BlockNames, after: BlockNames) -> str:
    """Return the vineyard that must be written into a line from now on; empty where nothing must."""
    if record["vineyard"]:
        return ""
    if "block" not in TABLES[table].names:
        clear = len(before.vineyards) == 1 and (len(after.vineyards) == 1 or before.vineyards[0] == "")
        return "" if clear or len(before.vineyards) > 1 else before.vineyards[0]
    meant, now = before.meant("", str(record["block"])), after.meant("", str(record["block"]))
    if len(meant) != 1 or [one.root for one in now] == [meant[0].root]:
        return ""
    return meant[0].vineyard
