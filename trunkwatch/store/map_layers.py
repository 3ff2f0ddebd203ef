"""The map layers of a store: blocks, rows and vines as any GIS shows them, taken away and written anew block by block."""

import sqlite3
from abc import ABC, abstractmethod
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager

import pandas as pd

from trunkwatch.store.geopackage import (
    LAYERS,
    clear_conditions,
    clear_strays,
    set_extent,
    write_conditions,
    write_layer,
)

__all__ = ["MapLayers"]


class MapLayers(ABC):
    """What a store does with its layers."""

    _db: sqlite3.Connection

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
