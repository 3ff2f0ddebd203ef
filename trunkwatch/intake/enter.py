"""Records that a person enters one by one: what was taken back and is entered again is a record again.

A file that is loaded again changes nothing, and brings nothing back that was taken back since. A person who enters a
record anew means it.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.intake.add import Added, add_made
from trunkwatch.intake.correct import correction
from trunkwatch.store import Changed
from trunkwatch.vineyard.records import PROVENANCE, family_of, key_text, new_id, now_text, record_id, standing
from trunkwatch.vineyard.tables import TABLES, frame_of, records_of

__all__ = ["Entries", "enter_records", "settle"]


@dataclass(frozen=True, slots=True)
class Entries:
    """What is to be written of some entries.

    Attributes
    ----------
    frame : DataFrame
        Records to add, those that are known as they stand among them: adding tells what is new.
    same : int
        Entries that stand already under another id, or were sent twice.
    changed : tuple of Changed
        Entries of which a record with other values stands.
    ids : tuple of str
        Of the record that each entry is, or is about, in the order of the entries.
    corrected : int
        How many of the records to add are corrections, taken on request.
    superseded : tuple of Changed
        Entries that were sent before and do not stand any more.
    """

    frame: pd.DataFrame
    same: int
    changed: tuple[Changed, ...]
    ids: tuple[str, ...]
    corrected: int = 0
    superseded: tuple[Changed, ...] = ()


def enter_records(
    path: str | Path, table: str, records: Sequence[Mapping[str, Any]], *, take_changes: bool = False
) -> Added:
    """Add records of one table that a person entered.

    Parameters
    ----------
    path : str or Path
        Folder or file.
    table : str
        Name of the table.
    records : sequence of mappings
        Values as the table holds them.
    take_changes : bool
        Take a record that is known with other values as a correction.

    Returns
    -------
    Added
        With the id of each entry.

    Raises
    ------
    FaultyNotesError
        If a record has a fault.
    """
    frame = frame_of(table, records)
    return add_made(
        path,
        lambda _known: {table: frame},
        take_changes=take_changes,
        settle=lambda name, new, known: settle(name, new, known, take_changes=take_changes),
    )


def settle(
    table: str, new: pd.DataFrame, known: pd.DataFrame, *, take_changes: bool = False, now: str | None = None
) -> Entries:
    """Tell entries that are about a record which does not stand any more, and give them ids of their own.

    Parameters
    ----------
    table : str
        Name of the table.
    new : DataFrame
        Entries with ids.
    known : DataFrame
        All versions of all records of the table.
    take_changes : bool
        As in `enter_records`.
    now : str, optional
        This moment; the clock's where left out.
    """
    stands = standing(known)
    gone = set(known["id"]) - set(stands["id"])
    taken = set(known["id"])
    out, changed, ids, same, corrected = [], [], [], 0, 0
    if gone.isdisjoint(new["id"]):
        return Entries(new, 0, (), tuple(new["id"]))
    superseded: list[Changed] = []
    moment = now or now_text()
    for entry in records_of(new):
        made = str(entry["id"])
        if made not in gone or entry["corrects"] or made != record_id(table, {**entry, "id": ""}):
            out.append(entry)
            ids.append(made)
            continue
        if (here := _with_key(table, entry, stands)) is not None:
            ids.append(str(here["id"]))
            values = _differing(table, here, entry)
            same += not values
            if values:
                changed.append(Changed(table, ids[-1], values, str(entry["read_from"]), taken=take_changes))
                if take_changes:
                    corrected += 1
                    out.append(correction(table, known, here, {name: entry[name] for name in values}, now=moment))
            continue
        if (sent := _sent_before(table, entry, known)) is not None:
            ids.append(sent)
            same += 1
            superseded += _since(table, entry, sent, known)
            continue
        entry["recorded_at"] = entry["recorded_at"] or moment
        entry["id"] = new_id(table, {**entry, "id": ""}, taken)
        taken.add(entry["id"])
        out.append(entry)
        ids.append(entry["id"])
    return Entries(frame_of(table, out), same, tuple(changed), tuple(ids), corrected, tuple(superseded))


def _with_key(table: str, entry: Mapping[str, Any], stands: pd.DataFrame) -> dict[str, Any] | None:
    """Return the record that stands under the key of an entry, whatever its id."""
    texts = [name for name in TABLES[table].key if not TABLES[table].column(name).is_number]
    at = pd.Series(data=True, index=stands.index)
    for name in texts:
        at &= stands[name] == entry[name]
    key = key_text(table, {**entry, "corrects": ""})
    here = [one for one in records_of(stands[at]) if key_text(table, {**one, "corrects": ""}) == key]
    return here[-1] if here else None


def _sent_before(table: str, entry: Mapping[str, Any], known: pd.DataFrame) -> str | None:
    """Return the id of an entry that was sent once already: a page sends again what it had no answer to."""
    if not entry["recorded_at"]:
        return None
    again = new_id(table, {**entry, "id": ""}, ())
    sent = known[known["id"].isin([entry["id"], again]) & (known["recorded_at"] == entry["recorded_at"])]
    return str(sent["id"].iloc[-1]) if len(sent) else None


def _since(table: str, entry: Mapping[str, Any], sent: str, known: pd.DataFrame) -> list[Changed]:
    """Tell what stands in the place of an entry that was sent before; nothing where it stands itself."""
    now = standing(family_of(known, sent)[1])
    here = records_of(now)[-1] if len(now) else None
    if here is not None and here["id"] == sent:
        return []
    values = {} if here is None else _differing(table, here, entry)
    about = ", ".join(f"{name} {entry[name]}" for name in ("block", "row", "position", "date") if entry.get(name))
    return [Changed(table, sent, values, "", about, {name: before for name, (before, _) in values.items()})]


def _differing(table: str, here: Mapping[str, Any], entry: Mapping[str, Any]) -> dict[str, tuple[object, object]]:
    skipped = {*PROVENANCE, "id", "corrects", "void"}
    return {
        name: (here[name], entry[name])
        for name in TABLES[table].names
        if name not in skipped
        and here[name] != entry[name]
        and not (here[name] != here[name] and entry[name] != entry[name])
    }
