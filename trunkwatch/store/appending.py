"""What writers work on who share a turn to add a few records to a file, and how it ends: on the disk, or not at all."""

import sqlite3
from collections.abc import Callable, Iterator, Mapping
from contextlib import closing, contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Generic, TypeVar

import pandas as pd

from trunkwatch.store.lines import Lines
from trunkwatch.store.log import MOST_WAITING, Log, append_frame, framed, records_by_table
from trunkwatch.store.whole import copied, told_errors

__all__ = ["Appending"]

Store = TypeVar("Store")
#: Puts new records into the tables of a copy.
Put = Callable[[sqlite3.Connection, Mapping[str, pd.DataFrame]], None]


@dataclass(slots=True)
class Appending(Generic[Store]):
    """A file that is open to have a few records added.

    Attributes
    ----------
    store : Store
        What is handed out.
    db : Connection
        Open to read; closed at the end.
    lines : Lines
        Of the store; what was added is fresh there.
    where : Path
        The file.
    log : Log
        What waited in it when the turn began.
    put : callable
        Takes the long road.
    is_spoiled : bool
        Whether one of the writers failed when it had added something: what it added may still be seen, and is not kept.
    """

    store: Store
    db: sqlite3.Connection
    lines: Lines
    where: Path
    log: Log
    put: Put
    is_spoiled: bool = False

    @contextmanager
    def part(self) -> Iterator[Store]:
        """Hand the store out to one writer; all that it adds is kept, or nothing of it."""
        mark = self.lines.mark()
        try:
            yield self.store
        except BaseException:
            self.is_spoiled |= self.lines.back_to(mark)
            raise

    def has_room(self) -> bool:
        """Tell whether another writer may add to it."""
        return not self.is_spoiled and self.lines.many_fresh <= MOST_WAITING // 2

    def end(self) -> None:
        """Force what was added to disk: into the log of the file, or else into its tables."""
        with closing(self.db):
            added = {table: frames for table, frames in self.lines.fresh.items() if frames}
            fresh = {table: pd.concat(frames, ignore_index=True) for table, frames in added.items()}
        few = sum(map(len, fresh.values())) <= MOST_WAITING
        with told_errors(self.where):
            if not fresh or (few and append_frame(self.where, self.log, framed(records_by_table(fresh)))):
                return
        with copied(self.where) as copy:
            self.put(copy, fresh)
