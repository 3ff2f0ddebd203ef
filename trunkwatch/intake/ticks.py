"""Records that a phone hands over later: in the order in which it wrote them, and work done against what a plan wrote meanwhile."""

from collections.abc import Mapping
from typing import Any

import pandas as pd

from trunkwatch.intake.enter import Entries
from trunkwatch.vineyard.records import by_plan, family_of, later_than, roots_of
from trunkwatch.vineyard.tables import frame_of, records_of

__all__ = ["settle_ticks"]


def settle_ticks(table: str, new: pd.DataFrame, known: pd.DataFrame) -> Entries:
    """Let a phone's records follow each other as it wrote them, and a tick be the last word over a plan that did not know of it.

    A phone knew all that it wrote itself: a later record of it stands against its earlier ones, also where its clock
    stands still or was set back meanwhile.

    A crew ticks work in the row, as done or as not done and why; a plan in the office drops or changes it, and only then the phone hands the tick over.
    What a person wrote in the office after the tick stays the last word.

    Parameters
    ----------
    table : str
        Name of the table.
    new : DataFrame
        Records that a phone hands over, with their ids.
    known : DataFrame
        All versions of all records of the table.
    """
    records = _in_order(records_of(new), known)
    if table != "work":
        return Entries(frame_of(table, records), 0, (), tuple(new["id"]))
    last = {
        str(one["corrects"]): one for one in sorted(records, key=lambda one: (str(one["recorded_at"]), str(one["id"])))
    }
    ids = set(known["id"])
    for root, tick in last.items():
        if not root or not _decided(tick) or tick["void"] == "yes" or tick["id"] in ids:
            continue
        _, family = family_of(known, root)
        moment = str(tick["recorded_at"])
        later = family[(family["recorded_at"] >= moment) & (family["corrects"] != "")]
        if len(later) and all(by_plan(device) for device in later["device"]):
            tick["recorded_at"] = later_than(later["recorded_at"], moment)
    return Entries(frame_of(table, records), 0, (), tuple(new["id"]))


def _decided(tick: Mapping[str, Any]) -> bool:
    """Tell whether a person at the vine said that the work was done, or why it was not."""
    return tick["status"] == "done" or (tick["status"] == "dropped" and bool(tick["not_done"]))


def _in_order(records: list[dict[str, Any]], known: pd.DataFrame) -> list[dict[str, Any]]:
    """Let new corrections of a device be later than what it wrote of the same record before, handed over by now or earlier."""
    new = [one for one in records if one["corrects"] and one["device"]]
    ids = set(known["id"])
    if not any(one["id"] not in ids for one in new):
        return records
    roots = roots_of(
        pd.concat([known[known["corrects"] != ""][["id", "corrects"]], pd.DataFrame(new)[["id", "corrects"]]])
    )
    last: dict[tuple[str, str], str] = {}
    for name, device, moment in zip(known["id"], known["device"], known["recorded_at"], strict=True):
        key = (roots.get(name, name), device)
        last[key] = max(last.get(key, ""), moment)
    for one in new:
        if one["id"] in ids:
            continue
        key = (roots[str(one["id"])], str(one["device"]))
        one["recorded_at"] = last[key] = later_than([last.get(key, "")], str(one["recorded_at"]))
    return records
