"""The bytes of photos inside a vineyard file, as related media: any GIS that knows the standard shows them.

What a photo belongs to, and what it shows, is a record of the table `photos` like any other. Its bytes stand once in a
table of media, found by their SHA-256, which is their seal too. The tables that relate findings and work to them by
number, as the standard wants, are made anew from the records whenever a copy takes the file's place: nobody else reads
them.

References
----------
.. [1] OGC 18-000, GeoPackage Related Tables Extension 1.0: gpkg_extensions (req. 1 to 3), gpkgext_relations (req. 4 to
   8), user-defined mapping tables (req. 9 to 11), media (req. 12 and 13).
"""

import contextlib
import hashlib
import sqlite3
from abc import ABC, abstractmethod
from collections.abc import Iterable, Iterator, Mapping
from contextlib import AbstractContextManager
from typing import Any

from trunkwatch.store.unreadable import UNREADABLE
from trunkwatch.vineyard.photo_links import photo_links
from trunkwatch.vineyard.tables import TABLES, frame_of

__all__ = ["CONTENT_TYPE", "MAPPINGS", "TABLE", "PhotoFiles", "lacking_photo_columns", "make_photo_files", "readable_photos", "relate_photos", "strange_photo_files"]  # fmt: skip

TABLE = "photo_files"
CONTENT_TYPE = "image/jpeg"
#: More photos than these are not asked for one by one of a file that may be damaged.
MOST_PHOTOS = 1_000_000
#: Table of records -> the mapping table that relates them to media.
MAPPINGS: Mapping[str, str] = {"symptoms": "photos_of_findings", "work": "photos_of_work"}
_EXTENSION, _DEFINITION = "gpkg_related_tables", "http://docs.opengeospatial.org/is/18-000/18-000.html"
#: What makes the tables; `check` holds a file against it.
_SQL: Mapping[str, str] = {
    TABLE: f"CREATE TABLE {TABLE} (id INTEGER PRIMARY KEY, sha256 TEXT NOT NULL UNIQUE, content_type TEXT NOT NULL, data BLOB NOT NULL)",
    **{name: f"CREATE TABLE {name} (base_id INTEGER NOT NULL, related_id INTEGER NOT NULL)" for name in MAPPINGS.values()},
    "gpkgext_relations": (
        "CREATE TABLE gpkgext_relations (id INTEGER PRIMARY KEY AUTOINCREMENT, base_table_name TEXT NOT NULL, "
        "base_primary_column TEXT NOT NULL DEFAULT 'id', related_table_name TEXT NOT NULL, "
        "related_primary_column TEXT NOT NULL DEFAULT 'id', relation_name TEXT NOT NULL, "
        "mapping_table_name TEXT NOT NULL UNIQUE)"
    ),
    "gpkg_extensions": (
        "CREATE TABLE gpkg_extensions (table_name TEXT, column_name TEXT, extension_name TEXT NOT NULL, "
        "definition TEXT NOT NULL, scope TEXT NOT NULL, "
        "CONSTRAINT ge_tce UNIQUE (table_name, column_name, extension_name))"
    ),
}  # fmt: skip


def _is_there(db: sqlite3.Connection, name: str) -> bool:
    return (
        db.execute("SELECT 1 FROM main.sqlite_master WHERE name = ? AND type = 'table'", (name,)).fetchone() is not None
    )


def make_photo_files(db: sqlite3.Connection) -> None:
    """Make the tables of media as far as they are not there, and register them; in a transaction of the caller."""
    for name in MAPPINGS.values():
        if _is_there(db, name) and not {"base_id", "related_id"} <= _columns(db, name):
            db.execute(f"DROP TABLE {name}")  # made anew from the records
    for sql in _SQL.values():
        db.execute(sql.replace("CREATE TABLE ", "CREATE TABLE IF NOT EXISTS ", 1))
    db.execute(
        "INSERT OR IGNORE INTO gpkg_contents (table_name, data_type, identifier) VALUES (?, 'attributes', ?)",
        (TABLE, TABLE),
    )
    for base, mapping in MAPPINGS.items():
        db.execute("DELETE FROM gpkgext_relations WHERE mapping_table_name = ?", (mapping,))
        db.execute(
            "INSERT INTO gpkgext_relations (base_table_name, base_primary_column, related_table_name, "
            "related_primary_column, relation_name, mapping_table_name) VALUES (?, 'number', ?, 'id', 'media', ?)",
            (base, TABLE, mapping),
        )
    for name in ("gpkgext_relations", *MAPPINGS.values()):
        db.execute("DELETE FROM gpkg_extensions WHERE table_name = ? AND extension_name = ?", (name, _EXTENSION))
        db.execute("INSERT INTO gpkg_extensions VALUES (?, NULL, ?, ?, 'read-write')", (name, _EXTENSION, _DEFINITION))


def _columns(db: sqlite3.Connection, table: str) -> set[str]:
    return {str(row[1]) for row in db.execute(f'PRAGMA main.table_info("{table}")')}


def lacking_photo_columns(db: sqlite3.Connection) -> set[str]:
    """Return which columns of the table of media are gone; nothing where the table itself is."""
    there = _columns(db, TABLE)
    return {"id", "sha256", "content_type", "data"} - there if there else set()


def strange_photo_files(db: sqlite3.Connection) -> list[str]:
    """Return what is wrong with the tables of media and how they are registered, and is made anew, in words."""
    wrong = [f"table {name!r} is gone" for name in _SQL if not _columns(db, name)]
    wrong += [
        f"table {name!r} has other columns"
        for name in MAPPINGS.values()
        if _columns(db, name) and not {"base_id", "related_id"} <= _columns(db, name)
    ]
    if wrong:
        return wrong
    related = set(
        db.execute(
            "SELECT base_table_name, related_table_name, relation_name, mapping_table_name FROM gpkgext_relations"
        )
    )
    known = {
        str(name)
        for (name,) in db.execute("SELECT table_name FROM gpkg_extensions WHERE extension_name = ?", (_EXTENSION,))
    }
    for base, mapping in MAPPINGS.items():
        if (base, TABLE, "media", mapping) not in related or mapping not in known:
            wrong.append(f"{mapping!r} is not registered as it should be")
    return wrong


def relate_photos(db: sqlite3.Connection) -> None:
    """Make the tables that relate records to media anew; nothing where there are none. In no transaction."""
    if not all(_is_there(db, name) for name in (TABLE, "photos", *MAPPINGS, *MAPPINGS.values())):
        return
    media = {str(mark): int(number) for number, mark in db.execute(f"SELECT id, sha256 FROM {TABLE}")}
    there = any(db.execute(f"SELECT 1 FROM {name} LIMIT 1").fetchone() for name in MAPPINGS.values())
    if not media and not there:
        return
    numbers: dict[str, dict[str, int]] = {}
    frames = {}
    for table in ("photos", *MAPPINGS):
        names = TABLES[table].names
        listed = ", ".join(f'"{name}"' for name in names)
        rows = db.execute(f'SELECT number, {listed} FROM "{table}" ORDER BY number').fetchall()
        frames[table] = frame_of(table, [dict(zip(names, row[1:], strict=True)) for row in rows])
        numbers[table] = {str(row[1 + names.index("id")]): int(row[0]) for row in rows}
    pairs: dict[str, dict[tuple[int, int], None]] = {mapping: {} for mapping in MAPPINGS.values()}
    for link in photo_links(frames["photos"], {table: frames[table] for table in MAPPINGS}):
        if link.sha256 in media and link.table:
            for version in link.versions:
                pairs[MAPPINGS[link.table]][numbers[link.table][version], media[link.sha256]] = None
    db.execute("BEGIN IMMEDIATE")
    try:
        for mapping, related in pairs.items():
            db.execute(f"DELETE FROM {mapping}")
            db.executemany(f"INSERT INTO {mapping} VALUES (?, ?)", list(related))
    except BaseException:
        db.execute("ROLLBACK")
        raise
    db.execute("COMMIT")


def readable_photos(db: sqlite3.Connection) -> Iterator[bytes]:
    """Hand out the bytes of all photos of a file, damaged perhaps, that can be read and are what they were."""
    try:
        (last,) = db.execute(f"SELECT max(id) FROM {TABLE}").fetchone()
    except UNREADABLE:
        return
    for number in range(1, min(int(last or 0), MOST_PHOTOS) + 1):
        with contextlib.suppress(*UNREADABLE):
            row = db.execute(f"SELECT sha256, data FROM {TABLE} WHERE id = ?", (number,)).fetchone()
            if row is not None and isinstance(row[1], bytes) and hashlib.sha256(row[1]).hexdigest() == row[0]:
                yield row[1]


class PhotoFiles(ABC):
    """What a store does with the bytes of photos."""

    _db: sqlite3.Connection

    @abstractmethod
    def _told(self) -> AbstractContextManager[None]:
        """Say a fault of the database in the words of the store."""

    def keep_photo_files(self, files: Iterable[bytes]) -> int:
        """Keep the bytes of some photos, each once; return how many are new. In a store that is open to write."""
        before = self._db.total_changes
        for data in files:
            self._db.execute(
                f"INSERT OR IGNORE INTO {TABLE} (sha256, content_type, data) VALUES (?, ?, ?)",
                (hashlib.sha256(data).hexdigest(), CONTENT_TYPE, data),
            )
        return self._db.total_changes - before

    def drop_photo_files(self, marks: Iterable[str]) -> None:
        """Take the bytes of some photos out of a file that is open to write, and their pages; in no transaction."""
        with self._told():
            self._db.executemany(f"DELETE FROM {TABLE} WHERE sha256 = ?", [(mark,) for mark in marks])
            self._db.execute("VACUUM")  # what is only deleted lies in the pages of the file still

    def photo_bytes_of(self, marks: Iterable[str]) -> int:
        """Return how many bytes some photos take together."""
        with self._told():
            asked = f"SELECT coalesce(sum(length(data)), 0) FROM {TABLE} WHERE sha256 = ?"
            return sum(int(self._db.execute(asked, (mark,)).fetchone()[0]) for mark in marks)

    def photo_file(self, sha256: str) -> bytes | None:
        """Return the bytes of a photo; None where they are not kept here, or are not what they were."""
        with self._told():
            if not _is_there(self._db, TABLE):
                return None
            row: Any = self._db.execute(f"SELECT data FROM {TABLE} WHERE sha256 = ?", (sha256,)).fetchone()
        if row is None or not isinstance(row[0], bytes) or hashlib.sha256(row[0]).hexdigest() != sha256:
            return None
        return row[0]

    def photo_marks(self) -> list[str]:
        """Return the SHA-256 of all photos whose bytes are kept here."""
        with self._told():
            if not _is_there(self._db, TABLE):
                return []
            return [str(mark) for (mark,) in self._db.execute(f"SELECT sha256 FROM {TABLE} ORDER BY id")]

    def damaged_photos(self) -> list[str]:
        """Return the marks of photos whose bytes are not what they were."""
        return [mark for mark in self.photo_marks() if self.photo_file(mark) is None]
