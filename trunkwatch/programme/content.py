"""What a result is made of, as a short key: the records of a block, what was asked, and the program that answers."""

import json
from hashlib import blake2b
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.block.program_mark import program_mark
from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.write import replace_file
from trunkwatch.store import Store
from trunkwatch.vineyard.tables import TABLES

__all__ = ["Contents", "block_content", "content_part", "key_of", "stamp_of", "vineyard_content"]


def block_content(store: Store, block: str) -> str:
    """Return a mark of all that stands on record of a block, the prices and the weather of its vineyard included."""
    mark = blake2b(digest_size=16)
    for table in TABLES:
        mark.update(_bytes(table, store.frame(table, block)))
    return mark.hexdigest()


def vineyard_content(store: Store) -> str:
    """Return a mark of all that stands on record of all blocks of a vineyard."""
    mark = blake2b(digest_size=16)
    for table in TABLES:
        mark.update(_bytes(table, store.frame(table)))
    return mark.hexdigest()


def content_part(content: str) -> str:
    """Return the first part of a key: what it says of records and program, whatever was asked."""
    return blake2b(f"{program_mark()}\n{content}".encode(), digest_size=16).hexdigest()


def key_of(content: str, options: dict[str, Any]) -> str:
    """Return the key of what is made of records under some options by this program."""
    asked = json.dumps(options, sort_keys=True, ensure_ascii=False)
    return f"{content_part(content)}-{blake2b(asked.encode(), digest_size=16).hexdigest()}"


def stamp_of(store: Store) -> str:
    """Return a mark of a vineyard that changes with its records: of a file without reading them, of a folder what it holds."""
    if store.path is not None:
        stamps = store.stamps()
        if all("+" in stamp for stamp in stamps.values()):  # else another program has written to the file
            told = json.dumps(sorted([*name, stamp] for name, stamp in stamps.items()))
            return blake2b(told.encode(), digest_size=16).hexdigest()
    return vineyard_content(store)


class Contents:
    """The marks of a vineyard's records, kept under the stamp of its file, so that a second run need not read them.

    Parameters
    ----------
    store : Store
        Open to read.
    folder : Path, optional
        Where marks are kept; nothing is where left out, or where the vineyard is a folder.

    Attributes
    ----------
    stamp : str
        As `stamp_of` gives it.
    name : str
        Of the file of marks, without its ending.
    """

    def __init__(self, store: Store, folder: Path | None) -> None:
        self.store, self.stamp = store, stamp_of(store)
        self.name = f"contents-{blake2b(f'{program_mark()} {self.stamp}'.encode(), digest_size=16).hexdigest()}"
        self._path = folder / f"{self.name}.json" if folder is not None and store.path is not None else None
        self._known = self._read()
        self._new = False

    def block(self, label: str) -> str:
        """Return `block_content`."""
        return self._of(f"block {label}", lambda: block_content(self.store, label))

    def vineyard(self) -> str:
        """Return `vineyard_content`."""
        return self._of("vineyard", lambda: vineyard_content(self.store))

    def keep(self) -> None:
        """Keep what was read.

        Raises
        ------
        FileError
            If the folder cannot be written to.
        """
        if self._path is None or not self._new:
            return
        try:
            self._path.parent.mkdir(parents=True, exist_ok=True)
        except OSError as error:
            raise FileError(
                f"{self._path.parent} cannot be made: {error.strerror}; --cache names another folder"
            ) from error
        replace_file(self._path, json.dumps(self._known, ensure_ascii=False).encode())

    def _of(self, name: str, read: Any) -> str:
        if name not in self._known:
            self._known[name] = str(read())
            self._new = True
        return self._known[name]

    def _read(self) -> dict[str, str]:
        """Return what is kept; what is damaged is as if it were not there."""
        try:
            kept = json.loads(self._path.read_bytes()) if self._path is not None else {}
        except (OSError, ValueError):
            return {}
        return kept if isinstance(kept, dict) and all(isinstance(one, str) for one in kept.values()) else {}


def _bytes(table: str, frame: pd.DataFrame) -> bytes:
    """Write a table down; in which file and line a record stood makes no other answer."""
    return f"{table}\n{frame.drop(columns='read_from', errors='ignore').to_csv(index=False)}".encode()
