"""A new vineyard: a folder with one block, ready for the first survey."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from trunkwatch.errors import FaultyNotesError, FileError
from trunkwatch.intake.checks import check_frames
from trunkwatch.spreadsheets.write import append_records, write_folder
from trunkwatch.vineyard.tables import TABLES, empty_frame, frame_of

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


def start_folder(folder: str | Path, block: Mapping[str, Any], rows: int, vines: int) -> list[Path]:
    """Start a vineyard in a folder, or add a block to one.

    Parameters
    ----------
    folder : str or Path
        Made if it is not there.
    block : mapping
        Columns of the `blocks` table.
    rows, vines : int
        Rows 1 to `rows`, each with positions 1 to `vines`; change rows.csv where rows differ.

    Returns
    -------
    list of Path
        Files written.

    Raises
    ------
    FileError
        If the block is there already, or the folder cannot be written to.
    FaultyNotesError
        If the block cannot be laid out.
    """
    where = Path(folder)
    check_name(where)
    lines = [{"block": block["block"], "row": str(n + 1), "first": 1, "last": vines} for n in range(rows)]
    frames = {table: empty_frame(table) for table in TABLES}
    frames["blocks"], frames["rows"] = frame_of("blocks", [block]), frame_of("rows", lines)
    faults = [fault for fault in check_frames(frames) if fault.weight == "fault"]
    if faults:
        raise FaultyNotesError(faults)
    if not (where / "blocks.csv").exists():
        return write_folder(where, {name: frames[name] for name in ("blocks", "rows")})
    from trunkwatch.spreadsheets.folder import read_folder

    if block["block"] in read_folder(where).frames["blocks"]["block"].tolist():
        raise FileError(f"{where} has a block {block['block']!r} already; choose another label")
    return [append_records(where, "blocks", [block]), append_records(where, "rows", lines)]


def start_file(path: str | Path, block: Mapping[str, Any], rows: int, vines: int) -> list[Path]:
    """Start a vineyard as one file (GeoPackage), or add a block to one.

    Parameters and errors as in `start_folder`.
    """
    from trunkwatch.errors import RecordError
    from trunkwatch.intake.add import add_frames
    from trunkwatch.store import Store

    where = Path(path)
    new = not where.exists()
    if new:
        Store.create(where)
    else:
        with Store.open(where) as store:
            if block["block"] in store.blocks():
                raise RecordError(f"{where} has a block {block['block']!r} already; choose another label")
    lines = [{"block": block["block"], "row": str(n + 1), "first": 1, "last": vines} for n in range(rows)]
    try:
        add_frames(where, {"blocks": frame_of("blocks", [block]), "rows": frame_of("rows", lines)})
    except FaultyNotesError:
        if new:
            where.unlink()
        raise
    return [where]
