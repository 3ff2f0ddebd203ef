"""What is wrong in a file that other programs may have edited: every cell is read as strictly as that of a spreadsheet."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from trunkwatch.spreadsheets.cells import read_cell
from trunkwatch.store.inside import Inside, Kept, look_inside
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.kept_cells import circle_in, expected_in, first_wrong
from trunkwatch.vineyard.records import record_id
from trunkwatch.vineyard.tables import TABLES, Column

__all__ = ["FileFaults", "check_file", "with_path"]

#: Faults of one kind that are named each by itself.
MOST_ALIKE = 25
_RIGHT = "put it right in the program in which it was written"


class FileFaults:
    """What is wrong in a file.

    Attributes
    ----------
    faults : list of Fault
        What must be mended before the file can be accepted.
    settled : list of Fault
        What accepting it settles.
    """

    def __init__(self, inside: Inside, file: str) -> None:
        self.by_others = inside.by_others
        self.faults = list(inside.faults)
        self.settled = list(inside.settled)
        for table, kept in inside.tables.items():
            wrong, at_fault = _cell_faults(table, kept, file)
            self.faults += _few(wrong)
            self.faults += _few(_id_faults(table, kept, file))
            self.settled += _few(_made_ids(table, kept, file))
            damaged, changed = _unfit(table, kept, file, at_fault)
            self.faults += _few(damaged)
            self.settled += _few(changed)

    @property
    def everything(self) -> list[Fault]:
        """All of them."""
        return [*self.faults, *self.settled]


def check_file(path: Path) -> FileFaults:
    """Check the form of a file, every cell, every seal, its log and what lies beside it.

    Raises
    ------
    FileError
        If it is no vineyard, of another version, or locked.
    """
    found = FileFaults(look_inside(path), path.name)
    found.faults, found.settled = (with_path(listed, path) for listed in (found.faults, found.settled))
    return found


def with_path(faults: Iterable[Fault], path: Path) -> list[Fault]:
    """Return faults whose way out names the file as it was named to us."""
    return [
        replace(
            fault,
            problem=_shown(fault.problem),
            value=_shown(fault.value),
            expected=re.sub(r"\b(check|load) FILE\b", lambda told: f"{told[1]} {path}", _shown(fault.expected)),
        )
        for fault in faults
    ]


def _shown(text: str) -> str:
    """Return text that can be printed: bytes that are no letters are question marks."""
    return text.encode(errors="replace").decode()


def _few(faults: Sequence[Fault]) -> list[Fault]:
    """Name some of many faults of one kind, and count the rest."""
    count = Counter((fault.column, fault.expected) for fault in faults)
    seen: Counter[tuple[str, str]] = Counter()
    out = []
    for fault in faults:
        kind = fault.column, fault.expected
        seen[kind] += 1
        if seen[kind] <= MOST_ALIKE:
            out.append(fault)
        elif seen[kind] == MOST_ALIKE + 1:
            out.append(
                Fault(
                    fault.weight,
                    f"{count[kind] - MOST_ALIKE:,} more records alike",
                    fault.file,
                    0,
                    fault.column,
                    "",
                    fault.expected,
                    lines=0,
                )
            )
    return out


def _cell_faults(table: str, kept: Kept, file: str) -> tuple[list[Fault], set[int]]:
    """Return what is wrong with cells, and the places of their records."""
    out, at_fault = [], set()
    for column in TABLES[table].columns:
        read: dict[tuple[type, Any], tuple[str, str, str] | None] = {}
        for index, cell in enumerate(kept.cells[column.name]):
            key = (type(cell), cell)
            if key not in read:
                read[key] = _wrong_in(column, cell)
            if (told := read[key]) is not None:
                weight, problem, expected = told
                shown = cell if isinstance(cell, str) else repr(cell)
                out.append(
                    Fault(
                        "fault" if weight == "fault" else "note",
                        f"{kept.described(table, index)}: {problem}",
                        file,
                        0,
                        column.name,
                        shown,
                        expected,
                        lines=0,
                    )
                )
                at_fault.add(index)
    return out, at_fault


def _wrong_in(column: Column, cell: Any) -> tuple[str, str, str] | None:
    """Say what is wrong with a cell, as (weight, problem, expected); None where nothing is."""
    way = f"{expected_in(column)}; {_RIGHT}"
    if column.is_number:
        if cell is None:
            return ("fault", f"{column.name} is empty", way) if column.required else None
        if not isinstance(cell, (int, float)):
            return "fault", f"{column.name} is no number", way
        raw: object = f"{cell!r} %" if column.unit == "%" and 0 < cell < 1 else float(cell)
    elif not isinstance(cell, str):
        what = "has no value at all (NULL)" if cell is None else f"holds {type(cell).__name__} in the place of text"
        return "fault", f"{column.name} {what}", way
    else:
        raw = cell
    said = read_cell(column, raw)
    if said.weight == "fault":
        return "fault", said.problem, f"{said.expected or expected_in(column)}; {_RIGHT}"
    if said.value == raw or column.is_number:
        return None
    if first_wrong(column, [cell]) is None:
        return "note", said.problem or "spaces around it", f"{said.value!r}"
    return "fault", f"{column.name} cannot be", f"{said.value!r} perhaps; {_RIGHT}"


def _id_faults(table: str, kept: Kept, file: str) -> list[Fault]:
    """Find ids that stand twice, and corrections that go in a circle or to no record."""
    ids, corrects = kept.cells["id"], kept.cells["corrects"]
    count = Counter(ids)
    out = [
        Fault(
            "fault",
            f"{kept.described(table, index)}: its id stands {count[name]} times",
            file,
            0,
            "id",
            str(name),
            f"an id once; take out the copy, or empty the id of the other ({_RIGHT})",
            lines=0,
        )
        for index, name in enumerate(ids)
        if name and count[name] > 1
    ]
    texts = [(str(name), str(target or "")) for name, target in zip(ids, corrects, strict=True)]
    circle = set(circle_in([name for name, _ in texts], [target for _, target in texts]))
    for index, (name, target) in enumerate(texts):
        if name in circle:
            out.append(
                Fault(
                    "fault",
                    f"{kept.described(table, index)}: corrections go in a circle, so that none of them stands",
                    file,
                    0,
                    "corrects",
                    target,
                    f"the id of the record that it corrects; {_RIGHT}",
                    lines=0,
                )
            )
        elif target and target not in count:
            out.append(
                Fault(
                    "fault",
                    f"{kept.described(table, index)}: it corrects a record that is not there",
                    file,
                    0,
                    "corrects",
                    target,
                    f"the id of a record of {table}; {_RIGHT}",
                    lines=0,
                )
            )
    taken = set(ids)
    for index, made in _to_make(table, kept):
        if made in taken:
            out.append(
                Fault(
                    "fault",
                    f"{kept.described(table, index)}: it has no id, and what it says is on record already",
                    file,
                    0,
                    "id",
                    "",
                    f"another day, place or observer; or take it out; {_RIGHT}",
                    lines=0,
                )
            )
        taken.add(made)
    return out


def _to_make(table: str, kept: Kept) -> Iterator[tuple[int, str]]:
    """Yield the places of records without id, with the id that their key makes."""
    for index, name in enumerate(kept.cells["id"]):
        if not name:
            yield index, record_id(table, {**kept.record(index), "id": ""})


def _made_ids(table: str, kept: Kept, file: str) -> list[Fault]:
    return [
        Fault(
            "fault",
            f"{kept.described(table, index)}: it has no id",
            file,
            0,
            "id",
            "",
            f"{made}; `trunkwatch check FILE --accept` gives it that",
            lines=0,
        )
        for index, made in _to_make(table, kept)
    ]


def _unfit(table: str, kept: Kept, file: str, at_fault: set[int]) -> tuple[list[Fault], list[Fault]]:
    """Return records whose seal does not fit: those that were damaged, and those that other programs changed."""
    damaged, changed = [], []
    for index, what in kept.unfit.items():
        if "damaged" in what:
            way = "compare it with a copy of the file, or with the paper, and put it right"
            if index in kept.mendable:
                way = "`trunkwatch check FILE --fix` puts it back as it was written: the log still holds it"
            damaged.append(Fault("fault", f"{kept.described(table, index)} {what}", file, expected=way, lines=0))
        elif index not in at_fault:
            way = "`trunkwatch check FILE --accept` takes it as it is, if that was meant"
            changed.append(Fault("fault", f"{kept.described(table, index)} {what}", file, expected=way, lines=0))
    return damaged, changed
