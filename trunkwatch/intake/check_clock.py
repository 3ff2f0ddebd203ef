"""Notes on devices whose clock is ahead: what they write down would stand against all that is written later elsewhere."""

import re
from collections.abc import Mapping

import pandas as pd

from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.calendar import day_after
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import records_of

__all__ = ["check_clock"]

_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def check_clock(frames: Mapping[str, pd.DataFrame], today: str) -> list[Fault]:
    """Find records that were written down later than the day after today.

    They are taken all the same: who corrects one of them is later than it, whatever the clock says.

    Parameters
    ----------
    frames : mapping of table name to DataFrame
        All versions of all records.
    today : str
        This day, YYYY-MM-DD.
    """
    last, found = day_after(today), []
    for frame in frames.values():
        later = frame[frame["recorded_at"].str[:10] > last]
        found += [
            fault_at(record, "note", "written down after today: the clock of that device is ahead", "recorded_at",
                     str(record["recorded_at"]), f"a day up to {last}: set the clock of {record['device'] or 'the device'}")
            for record in records_of(later) if _DAY.match(str(record["recorded_at"]))
        ]  # fmt: skip
    return found
