"""What makes an SQLite file a GeoPackage: its tables, the registration of ours, and map layers.

References
----------
.. [1] OGC 12-128r18, GeoPackage Encoding Standard 1.3: application id and version (2.1 req. 2),
   gpkg_spatial_ref_sys (1.1.2), gpkg_contents (1.1.3), gpkg_geometry_columns (2.1.5), geometry
   header (2.1.3).
"""

import sqlite3
import struct
from collections.abc import Mapping, Sequence

import pandas as pd

__all__ = [
    "APPLICATION_ID",
    "LAYERS",
    "USER_VERSION",
    "VIEW",
    "clear_conditions",
    "clear_strays",
    "drop_spatial_indexes",
    "geometry_blob",
    "index_layers",
    "make_geopackage",
    "make_layers",
    "on_layers",
    "read_conditions",
    "read_layer",
    "register_attributes",
    "set_extent",
    "write_conditions",
    "write_layer",
]

APPLICATION_ID = 0x47504B47  # "GPKG"
USER_VERSION = 10300  # GeoPackage 1.3
WGS84 = 4326
_WKT = (
    'GEOGCS["WGS 84",DATUM["WGS_1984",SPHEROID["WGS 84",6378137,298.257223563,AUTHORITY["EPSG","7030"]],'
    'AUTHORITY["EPSG","6326"]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433],AUTHORITY["EPSG","4326"]]'
)
#: Layer: geometry type, columns.
LAYERS: Mapping[str, tuple[str, str]] = {
    "map_blocks": ("POLYGON", "block TEXT NOT NULL, vineyard TEXT, cultivar TEXT, positions INTEGER"),
    "map_rows": ("LINESTRING", "block TEXT NOT NULL, row TEXT NOT NULL, first INTEGER, last INTEGER"),
    "map_vines": ("POINT", "block TEXT NOT NULL, row TEXT NOT NULL, position INTEGER NOT NULL"),
}
VIEW = "map_condition_by_season"


def make_geopackage(db: sqlite3.Connection) -> None:
    """Make the tables that the standard asks for, and mark the file."""
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {USER_VERSION}")
    db.execute(
        "CREATE TABLE gpkg_spatial_ref_sys (srs_name TEXT NOT NULL, srs_id INTEGER PRIMARY KEY, organization TEXT NOT NULL, "
        "organization_coordsys_id INTEGER NOT NULL, definition TEXT NOT NULL, description TEXT)"
    )
    db.executemany(
        "INSERT INTO gpkg_spatial_ref_sys VALUES (?, ?, ?, ?, ?, ?)",
        [
            ("Undefined cartesian SRS", -1, "NONE", -1, "undefined", "undefined cartesian coordinate reference system"),
            ("Undefined geographic SRS", 0, "NONE", 0, "undefined", "undefined geographic coordinate reference system"),
            ("WGS 84 geodetic", WGS84, "EPSG", WGS84, _WKT, "longitude/latitude coordinates in decimal degrees"),
        ],
    )
    db.execute(
        "CREATE TABLE gpkg_contents (table_name TEXT NOT NULL PRIMARY KEY, data_type TEXT NOT NULL, identifier TEXT UNIQUE, "
        "description TEXT DEFAULT '', last_change DATETIME NOT NULL DEFAULT (strftime('%Y-%m-%dT%H:%M:%fZ','now')), "
        "min_x DOUBLE, min_y DOUBLE, max_x DOUBLE, max_y DOUBLE, srs_id INTEGER, "
        "CONSTRAINT fk_gc_r_srs_id FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys(srs_id))"
    )
    db.execute(
        "CREATE TABLE gpkg_geometry_columns (table_name TEXT NOT NULL, column_name TEXT NOT NULL, "
        "geometry_type_name TEXT NOT NULL, srs_id INTEGER NOT NULL, z TINYINT NOT NULL, m TINYINT NOT NULL, "
        "CONSTRAINT pk_geom_cols PRIMARY KEY (table_name, column_name), CONSTRAINT uk_gc_table_name UNIQUE (table_name), "
        "CONSTRAINT fk_gc_tn FOREIGN KEY (table_name) REFERENCES gpkg_contents(table_name), "
        "CONSTRAINT fk_gc_srs FOREIGN KEY (srs_id) REFERENCES gpkg_spatial_ref_sys (srs_id))"
    )


def register_attributes(db: sqlite3.Connection, tables: Sequence[str]) -> None:
    """Register tables without geometry."""
    db.executemany(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier) VALUES (?, 'attributes', ?)",
        [(table, table) for table in tables],
    )


def _register_layer(db: sqlite3.Connection, name: str, kind: str) -> None:
    db.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) VALUES (?, 'features', ?, ?)",
        (name, name, WGS84),
    )
    db.execute("INSERT INTO gpkg_geometry_columns VALUES (?, 'geom', ?, ?, 0, 0)", (name, kind, WGS84))


def make_layers(db: sqlite3.Connection) -> None:
    """Make the layers of blocks, rows and vines, and the view of every vine's condition by season."""
    for name, (kind, columns) in LAYERS.items():
        db.execute(f'CREATE TABLE "{name}" (fid INTEGER PRIMARY KEY, geom BLOB, {columns})')
        _register_layer(db, name, kind)
    db.execute(
        "CREATE TABLE map_condition (fid INTEGER PRIMARY KEY, vine INTEGER NOT NULL REFERENCES map_vines(fid), "
        "season INTEGER NOT NULL, condition TEXT NOT NULL, looked_at INTEGER NOT NULL)"
    )
    register_attributes(db, ["map_condition"])
    db.execute(
        f"CREATE VIEW {VIEW} AS SELECT c.fid AS fid, v.geom AS geom, v.block AS block, v.row AS row, v.position AS position, "
        "c.season AS season, c.condition AS condition, c.looked_at AS looked_at "
        "FROM map_condition c JOIN map_vines v ON v.fid = c.vine"
    )
    _register_layer(db, VIEW, "POINT")


def index_layers(db: sqlite3.Connection) -> None:
    """Make the indexes by which the layers of one block are found."""
    for name in LAYERS:
        db.execute(f'CREATE INDEX IF NOT EXISTS "{name}_block" ON "{name}" (block)')
    db.execute("CREATE INDEX IF NOT EXISTS map_condition_vine ON map_condition (vine)")


def geometry_blob(wkb: bytes) -> bytes:
    """Return a geometry as the standard stores it: header without envelope, little-endian, WGS 84, then WKB."""
    return struct.pack("<2sBBi", b"GP", 0, 1, WGS84) + wkb


def write_layer(db: sqlite3.Connection, name: str, frame: pd.DataFrame, block: str) -> None:
    """Put the features of one block in place of its old ones.

    Parameters
    ----------
    db : Connection
        In a transaction of the caller.
    name : str
        Layer.
    frame : DataFrame
        Its columns in order, first `geom` with WKB bytes.
    block : str
        Whose features they are.
    """
    db.execute(f'DELETE FROM "{name}" WHERE block = ?', (block,))
    columns = list(frame.columns)
    marks = ", ".join("?" * len(columns))
    rows = [[geometry_blob(cells[0]), *cells[1:]] for cells in frame.itertuples(index=False, name=None)]
    listed = ", ".join(f'"{column}"' for column in columns)
    db.executemany(f'INSERT INTO "{name}" ({listed}) VALUES ({marks})', rows)


def write_conditions(db: sqlite3.Connection, block: str, told: Sequence[tuple[str, int, int, str, int]]) -> None:
    """Put the conditions of one block in place of its old ones.

    Parameters
    ----------
    told : sequence of (row, position, season, condition, looked_at)
        For vines that are in `map_vines`.
    """
    fids = {
        (row, position): fid
        for fid, row, position in db.execute("SELECT fid, row, position FROM map_vines WHERE block = ?", (block,))
    }
    db.executemany(
        "INSERT INTO map_condition (vine, season, condition, looked_at) VALUES (?, ?, ?, ?)",
        [(fids[(row, position)], season, word, seen) for row, position, season, word, seen in told],
    )


def clear_conditions(db: sqlite3.Connection, block: str) -> None:
    """Take the conditions of one block away; before its vines are replaced."""
    db.execute("DELETE FROM map_condition WHERE vine IN (SELECT fid FROM map_vines WHERE block = ?)", (block,))


def clear_strays(db: sqlite3.Connection) -> None:
    """Take away conditions of vines that another program has deleted: a new vine may get the number of an old one."""
    db.execute("DELETE FROM map_condition WHERE vine NOT IN (SELECT fid FROM map_vines)")


def set_extent(db: sqlite3.Connection, bounds: tuple[float, float, float, float]) -> None:
    """Write the extent of all layers (west, south, east, north), widened by what is there already."""
    names = [*LAYERS, VIEW]
    db.executemany(
        "UPDATE gpkg_contents SET min_x = min(coalesce(min_x, ?1), ?1), min_y = min(coalesce(min_y, ?2), ?2), "
        "max_x = max(coalesce(max_x, ?3), ?3), max_y = max(coalesce(max_y, ?4), ?4), "
        "last_change = strftime('%Y-%m-%dT%H:%M:%fZ','now') WHERE table_name = ?5",
        [(*bounds, name) for name in names],
    )


def drop_spatial_indexes(db: sqlite3.Connection) -> None:
    """Take out what another program has put on our layers to keep an index of places: it works in that program only.

    Every change of a layer would call functions that only it has. It makes the index again when it is asked to.
    """
    for name, layer in db.execute(
        "SELECT name, tbl_name FROM main.sqlite_master WHERE type = 'trigger' AND name LIKE 'rtree_%'"
    ).fetchall():
        if layer in LAYERS:
            db.execute(f'DROP TRIGGER "{name}"')
            db.execute(f'DROP TABLE IF EXISTS "rtree_{layer}_geom"')
            if db.execute("SELECT 1 FROM sqlite_master WHERE name = 'gpkg_extensions'").fetchone():
                db.execute(
                    "DELETE FROM gpkg_extensions WHERE table_name = ? AND extension_name = 'gpkg_rtree_index'", (layer,)
                )


def on_layers(db: sqlite3.Connection) -> list[str]:
    """Return the names of all blocks that any layer shows."""
    asked = " UNION ".join(f'SELECT block FROM "{name}"' for name in LAYERS)
    return [name for (name,) in db.execute(asked)]


def read_layer(db: sqlite3.Connection, name: str, block: str) -> list[dict[str, object]]:
    """Return the features of a block on a layer, as they are kept."""
    asked = db.execute(f'SELECT * FROM "{name}" NOT INDEXED WHERE block = ? ORDER BY fid', (block,))
    columns = [one[0] for one in asked.description]
    return [dict(zip(columns, row, strict=True)) for row in asked]


def read_conditions(db: sqlite3.Connection, block: str) -> list[tuple[object, ...]]:
    """Return the conditions of a block: row, position, season, condition, looked at."""
    return db.execute(
        "SELECT v.row, v.position, c.season, c.condition, c.looked_at FROM map_vines v "
        "JOIN map_condition c ON c.vine = v.fid WHERE v.block = ?",
        (block,),
    ).fetchall()
