"""The map layers of a store: blocks, rows and vines as any GIS shows them, written anew block by block, and how new they are."""

import sqlite3
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from pathlib import Path

import pandas as pd

from trunkwatch.store.geopackage import (
    LAYERS,
    clear_conditions,
    clear_strays,
    set_extent,
    write_conditions,
    write_layer,
)
from trunkwatch.store.log import names_of, read_log
from trunkwatch.store.touched import change_counter, note_drawn, stale_blocks, stamps
from trunkwatch.vineyard.block_names import BlockNames, Name

__all__ = ["MapLayers"]


class MapLayers(ABC):
    """What a store does with its layers."""

    _db: sqlite3.Connection
    path: Path | None

    @abstractmethod
    def names(self) -> BlockNames:
        """Return what the names of blocks mean."""

    @abstractmethod
    def transaction(self) -> AbstractContextManager[None]:
        """Take all that is written inside, or nothing of it."""

    @abstractmethod
    def _told(self) -> AbstractContextManager[None]:
        """Say a fault of the database in the words of the store."""

    def mapped(self) -> tuple[str, ...]:
        """Return the names of the blocks that are on the map layers of the file."""
        with self._told():
            return tuple(name for (name,) in self._db.execute("SELECT DISTINCT block FROM map_blocks ORDER BY fid"))

    def clear_strays(self) -> None:
        """Take away what is on the layers of vines that are not."""
        with self.transaction():
            clear_strays(self._db)

    def clear_map(self, block: str) -> None:
        """Take a block off the map layers of the file."""
        with self.transaction():
            clear_conditions(self._db, block)
            for name in LAYERS:
                self._db.execute(f'DELETE FROM "{name}" WHERE block = ?', (block,))

    def write_map(
        self,
        block: str,
        layers: Mapping[str, pd.DataFrame],
        conditions: Sequence[tuple[str, int, int, str, int]],
        bounds: tuple[float, float, float, float],
    ) -> None:
        """Put a block on the map layers of the file, in place of what was there.

        Parameters
        ----------
        block : str
            Label of the block.
        layers : mapping of layer name to DataFrame
            First column `geom` with WKB bytes, then the columns of the layer.
        conditions : sequence of (row, position, season, condition, looked_at)
            Of the vines in the layer `map_vines`.
        bounds : (float, float, float, float)
            West, south, east, north of the block, degrees.
        """
        with self.transaction():
            clear_conditions(self._db, block)
            for name, frame in layers.items():
                write_layer(self._db, name, frame, block)
            write_conditions(self._db, block, conditions)
            set_extent(self._db, bounds)

    def stale(self) -> list[Name]:
        """Return the blocks, as they are kept, whose layers are older than their records."""
        with self._told():
            return stale_blocks(self._db)

    def note_drawn(self) -> None:
        """Note that the layers of all blocks are as new as their records."""
        note_drawn(self._db)

    def stamps(self) -> dict[Name, str]:
        """Return a mark of the records of each block as they are kept, which is another one after every change.

        Of weather and costs the mark is that of a block without a label. Where another program has written to the file,
        all marks are of the file as a whole.
        """
        assert self.path is not None  # noqa: S101 - of a store in memory nobody asks
        with self._told():
            log, marks = read_log(self._db), stamps(self._db)
        if change_counter(self.path) != log.counter + log.written:
            told = self.path.stat()
            foreign = f"{told.st_ino:x}-{told.st_mtime_ns:x}-{told.st_size:x}"
            return {name: foreign for block in self.names().every for name in block.names} | {("", ""): foreign}
        waiting = Counter(name for payload in log.payloads for name in names_of(payload))
        return {name: f"{marks.get(name, '')}+{waiting[name]}" for name in {*marks, *waiting}}

    def undrawn(self) -> list[Name]:
        """Return the blocks, as they are kept, whose layers are older than their records, or than what waits."""
        with self._told():
            return [
                *stale_blocks(self._db),
                *(name for payload in read_log(self._db).payloads for name in names_of(payload)),
            ]
