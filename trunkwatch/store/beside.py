"""What another program has left beside a file: a journal of changes that are not in the file itself.

A database program may keep its latest changes in a file of their own, NAME-wal, or what it must
take back in NAME-journal. Such a file belongs to the very file that it was written for: beside a
new one it would be read as changes of that, and damage it. So it is taken in, by SQLite itself,
before anything takes the file's place.
"""

import contextlib
import logging
import os
import sqlite3
from pathlib import Path

from trunkwatch.errors import FileError

__all__ = ["has_hot_journal", "open_elsewhere", "take_in"]

_LOG = logging.getLogger("trunkwatch")
#: Seconds to wait for a program that holds the file; it is asked for again by whoever sees the message.
PATIENCE_S = 3.0
_JOURNAL_MARK = bytes.fromhex("d9d505f920a163d7")
_WAL = 2


def _beside(path: Path, ending: str) -> Path:
    return path.with_name(path.name + ending)


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0


def has_hot_journal(path: Path) -> bool:
    """Tell whether a journal lies beside a file with changes to be taken back; one that was used up has no mark."""
    try:
        with _beside(path, "-journal").open("rb") as file:
            return file.read(8) == _JOURNAL_MARK
    except OSError:
        return False


def _is_wal(path: Path) -> bool:
    """Tell by the head of a file whether changes are written beside it."""
    with path.open("rb") as file:
        head = file.read(20)
    return len(head) == 20 and _WAL in (head[18], head[19])


def open_elsewhere(path: Path) -> str:
    """Say that a file is open in a program that keeps changes beside it."""
    return (
        f"{path.name} is open in another program, which keeps its changes in {path.name}-wal: close the file there "
        "(a map program, a database browser), then try again"
    )


def take_in(path: Path) -> None:
    """Take in what lies beside a file, so that it stands alone.

    Raises
    ------
    FileError
        If another program holds the file, or it cannot be taken in; the file is then as it was.
    """
    wal, hot = _size(_beside(path, "-wal")), has_hot_journal(path)
    if not (wal or hot or _is_wal(path)):
        return
    if not os.access(path, os.W_OK):
        raise FileError(
            f"{path.name} has changes beside it that belong into it, and is read-only: "
            f"copy it with {path.name}-wal or {path.name}-journal to where it can be written"
        )
    try:
        _by_the_database(path)
    except sqlite3.OperationalError as error:
        if "locked" not in str(error) and "busy" not in str(error):
            raise
        if hot and not wal:
            return  # another program is at work on it: its own journal, and the file is locked for who wants to write
        raise FileError(open_elsewhere(path)) from error
    if _size(_beside(path, "-wal")) or _is_wal(path):
        raise FileError(
            f"{path.name}-wal does not go into {path.name}: it belongs to another file of this name; "
            "move it away, or find the file that it belongs to"
        )
    if hot and not has_hot_journal(path):
        _LOG.warning("%s: another program was ended in the middle of a change; that change was taken back", path.name)
    if wal:
        _LOG.warning("%s: what another program had written beside it (-wal) was taken into it", path.name)


def _by_the_database(path: Path) -> None:
    """Open a file to write, as any program does: that alone takes a journal back, and ends the writing beside it."""
    with contextlib.closing(sqlite3.connect(path, isolation_level=None, timeout=PATIENCE_S)) as db:
        db.execute("SELECT count(*) FROM sqlite_master").fetchone()
        if db.execute("PRAGMA journal_mode").fetchone()[0] == "wal":
            db.execute("PRAGMA journal_mode = DELETE").fetchone()
