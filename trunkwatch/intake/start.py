"""A new vineyard: a folder or a file with one block, ready for the first survey; and one block more."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.block.opening import open_vineyard
from trunkwatch.block.whole_folder import write_whole_folder
from trunkwatch.errors import FaultyNotesError, FileError, RecordError, TrunkwatchError
from trunkwatch.intake.add import Known, add_frames, add_made
from trunkwatch.intake.checks import check_frames
from trunkwatch.spreadsheets.folder import files_in, table_of_file
from trunkwatch.store import Store, is_there, shown_path
from trunkwatch.store.shared import SharedStore
from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.named_records import named_records
from trunkwatch.vineyard.records import now_text
from trunkwatch.vineyard.tables import TABLES, Record, empty_frame, frame_of

_NO_FOLDER = (".csv", ".xlsx", ".xlsm", ".xls", ".ods", ".txt", ".json", ".geojson")

__all__ = ["check_name", "start_file", "start_folder"]


def check_name(folder: Path) -> None:
    """Refuse the name of a spreadsheet for a folder that is to be made.

    Raises
    ------
    FileError
        If the name has the ending of a file of another kind.
    """
    if folder.suffix.casefold() in _NO_FOLDER and not folder.is_dir():
        raise FileError(f"{folder.name} is no vineyard: name a folder (my_vines) or a .gpkg file (my_vines.gpkg)")


#: How many rows, or their lines.
Rows = int | Sequence[Record]


def start_folder(
    folder: str | Path, block: Mapping[str, Any], rows: Rows, vines: int = 0, plants: Sequence[Record] = ()
) -> list[Path]:
    """Start a vineyard in a folder, or add a block to one.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.
    block : mapping
        Columns of the `blocks` table. Where it has no vineyard, a new vineyard takes the name of the folder, and
        a block that is added goes to the vineyard that is there.
    rows : int or sequence of records
        Rows 1 to `rows`, each with positions 1 to `vines`; where rows differ, their lines as the `rows` table has them,
        without block and vineyard.
    vines : int
        Positions of each row, where `rows` is a number.
    plants : sequence of records
        Lines of the `plants` table, without block and vineyard.

    Returns
    -------
    list of Path
        Files written.

    Raises
    ------
    RecordError
        If the block was there before, or it is not clear of which vineyard it is.
    FileError
        If the block is there already, or the folder cannot be written to.
    FaultyNotesError
        If the block cannot be laid out.
    """
    where = Path(folder)
    check_name(where)
    if where.is_dir() and any(table_of_file(path.stem) == "blocks" for path in files_in(where)):
        return _added(where, block, rows, vines, plants)
    block, lines = _new(where, block, rows, vines)
    frames = {table: empty_frame(table) for table in TABLES}
    frames |= _frames(block, lines, plants)
    made = tuple(_frames(block, lines, plants))
    told = named_records(empty_frame("blocks"), {name: frames[name] for name in made})
    faults = [fault for fault in check_frames({**frames, **told.frames}) if fault.weight == "fault"]
    if faults:
        raise FaultyNotesError(faults)
    return write_whole_folder(where, {name: frames[name] for name in made})


def _frames(block: Record, lines: Sequence[Record], plants: Sequence[Record]) -> dict[str, pd.DataFrame]:
    """Return the tables of a new block; without plants only blocks and rows."""
    owner = {name: block[name] for name in ("block", "vineyard", "device") if block.get(name)}
    own = [{**line, **owner} for line in plants]
    return {"blocks": frame_of("blocks", [block]), "rows": frame_of("rows", lines)} | (
        {"plants": frame_of("plants", own)} if own else {}
    )


def start_file(
    path: str | Path, block: Mapping[str, Any], rows: Rows, vines: int = 0, plants: Sequence[Record] = ()
) -> list[Path]:
    """Start a vineyard as one file (GeoPackage), or add a block to one.

    Parameters and errors as in `start_folder`.
    """
    where = Path(path)
    if is_there(where):
        return _added(where, block, rows, vines, plants)
    block, lines = _new(where, block, rows, vines)
    Store.create(where)
    try:
        add_frames(where, _frames(block, lines, plants))
    except TrunkwatchError:
        where.unlink(missing_ok=True)  # nothing of it could be taken
        raise
    return [where]


def _new(where: Path, block: Mapping[str, Any], rows: Rows, vines: int) -> tuple[dict[str, Any], list[dict[str, Any]]]:
    """Return the block and its rows; a new vineyard is named after its folder or file."""
    # When it was started tells the block from those of the same name in other vineyards.
    told = {"vineyard": where.resolve().stem, "recorded_at": now_text(), **block}
    lines = [{"row": str(n + 1), "first": 1, "last": vines} for n in range(rows)] if isinstance(rows, int) else rows
    who = {"device": block["device"]} if block.get("device") else {}
    return told, [{**line, **who, "block": block["block"]} for line in lines]


def _added(where: Path, block: Mapping[str, Any], rows: Rows, vines: int, plants: Sequence[Record] = ()) -> list[Path]:
    """Add a block to a vineyard that is there; it goes to the only vineyard where none is named."""
    with open_vineyard(where) as store:
        usual = store.grower if isinstance(store, SharedStore) else where.resolve().stem
        owner = _owner(where, store.names(), block, usual)

    def make(known: Known) -> Mapping[str, Any]:
        # Asked while nobody else can write: rows of two blocks of one name would else become one block.
        _refuse_known(where, BlockNames(known("blocks")), owner, str(block["block"]))
        record, lines = _new(where, {**block, "vineyard": owner}, rows, vines)
        owned = [{**line, "vineyard": owner} for line in lines]
        return _frames(record, owned, plants)

    add_made(where, make)
    written = ("blocks.csv", "rows.csv", *(("plants.csv",) if plants else ()))
    return [where / name for name in written] if where.is_dir() else [where]


def _owner(where: Path, names: BlockNames, block: Mapping[str, Any], usual: str) -> str:
    """Return the vineyard that a block goes to; a first one has the usual name."""
    if "vineyard" not in block and len(names.vineyards) > 1:
        told = ", ".join(repr(one) for one in names.vineyards)
        raise RecordError(
            f"{shown_path(where)} has {len(names.vineyards)} vineyards: --vineyard says which the block is of: {told}"
        )
    return str(block.get("vineyard", names.vineyards[0] if names.vineyards else usual))


def _refuse_known(where: Path, names: BlockNames, owner: str, label: str) -> None:
    """Refuse a block that is there, or was."""
    known = names.of_name(owner, label)
    if known is not None and known.stands:
        now = "" if known.today == (owner, label) else f"; it is called {names.outside(known)} now"
        kind = FileError if where.is_dir() else RecordError
        raise kind(f"{shown_path(where)} has a block {label!r} already{now}; choose another label")
    if known is not None:
        raise RecordError(
            f"{shown_path(where)} had a block {label!r} that was taken back; choose another label, or bring it back: "
            f"`trunkwatch rename {shown_path(where)} --block {label} --bring-back`"
        )
