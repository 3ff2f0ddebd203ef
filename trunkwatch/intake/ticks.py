"""Ticks that a phone hands over later: work that was done stands against what a plan wrote meanwhile."""

import pandas as pd

from trunkwatch.intake.enter import Entries
from trunkwatch.vineyard.records import by_plan, family_of, later_than
from trunkwatch.vineyard.tables import frame_of, records_of

__all__ = ["settle_ticks"]


def settle_ticks(table: str, new: pd.DataFrame, known: pd.DataFrame) -> Entries:
    """Let a tick be the last word over a plan that did not know of it.

    A crew ticks work in the row, a plan in the office drops or changes it, and only then the phone hands the tick over.
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
    if table != "work":
        return Entries(new, 0, (), tuple(new["id"]))
    records = records_of(new)
    last = {
        str(one["corrects"]): one for one in sorted(records, key=lambda one: (str(one["recorded_at"]), str(one["id"])))
    }
    ids = set(known["id"])
    for root, tick in last.items():
        if not root or tick["status"] != "done" or tick["void"] == "yes" or tick["id"] in ids:
            continue
        _, family = family_of(known, root)
        moment = str(tick["recorded_at"])
        later = family[(family["recorded_at"] >= moment) & (family["corrects"] != "")]
        if len(later) and all(by_plan(device) for device in later["device"]):
            tick["recorded_at"] = later_than(later["recorded_at"], moment)
    return Entries(frame_of(table, records), 0, (), tuple(new["id"]))
