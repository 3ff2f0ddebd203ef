"""What a shared store holds beside its records: map layers, how new they are, and the bytes of photos."""

import hashlib
import secrets
import sqlite3
from collections.abc import Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from typing import TYPE_CHECKING, Any

import pandas as pd
import shapely

from trunkwatch.errors import FileError
from trunkwatch.store.address import Address
from trunkwatch.store.map_layers import MapLayers
from trunkwatch.store.photo_files import CONTENT_TYPE, PhotoFiles
from trunkwatch.store.shared_schema import LAYERS, SCHEMA
from trunkwatch.store.shared_server import server_errors
from trunkwatch.vineyard.block_names import Name

if TYPE_CHECKING:
    from sqlalchemy import Connection, CursorResult

__all__ = ["SharedLayers"]

_CHUNK = 20_000


class SharedLayers(MapLayers, PhotoFiles):
    """Layers, stamps and photos of one grower, on the server."""

    _server: "Connection"
    address: Address
    grower: str

    def _told(self) -> AbstractContextManager[None]:
        return server_errors(self.address)

    def _run(self, statement: str, *values: object) -> "CursorResult[*tuple[Any, ...]]":
        with self._told():
            return self._server.exec_driver_sql(statement, values)

    @property
    def connection(self) -> sqlite3.Connection:
        """No file is behind a shared store.

        Raises
        ------
        FileError
            Always.
        """
        raise FileError(f"{self.address.shown} is a shared store: no file is behind it; `trunkwatch export` writes one")

    def mapped(self) -> tuple[str, ...]:
        """Return the names of the blocks that are on the map layers."""
        rows = self._run(
            f"SELECT DISTINCT block FROM {SCHEMA}.map_blocks WHERE grower = %s ORDER BY block", self.grower
        )
        return tuple(str(name) for (name,) in rows)

    def clear_strays(self) -> None:
        """Do nothing: conditions know their vine by block, row and position."""

    def clear_map(self, block: str) -> None:
        """Take a block off the map layers."""
        for name in ("map_condition", *LAYERS):
            self._run(f"DELETE FROM {SCHEMA}.{name} WHERE grower = %s AND block = %s", self.grower, block)

    def write_map(
        self,
        block: str,
        layers: Mapping[str, pd.DataFrame],
        conditions: Sequence[tuple[str, int, int, str, int]],
        bounds: tuple[float, float, float, float],  # noqa: ARG002 - the server works out extents
    ) -> None:
        """Put a block on the map layers, in place of what was there; parameters as of a file."""
        with self.transaction():
            self.clear_map(block)
            for name, frame in layers.items():
                places = shapely.to_wkt(shapely.from_wkb(frame["geom"].to_numpy()), rounding_precision=-1)
                rest = {str(column): frame[column].tolist() for column in frame.columns if column != "geom"}
                self._fill(name, {"wkt": list(places), **rest})
            names = ("row", "position", "season", "condition", "looked_at")
            columns: dict[str, list[Any]] = {name: [one[at] for one in conditions] for at, name in enumerate(names)}
            self._fill("map_condition", {"block": [block] * len(conditions), **columns})

    def _fill(self, name: str, columns: Mapping[str, list[Any]]) -> None:
        many = len(next(iter(columns.values())))
        listed = ", ".join(f'"{column}"' for column in columns)
        texts = {"wkt", "block", "row", "vineyard", "cultivar", "condition"}
        arrays = ", ".join(f"%s::{'text' if column in texts else 'int4'}[]" for column in columns)
        for at in range(0, many, _CHUNK):
            self._run(
                f"INSERT INTO {SCHEMA}.{name} (grower, {listed}) SELECT %s, u.* FROM unnest({arrays}) AS u",
                self.grower,
                *(cells[at : at + _CHUNK] for cells in columns.values()),
            )

    def _forget_spares(self) -> None:
        """Nothing to drop: a server has no log with second copies."""

    def _touch(self, names: set[Name]) -> None:
        """Give blocks a new stamp."""
        told = sorted(names)
        self._run(
            f"INSERT INTO {SCHEMA}.touched (grower, vineyard, block, stamp) "
            "SELECT %s, u.* FROM unnest(%s::text[], %s::text[], %s::text[]) AS u "
            "ON CONFLICT (grower, vineyard, block) DO UPDATE SET stamp = excluded.stamp",
            self.grower,
            [one for one, _ in told],
            [one for _, one in told],
            [secrets.token_hex(8) for _ in told],
        )

    def stale(self) -> list[Name]:
        """Return the blocks, as they are kept, whose layers are older than their records."""
        rows = self._run(
            f"SELECT vineyard, block FROM {SCHEMA}.touched WHERE grower = %s AND drawn <> stamp AND block <> ''",
            self.grower,
        )
        return [(str(row[0]), str(row[1])) for row in rows]

    def undrawn(self) -> list[Name]:
        """Return the same: nothing waits elsewhere."""
        return self.stale()

    def note_drawn(self) -> None:
        """Note that the layers of all blocks are as new as their records."""
        self._run(f"UPDATE {SCHEMA}.touched SET drawn = stamp WHERE grower = %s AND drawn <> stamp", self.grower)

    def stamps(self) -> dict[Name, str]:
        """Return a mark of the records of each block as they are kept, which is another one after every change."""
        rows = self._run(f"SELECT vineyard, block, stamp FROM {SCHEMA}.touched WHERE grower = %s", self.grower)
        return {(str(row[0]), str(row[1])): str(row[2]) for row in rows}

    def keep_photo_files(self, files: Iterable[bytes]) -> int:
        """Keep the bytes of some photos, each once; return how many are new."""
        return sum(
            self._run(
                f"INSERT INTO {SCHEMA}.photo_files (grower, sha256, content_type, data) VALUES (%s, %s, %s, %s) "
                "ON CONFLICT DO NOTHING",
                self.grower,
                hashlib.sha256(data).hexdigest(),
                CONTENT_TYPE,
                data,
            ).rowcount
            for data in files
        )

    def photo_file(self, sha256: str) -> bytes | None:
        """Return the bytes of a photo; None where they are not kept here, or are not what they were."""
        asked = f"SELECT data FROM {SCHEMA}.photo_files WHERE grower = %s AND sha256 = %s"
        row = self._run(asked, self.grower, sha256).first()
        data = b"" if row is None else bytes(row[0])
        return data if hashlib.sha256(data).hexdigest() == sha256 else None

    def photo_marks(self) -> list[str]:
        """Return the SHA-256 of all photos whose bytes are kept here."""
        rows = self._run(f"SELECT sha256 FROM {SCHEMA}.photo_files WHERE grower = %s ORDER BY number", self.grower)
        return [str(mark) for (mark,) in rows]
