"""Work that tests send along the road over blocks; in a module of its own, so that other processes find it."""

import os
import signal
import time
from pathlib import Path

from trunkwatch.errors import RecordError


def doubled(number, mark=""):
    """Return twice a number; leave a file behind for each time it was worked out."""
    if mark:
        with Path(mark).open("a") as file:
            file.write(f"{number}\n")
    return {"twice": 2 * number}


def refused(number, _mark=""):
    if number % 3 == 0:
        raise RecordError(f"block {number} cannot be")
    if number % 3 == 1:
        raise KeyError(number)
    return {"twice": 2 * number}


def ends_its_process(number, mark=""):
    """End the process that works on number 4, always; on number 2, the first time."""
    if number == 4 or (number == 2 and not Path(mark).exists()):
        Path(mark).touch()
        time.sleep(0.2)
        os.kill(os.getpid(), signal.SIGKILL)
    return {"twice": 2 * number}
