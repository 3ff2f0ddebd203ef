"""Work for a process apart that comes to no good end."""

import os
import signal
from pathlib import Path


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
