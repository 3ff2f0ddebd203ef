"""A program ended, or a disk that is full, at the nth thing that is done to the files of a folder."""

import errno
import os
import stat
import sys
import traceback
from collections.abc import Callable
from pathlib import Path

from trunkwatch.errors import FileError

#: What a piece of work came to.
DONE, KILLED, REFUSED = 0, 9, 7
_EVENTS = ("open", "os.rename", "os.remove", "os.mkdir", "os.rmdir", "os.chmod", "sqlite3.connect")


def killed_at(number: int, work: Callable[[], object], folder: Path) -> int:
    """Do a piece of work in a process that is ended before its nth change to files; what was not forced to disk is lost."""

    def end(event: str, handle: int) -> None:
        if event == "fsync" and os.fstat(handle).st_size > 1 and not _is_folder(handle):
            os.ftruncate(handle, os.fstat(handle).st_size // 2)
        os._exit(KILLED)

    return _apart(number, work, folder, end)


def disk_full_at(number: int, work: Callable[[], object], folder: Path) -> int:
    """Do a piece of work on a disk that is full from its nth change to files on: renaming and removing go on."""

    def full(event: str, _handle: int) -> None:
        if event in ("open", "os.mkdir", "fsync"):
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    return _apart(number, work, folder, full, stays=True)


def _is_folder(handle: int) -> bool:
    return stat.S_ISDIR(os.fstat(handle).st_mode)


def _apart(
    number: int, work: Callable[[], object], folder: Path, happens: Callable[[str, int], None], *, stays: bool = False
) -> int:
    child = os.fork()
    if child:
        code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        assert code in (DONE, KILLED, REFUSED), "the traceback is above"
        return code
    _count(number, folder, happens, stays=stays)
    try:
        work()
    except FileError as error:
        os._exit(REFUSED if "\n" not in str(error) else 1)
    except BaseException:
        traceback.print_exc()
        os._exit(1)
    os._exit(DONE)


def _count(number: int, folder: Path, happens: Callable[[str, int], None], *, stays: bool) -> None:
    """Let something happen before the nth change to files below a folder, in this process."""
    seen = 0

    def step(event: str, handle: int = -1) -> None:
        nonlocal seen
        seen += 1
        if seen == number or (stays and seen > number):
            happens(event, handle)

    def hook(event: str, args: tuple[object, ...]) -> None:
        if event in _EVENTS and str(args[0]).startswith(str(folder)):
            if event == "open" and not int(args[2]) & (os.O_WRONLY | os.O_RDWR | os.O_CREAT):
                return
            step(event)

    sync = os.fsync

    def fsync(handle: int) -> None:
        step("fsync", handle)
        sync(handle)

    os.fsync = fsync
    sys.addaudithook(hook)
