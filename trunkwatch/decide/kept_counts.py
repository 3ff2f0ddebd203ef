"""Counts of blocks kept from run to run: a forecast that leans on a block reads a small file in place of the block's records."""

import json
from hashlib import blake2b
from pathlib import Path

from trunkwatch.block.program_mark import program_mark
from trunkwatch.errors import FileError
from trunkwatch.forecast.season_counts import SeasonCounts
from trunkwatch.spreadsheets.one_step import replace_file
from trunkwatch.store import Store
from trunkwatch.vineyard.block_names import Name

__all__ = ["KeptCounts"]


class KeptCounts:
    """A folder of counts, each under a mark of the records that it was made of and of the program that made it.

    Only a vineyard file has marks that cost no reading of its records; of a folder of spreadsheets nothing is kept.

    Parameters
    ----------
    folder : Path
        Made where it is not there.
    """

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._marks: dict[Name, str] | None = None

    def read(self, store: Store, block: str, definition: str) -> list[SeasonCounts] | None:
        """Return the counts of a block as they stand; None where none are kept. What is damaged is as if it were not there."""
        path = self._path(store, block, definition)
        if path is None:
            return None
        try:
            return [SeasonCounts.of_data(one) for one in json.loads(path.read_bytes())]
        except (OSError, ValueError, KeyError, TypeError, AttributeError, IndexError):
            return None

    def write(self, store: Store, block: str, definition: str, counts: list[SeasonCounts]) -> None:
        """Keep the counts of a block.

        Raises
        ------
        FileError
            If the folder cannot be written to.
        """
        path = self._path(store, block, definition)
        if path is None:
            return
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise FileError(f"{self.folder} cannot be made: {error.strerror}; --cache names another folder") from error
        replace_file(path, json.dumps([one.as_data() for one in counts]).encode())

    def _path(self, store: Store, block: str, definition: str) -> Path | None:
        if store.path is None:
            return None
        if self._marks is None:
            self._marks = store.stamps()
        named = store.names().find(block)
        marks = [self._marks.get(name, "") for name in named.names]
        if not any(marks):
            return None
        told = json.dumps([program_mark(), named.root, named.names, marks, definition])
        return self.folder / f"counts-{blake2b(told.encode(), digest_size=16).hexdigest()}.json"
