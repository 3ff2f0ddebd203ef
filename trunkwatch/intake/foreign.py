"""The records of a vineyard file that somebody else made."""

from pathlib import Path

import pandas as pd

from trunkwatch.intake.checks import frames_of
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.store import Store

__all__ = ["frames_of_file"]


def frames_of_file(path: Path) -> dict[str, pd.DataFrame]:
    """Return every version of every record of a vineyard file, read in a process of its own.

    Raises
    ------
    FileError
        If it cannot be read, or not within the limits.
    """
    return apart(_read, path)


def _read(path: Path) -> dict[str, pd.DataFrame]:
    with Store.open(path) as store:
        return frames_of(store)
