"""All that is in a file, as it is, for who checks it: also what nothing else reads."""

import contextlib
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError
from trunkwatch.store.beside import has_hot_journal
from trunkwatch.store.form import ACCEPT, UNDO, form_faults
from trunkwatch.store.log import LARGE, SMALL, Log, read_log, waiting_frames
from trunkwatch.store.schema import VERSION, schema_version
from trunkwatch.store.seal import LOST_FRAMES, OTHER_PROGRAM, SEAL, columns_of, sealed, seals_of
from trunkwatch.store.spans import LEAST_BYTES, described_by_indexes, readable_records
from trunkwatch.store.spare import is_copy, spare_records
from trunkwatch.store.touched import change_counter
from trunkwatch.store.unreadable import UNREADABLE
from trunkwatch.store.whole import connect_read
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.kept_cells import described
from trunkwatch.vineyard.tables import TABLES, records_of

__all__ = ["Inside", "Kept", "look_inside"]

#: Messages of the database about one file.
MOST_MESSAGES = 20
#: Records of a table that are named each by itself where they cannot be read.
MOST_LOST = 25
#: What is said of a file that another program has written to, be it that nothing of ours was changed.
WRITTEN = "another program has written to the file since the last change of ours that was accepted"


@dataclass(frozen=True, slots=True)
class Kept:
    """The records of a table as they are kept, those that wait in the log behind the others.

    Attributes
    ----------
    numbers : tuple of int or None
        Running number of each; None of those that wait.
    cells : mapping of str to sequence
        Every column, whatever is in it.
    unfit : dict of int to str
        What is wrong with the seal of a record, by its place.
    mendable : frozenset of int
        Places of those of which the log still holds a second copy, as they were written.
    """

    numbers: Sequence[int | None]
    cells: Mapping[str, Sequence[Any]]
    unfit: dict[int, str] = field(default_factory=dict)
    mendable: frozenset[int] = frozenset()

    def record(self, index: int) -> dict[str, Any]:
        """Return one record."""
        return {name: cells[index] for name, cells in self.cells.items()}

    def described(self, table: str, index: int) -> str:
        """Say which record is meant."""
        return described(table, self.record(index), self.numbers[index])


@dataclass(slots=True)
class Inside:
    """What is in a file.

    Attributes
    ----------
    tables : dict of str to Kept
        Of every table that can be read.
    faults : list of Fault
        What must be mended first.
    settled : list of Fault
        What is settled by accepting the file as it is.
    by_others : bool
        Whether another program has written to the file since all was accepted.
    """

    tables: dict[str, Kept] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)
    settled: list[Fault] = field(default_factory=list)
    by_others: bool = False


def look_inside(path: Path) -> Inside:
    """Read all that is in a file.

    Raises
    ------
    FileError
        If it is no vineyard, of another version, or locked.
    """
    inside = Inside()
    inside.settled += _beside(path)
    with contextlib.closing(connect_read(path, any_version=True)) as db:
        if schema_version(db) != VERSION:
            connect_read(path).close()  # says what is to be done
        db.text_factory = _text
        with _damaged(inside, path, "it"):
            inside.faults += _broken(db, path)
        with _damaged(inside, path, "its form"):
            form = form_faults(db, path.name)
            inside.faults += form.faults
            inside.settled += form.settled
        log = Log(0, 0, 0, ())
        with _damaged(inside, path, "what waits in its log"):
            log = read_log(db)
            inside.settled += _log_faults(log, path.name)
        with _damaged(inside, path, "its seals"):
            counts = sealed(db)
            inside.by_others = bool(change_counter(path) != log.counter + log.written or counts.get(OTHER_PROGRAM))
            if inside.by_others:
                inside.settled.append(
                    Fault("note", WRITTEN, path.name, expected="what it changed is named here", lines=0)
                )
            if lost := counts.get(LOST_FRAMES, 0):
                inside.settled.append(_lost_frames(lost, path.name))
        waiting = waiting_frames(log)
        for table in TABLES:
            with _damaged(inside, path, f"table {table}"):
                if set(TABLES[table].names) <= {name.casefold() for name in columns_of(db, table)}:
                    _take(db, inside, path.name, table, counts, records_of(waiting[table]) if table in waiting else [])
        if inside.by_others and log.counter and not counts.get(OTHER_PROGRAM) and _is_as_written(inside):
            inside.settled.append(_lost_last(path.name))
    return inside


def _is_as_written(inside: Inside) -> bool:
    """Tell whether nothing is there that another program has changed."""
    return not (inside.faults or len(inside.settled) > 1 or any(kept.unfit for kept in inside.tables.values()))


def _lost_last(file: str) -> Fault:
    return Fault(
        "note",
        "nothing was changed in it that can be seen: where no other program had it open, the latest entries of the log are lost on the disk",
        file,
        expected="look whether the last record that you wrote is there",
        lines=0,
    )


def _text(raw: bytes) -> str:
    return raw.decode("utf-8", errors="surrogateescape")


@contextlib.contextmanager
def _damaged(inside: Inside, path: Path, what: str) -> Iterator[None]:
    """Name what the database cannot read any more, and go on with the rest."""
    try:
        yield
    except UNREADABLE as error:
        if "locked" in str(error) or "busy" in str(error):
            raise FileError(f"{path.name} is locked by another program: close it there and try again") from error
        inside.faults.append(_of_damage(path, f"{what} cannot be read: {error}"))


def _of_damage(path: Path, text: str) -> Fault:
    way = f"`trunkwatch check {path} --rescue OUT` saves what can be read; a copy of the file has it all, perhaps"
    return Fault("fault", f"the file is damaged: {text}", path.name, expected=way, lines=0)


def _broken(db: sqlite3.Connection, path: Path) -> list[Fault]:
    rows = db.execute(f"PRAGMA integrity_check({MOST_MESSAGES})").fetchall()
    lines = [line for row in rows for line in str(row[0]).splitlines() if line != "ok"]
    return [_of_damage(path, line) for line in lines if not line.startswith("***")]


def _beside(path: Path) -> list[Fault]:
    """Name a journal that lies beside the file, before it is taken in."""
    out = []
    for ending, holds in (("-journal", "what it had not finished"), ("-wal", "its latest changes")):
        beside = path.with_name(path.name + ending)
        if not beside.exists():
            continue
        if ending == "-journal" and not has_hot_journal(path):
            what, way = "is used up: nothing of it belongs to the file", "it may be deleted"
        else:
            what = f"lies beside the file: another program is at work on it, or was ended, and keeps {holds} there"
            way = "close the file in the other program; where none is open, this is taken into the file as it is read"
        out.append(Fault("note", f"{beside.name} {what}", path.name, expected=way, lines=0))
    return out


def _log_faults(log: Log, file: str) -> list[Fault]:
    out = [_lost_frames(log.damaged, file)] if log.damaged else []
    if log.size not in (SMALL, LARGE):
        out.append(
            Fault(
                "fault",
                "another program has emptied the log, or cut it: what waited in it is gone",
                file,
                expected="enter again what you wrote last and miss; then `trunkwatch check FILE --accept`",
                lines=0,
            )
        )
    if log.half:
        out.append(
            Fault(
                "note",
                "an entry in the log was begun and not finished: a program was ended over it before it said that it was done",
                file,
                expected="look whether the last record that you wrote is there",
                lines=0,
            )
        )
    return out


def _lost_frames(count: int, file: str) -> Fault:
    many = f"{count} entries that waited in the log were" if count > 1 else "1 entry that waited in the log was"
    return Fault(
        "fault",
        f"{many} damaged on the disk and cannot be read",
        file,
        expected="enter again what you wrote last and miss; then `trunkwatch check FILE --accept`",
        lines=0,
    )


def _take(
    db: sqlite3.Connection,
    inside: Inside,
    file: str,
    table: str,
    counts: Mapping[str, int],
    waiting: list[dict[str, Any]],
) -> None:
    names = TABLES[table].names
    has_seals = SEAL in columns_of(db, table)
    listed = ", ".join(["number", *(f'"{name}"' for name in names), SEAL if has_seals else "NULL"])
    try:
        rows = db.execute(f'SELECT {listed} FROM main."{table}" NOT INDEXED ORDER BY number').fetchall()
    except UNREADABLE as error:
        if "locked" in str(error) or "busy" in str(error):
            raise
        rows = _readable(db, inside, file, table, counts)
    columns = list(zip(*rows, strict=True)) or [()] * (len(names) + 2)
    cells = dict(zip(names, columns[1:-1], strict=True))
    whole = [number for number in columns[0] if isinstance(number, int)]
    if len(set(whole)) < len(rows):
        inside.faults.append(
            Fault(
                "fault",
                f"running numbers of table {table} stand twice, or are none",
                file,
                0,
                "number",
                expected=UNDO,
                lines=0,
            )
        )
    unfit = (
        _seal_faults(
            table,
            cells,
            [number if isinstance(number, int) else 0 for number in columns[0]],
            columns[-1],
            by_others=inside.by_others,
        )
        if has_seals
        else {}
    )
    numbers = (*columns[0], *[None] * len(waiting))
    mendable = frozenset(_mendable(db, table, cells, columns[0], columns[-1], unfit)) if unfit else frozenset()
    all_cells = {name: (*cells[name], *(_kept(one[name]) for one in waiting)) for name in names}
    inside.tables[table] = Kept(numbers, all_cells, unfit, mendable)
    is_sealed = sum(seal is not None for seal in columns[-1])
    if has_seals and table not in counts:
        inside.settled.append(
            Fault("fault", f"how many records table {table} should have is gone", file, expected=ACCEPT, lines=0)
        )
    elif has_seals and is_sealed != counts[table]:
        inside.settled.append(_count_fault(table, counts[table] - is_sealed, whole, file))


def _readable(
    db: sqlite3.Connection, inside: Inside, file: str, table: str, counts: Mapping[str, int]
) -> list[tuple[Any, ...]]:
    """Return what can still be read of a table, and name the rest as far as its indexes tell."""
    (pages,), (size,) = (db.execute(f"PRAGMA {what}").fetchone() for what in ("page_count", "page_size"))
    found = readable_records(db, table, counts.get(table), pages * size // LEAST_BYTES)
    lost = described_by_indexes(db, table, found.rows.keys(), found.failed if len(found.failed) <= MOST_LOST else ())
    way = f"a copy of the file has {'it' if len(lost) == 1 else 'them'}, perhaps, or the paper"
    named = list(lost.values())[:MOST_LOST]
    inside.faults += [Fault("fault", f"{which} cannot be read", file, expected=way, lines=0) for which in named]
    if len(lost) > len(named):
        inside.faults.append(
            Fault(
                "fault",
                f"{len(lost) - len(named):,} more records of {table} cannot be read",
                file,
                expected=way,
                lines=0,
            )
        )
    return [(number, *cells) for number, cells in sorted(found.rows.items())]


def _mendable(
    db: sqlite3.Connection,
    table: str,
    cells: Mapping[str, Sequence[Any]],
    numbers: Sequence[Any],
    seals: Sequence[Any],
    unfit: Mapping[int, str],
) -> Iterator[int]:
    """Yield the places of damaged records of which a second copy is what was sealed, or is what they read still."""
    spares = spare_records(db).get(table, {})
    for place, what in unfit.items():
        spare = spares.get(numbers[place])
        as_read = {name: cells[name][place] for name in cells}
        if "damaged" in what and spare is not None and is_copy(table, spare, numbers[place], as_read, seals[place]):
            yield place


def _kept(cell: object) -> object:
    return None if cell != cell else cell


def _seal_faults(
    table: str, cells: Mapping[str, Sequence[Any]], numbers: Sequence[int], seals: Sequence[Any], *, by_others: bool
) -> dict[int, str]:
    """Return what is wrong with the seals of records, by their place."""
    right = seals_of(table, cells, numbers).tolist()
    out = {}
    for index, (seal, wanted) in enumerate(zip(seals, right, strict=True)):
        if seal is None:
            out[index] = "was added by another program"
        elif seal != wanted:
            out[index] = "was changed by another program" if by_others else "was damaged on the disk"
    return out


def _count_fault(table: str, missing: int, numbers: Sequence[int], file: str) -> Fault:
    if missing < 0:
        return Fault(
            "fault",
            f"table {table} has {-missing} sealed records more than were written: another program copied them",
            file,
            expected=f"{UNDO}; or {ACCEPT}",
            lines=0,
        )
    there = set(numbers)
    gaps = [str(number) for number in range(1, max(there, default=0)) if number not in there]
    which = (
        f" (running numbers {', '.join(gaps[:10])}{' ...' if len(gaps) > 10 else ''})" if gaps else " (the last ones)"
    )
    many = f"{missing} records of {table} are" if missing > 1 else f"1 record of {table} is"
    return Fault(
        "fault",
        f"{many} gone: taken out by another program, or lost on the disk",
        file,
        value=which.strip(" ()"),
        expected="take them from a copy of the file (`trunkwatch load FILE COPY`); or `trunkwatch check FILE --accept` if that was meant",
        lines=0,
    )
