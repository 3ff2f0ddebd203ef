"""A new file in the place of an old one: at the end of the links, with the rights and the owner of the old."""

import contextlib
import os
import stat
from pathlib import Path

__all__ = ["empty_part", "real_path", "same_rights"]


def real_path(path: Path) -> Path:
    """Return where a path leads in the end: a link stays a link, and what it names is written."""
    return Path(os.path.realpath(path))


def empty_part(part: Path, place: Path) -> int:
    """Make an empty file that will take a place, and return its handle.

    It is private until it has the rights of what it replaces; where nothing is replaced, it has the rights that new
    files have here (the umask of whoever runs the program).
    """
    return os.open(
        part, os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600 if place.exists() else 0o666
    )


def same_rights(part: Path, place: Path) -> None:
    """Give a finished file the owner, the group and the rights of the file whose place it takes, where there is one."""
    try:
        old = place.stat()
    except FileNotFoundError:
        return
    mode = stat.S_IMODE(old.st_mode)
    if hasattr(os, "chown"):
        new = part.stat()
        if (new.st_uid, new.st_gid) != (old.st_uid, old.st_gid):
            try:
                os.chown(part, old.st_uid, old.st_gid)
            except PermissionError:
                mode = _group_of_ours(part, old, mode)
    part.chmod(mode)
    for name in os.listxattr(place) if hasattr(os, "listxattr") else ():
        with contextlib.suppress(OSError):
            os.setxattr(part, name, os.getxattr(place, name))


def _group_of_ours(part: Path, old: os.stat_result, mode: int) -> int:
    """Keep the group where that is allowed; where it is not, our own group gets no more than everybody had."""
    try:
        os.chown(part, -1, old.st_gid)
    except PermissionError:
        return (mode & ~0o6070) | ((mode & 0o007) << 3)
    return mode & ~0o4000
