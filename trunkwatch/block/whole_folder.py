"""A folder of notes that is whole: what a program left unfinished in it is finished before it is read or written."""

import os
from collections.abc import Iterator, Mapping
from contextlib import contextmanager, suppress
from pathlib import Path

import pandas as pd

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.folder import Notes, read_folder
from trunkwatch.spreadsheets.one_step import OneStep, finish, is_waiting
from trunkwatch.spreadsheets.write import write_folder
from trunkwatch.store import turn_to_write

__all__ = ["read_whole_folder", "write_whole_folder", "writing_folder"]


def read_whole_folder(folder: Path) -> Notes:
    """Read every table of a folder; where a program was ended while it wrote, what it wrote is put in place first.

    A folder that cannot be written to is read as it would be then.

    Raises
    ------
    NotAVineyardError, FileError
        As `read_folder`.
    """
    if is_waiting(folder):
        with suppress(FileError), turn_to_write(folder):  # what stands in the way, reading tells
            finish(folder)
    return read_folder(folder)


@contextmanager
def writing_folder(folder: Path) -> Iterator[OneStep]:
    """Hand out a step to write, while nobody else can; all of it is put in place when all went well, or nothing.

    Raises
    ------
    FileError
        If the folder cannot be written to, or a file was changed meanwhile.
    """
    if not os.access(folder, os.W_OK):
        raise FileError(f"{folder} is read-only: change its permissions, or copy it; nothing was changed")
    with turn_to_write(folder):
        step = OneStep(folder)
        yield step
        step.put_in_place()


def write_whole_folder(folder: Path, frames: Mapping[str, pd.DataFrame]) -> list[Path]:
    """Write tables to a folder, which is made if it is not there, in one step; as `write_folder`."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"{folder} cannot be made: {error.strerror}; name another place") from error
    with writing_folder(folder) as step:
        return write_folder(folder, frames, step=step)
