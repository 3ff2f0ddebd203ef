"""What can still be read of a damaged file: from its tables, from the log in it, from its bytes, and by what lies beside it."""

import contextlib
import mmap
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any
from urllib.parse import quote

import pandas as pd

from trunkwatch.store.beside import has_hot_journal
from trunkwatch.store.log import Log, read_log, waiting_frames
from trunkwatch.store.photo_files import readable_photos
from trunkwatch.store.raw_records import raw_records
from trunkwatch.store.schema import take_steps
from trunkwatch.store.seal import OTHER_PROGRAM, columns_of, sealed, seals_of
from trunkwatch.store.spans import LEAST_BYTES, Readable, described_by_indexes, readable_records
from trunkwatch.store.spare import Spares, is_copy, spare_records
from trunkwatch.store.touched import change_counter
from trunkwatch.store.unreadable import UNREADABLE
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

__all__ = ["Rescued", "Saved", "rescue_file", "rescued_frames", "rescued_photos"]

_FIRST = 1


@dataclass(slots=True)
class Saved:
    """What became of one table.

    Attributes
    ----------
    read : int
        Records of the table that were read as they were written.
    waited : int
        Records that waited in the log.
    again : int
        Of those read, how many were found again: in a second copy of the log, or in the bytes of the file.
    missing : int
        How many records are missing: lost, or damaged and left out; -1 where the table itself is gone and nothing is
        known of it.
    is_known : bool
        Whether it is known how many there were: otherwise more may be missing.
    left_out : list of str
        Cells that could not be taken, in words.
    damaged : list of str
        Records that do not read as they were written, and are left out: which, and how they read.
    lost : list of str
        Records that cannot be read, by what the indexes tell of them.
    """

    read: int = 0
    waited: int = 0
    again: int = 0
    missing: int = 0
    is_known: bool = True
    left_out: list[str] = field(default_factory=list)
    damaged: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)


@dataclass(slots=True)
class Rescued:
    """What was saved of a file.

    Attributes
    ----------
    frames : dict of str to DataFrame
        Records by table, those that waited in the log behind the others.
    saved : dict of str to Saved
        What became of each table.
    beside : str
        What became of a journal beside the file, in words; empty where there was none.
    damaged : int
        Entries of the log that could not be read.
    half : bool
        Whether an entry of the log was begun and not finished.
    by_others : bool
        Whether the file was changed more often than we know of: by another program, or the latest entries of the log
        are lost.
    """

    frames: dict[str, pd.DataFrame] = field(default_factory=dict)
    saved: dict[str, Saved] = field(default_factory=dict)
    beside: str = ""
    damaged: int = 0
    half: bool = False
    by_others: bool = False

    @property
    def missing(self) -> int:
        """How many records are missing, an entry of the log counted as one."""
        return sum(max(saved.missing, 0) for saved in self.saved.values()) + self.damaged

    @property
    def is_known(self) -> bool:
        """Whether no more than these are missing."""
        told = all(saved.is_known and saved.missing >= 0 for saved in self.saved.values())
        return told and not (self.damaged or self.half or self.by_others)


@dataclass(frozen=True, slots=True)
class _Source:
    """A damaged file, open."""

    db: sqlite3.Connection
    path: Path
    counts: Mapping[str, int]
    spares: Spares
    by_others: bool


def rescued_frames(path: Path) -> tuple[dict[str, pd.DataFrame], dict[str, int]]:
    """Return the records that a damaged file still gives, and how many of each table are missing.

    Parameters
    ----------
    path : Path
        The damaged file; it is opened to read only.
    """
    rescued = rescue_file(path)
    return rescued.frames, {table: saved.missing for table, saved in rescued.saved.items()}


def rescue_file(path: Path) -> Rescued:
    """Read every record that a damaged file still gives.

    A record that does not fit its seal is not what was written: where no second copy of it is found, it is left out.

    Parameters
    ----------
    path : Path
        The damaged file; it is opened to read only.
    """
    rescued = Rescued()
    with _opened(path.resolve()) as (db, beside):
        rescued.beside = beside
        log = _log(db)
        rescued.damaged, rescued.half = log.damaged, log.half
        waiting = {table: records_of(frame) for table, frame in waiting_frames(log).items()}
        counts = _counts(db)
        rescued.by_others = bool(log.counter and change_counter(path) != log.counter + log.written)
        source = _Source(db, path, counts, _spares(db), rescued.by_others or bool(counts.get(OTHER_PROGRAM)))
        for table in TABLES:
            records, saved = _table(source, table)
            there = {record["id"] for record in records}
            behind = [record for record in waiting.get(table, []) if record["id"] not in there]
            saved.waited = len(behind)
            rescued.frames[table] = frame_of(table, [*records, *behind])
            rescued.saved[table] = saved
    return rescued


def rescued_photos(path: Path) -> Iterator[bytes]:
    """Hand out the bytes of every photo that a damaged file still gives, and that are what they were."""
    with _opened(path.resolve()) as (db, _):
        yield from readable_photos(db)


def _log(db: sqlite3.Connection) -> Log:
    try:
        return read_log(db)
    except UNREADABLE:
        return Log(0, 0, 0, (), damaged=1)


def _spares(db: sqlite3.Connection) -> Spares:
    with contextlib.suppress(*UNREADABLE):
        return spare_records(db)
    return {}


def _counts(db: sqlite3.Connection) -> dict[str, int]:
    with contextlib.suppress(*UNREADABLE):
        return {name: count for name, count in sealed(db).items() if isinstance(count, int)}
    return {}


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[tuple[sqlite3.Connection, str]]:
    """Open a copy of the file with what lies beside it, so that a journal is taken in; the file alone where that fails.

    What another program wrote and never finished is taken back so; it is told in words what became of it.
    """
    hot = has_hot_journal(path)
    wal = path.with_name(f"{path.name}-wal")
    has_wal = wal.exists() and wal.stat().st_size > 0
    said = []
    if hot:
        said.append(f"{path.name}-journal: what another program had begun and not finished is left out")
    if has_wal:
        said.append(f"{wal.name}: what another program had finished there is taken in, the rest is left out")
    with tempfile.TemporaryDirectory(prefix="trunkwatch-rescue-") as folder:
        copy = Path(folder) / "copy.gpkg"
        try:
            for ending in ("", "-wal", "-journal"):
                beside = path.with_name(path.name + ending)
                if beside.exists():
                    shutil.copyfile(beside, f"{copy}{ending}")
            db = sqlite3.connect(copy, isolation_level=None)
            db.execute("SELECT count(*) FROM sqlite_master").fetchone()
        except (OSError, sqlite3.DatabaseError, UnicodeDecodeError):
            db = sqlite3.connect(f"file:{quote(str(path))}?mode=ro&immutable=1", uri=True, isolation_level=None)
            if hot or has_wal:
                said = [
                    f"what lies beside {path.name} could not be taken in: some of what is saved may never have been finished"
                ]
        db.text_factory = _text
        with contextlib.closing(db):
            yield db, "; ".join(said)


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", errors="replace")


def _table(source: _Source, table: str) -> tuple[list[dict[str, Any]], Saved]:
    count = source.counts.get(table)
    found = readable_records(source.db, table, count, source.path.stat().st_size // LEAST_BYTES)
    saved = Saved()
    if found.columns:
        saved.left_out += [f"column {name} is gone" for name in TABLES[table].names if name not in found.columns]
    rows = {number: dict(zip(found.columns, cells[:-1], strict=True)) for number, cells in found.rows.items()}
    damaged = _unfit(source, table, found, rows)
    for number in damaged:
        del rows[number]
    sealed_ones = sum(cells[-1] is not None for number, cells in found.rows.items() if number in rows)
    wanted = _wanted(source, found, rows, count, sealed_ones)
    again = {**_spared(source, table, found, damaged, wanted), **_raw(source, table, found, rows, wanted)}
    rows |= again
    saved.again = len(again)
    _count(saved, found, rows, count, sealed_ones + len(again))
    records = [_taken(table, rows[number], number, saved) for number in sorted(rows)]
    saved.read = len(rows)
    _name(source, table, found, rows, damaged, saved)
    return records, saved


def _unfit(source: _Source, table: str, found: Readable, rows: Mapping[int, Mapping[str, Any]]) -> list[int]:
    """Return the records that are not what was sealed; where another program changed the file, they may well be."""
    if not found.has_seals or source.by_others or not rows:
        return []
    cells = {name: [record[name] for record in rows.values()] for name in found.columns}
    right = seals_of(table, cells, list(rows)).tolist()
    return [number for number, wanted in zip(rows, right, strict=True) if found.rows[number][-1] != wanted]


def _wanted(
    source: _Source, found: Readable, rows: Mapping[int, object], count: int | None, sealed_ones: int
) -> set[int] | None:
    """Return the running numbers to look for elsewhere; None for any. What another program took out is not looked for."""
    if not found.columns or not found.is_known:
        return None
    if source.by_others:
        return found.failed
    if count is not None and count <= sealed_ones:
        return set()
    return set(range(_FIRST, found.last + 1)) - rows.keys()


def _spared(
    source: _Source, table: str, found: Readable, damaged: Sequence[int], wanted: set[int] | None
) -> dict[int, dict[str, Any]]:
    """Return records that the log still holds: under a seal that is theirs, or of a number that cannot be read."""
    spares, out = source.spares.get(table, {}), {}
    for number, record in spares.items():
        if number in damaged:
            *cells, seal = found.rows[number]
            if is_copy(table, record, number, dict(zip(found.columns, cells, strict=True)), seal):
                out[number] = record
        elif number not in found.rows and (wanted is None or number in wanted):
            out[number] = record
    return out


def _raw(
    source: _Source, table: str, found: Readable, rows: Mapping[int, Mapping[str, Any]], wanted: set[int] | None
) -> dict[int, dict[str, Any]]:
    """Return records that stand in the bytes of the file; one whose id stands elsewhere was put there anew."""
    if wanted is not None and not wanted:
        return {}
    with source.path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as raw:
        there = raw_records(raw, table, _columns(source.db, table, found), wanted)
    ids = {record["id"] for record in rows.values() if "id" in record}
    return {number: record for number, record in there.items() if number not in rows and record["id"] not in ids}


def _columns(db: sqlite3.Connection, table: str, found: Readable) -> list[str]:
    """Return the columns of a table in the order of the file; of one that is gone those of a new file."""
    if found.columns:
        return columns_of(db, table)
    return _new_columns()[table]


@cache
def _new_columns() -> dict[str, list[str]]:
    with contextlib.closing(sqlite3.connect(":memory:", isolation_level=None)) as new:
        take_steps(new)
        return {table: columns_of(new, table) for table in TABLES}


def _count(saved: Saved, found: Readable, rows: Mapping[int, object], count: int | None, sealed_ones: int) -> None:
    """Count what is missing: by how many records were sealed, or else by the gaps between running numbers."""
    if count is not None and count >= sealed_ones:
        saved.missing, saved.is_known = count - sealed_ones, True
        return
    if not found.columns and not rows:
        saved.missing = -1
        return
    last = max(found.last, max(rows, default=0))
    saved.missing = max(0, last - len(rows)) if min(rows, default=1) >= _FIRST else 0
    saved.is_known = found.is_known


def _name(
    source: _Source, table: str, found: Readable, rows: Mapping[int, object], damaged: Sequence[int], saved: Saved
) -> None:
    """Say which records are missing, and how those read that are damaged."""
    left = [number for number in damaged if number not in rows]
    if not (saved.missing or left) or not found.columns:
        return
    named = described_by_indexes(source.db, table, rows.keys(), [*left, *found.failed.difference(rows)])
    for number in left:
        cells = zip(found.columns, found.rows[number], strict=False)
        reads = ", ".join(f"{name} {cell!r}" for name, cell in cells if cell not in (None, ""))
        which = named.pop(number)
        if reads:
            saved.damaged.append(f"{which}; it reads: {reads}")
    saved.lost = list(named.values())


def _taken(table: str, record: Mapping[str, Any], number: int, saved: Saved) -> dict[str, Any]:
    """Return a record with what its columns can take; what they cannot is told."""
    out = {}
    for name, cell in record.items():
        if TABLES[table].column(name).is_number:
            is_taken = cell is None or isinstance(cell, (int, float))
        else:
            is_taken = not isinstance(cell, bytes)
        if not is_taken:
            saved.left_out.append(f"record {number}, column {name}: {cell!r:.60}")
        out[name] = cell if is_taken else None
    return out
