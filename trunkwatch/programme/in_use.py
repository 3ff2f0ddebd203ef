"""Which runs of a programme are under way, so that nothing is cleared that one of them needs."""

import os
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from trunkwatch.access.file_lock import is_locked_now
from trunkwatch.errors import FileError

__all__ = ["alone", "under_way"]

#: A file that whoever begins, or clears, holds for a moment; and those that a run holds until it ends or is ended.
_GATE, _RUN = ".gate.lock", ".run-"
#: How long the gate is waited for: who clears may hold it for that long.
_SECONDS = 60.0


@contextmanager
def under_way(folder: Path | None) -> Iterator[None]:
    """Be a run that uses what a folder holds; the mark goes with the process, however it ends.

    Raises
    ------
    FileError
        If the folder cannot be made, or is being cleared for long.
    """
    if folder is None:
        yield
        return
    with _gate(folder):
        path = folder / f"{_RUN}{secrets.token_hex(8)}.lock"
        handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
        is_locked_now(handle)
    try:
        yield
    finally:
        os.close(handle)
        path.unlink(missing_ok=True)


@contextmanager
def alone(folder: Path) -> Iterator[bool]:
    """Tell whether no run uses what a folder holds; while this is held none begins.

    Raises
    ------
    FileError
        As `under_way`.
    """
    with _gate(folder):
        yield not [path for path in sorted(folder.glob(f"{_RUN}*.lock")) if not _is_left(path)]


def _is_left(path: Path) -> bool:
    """Tell whether the run of a mark is gone, and then take the mark away."""
    try:
        handle = os.open(path, os.O_RDWR)
    except FileNotFoundError:
        return True
    except OSError:
        return False
    try:
        left = is_locked_now(handle)
    finally:
        os.close(handle)
    if left:
        path.unlink(missing_ok=True)
    return left


@contextmanager
def _gate(folder: Path) -> Iterator[None]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        handle = os.open(folder / _GATE, os.O_RDWR | os.O_CREAT, 0o600)
    except OSError as error:
        raise FileError(f"{folder} cannot be written to: {error.strerror}; --cache names another folder") from error
    try:
        end = time.monotonic() + _SECONDS
        while not is_locked_now(handle):
            if time.monotonic() > end:
                raise FileError(f"{folder} is being cleared by another process: try again")
            time.sleep(0.02)
        yield
    finally:
        os.close(handle)
