"""What became of records that were handed in, and how they differ from what is known."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.records import PROVENANCE, later_than, now_text, record_id
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

__all__ = ["Changed", "Outcome", "as_correction", "corrections", "differences", "values_of"]


@dataclass(frozen=True, slots=True)
class Changed:
    """A record that is known with other values."""

    table: str
    id: str
    values: Mapping[str, tuple[object, object]]  # column -> (known, now)
    read_from: str
    about: str = ""  # what the record is about, for people: block North, row 3
    stands: Mapping[str, object] | None = (
        None  # after merging: what stands now, by column; None where nothing was taken
    )


@dataclass(slots=True)
class Outcome:
    """What became of records that were handed in."""

    new: dict[str, int] = field(default_factory=dict)
    same: dict[str, int] = field(default_factory=dict)
    changed: list[Changed] = field(default_factory=list)


def values_of(table: str, record: Mapping[str, object]) -> str:
    """Return all that a record says, as text that can be compared."""
    says = [name for name in TABLES[table].names if name not in PROVENANCE]
    return "\x1f".join(str(record[name]) for name in says)


def as_correction(table: str, record: Mapping[str, object]) -> dict[str, object]:
    """Return a record as a correction of its own id."""
    correction = {**record, "corrects": record["id"], "id": ""}
    return {**correction, "id": record_id(table, correction)}


def differences(table: str, known: pd.DataFrame, again: pd.DataFrame, names: BlockNames) -> list[Changed]:
    """Return which records that are known differ from what is known of them."""
    says = [name for name in TABLES[table].names if name not in PROVENANCE]
    found = []
    for record in records_of(again):
        before = known.loc[record["id"]]
        if table == "blocks":
            here, there = (names.of_name(str(one["vineyard"]), str(one["block"])) for one in (before, record))
            if here is not None and here is there:  # the block under another name that it has or had
                record |= {"vineyard": before["vineyard"], "block": before["block"]}
        values = {
            name: (before[name], record[name])
            for name in says
            if before[name] != record[name] and not (before[name] != before[name] and record[name] != record[name])
        }
        if values:
            about = names.outwards(table, frame_of(table, [record])).iloc[0].to_dict()
            found.append(Changed(table, str(record["id"]), values, str(record["read_from"]), _about(table, about)))
    return found


def _about(table: str, record: Mapping[Any, Any]) -> str:
    """Say what a record is about: its block, row, position and day, as far as it has them."""
    parts = [f"{name} {record[name]}" for name in ("block", "row", "position", "date", "name") if record.get(name)]
    return ", ".join(parts) or table


def corrections(table: str, again: pd.DataFrame, wanted: set[str], claims: Mapping[str, Sequence[str]]) -> pd.DataFrame:
    """Return records that are known with other values as corrections of these.

    Parameters
    ----------
    table : str
        Name of the table.
    again : DataFrame
        Records that are known.
    wanted : set of str
        Ids of those that differ.
    claims : mapping
        When each correction of a record was written down, by its id.
    """
    out = again[again["id"].isin(wanted)].drop_duplicates("id", keep="last").copy()
    out["corrects"] = out["id"]
    out["id"] = ""
    # Taken on request now: it must stand against corrections made before.
    now = now_text()
    out["recorded_at"] = [
        day or later_than(claims.get(str(original), ()), now)
        for day, original in zip(out["recorded_at"], out["corrects"], strict=True)
    ]
    out["id"] = [record_id(table, record) for record in records_of(out)]
    return out
