"""The way to the server of a shared store: the library that talks to it, connections, and errors in the words of the store."""

import atexit
import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

from trunkwatch.errors import FileError, MissingExtraError, NewerSchemaError, NotAVineyardError, OldSchemaError
from trunkwatch.store.address import Address
from trunkwatch.store.shared_schema import (
    READER,
    SCHEMA,
    WRITER,
    make_all,
    make_geometry,
    present_version,
    shown_version,
)

if TYPE_CHECKING:
    from sqlalchemy import Connection, Engine

__all__ = ["OvertakenError", "checked_version", "connected", "let_go", "server_errors", "upgrade_shared"]

#: Seconds to wait for other writers, and for a server that does not answer.
WAIT_S = 30
ANSWER_S = 10
#: The oldest server that knows views with the rights of who asks.
OLDEST_SERVER = 15
#: What a message of the server never shows.
_HIDDEN = "(hidden)"


#: Connections of each process to each server.
_ENGINES: dict[tuple[str, int], "Engine"] = {}


class OvertakenError(FileError):
    """Others wrote meanwhile what was read for a record: it has to be looked at again."""


def _engine(url: str) -> "Engine":
    """Return the connections of this process to a server; a process that was forked has its own."""
    from sqlalchemy import create_engine

    place = url, os.getpid()
    if place not in _ENGINES:
        _ENGINES[place] = create_engine(
            url.replace("postgresql://", "postgresql+psycopg://", 1),
            hide_parameters=True,
            pool_pre_ping=True,
            connect_args={"connect_timeout": ANSWER_S, "application_name": "trunkwatch"},
        )
    return _ENGINES[place]


@atexit.register
def let_go() -> None:
    """Close the connections of this process that nobody uses."""
    for place in [one for one in _ENGINES if one[1] == os.getpid()]:
        _ENGINES.pop(place).dispose()


@contextmanager
def connected(address: Address, *, to_write: bool) -> Iterator["Connection"]:
    """Hand out a connection in a transaction: committed when all went well, else nothing of it.

    To read, everything is seen as it is at one moment.
    """
    with server_errors(address):
        engine = _engine(address.url)
        level = "READ COMMITTED" if to_write else "REPEATABLE READ"
        options = {"isolation_level": level, "postgresql_readonly": not to_write}
        with engine.connect().execution_options(**options) as connection, connection.begin():
            yield connection


@contextmanager
def server_errors(address: Address) -> Iterator[None]:
    """Turn errors of the server into one line with the way out; no password is in it, and no cell of a record."""
    try:
        import psycopg  # noqa: F401 - the library behind the address
        from sqlalchemy.exc import DBAPIError, SQLAlchemyError
    except ImportError as error:
        raise MissingExtraError(
            "a shared store needs SQLAlchemy and psycopg: pip install 'trunkwatch[shared]'"
        ) from error
    try:
        yield
    except DBAPIError as error:
        raise _in_words(address, error.orig) from None
    except SQLAlchemyError as error:
        raise FileError(f"{address.shown}: {_plain(str(error))}") from None


def _plain(text: str) -> str:
    """Return a message of the server as one line without a password."""
    line = " ".join(text.split())
    for secret in filter(None, (os.environ.get("PGPASSWORD"),)):
        line = line.replace(secret, _HIDDEN)
    return line


def _in_words(address: Address, error: Any) -> FileError:
    code = getattr(error, "sqlstate", None) or ""
    text = _plain(str(getattr(getattr(error, "diag", None), "message_primary", None) or error))
    shown = address.shown
    if code == "42501":
        return FileError(
            f"{shown}: this login may not do that ({text}); who owns the store gives rights: "
            f"SELECT {SCHEMA}.add_writer('LOGIN', 'GROWER')"
        )
    if code in ("3F000", "42P01"):
        return NotAVineyardError(
            f"{shown} is a database without a shared store; its owner makes one: `trunkwatch upgrade {shown}`"
        )
    if code == "23505":
        return OvertakenError(f"{shown}: others wrote the same record at the same moment: try again")
    if code in ("55P03", "40P01", "57014"):
        return FileError(f"{shown} is being written by others: try again")
    if code == "25006":
        return FileError(f"{shown} can only be read at this moment ({text}): ask who runs the server")
    if code in ("53100", "53200"):
        return FileError(f"no room left on the server of {shown}: nothing was changed")
    if "does not exist" in text and "database" in text:
        return FileError(f"{shown}: {text}; `createdb NAME` makes one, `trunkwatch upgrade {shown}` the store in it")
    if code.startswith("22") or "NUL" in text:
        return FileError(f"{shown} takes no such text or number ({text}): correct the record; nothing was changed")
    if not code or code.startswith(("08", "28", "57", "53")):
        return FileError(
            f"{shown} cannot be reached: {text}; see that the server runs, and that the login and its password "
            "(PGPASSFILE or PGPASSWORD) are right"
        )
    return FileError(f"{shown}: {text}; nothing was changed")


def checked_version(connection: "Connection", address: Address) -> list[str]:
    """Refuse a store of another version; return the growers that the login sees.

    Raises
    ------
    NotAVineyardError, OldSchemaError, NewerSchemaError
        If there is none, or it is of another version.
    """
    from sqlalchemy.exc import DBAPIError

    growers: list[str] = []
    try:  # nearly always all is well, and one question is enough
        rows = connection.exec_driver_sql(
            f"SELECT version, form, ARRAY(SELECT grower FROM {SCHEMA}.growers ORDER BY grower) FROM {SCHEMA}.steps "
            "ORDER BY version DESC, form DESC LIMIT 1"
        ).all()
        found = (int(rows[0][0]), int(rows[0][1])) if rows else None
        growers = [str(name) for name in rows[0][2]] if rows else []
    except DBAPIError as error:
        if getattr(error.orig, "sqlstate", "") not in ("3F000", "42P01", "42501", "42703"):
            raise
        found = None
    if found is None:
        raise NotAVineyardError(
            f"{address.shown} is a database without a shared store, or this login is nobody's there; its owner makes "
            f"one with `trunkwatch upgrade {address.shown}`, and lets a login in with SELECT {SCHEMA}.add_writer('LOGIN', 'GROWER')"
        )
    now = present_version()
    if found > now:
        raise NewerSchemaError(
            f"{address.shown} was made by a later trunkwatch (version {shown_version(found)}, this one knows "
            f"{shown_version(now)}): update trunkwatch"
        )
    if found < now:
        raise OldSchemaError(
            f"{address.shown} is of version {shown_version(found)}, now it is {shown_version(now)}: "
            f"its owner runs `trunkwatch upgrade {address.shown}`"
        )
    return growers


def _version(connection: "Connection") -> tuple[int, int] | None:
    """Return the version of a store that is made or upgraded; None where there is none."""
    if connection.exec_driver_sql(f"SELECT to_regclass('{SCHEMA}.steps')").scalar() is None:
        return None
    asked = f"SELECT version, form FROM {SCHEMA}.steps ORDER BY version DESC, form DESC"
    row = connection.exec_driver_sql(asked).first()
    return None if row is None else (int(row[0]), int(row[1]))


def upgrade_shared(address: Address, *, geometry: bool = True) -> list[str]:
    """Make a shared store, or bring it to the present version; all of it in one transaction.

    Parameters
    ----------
    address : Address
        Of the database; the login owns it, and may make roles.
    geometry : bool
        Give the layers a geometry, where the server has PostGIS.

    Returns
    -------
    list of str
        What was done; nothing where nothing was to be done.

    Raises
    ------
    FileError
        If the server cannot be reached, or the login may not do that.
    NewerSchemaError
        If a later program made it.
    """
    with connected(address, to_write=True) as connection:
        connection.exec_driver_sql("SELECT pg_advisory_xact_lock(hashtextextended('trunkwatch upgrade', 0))")
        if int(connection.exec_driver_sql("SHOW server_version_num").scalar_one()) < OLDEST_SERVER * 10_000:
            raise FileError(f"{address.shown} is on a server before PostgreSQL {OLDEST_SERVER}: take a later one")
        found, now = _version(connection), present_version()
        if found is not None and found >= now:
            checked_version(connection, address)
            return _late_geometry(connection) if geometry else []
        _refuse_weak(connection, address)
        for statement in make_all():
            connection.exec_driver_sql(statement.replace("%", "%%"))
        has_geometry, told = _geometry(connection) if geometry else (False, "the layers have plain columns")
        for statement in make_geometry(is_geometry_there=has_geometry):
            connection.exec_driver_sql(statement)
        was = f"from version {shown_version(found)} to" if found else "version"
        done = f"tables, rights and rules by grower, {was} {shown_version(now)}"
        connection.exec_driver_sql(
            f"INSERT INTO {SCHEMA}.steps (version, form, told) VALUES (%s, %s, %s)", (*now, done)
        )
    return [done, told]


def _late_geometry(connection: "Connection") -> list[str]:
    """Give the layers a geometry where PostGIS came after the store was made."""
    asked = "SELECT 1 FROM pg_attribute WHERE attrelid = %s::regclass AND attname = 'geom'"
    if connection.exec_driver_sql(asked, (f"{SCHEMA}.map_vines",)).first():
        return []
    has_geometry, told = _geometry(connection)
    for statement in make_geometry(is_geometry_there=has_geometry):
        connection.exec_driver_sql(statement)
    return [told] if has_geometry else []


def _refuse_weak(connection: "Connection", address: Address) -> None:
    """Refuse a login that could not finish."""
    own = connection.exec_driver_sql(
        "SELECT current_user, has_database_privilege(current_database(), 'CREATE'), "
        "(SELECT rolsuper OR rolcreaterole FROM pg_roles WHERE rolname = current_user), "
        f"(SELECT count(*) FROM pg_roles WHERE rolname IN ('{WRITER}', '{READER}'))"
    ).one()
    if not own[1] or not (own[2] or own[3] == 2):
        raise FileError(
            f"{address.shown}: login {own[0]!r} may not make a shared store: it must own the database and may make "
            f"roles (ALTER ROLE {own[0]} CREATEROLE)"
        )


def _geometry(connection: "Connection") -> tuple[bool, str]:
    """See to the extension for geometry; tell whether it is there, and in words."""
    if connection.exec_driver_sql("SELECT 1 FROM pg_extension WHERE extname = 'postgis'").first():
        return True, "the layers map_blocks, map_rows, map_vines and map_condition_by_season show in a GIS"
    if not connection.exec_driver_sql("SELECT 1 FROM pg_available_extensions WHERE name = 'postgis'").first():
        return False, (
            "the server has no PostGIS: the layers have plain columns, with the place of each vine as text (wkt); "
            "a GIS shows them once PostGIS is installed and `trunkwatch upgrade` has run again"
        )
    from sqlalchemy.exc import DBAPIError

    try:
        with connection.begin_nested():
            connection.exec_driver_sql("CREATE EXTENSION postgis")
    except DBAPIError:
        return False, (
            "this login may not switch PostGIS on (CREATE EXTENSION postgis): the layers have plain columns, with the "
            "place of each vine as text (wkt)"
        )
    return True, "the layers map_blocks, map_rows, map_vines and map_condition_by_season show in a GIS"
