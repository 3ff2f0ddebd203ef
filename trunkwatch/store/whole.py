"""One file that is whole at every moment: writing to a copy beside it, and taking its place.

People mail the file. A file copied without its journal after a crash would be damaged, so nothing
is ever written into the named file itself: a writer copies it, writes the copy, forces it to disk
and puts it in place of the old one in one step. Writers take turns by a lock beside the file.
"""

import contextlib
import os
import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import BinaryIO, TypeVar
from urllib.parse import quote

from trunkwatch import rights
from trunkwatch.errors import FileError, NewerSchemaError, NotAVineyardError, OldSchemaError
from trunkwatch.store.beside import has_hot_journal, open_elsewhere, take_in
from trunkwatch.store.geopackage import APPLICATION_ID
from trunkwatch.store.log import note_counter
from trunkwatch.store.photo_files import relate_photos
from trunkwatch.store.refuse import refuse_missing
from trunkwatch.store.schema import VERSION, schema_version, take_steps
from trunkwatch.store.touched import change_counter
from trunkwatch.store.turns import Turns
from trunkwatch.store.unreadable import UNREADABLE
from trunkwatch.vineyard.tables import TABLES

__all__ = [
    "connect_read",
    "copied",
    "copy_whole",
    "create_file",
    "refuse_read_only",
    "replaced_by_copy",
    "shared_turn",
    "told_errors",
    "turn_to_write",
    "upgrade_file",
]

WAIT_S = 30.0
Work = TypeVar("Work")


def connect_read(path: Path, *, any_version: bool = False, by_turns: bool = False) -> sqlite3.Connection:
    """Open a file to read; `by_turns` where several threads use the connection, one after the other.

    Raises
    ------
    FileError
        If it is not there, locked or damaged.
    NotAVineyardError, OldSchemaError, NewerSchemaError
        If it is something else, or of another version.
    """
    if not path.exists():
        raise FileError(f"no file {str(path)!r}; `trunkwatch new {path}` starts one")
    if path.is_dir():
        raise NotAVineyardError(f"{path.name} is a folder, no .gpkg file: a folder of notes has another name")
    try:
        with path.open("rb") as file:
            head = file.read(16)
    except OSError as error:
        raise FileError(f"{path.name} cannot be read: {error.strerror}; change its permissions, or copy it") from error
    if not head:
        raise NotAVineyardError(f"{path.name} is empty: a copy that broke off, perhaps; look for the original")
    if head != b"SQLite format 3\0":
        was = f"; where it was one, `trunkwatch check {path} --rescue OUT` saves what can be read" * (
            path.suffix == ".gpkg"
        )
        raise NotAVineyardError(
            f"{path.name} is no GeoPackage: `trunkwatch load` takes CSV and XLSX files into a vineyard{was}"
        )
    with told_errors(path):
        if has_hot_journal(path):
            take_in(path)
        db = sqlite3.connect(
            f"file:{quote(str(path.resolve()))}?mode=ro",
            uri=True,
            isolation_level=None,
            timeout=WAIT_S,
            check_same_thread=not by_turns,
        )
        db.execute("PRAGMA foreign_keys = ON")
        if by_turns:  # few lines wait beside the tables, and more come and go with every part of the turn
            db.execute("PRAGMA temp_store = MEMORY")
        try:
            _check(db, path, any_version=any_version)
        except BaseException:
            db.close()
            raise
    return db


def _check(db: sqlite3.Connection, path: Path, *, any_version: bool) -> None:
    version = schema_version(db)
    if db.execute("PRAGMA application_id").fetchone()[0] != APPLICATION_ID or not version:
        raise NotAVineyardError(f"{path.name} is a database, but holds no vineyard; `trunkwatch new` starts one")
    marks = ", ".join("?" * len(TABLES))
    views = db.execute(f"SELECT name FROM sqlite_master WHERE type = 'view' AND name IN ({marks})", tuple(TABLES))
    if view := views.fetchone():  # a question under the name of a table may have no end
        raise NotAVineyardError(
            f"{path.name}: {view[0]} is a view, no table: trunkwatch made no such file; take the original"
        )
    if version == VERSION and not any_version:
        refuse_missing(db, path)
    if version > VERSION:
        raise NewerSchemaError(
            f"{path.name} was written by a later trunkwatch (version {version}, this one knows {VERSION}): update trunkwatch"
        )
    if version < VERSION and not any_version:
        raise OldSchemaError(
            f"{path.name} is of version {version}, now it is {VERSION}: `trunkwatch upgrade {path}` (a copy is kept)"
        )


@contextmanager
def told_errors(path: Path) -> Iterator[None]:
    """Turn errors of the database and the system into one line with the way out."""
    try:
        yield
    except UNREADABLE as error:
        text = str(error)
        if "locked" in text or "busy" in text:
            raise FileError(f"{path.name} is locked by another program: close it there and try again") from error
        if "full" in text:
            raise FileError(f"no room left on the disk for {path.name}: nothing was changed") from error
        if "readonly" in text or "unable to open" in text:
            raise FileError(f"{path.name} cannot be written to or opened: {text}") from error
        if isinstance(error, sqlite3.IntegrityError):
            raise
        if "I/O" in text:
            raise FileError(
                f"{path.name} cannot be read or written ({text}): the disk is full or failing, or files may not grow so "
                "large; make room, or copy it to another place; nothing was changed"
            ) from error
        raise FileError(
            f"{path.name} is damaged ({text}): `trunkwatch check {path} --rescue OUT` saves what can be read"
        ) from error
    except OSError as error:
        raise FileError(f"{path} cannot be written: {error.strerror or error}; nothing was changed") from error


def create_file(path: Path) -> None:
    """Make an empty vineyard file.

    Raises
    ------
    FileError
        If there is a file of that name already, or it cannot be written.
    """
    if path.exists():
        raise FileError(f"{path} is there already; choose another name")
    path = rights.real_path(path)
    with told_errors(path), turn_to_write(path):
        _no_strange_journal(path)
        part = _part(path)
        try:
            os.close(rights.empty_part(part, path))
            db = sqlite3.connect(part, isolation_level=None)
            with contextlib.closing(db):
                take_steps(db)
            _note_counter(part)
            _into_place(part, path)
        finally:
            part.unlink(missing_ok=True)


def _no_strange_journal(path: Path) -> None:
    """Refuse to make a file beside the journal of one that is gone: SQLite would write that into the new one."""
    for ending in ("-wal", "-journal"):
        beside = path.with_name(path.name + ending)
        if beside.exists() and beside.stat().st_size:
            raise FileError(f"{beside.name} lies there, left by another file of this name: move it away first")


def copy_whole(path: Path, target: Path) -> None:
    """Write all that a file says at this moment, what lies in a journal beside it too, into a file of its own."""
    with (
        contextlib.closing(connect_read(path, any_version=True)) as source,
        told_errors(target),
        contextlib.closing(sqlite3.connect(target, isolation_level=None)) as db,
    ):
        source.backup(db)
        db.execute("PRAGMA journal_mode = DELETE")


def _part(path: Path) -> Path:
    return path.with_name(f".{path.name}.{os.getpid()}.part")


TURNS = Turns(WAIT_S)


def _lock_name(path: Path) -> Path:
    return path / ".trunkwatch.lock" if path.is_dir() else path.with_name(f".{path.name}.lock")


@contextmanager
def turn_to_write(path: Path) -> Iterator[None]:
    """Wait for one's turn to write; the lock goes with the process, however it ends."""
    path = rights.real_path(path)
    name = _lock_name(path)
    with TURNS.alone(name), contextlib.closing(_lock_file(name)) as lock:
        _take_turn(lock, path)
        yield


@contextmanager
def shared_turn(
    path: Path, purpose: object, *, begin: Callable[[], Work], end: Callable[[Work], None], more: Callable[[Work], bool]
) -> Iterator[Work]:
    """Wait for one's turn to write to a file, which others of this process may share; see `Turns.together`."""

    def begin_locked() -> tuple[Work, contextlib.ExitStack]:
        with contextlib.ExitStack() as stack:
            _take_turn(stack.enter_context(contextlib.closing(_lock_file(_lock_name(path)))), path)
            return begin(), stack.pop_all()

    def end_locked(held: tuple[Work, contextlib.ExitStack]) -> None:
        with held[1]:
            end(held[0])

    with TURNS.together(
        _lock_name(path), purpose, begin=begin_locked, end=end_locked, more=lambda held: more(held[0])
    ) as (work, _):
        yield work


def _lock_file(name: Path) -> sqlite3.Connection:
    try:
        # Whoever ends a shared turn lets the lock go, whichever thread took it.
        return sqlite3.connect(name, isolation_level=None, timeout=WAIT_S, check_same_thread=False)
    except sqlite3.OperationalError as error:
        raise FileError(f"{name.parent} cannot be written to: {error}") from error


def _take_turn(lock: sqlite3.Connection, path: Path) -> None:
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        if "locked" in str(error):
            raise FileError(f"{path.name} is being written by another process: try again") from error
        if "full" in str(error) or "I/O" in str(error):
            raise FileError(f"no room left on the disk for {path.name}: nothing was changed") from error
        raise FileError(f"{path.parent} cannot be written to: {error}") from error
    for stale in path.parent.glob(f".{path.name}.*.part*"):
        stale.unlink(missing_ok=True)  # left by a process that was killed


@contextmanager
def replaced_by_copy(path: Path, *, any_version: bool = False) -> Iterator[sqlite3.Connection]:
    """Hand out a copy of a file to write, and put it in the file's place when all went well.

    Raises
    ------
    FileError
        If the file is locked, read-only or damaged, or the disk is full; the file is then as it was.
    """
    path = rights.real_path(path)
    refuse_read_only(path)
    with turn_to_write(path), copied(path, any_version=any_version) as db:
        yield db


def refuse_read_only(path: Path) -> None:
    """Refuse to write to a file that is read-only."""
    if path.exists() and not os.access(path, os.W_OK):
        raise FileError(f"{path.name} is read-only: change its permissions, or copy it")


@contextmanager
def copied(path: Path, *, any_version: bool = False) -> Iterator[sqlite3.Connection]:
    """As `replaced_by_copy`, for who has the turn to write already."""
    part = _part(path)
    with told_errors(path):
        if path.is_file():
            take_in(path)
        source = connect_read(path, any_version=any_version)
        try:
            # Other programs may read meanwhile, but not write: what they wrote would be lost. The file is closed behind the
            # guard: who closes a file lets go of all locks that the process has on it.
            with (
                path.open("rb") as whole,
                contextlib.closing(sqlite3.connect(path, isolation_level=None, timeout=WAIT_S)) as guard,
            ):
                guard.execute("BEGIN IMMEDIATE")
                _is_alone(guard, path)
                is_copied = _bytes_into(rights.empty_part(part, path), whole)
                if not is_copied:
                    os.truncate(part, 0)
                db = sqlite3.connect(part, isolation_level=None)
                with contextlib.closing(db):
                    if not is_copied:  # and if this fails too, it says why in the words of the database
                        source.backup(db)
                    db.execute("PRAGMA foreign_keys = ON")
                    # The copy is nobody else's: if this process ends, the copy is thrown away.
                    db.execute("PRAGMA journal_mode = MEMORY")
                    db.execute("PRAGMA synchronous = OFF")
                    db.execute("PRAGMA cache_size = -200000")
                    yield db
                    present = schema_version(db) == VERSION
                    if present:
                        relate_photos(db)
                    db.execute("PRAGMA journal_mode = DELETE")
                if present:
                    _note_counter(part)
                _into_place(part, path)
        finally:
            source.close()
            part.unlink(missing_ok=True)
            part.with_name(f"{part.name}-journal").unlink(missing_ok=True)


def _bytes_into(target: int, whole: BinaryIO) -> bool:
    """Copy a file that nobody writes to as the system does it, the faster way by far; tell whether all of it is there.

    Nothing waits beside the file (its journal was taken in, and the guard keeps others from writing), so that its bytes are all.
    """
    with os.fdopen(target, "r+b", buffering=0) as part, contextlib.suppress(OSError):
        size = left = os.fstat(whole.fileno()).st_size
        if not hasattr(os, "copy_file_range"):
            shutil.copyfileobj(whole, part, 1 << 20)
            left = size - part.tell()
        while left and (many := os.copy_file_range(whole.fileno(), part.fileno(), left)):
            left -= many
        if not left:
            return True
    return False


def _note_counter(part: Path) -> None:
    """Note in a finished file where its counter of changes stands; a connection that held it longer need not raise it."""
    with contextlib.closing(sqlite3.connect(part, isolation_level=None)) as db:
        db.execute("PRAGMA journal_mode = MEMORY")
        db.execute("PRAGMA synchronous = OFF")
        note_counter(db, change_counter(part))


def _is_alone(guard: sqlite3.Connection, path: Path) -> None:
    """Refuse a file that another program has begun to write beside since its journal was taken in."""
    if guard.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
        raise FileError(open_elsewhere(path))


def _into_place(part: Path, path: Path, *, like: Path | None = None) -> None:
    """Force a finished copy to disk and give it the name of the file, in one step; its rights are those of the file."""
    rights.same_rights(part, like or path)
    with part.open("rb+") as file:
        os.fsync(file.fileno())
    part.replace(path)
    if hasattr(os, "O_DIRECTORY"):
        folder = os.open(path.parent, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def upgrade_file(
    path: Path, redraw: Callable[[sqlite3.Connection], None] | None = None
) -> tuple[Path | None, list[str]]:
    """Bring a file to the present version and keep the old one beside it; the file is old or new, never between.

    Parameters
    ----------
    path : Path
        The file.
    redraw : callable, optional
        Draws the map layers of the new version anew, in the same step.

    Returns
    -------
    kept : Path or None
        The copy of the old file; None where nothing was to be done.
    done : list of str
        The steps taken.

    Raises
    ------
    FileError
        If the file cannot be written, or another old file has the name of the one to keep.
    """
    with contextlib.closing(connect_read(path, any_version=True)) as db:
        if schema_version(db) == VERSION:
            return None, []
    # The old file stays open until the new one is in place: to close it would let go of the locks of the database.
    with contextlib.ExitStack() as until_done, replaced_by_copy(path, any_version=True) as db:
        version = schema_version(db)
        if version == VERSION:  # brought to it by another process meanwhile
            return None, []
        old = until_done.enter_context(rights.real_path(path).open("rb"))
        kept = path.with_name(f"{path.stem}.version{version}{path.suffix}")
        with _kept_beside(path, kept, old):
            done = take_steps(db)
            if redraw is not None:
                redraw(db)
    return kept, done


@contextmanager
def _kept_beside(path: Path, kept: Path, old: BinaryIO) -> Iterator[None]:
    """Keep a copy of the old file: whole under a hidden name first, under its own when all went well.

    Raises
    ------
    FileError
        If something else has that name; a copy that an upgrade which was ended has left is used again.
    """
    if kept.exists():
        if kept.read_bytes() != old.read():
            raise FileError(
                f"{kept} is there already, and is not {path.name} as it is now (of an earlier upgrade, perhaps): "
                "move it away or give it another name, then upgrade again; nothing was changed"
            )
        yield
        return
    for stale in kept.parent.glob(f".{path.name}.*.kept.part"):
        stale.unlink(missing_ok=True)  # left by a process that was killed, where a link leads to the file
    part = kept.with_name(f".{path.name}.{os.getpid()}.kept.part")
    try:
        with os.fdopen(rights.empty_part(part, path), "wb") as file:
            shutil.copyfileobj(old, file)
        yield
        _into_place(part, kept, like=path)
    finally:
        part.unlink(missing_ok=True)
