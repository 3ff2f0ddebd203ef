"""The form of a file: its tables, columns, indexes and layers, against what a new file has; and how it is given back."""

import contextlib
import sqlite3
from collections.abc import Sequence
from typing import NamedTuple

from trunkwatch.store.geopackage import (
    APPLICATION_ID,
    LAYERS,
    USER_VERSION,
    VIEW,
    index_layers,
    make_geopackage,
    make_layers,
    register_attributes,
)
from trunkwatch.store.lines import Lines
from trunkwatch.store.log import LARGE, SMALL, make_log, read_log
from trunkwatch.store.photo_files import lacking_photo_columns, make_photo_files, strange_photo_files
from trunkwatch.store.schema import index_sql, make_indexes, table_sql, take_steps
from trunkwatch.store.seal import SEAL, columns_of, seal_all
from trunkwatch.store.touched import make_touched
from trunkwatch.store.unreadable import UNREADABLE
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import record_id
from trunkwatch.vineyard.tables import TABLES, records_of

__all__ = ["ACCEPT", "UNDO", "Form", "form_faults", "give_form", "give_ids"]

#: Ways out, as messages give them.
ACCEPT = "`trunkwatch check FILE --accept` puts that right"
UNDO = "undo that in the program in which it was done, or take a copy of the file"
_DRAWN = (*LAYERS, "map_condition", VIEW)
_GPKG = ("gpkg_spatial_ref_sys", "gpkg_contents", "gpkg_geometry_columns")
_OWN = ("trunkwatch_log", "trunkwatch_touched", "trunkwatch_sealed")


class Form(NamedTuple):
    """What differs in the form of a file: what must be mended first, and what `give_form` settles."""

    faults: list[Fault]
    settled: list[Fault]


class _Column(NamedTuple):
    kind: str
    must: bool
    is_key: bool


def _columns(db: sqlite3.Connection, table: str) -> dict[str, _Column]:
    return {
        str(row[1]).casefold(): _Column(str(row[2]).upper(), bool(row[3]), bool(row[5]))
        for row in db.execute(f'PRAGMA main.table_xinfo("{table}")')
    }


def _things(db: sqlite3.Connection) -> dict[str, tuple[str, str, str]]:
    """Return all tables, indexes, views and triggers of a file by name: their kind, table and statement."""
    rows = db.execute("SELECT name, type, tbl_name, coalesce(sql, '') FROM main.sqlite_master")
    return {str(name): (str(kind), str(table), " ".join(str(sql).split())) for name, kind, table, sql in rows}


def form_faults(db: sqlite3.Connection, file: str) -> Form:
    """Compare the form of a file with that of a new one.

    Parameters
    ----------
    db : Connection
        Open to read.
    file : str
        Its name, for the messages.
    """
    form = Form([], [])
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as new:
        take_steps(new)
        there, should = _things(db), _things(new)
        for table in TABLES:
            _table(db, new, file, table, there, form)
        _around(there, should, file, form)
        _drawn(db, new, there, should, file, form)
    form.settled.extend(
        Fault("fault", f"photos: {what}", file, expected=f"{ACCEPT}: what is gone is made anew, empty", lines=0)
        for what in strange_photo_files(db)
    )
    form.faults.extend(
        Fault(
            "fault",
            "table 'photo_files' has no column of that name: taken out, or renamed",
            file,
            0,
            name,
            "",
            UNDO,
            lines=0,
        )
        for name in sorted(lacking_photo_columns(db))
    )
    return form


def _table(
    db: sqlite3.Connection,
    new: sqlite3.Connection,
    file: str,
    table: str,
    there: dict[str, tuple[str, str, str]],
    form: Form,
) -> None:
    kind = there.get(table, ("",))[0]
    if kind != "table":
        what = f"table {table!r} is gone" if not kind else f"{table!r} is a {kind}, no table"
        form.faults.append(Fault("fault", what, file, expected=UNDO, lines=0))
        return
    has, should = _columns(db, table), _columns(new, table)
    missing = [name for name in should if name not in has]
    extra = [name for name in has if name not in should]
    for name in missing:
        if name == SEAL:
            form.settled.append(
                Fault("fault", f"the seals of table {table} are gone", file, 0, SEAL, "", ACCEPT, lines=0)
            )
            continue
        other = f"; new in it: {', '.join(extra)}" if extra else ""
        form.faults.append(
            Fault(
                "fault",
                f"table {table} has no column of that name: taken out, or renamed{other}",
                file,
                0,
                name,
                "",
                UNDO,
                lines=0,
            )
        )
    for name in extra:
        form.settled.append(
            Fault(
                "note",
                f"table {table} has a column that another program added: nothing reads it",
                file,
                0,
                name,
                lines=0,
            )
        )
    strict = {str(row[1]): bool(row[5]) for row in db.execute("PRAGMA main.table_list")}
    wrong = [name for name in should if name in has and has[name] != should[name]]
    for name in wrong:
        form.settled.append(
            Fault(
                "fault",
                f"table {table} has another kind of column here",
                file,
                0,
                name,
                has[name].kind,
                f"{should[name].kind}; {ACCEPT}",
                lines=0,
            )
        )
    if not wrong and not strict.get(table, True):
        form.settled.append(
            Fault(
                "note",
                f"table {table} was made anew by another program, and takes cells of any kind",
                file,
                expected=ACCEPT,
                lines=0,
            )
        )


def _around(
    there: dict[str, tuple[str, str, str]], should: dict[str, tuple[str, str, str]], file: str, form: Form
) -> None:
    """Find indexes that are gone or others, and what another program does at every change of a record."""
    for table in TABLES:
        for name in index_sql(TABLES[table]):
            if name not in there:
                form.settled.append(
                    Fault("fault", f"index {name!r} of table {table} is gone", file, expected=ACCEPT, lines=0)
                )
            elif _bare(there[name][2]) != _bare(should[name][2]):
                form.settled.append(
                    Fault("fault", f"index {name!r} of table {table} is another one", file, expected=ACCEPT, lines=0)
                )
    for name, (kind, changed, _) in there.items():
        if kind == "trigger" and changed in (*TABLES, *_OWN):
            form.settled.append(
                Fault(
                    "fault",
                    f"{name!r} changes records of {changed} by itself (a trigger that another program made)",
                    file,
                    expected=f"{ACCEPT}: it is taken out",
                    lines=0,
                )
            )
    for name in _OWN:
        if name not in there:
            form.settled.append(Fault("fault", f"table {name!r} is gone", file, expected=ACCEPT, lines=0))
        elif _bare(there[name][2]) != _bare(should[name][2]):
            form.settled.append(Fault("fault", f"table {name!r} is another one", file, expected=ACCEPT, lines=0))


def _bare(sql: str) -> str:
    return sql.replace("IF NOT EXISTS ", "").replace('"', "").casefold()


def _drawn(
    db: sqlite3.Connection,
    new: sqlite3.Connection,
    there: dict[str, tuple[str, str, str]],
    should: dict[str, tuple[str, str, str]],
    file: str,
    form: Form,
) -> None:
    """Find what is wrong with the tables of the layers, and with how they are registered."""
    wrong = []
    for name in (*_GPKG, *_DRAWN):
        if there.get(name, ("",))[0] != should[name][0]:
            wrong.append(f"{name!r} is gone" if name not in there else f"{name!r} is a {there[name][0]}")
        elif name == VIEW:
            wrong += [f"{name!r} is another view"] if _bare(there[name][2]) != _bare(should[name][2]) else []
        elif not _columns(new, name).items() <= _columns(db, name).items():
            wrong.append(f"{name!r} has other columns")
    if not wrong:
        wrong = [f"{name!r} is not registered as it should be" for name in _strangely_registered(db, new)]
    form.settled.extend(
        Fault("fault", f"layers: {what}", file, expected=f"{ACCEPT}: layers are drawn anew", lines=0) for what in wrong
    )
    for pragma, number in (("application_id", APPLICATION_ID), ("user_version", USER_VERSION)):
        found = db.execute(f"PRAGMA {pragma}").fetchone()[0]
        if found != number:
            form.settled.append(
                Fault(
                    "fault",
                    f"the head of the file has another {pragma}",
                    file,
                    value=str(found),
                    expected=f"{number}; {ACCEPT}",
                    lines=0,
                )
            )


_REGISTERED = (
    "SELECT table_name, data_type, srs_id FROM gpkg_contents",
    "SELECT table_name, column_name, geometry_type_name, srs_id, z, m FROM gpkg_geometry_columns",
    "SELECT srs_id, organization, organization_coordsys_id, definition FROM gpkg_spatial_ref_sys",
)


def _strangely_registered(db: sqlite3.Connection, new: sqlite3.Connection) -> list[str]:
    wrong: dict[str, None] = {}
    for question in _REGISTERED:
        there = {row[0]: row for row in db.execute(question)}
        wrong |= {str(row[0]): None for row in new.execute(question) if there.get(row[0]) != row}
    return list(wrong)


def give_form(db: sqlite3.Connection) -> None:
    """Give a file the form of a new one, and seal its records as they are, in a transaction of the caller.

    Parameters
    ----------
    db : Connection
        Its record tables have all columns; cells that cannot be were mended. The layers are empty afterwards.
    """
    for name, (kind, table, _) in _things(db).items():
        if kind == "trigger" and table in (*TABLES, *_OWN, *LAYERS, "map_condition"):
            db.execute(f'DROP TRIGGER "{name}"')
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as new:
        take_steps(new)
        should, there = _things(new), _things(db)
        for table in TABLES:
            has = _columns(db, table)
            strict = {str(row[1]): bool(row[5]) for row in db.execute("PRAGMA main.table_list")}
            wanted = _columns(new, table)
            if not strict.get(table) or any(has.get(name) != column for name, column in wanted.items()):
                _made_anew(db, table)
        for name in _OWN:
            if name in there and _bare(there[name][2]) != _bare(should[name][2]):
                db.execute(f'DROP {there[name][0]} "{name}"')
        for table in TABLES:
            for name in index_sql(TABLES[table]):
                if name in there and _bare(there[name][2]) != _bare(should[name][2]):
                    db.execute(f'DROP INDEX IF EXISTS "{name}"')
    make_indexes(db)
    _layers_anew(db)
    log = read_log(db) if "trunkwatch_log" in _things(db) else None
    if log is None or log.size not in (SMALL, LARGE):
        db.execute("DROP TABLE IF EXISTS trunkwatch_log")
        make_log(db)
    make_touched(db)
    seal_all(db)


def _made_anew(db: sqlite3.Connection, table: str) -> None:
    """Make a record table anew in our form, with its records, and what columns another program added."""
    names = ["number", *TABLES[table].names]
    extra = [name for name in columns_of(db, table) if name.casefold() not in {*names, SEAL}]
    db.execute("PRAGMA legacy_alter_table = ON")
    db.execute(f'ALTER TABLE "{table}" RENAME TO "trunkwatch_before"')
    for name in index_sql(TABLES[table]):
        db.execute(f'DROP INDEX IF EXISTS "{name}"')
    db.execute(table_sql(TABLES[table]))
    db.execute(f'ALTER TABLE "{table}" ADD COLUMN {SEAL} INTEGER')
    for name in extra:
        db.execute(f'ALTER TABLE "{table}" ADD COLUMN "{name}" ANY')
    listed = ", ".join(f'"{name}"' for name in [*names, *extra])
    db.execute(f'INSERT INTO "{table}" ({listed}) SELECT {listed} FROM "trunkwatch_before" ORDER BY number')
    db.execute('DROP TABLE "trunkwatch_before"')
    db.execute("PRAGMA legacy_alter_table = OFF")


def _layers_anew(db: sqlite3.Connection) -> None:
    """Make the layers and what the standard asks for anew, empty; other programs' layers stay registered."""
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
    db.execute(f"PRAGMA user_version = {USER_VERSION}")
    for name in (VIEW, "map_condition", *LAYERS, *(f"rtree_{layer}_geom" for layer in LAYERS)):
        kind = _things(db).get(name, ("",))[0]
        if kind in ("table", "view"):
            db.execute(f'DROP {kind} "{name}"')
    others = _others_registered(db)
    for name in reversed(_GPKG):
        kind = _things(db).get(name, ("",))[0]
        if kind in ("table", "view"):
            db.execute(f'DROP {kind} "{name}"')
    make_geopackage(db)
    for question, rows in others:
        for row in rows:
            db.execute(question, row)
    register_attributes(db, list(TABLES))
    make_photo_files(db)
    make_layers(db)
    index_layers(db)
    ours = (*LAYERS, VIEW, "map_condition")
    for name in ("gpkg_extensions", "gpkg_ogr_contents"):
        if name in _things(db):
            db.execute(f"DELETE FROM {name} WHERE table_name IN ({', '.join('?' * len(ours))})", ours)


def _others_registered(db: sqlite3.Connection) -> list[tuple[str, Sequence[tuple[object, ...]]]]:
    """Return what is registered beside ours, as far as it can be read."""
    ours = (*TABLES, *LAYERS, VIEW, "map_condition")
    marks = ", ".join("?" * len(ours))
    kept: list[tuple[str, Sequence[tuple[object, ...]]]] = []
    for table, names, where, values in (
        (
            "gpkg_spatial_ref_sys",
            "srs_name, srs_id, organization, organization_coordsys_id, definition, description",
            "srs_id NOT IN (-1, 0, 4326)",
            (),
        ),
        (
            "gpkg_contents",
            "table_name, data_type, identifier, description, last_change, min_x, min_y, max_x, max_y, srs_id",
            f"table_name NOT IN ({marks})",
            ours,
        ),
        (
            "gpkg_geometry_columns",
            "table_name, column_name, geometry_type_name, srs_id, z, m",
            f"table_name NOT IN ({marks})",
            ours,
        ),
    ):
        with contextlib.suppress(*UNREADABLE):
            rows = db.execute(f"SELECT {names} FROM {table} WHERE {where}", values).fetchall()
            holes = ", ".join("?" * len(names.split(", ")))
            kept.append((f"INSERT OR IGNORE INTO {table} ({names}) VALUES ({holes})", rows))
    return kept


def give_ids(db: sqlite3.Connection, lines: Lines) -> None:
    """Give every record without an id the one that its values make."""
    for table in TABLES:
        bare = lines.select(table, "WHERE id = ''")
        numbers = [row[0] for row in db.execute(f"SELECT number FROM \"{table}\" WHERE id = '' ORDER BY number")]
        made = [record_id(table, record) for record in records_of(bare)]
        db.executemany(f'UPDATE "{table}" SET id = ? WHERE number = ?', zip(made, numbers, strict=True))
