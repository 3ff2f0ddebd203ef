"""The one road of a correction: the record must stand, and what is written in its place stands after it."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.errors import RecordError, SupersededError
from trunkwatch.intake.add import Added, Known, add_made
from trunkwatch.intake.typed import read_typed
from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.records import (
    by_plan,
    family_of,
    later_than,
    new_id,
    now_text,
    plan_device,
    record_id,
    standing,
)
from trunkwatch.vineyard.tables import COMMON, TABLES, frame_of, records_of

__all__ = ["Corrected", "changeable", "correct_record", "correction", "in_short", "plan_again"]

_COMMON = frozenset(column.name for column in COMMON)


@dataclass(frozen=True, slots=True)
class Corrected:
    """What became of a correction.

    Attributes
    ----------
    added : Added
        What was written; nothing where the record said so already.
    id : str
        Of the record that stands now; empty where it was taken back.
    values : str
        The values that stand now, in short; empty where it was taken back.
    """

    added: Added
    id: str
    values: str


def changeable(table: str) -> tuple[str, ...]:
    """Return the columns of a table that a correction may change."""
    return tuple(name for name in TABLES[table].names if name not in _COMMON)


def correct_record(
    path: str | Path,
    table: str,
    record_id: str,
    changes: Mapping[str, Any],
    *,
    void: bool = False,
    note: str | None = None,
    now: str | None = None,
    device: str = "",
) -> Corrected:
    """Write a correction of a record that stands, or take the record back; the old one stays readable.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    table : str
        Table of the record.
    record_id : str
        Its id.
    changes : mapping
        Cells to change as they were typed, by column.
    void : bool
        Take the record back: it never was.
    note : str, optional
        Why, in place of the record's note.
    now : str, optional
        This moment, as `recorded_at` is written; the clock's where left out.
    device : str
        Who corrects it, and on what, where that is known.

    Raises
    ------
    RecordError
        If there is no such record, or a column is none that can be changed.
    SupersededError
        If it was corrected or taken back since.
    FaultyNotesError
        If a cell cannot be read, or what it says cannot be.
    """
    typed = dict(changes) | ({"note": note} if note else {})
    for name in typed:
        if name not in changeable(table):
            raise RecordError(f"{table} has no column {name!r} to correct: one of {', '.join(changeable(table))}")
    cells = read_typed(table, typed, typed)

    def made(frame: pd.DataFrame, names: BlockNames) -> dict[str, Any] | None:
        before = _that_stands(table, frame, names, record_id)
        changed = cells if table == "blocks" else _of_block_meant(names, before, cells)
        if not void and all(_same(before[name], value) for name, value in changed.items()):
            return None
        return correction(table, frame, before, changed, void=void, now=now or now_text(), device=device)

    return _written(path, table, record_id, made)


def plan_again(path: str | Path, record_id: str, *, now: str | None = None, device: str = "") -> Corrected:
    """Take a tick back: work that was written as done is planned again, as it was planned before.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    record_id : str
        Id of the work that stands.
    now, device : str, optional
        As in `correct_record`; what a plan wrote stays a plan's.

    Raises
    ------
    RecordError
        If there is no such record.
    SupersededError
        If it was corrected or taken back since.
    """

    def made(frame: pd.DataFrame, names: BlockNames) -> dict[str, Any] | None:
        before = _that_stands("work", frame, names, record_id)
        if before["status"] == "planned":
            return None
        versions = records_of(family_of(frame, record_id)[1])
        planned = [one for one in versions if one["status"] == "planned" and one["void"] != "yes"]
        last = max(
            planned, key=lambda one: (str(one["recorded_at"]), str(one["id"])), default={**before, "status": "planned"}
        )
        cells = {name: last[name] for name in changeable("work")}
        earlier = str(last["device"])
        own = plan_device(device) if device and by_plan(earlier) else device or earlier
        return correction("work", frame, before, cells, now=now or now_text(), device=own)

    return _written(path, "work", record_id, made)


def correction(
    table: str,
    frame: pd.DataFrame,
    before: Mapping[str, Any],
    cells: Mapping[str, Any],
    *,
    now: str,
    void: bool = False,
    device: str = "",
) -> dict[str, Any]:
    """Return the record that stands in the place of another one, with an id of its own.

    Parameters
    ----------
    table : str
        Name of the table.
    frame : DataFrame
        All versions of its records.
    before : mapping
        The record that stands.
    cells : mapping
        Values that change, as the table holds them.
    now : str
        This moment; versions of the record that were written later by another clock push it on.
    void : bool
        Whether the record is taken back.
    device : str
        What the correction was written down on.
    """
    root, family = family_of(frame, str(before["id"]))
    record = {
        **before,
        **cells,
        "id": "",
        "corrects": root,
        "void": "yes" if void else "",
        "read_from": "",
        "device": device,
        "recorded_at": later_than(family["recorded_at"], now),
    }
    # The same values may have stood before: the second time they are a record of their own.
    known = set(frame["id"])
    made = record_id(table, record)
    return {**record, "id": new_id(table, record, known) if made in known else made}


def in_short(table: str, record: Mapping[str, Any]) -> str:
    """Return the values of a record in a line; the name of its block tells the vineyard where that is needed."""
    told = [name for name in changeable(table) if table == "blocks" or name != "vineyard"]
    parts = [f"{name} {_text(record[name])}" for name in told if _text(record[name])]
    return ", ".join(parts)


def _of_block_meant(names: BlockNames, before: Mapping[str, Any], cells: dict[str, Any]) -> dict[str, Any]:
    """Return cells that move a record to another block with the first name of that block, as records are kept.

    A label alone means first of all the block of the same vineyard.
    """
    if not {"block", "vineyard"} & cells.keys():
        return cells
    here = names.of_name(str(before["vineyard"]), str(before["block"]))
    owner, label = (str(before["vineyard"]), str(before["block"])) if here is None else here.today
    label = str(cells.get("block", label))
    meant = names.meant(str(cells.get("vineyard", owner)), label)
    if not meant and "vineyard" not in cells:
        owner, meant = "", names.meant("", label)
    name = meant[0].first if len(meant) == 1 else (str(cells.get("vineyard", owner)), label)
    return {**cells, "vineyard": name[0], "block": name[1]}


def _as_called(table: str, record: Mapping[str, Any], names: BlockNames) -> dict[str, Any]:
    """Return a record with its block as people name it; a block itself as it is."""
    frame = frame_of(table, [record])
    return records_of(frame if table == "blocks" else names.outwards(table, frame))[0]


def _that_stands(table: str, frame: pd.DataFrame, names: BlockNames, name: str) -> dict[str, Any]:
    """Return the record of that id; say what stands in its place where it does not stand."""
    if name not in set(frame["id"]):
        raise RecordError(f"no record {name[:60]!r} in {table}; `trunkwatch export` shows the ids")
    now = standing(frame)
    here = records_of(now[now["id"] == name])
    if here:
        return here[0]
    _, family = family_of(frame, name)
    instead = records_of(now[now["id"].isin(family["id"])])
    if not instead:
        raise SupersededError(
            f"record {name!r} of {table} does not stand any more: it was taken back since; log it again if it was so"
        )
    last = instead[-1]
    values = in_short(table, _as_called(table, last, names))
    raise SupersededError(
        f"record {name!r} of {table} does not stand any more: it was corrected since. What stands now is {last['id']!r} "
        f"({values}): correct that one",
        str(last["id"]),
        values,
    )


def _written(path: str | Path, table: str, name: str, made: Any) -> Corrected:
    seen: dict[str, Any] = {}

    def make(known: Known) -> dict[str, pd.DataFrame]:
        frame = known.family(table, [name])
        names = BlockNames(known("blocks"))
        record = made(frame, names)
        seen["now"] = _as_called(table, record or _that_stands(table, frame, names, name), names)
        return {} if record is None else {table: frame_of(table, [record])}

    added = add_made(path, make)
    now = seen["now"]
    if now["void"] == "yes":
        return Corrected(added, "", "")
    # That the same record was corrected before is no news to who corrects it.
    added = replace(added, notes=tuple(one for one in added.notes if one.value != now["id"]))
    if not added.new.get(table):
        added = Added({table: 0}, {table: 1}, (), added.notes)
    return Corrected(added, str(now["id"]), in_short(table, now))


def _same(one: Any, other: Any) -> bool:
    return bool(one == other or (one != one and other != other))


def _text(value: Any) -> str:
    if value is None or value != value:
        return ""
    return f"{value:.10g}" if isinstance(value, float) else str(value)
