"""Every record of one position: who wrote what when, where it was read from, and what replaced what."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.block.opening import laid_out, records_of_block
from trunkwatch.errors import RecordError, UnknownVineError
from trunkwatch.history.events import finding_text, work_text
from trunkwatch.history.places import Cell, Places
from trunkwatch.store import Store
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import records_of

__all__ = ["VineRecord", "vine_records"]


@dataclass(frozen=True, slots=True)
class VineRecord:
    """One record as it was written, and whether it stands.

    `fate` is "stands", "corrected", "taken back", or, for the record that takes another one back, "takes back".
    """

    table: str
    date: str
    text: str
    fate: str
    id: str
    corrects: str
    observer: str
    recorded_at: str
    device: str
    read_from: str


def vine_records(store: Store, block: str, row: str, position: str) -> list[VineRecord]:
    """List every record of a position, in order of date and of writing.

    Raises
    ------
    UnknownVineError
        If there is none.
    """
    places = _places(store, block)
    found = []
    for table in ("plants", "symptoms", "work"):
        frame = store.frame(table, block, all_versions=True)
        stands = set(standing(frame)["id"])
        here = frame[_at(frame, row, position, places, table)]
        # A correction may have moved a record to another position: the whole family is told.
        family = set(here["id"]) | set(here["corrects"]) - {""}
        told = frame[frame["id"].isin(family) | frame["corrects"].isin(family)]
        found += [_record(table, record, stands, frame, (row, position)) for record in records_of(told)]
    if not found:
        raise UnknownVineError(f"no record of row {row!r}, position {position!r} in block {block!r}")
    return sorted(found, key=lambda one: (one.date, one.recorded_at, one.id))


def _places(store: Store, block: str) -> Places | None:
    """Return where the block's labels lead; None where its rows cannot be laid out."""
    try:
        grid, _, records = laid_out(records_of_block(store, block))
    except RecordError:
        return None
    return Places(grid, records.rows, records.block)


def _at(frame: pd.DataFrame, row: str, position: str, places: Places | None, table: str) -> NDArray[np.bool_]:
    """Tell which records are of a position: as it is named today, by bay and vine, by labels of their day, or from the far end."""
    target = places.find(row, position) if places else None
    if target is None or places is None:
        return ((frame["row"] == row) & (frame["position"] == position)).to_numpy(dtype=bool)
    return np.array([_cell(record, places, table) == target for record in records_of(frame)], dtype=bool)


def _cell(record: dict[str, Any], places: Places, table: str) -> Cell | None:
    row, position = str(record["row"]), str(record["position"])
    day = str(record["removed"] or record["planted"]) if table == "plants" else str(record["date"])
    if record.get("counted_from") == "end" and position.isdecimal():
        return places.counted(row, int(position), from_end=True, empty=lambda _cell, _day: False, day=day)
    if table == "plants":
        return places.find(row, position, day=f"{day}-12-31" if len(day) == 4 else day)
    return places.find(row, position, str(record["bay"]), float(record["vine"]), day)


def _record(table: str, record: dict[str, Any], stands: set[str], frame: Any, asked: tuple[str, str]) -> VineRecord:
    if record["void"] == "yes":
        fate = "takes back"
    elif record["id"] in stands:
        fate = "stands"
    else:
        after = frame[frame["corrects"] == record["id"]]
        fate = "taken back" if (after["void"] == "yes").any() else "corrected"
    date = str(record["planted"] or record["removed"]) if table == "plants" else str(record["date"])
    return VineRecord(
        table, date, _text(table, record) + _written(table, record, asked), fate, str(record["id"]), str(record["corrects"]), str(record["observer"]),
        str(record["recorded_at"]), str(record["device"]), str(record["read_from"]),
    )  # fmt: skip


def _written(table: str, record: dict[str, Any], asked: tuple[str, str]) -> str:
    """Tell how a record names the vine where that is another way than it was asked for."""
    if (record["row"], record["position"]) == asked:
        return ""
    if table != "plants" and record["bay"] and not record["position"]:
        return f", written as row {record['row']}, bay {record['bay']}, vine {record['vine']:.0f}"
    end = " from the far end" if record.get("counted_from") == "end" else ""
    return f", written as row {record['row']}, position {record['position']}{end}"


def _text(table: str, record: dict[str, Any]) -> str:
    if table == "symptoms":
        return finding_text(record)
    if table == "work":
        return work_text(record)
    if record["planted"]:
        return "vine planted"
    return f"vine gone ({record['reason']})" if record["removed"] else f"no vine here ({record['reason']})"
