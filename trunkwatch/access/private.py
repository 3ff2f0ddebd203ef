"""The private folder of a desk: beside the vineyard file, never in it, for the vineyard file is mailed.

``my_vines.gpkg`` has ``my_vines.gpkg.desk``: people with the hashes of their codes, paired phones with their secrets,
the desk's own certificate, and what was done. Only the user who runs the desk may read it (folder 0700, files 0600).
"""

import json
import os
import secrets
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from threading import RLock
from typing import Any

from trunkwatch.access.file_lock import is_locked_now
from trunkwatch.errors import AccessError, FileError
from trunkwatch.rights import real_path

__all__ = ["private_folder", "read_private", "turn", "write_private"]

#: Seconds to wait for another process that writes.
WAIT_S = 20.0
_inside = RLock()


def private_folder(vineyard: Path) -> Path:
    """Return the private folder of a vineyard file; it need not be there.

    Raises
    ------
    AccessError
        If the vineyard is a folder: the desk, and so its people and phones, has the one-file form only.
    """
    if vineyard.is_dir():
        raise AccessError(
            f"{str(vineyard)!r} is a folder; people and phones go with the one-file form: "
            f"`trunkwatch load {vineyard.name}.gpkg {vineyard}` makes it"
        )
    place = real_path(vineyard)
    return place.with_name(f"{place.name}.desk")


def _made(folder: Path) -> Path:
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        folder.chmod(0o700)
    except OSError as error:
        raise FileError(f"{folder} cannot be made: {error.strerror}") from error
    return folder


def read_private(vineyard: Path, name: str) -> Any:
    """Return what a private JSON file holds; None where there is none.

    Raises
    ------
    FileError
        If it is there and cannot be read: nobody is let in by a damaged list.
    """
    if vineyard.is_dir():
        return None
    path = private_folder(vineyard) / name
    try:
        return json.loads(path.read_text("utf-8"))
    except FileNotFoundError:
        return None
    except (OSError, ValueError, RecursionError) as error:
        raise FileError(
            f"{path} cannot be read, and nobody is let in by it: put it back from a copy, or delete it and set it up anew"
        ) from error


def write_private(vineyard: Path, name: str, value: Any) -> None:
    """Write a private file in one step: JSON, or bytes as they are.

    Raises
    ------
    FileError
        If it cannot be written.
    """
    folder = _made(private_folder(vineyard))
    raw = value if isinstance(value, bytes) else json.dumps(value, indent=1).encode()
    part = folder / f".{name}.{secrets.token_hex(4)}.part"
    try:
        handle = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(raw)
            file.flush()
            os.fsync(file.fileno())
        part.replace(folder / name)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise FileError(f"{folder / name} cannot be written: {error.strerror}") from error


@contextmanager
def turn(vineyard: Path) -> Iterator[Path]:
    """Wait for one's turn to change private files, and hand out their folder; the lock goes with the process."""
    folder = _made(private_folder(vineyard))
    with _inside:
        try:
            handle = os.open(folder / ".lock", os.O_RDWR | os.O_CREAT, 0o600)
        except OSError as error:
            raise FileError(f"{folder} cannot be written to: {error.strerror}") from error
        try:
            _lock(handle, folder)
            yield folder
        finally:
            os.close(handle)


def _lock(handle: int, folder: Path) -> None:
    end = time.monotonic() + WAIT_S
    while not is_locked_now(handle):
        if time.monotonic() > end:
            raise FileError(f"{folder} is being written by another process: try again")
        time.sleep(0.02)
