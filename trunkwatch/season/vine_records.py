"""Every record of one position: who wrote what when, where it was read from, and what replaced what."""

from dataclasses import dataclass
from typing import Any

from trunkwatch.errors import UnknownVineError
from trunkwatch.history.events import finding_text, work_text
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
    found = []
    for table in ("plants", "symptoms", "work"):
        frame = store.frame(table, block, all_versions=True)
        stands = set(standing(frame)["id"])
        here = frame[(frame["row"] == row) & (frame["position"] == position)]
        # A correction may have moved a record to another position: the whole family is told.
        family = set(here["id"]) | set(here["corrects"]) - {""}
        told = frame[frame["id"].isin(family) | frame["corrects"].isin(family)]
        found += [_record(table, record, stands, frame) for record in records_of(told)]
    if not found:
        raise UnknownVineError(f"no record of row {row!r}, position {position!r} in block {block!r}")
    return sorted(found, key=lambda one: (one.date, one.recorded_at, one.id))


def _record(table: str, record: dict[str, Any], stands: set[str], frame: Any) -> VineRecord:
    if record["void"] == "yes":
        fate = "takes back"
    elif record["id"] in stands:
        fate = "stands"
    else:
        after = frame[frame["corrects"] == record["id"]]
        fate = "taken back" if (after["void"] == "yes").any() else "corrected"
    date = str(record["planted"] or record["removed"]) if table == "plants" else str(record["date"])
    return VineRecord(
        table, date, _text(table, record), fate, str(record["id"]), str(record["corrects"]), str(record["observer"]),
        str(record["recorded_at"]), str(record["device"]), str(record["read_from"]),
    )  # fmt: skip


def _text(table: str, record: dict[str, Any]) -> str:
    if table == "symptoms":
        return finding_text(record)
    if table == "work":
        return work_text(record)
    if record["planted"]:
        return "vine planted"
    return f"vine gone ({record['reason']})" if record["removed"] else f"no vine here ({record['reason']})"
