"""Whose a record is, for people who may correct their own only."""

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.access.people import person_in
from trunkwatch.store import Store
from trunkwatch.vineyard.records import family_of
from trunkwatch.vineyard.tables import records_of

__all__ = ["is_own", "is_tick", "not_own"]

#: What a tick on a list says of work that was planned.
TICKED = frozenset({"status", "date", "hours", "crew"})


def is_own(path: Path, table: str, record: str, person: str) -> bool:
    """Tell whether a person wrote a record, as its column `device` says; a record that is not there is nobody's."""
    with Store.open(path) as store:
        devices = store.stored(table, [record])["device"].tolist()
    return any(person_in(device) == person for device in devices)


def is_tick(path: Path, record: str, changes: Mapping[str, Any]) -> bool:
    """Tell whether a correction of a work says no more than that planned work was done."""
    if changes.get("status") != "done" or set(changes) - TICKED:
        return False
    with Store.open(path) as store:
        return store.stored("work", [record])["status"].tolist() == ["planned"]


def not_own(path: Path, frames: Mapping[str, pd.DataFrame], person: str) -> str:
    """Return the id of a record that a hand-over would correct though another person wrote it; empty where there is none.

    Parameters
    ----------
    path : Path
        The vineyard file.
    frames : mapping of table name to DataFrame
        What is handed over. Ticks of planned work, as done or as not done and why, and ticks taken back, are everybody's.
    person : str
        Who hands over.
    """
    with Store.open(path) as store:
        for table, frame in frames.items():
            handed = set(frame["id"])
            asked = [line for line in records_of(frame) if line["corrects"]]
            known = store.stored(table) if asked else frame
            for line in asked:
                _, family = family_of(known, str(line["corrects"]))
                ticked = table == "work" and line["void"] != "yes" and _of_a_phone(line)
                if ticked and (family["status"] == "planned").any():
                    continue
                if not len(family) and line["corrects"] in handed:
                    continue  # both are new: the phone took its own word back
                # Somebody may have corrected it already: all versions so far must be the person's.
                if not len(family) or not all(person_in(device) == person for device in family["device"]):
                    return str(line["corrects"])
    return ""


def _of_a_phone(line: Mapping[str, Any]) -> bool:
    return line["status"] in ("done", "planned") or (line["status"] == "dropped" and bool(line["not_done"]))
