"""A folder of notes: which file holds which table, and the same record written twice."""

from dataclasses import dataclass, field
from pathlib import Path

import pandas as pd

from trunkwatch.errors import FaultyNotesError, FileError, NotAVineyardError
from trunkwatch.spreadsheets.one_step import STEP, OneStep, waiting
from trunkwatch.spreadsheets.table import read_table
from trunkwatch.spreadsheets.worksheet import Worksheet, read_sheets
from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.named_records import named_records
from trunkwatch.vineyard.records import PROVENANCE
from trunkwatch.vineyard.tables import TABLES, empty_frame

__all__ = ["Notes", "files_in", "files_of", "once", "read_files", "read_folder", "table_of_file", "table_of_sheet"]

_ENDINGS = (".csv", ".xlsx", ".xlsm")
#: So often a folder is read again that another program writes meanwhile.
_AGAIN = 10


@dataclass(slots=True)
class Notes:
    """Tables read from files, and all that was wrong or odd in them."""

    frames: dict[str, pd.DataFrame]
    faults: list[Fault] = field(default_factory=list)
    names: BlockNames | None = None  # what the names of blocks mean

    @property
    def stopping(self) -> list[Fault]:
        """Faults without the notes."""
        return [fault for fault in self.faults if fault.weight == "fault"]

    def raise_if_faulty(self) -> None:
        """Raise FaultyNotesError if there is any fault."""
        if self.stopping:
            raise FaultyNotesError(self.stopping)


def table_of_file(name: str) -> str | None:
    """Return the table that a file or sheet name stands for: symptoms, symptoms-2026, Symptoms 2."""
    stem = name.casefold()
    for table in TABLES:
        rest = stem[len(table) :]
        if stem.startswith(table) and (not rest or not rest[0].isalpha()):
            return table
    return None


def read_folder(folder: Path, step: OneStep | None = None) -> Notes:
    """Read every table of a folder; of a step that counts and is not finished, the new versions.

    Parameters
    ----------
    folder : Path
        The folder.
    step : OneStep, optional
        New versions of files that are read in the place of what is there.

    Raises
    ------
    NotAVineyardError
        If the folder is not there or holds no blocks.
    """
    if not folder.is_dir():
        raise NotAVineyardError(f"no folder {str(folder)!r}; `trunkwatch new {folder}` starts one")
    notes = _read_at_rest(folder, step)
    if notes.frames["blocks"].empty and not notes.stopping:
        raise NotAVineyardError(
            f"{str(folder)!r} has no blocks.csv with a block in it; `trunkwatch new {folder}` starts a vineyard"
        )
    return notes


def _read_at_rest(folder: Path, step: OneStep | None) -> Notes:
    """Read the files of a folder as they are at one moment; again where another program wrote meanwhile."""
    for _ in range(_AGAIN):
        files = files_in(folder, step)
        before = _stamps(files)
        notes = read_files(files, step=step)
        if files == (now := files_in(folder, step)) and before == _stamps(now):
            break
    else:
        raise FileError(f"{folder} is being written by another program: wait until it is done, and try again")
    notes.faults += [
        Fault("note", f"read from {STEP}: it cannot be put in place, the folder can only be read", path.name)
        for path in files
        if path.parent.name == STEP
    ]
    return notes


def _stamps(files: list[Path]) -> list[tuple[int, int, int]]:
    found = []
    for path in files:
        try:
            state = path.stat()
            found.append((state.st_ino, state.st_size, state.st_mtime_ns))
        except OSError:  # gone since, or never to be read: reading tells
            found.append((0, 0, 0))
    return found


def files_in(folder: Path, step: OneStep | None = None) -> list[Path]:
    """Return the spreadsheets of a folder, hidden ones and those open in a program left out.

    A file whose new version counts and is not in place yet is that version.

    Parameters
    ----------
    folder : Path
        The folder.
    step : OneStep, optional
        Its new files are there already.

    Raises
    ------
    FileError
        If the folder cannot be read, or a file was changed before its new version was in place.
    """
    try:
        there = {
            path.name: path
            for path in folder.iterdir()
            if path.is_file() and not path.name.startswith((".", "~$")) and path.suffix.casefold() in _ENDINGS
        }
    except OSError as error:
        raise FileError(f"{folder} cannot be read: {error.strerror}") from error
    there |= {path.name: path for path in step.made()} if step else waiting(folder)
    return [there[name] for name in sorted(there)]


def read_files(files: list[Path], *, named: bool = True, step: OneStep | None = None) -> Notes:
    """Read the tables of some files; a file whose name is no table's is left out with a note.

    Parameters
    ----------
    files : list of Path
        Spreadsheets.
    named : bool
        Whether these files hold the blocks that their records mean, so that vineyard and ids can be filled in.
    step : OneStep, optional
        New versions that are read in the place of what is there.
    """
    parts: dict[str, list[pd.DataFrame]] = {table: [] for table in TABLES}
    faults: list[Fault] = []
    for path in files:
        try:
            sheets = read_sheets(path, raw=step.new(path) if step else None)
        except FileError as error:
            faults.append(Fault("fault", str(error).removeprefix(f"{path.name} "), path.name))
            continue
        for sheet in sheets:
            table = table_of_sheet(sheet, path, alone=len(sheets) == 1)
            if table is None:
                faults.append(Fault("note", "left out: its name is no table's", sheet.file))
                continue
            frame, found = read_table(sheet, table)
            parts[table].append(frame)
            faults += found
    frames = {
        table: pd.concat(found_frames, ignore_index=True) if found_frames else empty_frame(table)
        for table, found_frames in parts.items()
    }
    if not named:
        return Notes(frames, faults)
    told = named_records(empty_frame("blocks"), frames)
    faults += told.faults
    for table, frame in told.frames.items():
        frames[table], twice = once(table, frame)
        faults += twice
    return Notes(frames, faults, told.names)


def files_of(_where: Path, files: list[Path]) -> Notes:
    """Read the tables of some files of a folder, or of the one that it is, as they are written; as `read_files`."""
    return read_files(files, named=False)


def table_of_sheet(sheet: Worksheet, path: Path, *, alone: bool) -> str | None:
    """Return the table of a sheet: by its name, or by the file's where it is the only sheet."""
    return table_of_file(sheet.name) or (table_of_file(path.stem) if alone else None)


def once(table: str, frame: pd.DataFrame) -> tuple[pd.DataFrame, list[Fault]]:
    """Take a record that stands twice once; refuse one that stands twice with other values."""
    twice = frame["id"].duplicated(keep=False)
    if not twice.any():
        return frame, []
    faults = []
    says = [name for name in TABLES[table].names if name not in PROVENANCE]
    for _, group in frame[twice].groupby("id", sort=False):
        first = group.iloc[0]
        for _, other in group.iloc[1:].iterrows():
            differing = [
                n for n in says if first[n] != other[n] and not (first[n] != first[n] and other[n] != other[n])
            ]
            file, _, line = str(other["read_from"]).rpartition(":")
            at = int(line) if line.isdecimal() else 0
            if differing:
                name = differing[0]
                faults.append(
                    Fault(
                        "fault",
                        f"the same record stands at {first['read_from']} with another {name} ({first[name]})",
                        file,
                        at,
                        name,
                        str(other[name]),
                        "one of them, or a correction with `corrects`",
                    )
                )
            else:
                faults.append(Fault("note", f"duplicate line, imported once (first at {first['read_from']})", file, at))
    return frame[~frame["id"].duplicated()], faults
