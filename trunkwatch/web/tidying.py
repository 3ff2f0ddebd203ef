"""While nobody writes: new records go from the log of the file into its tables and map layers."""

import logging
import threading
import time
from pathlib import Path
from typing import Self

from trunkwatch.errors import TrunkwatchError
from trunkwatch.intake import put_into_tables

__all__ = ["Tidying"]

_LOG = logging.getLogger("trunkwatch")
#: Seconds without a change of the file before it is tidied, and between two looks at it.
QUIET_S, EVERY_S = 5.0, 1.0
#: A file with many photos is copied whole each time: from so many bytes on it is left alone so many times as long first.
LARGE, LARGE_WAITS = 100_000_000, 24.0


class Tidying:
    """A thread that tidies a file when it has been left alone for some seconds, and at the end.

    Parameters
    ----------
    path : Path
        A .gpkg file.
    quiet_s, every_s : float
        Seconds to leave it alone, and between two looks.
    """

    def __init__(self, path: Path, quiet_s: float = QUIET_S, every_s: float = EVERY_S) -> None:
        self._path = path
        self._quiet_s, self._every_s = quiet_s, every_s
        self._ended = threading.Event()
        self._thread = threading.Thread(target=self._run, name="tidying", daemon=True)

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._ended.set()
        self._thread.join()
        self._tidy()

    def _run(self) -> None:
        seen, since, tidied = 0, time.monotonic(), 0
        while not self._ended.wait(self._every_s):
            now = self._changed()
            if now != seen:
                seen, since = now, time.monotonic()
            elif seen != tidied and time.monotonic() - since >= self._quiet():
                self._tidy()
                tidied = seen = self._changed()

    def _quiet(self) -> float:
        """Return for how many seconds the file must have been left alone."""
        try:
            is_large = self._path.stat().st_size > LARGE
        except OSError:
            is_large = False
        return self._quiet_s * (LARGE_WAITS if is_large else 1.0)

    def _changed(self) -> int:
        try:
            return self._path.stat().st_mtime_ns
        except OSError:
            return 0

    def _tidy(self) -> None:
        try:
            put_into_tables(self._path)
        except TrunkwatchError as error:  # the records are in the file all the same
            _LOG.warning("not tidied yet: %s", error)
