"""Files of all kinds into a vineyard: tables as they are, foreign spreadsheets by a column map."""

from pathlib import Path

from trunkwatch.errors import FaultyNotesError, FileError
from trunkwatch.intake.add import Added, add_frames, merge_file
from trunkwatch.intake.checks import frames_of
from trunkwatch.notes.folder import read_files, read_folder
from trunkwatch.notes.handover import read_handover
from trunkwatch.notes.mapping import ColumnMap, map_sheet
from trunkwatch.notes.sheet import read_sheets
from trunkwatch.store import Store
from trunkwatch.vineyard.faults import Fault

__all__ = ["bring_files", "bring_sheet"]


def _ready(vineyard: Path) -> None:
    """Make the folder or file of a vineyard that is not there yet."""
    if vineyard.exists():
        return
    if vineyard.suffix.casefold() == ".gpkg":
        Store.create(vineyard)
    elif not vineyard.suffix:
        vineyard.mkdir(parents=True)


def bring_files(
    vineyard: Path, path: Path, *, take_changes: bool = False, keep_good: bool = False
) -> tuple[Added, list[Fault]]:
    """Take a file, or a folder of files, whose names are those of tables.

    Raises
    ------
    FileError
        If there is no such file, or its name is no table's.
    FaultyNotesError
        If it has faults and `keep_good` is off.
    """
    if not path.exists():
        raise FileError(f"no file {str(path)!r}")
    if path.suffix.casefold() == ".gpkg":
        if vineyard.is_dir() or (not vineyard.exists() and vineyard.suffix.casefold() != ".gpkg"):
            with Store.open(path) as store:
                frames = frames_of(store)
            _ready(vineyard)
            return add_frames(vineyard, frames, take_changes=take_changes, keep_good=keep_good), []
        _ready(vineyard)
        return merge_file(vineyard, path), []
    if path.suffix.casefold() == ".json":
        return _bring_handover(vineyard, path, take_changes=take_changes, keep_good=keep_good)
    notes = read_folder(path) if path.is_dir() else read_files([path])
    if notes.stopping and not keep_good:
        raise FaultyNotesError(notes.stopping)
    if not any(len(frame) for frame in notes.frames.values()):
        raise FileError(
            f"{path.name}: nothing to take; its name is no table's (symptoms-2026.csv is), or it is empty; "
            "a spreadsheet with its own columns needs --map and --status"
        )
    _ready(vineyard)
    return add_frames(vineyard, notes.frames, take_changes=take_changes, keep_good=keep_good), notes.faults


def _bring_handover(vineyard: Path, path: Path, *, take_changes: bool, keep_good: bool) -> tuple[Added, list[Fault]]:
    frames, faults = read_handover(path)
    if faults and not keep_good:
        raise FaultyNotesError(faults)
    if not frames:
        raise FileError(f"{path.name}: nothing to take; the phone had no record")
    _ready(vineyard)
    return add_frames(vineyard, frames, take_changes=take_changes, keep_good=keep_good), faults


def bring_sheet(
    vineyard: Path,
    path: Path,
    told: ColumnMap,
    *,
    take_changes: bool = False,
    keep_good: bool = False,
    sheet: str = "",
    heading: int = 1,
) -> tuple[Added, list[str]]:
    """Take a foreign spreadsheet; blocks and rows that are there already are left as they are.

    Parameters
    ----------
    vineyard : Path
        Folder or file.
    path : Path
        A CSV file or a workbook.
    told : ColumnMap
        What each column is.
    take_changes, keep_good : bool
        As in `add_frames`.
    sheet : str
        Name of the sheet that is meant, where a workbook has several.
    heading : int
        Line of the headings, where a title stands above them.

    Raises
    ------
    FileError, RecordError
        If it cannot be read or a column is not there.
    FaultyNotesError
        If what it says has faults and `keep_good` is off.
    """
    if not path.exists():
        raise FileError(f"no file {str(path)!r}")
    sheets = [one for one in read_sheets(path, heading) if sheet in ("", one.name)]
    if len(sheets) != 1:
        names = ", ".join(one.name for one in sheets)
        raise FileError(f"{path.name} has {len(sheets)} sheets ({names}): save the one you mean as a file of its own")
    mapped = map_sheet(sheets[0], told, keep_good=keep_good)
    _ready(vineyard)
    added = add_frames(vineyard, mapped.frames, take_changes=take_changes, keep_good=keep_good)
    return added, mapped.account
