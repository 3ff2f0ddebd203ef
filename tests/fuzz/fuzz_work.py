"""Work for a process apart that comes to no good end."""

import os
import signal
from pathlib import Path

#: The process that read this module in.
LOADED_BY = os.getpid()


def endless(_path: Path) -> None:
    """Never end."""
    while True:
        pass


def doubling(_path: Path) -> int:
    """Take memory until there is none."""
    held: list[bytes] = []
    while True:
        held.append(bytes(10_000_000))


def ended(_path: Path) -> None:
    """End as a crash of a library ends a process."""
    os.kill(os.getpid(), signal.SIGKILL)


def where_loaded(_path: Path) -> int:
    """Return the process that read this module in."""
    return LOADED_BY
