"""Notes on devices whose clock is ahead: what they write down would stand against all that is written later elsewhere."""

import re
from collections.abc import Mapping
from typing import Any

import pandas as pd

from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.calendar import day_after
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import records_of

__all__ = ["check_clock"]

_DAY = re.compile(r"\d{4}-\d\d-\d\d")


def check_clock(frames: Mapping[str, pd.DataFrame], today: str) -> list[Fault]:
    """Find records that were written down later than the day after today; one note a table and device.

    They are taken all the same: who corrects one of them is later than it, whatever the clock says.

    Parameters
    ----------
    frames : mapping of table name to DataFrame
        All versions of all records.
    today : str
        This day, YYYY-MM-DD.
    """
    last, found = day_after(today), []
    for table, frame in frames.items():
        if not len(frame) or str(frame["recorded_at"].max())[:10] <= last:
            continue
        by_device: dict[str, list[dict[str, Any]]] = {}
        for record in records_of(frame[frame["recorded_at"].str[:10] > last]):
            if _DAY.match(str(record["recorded_at"])):
                by_device.setdefault(str(record["device"]), []).append(record)
        for device, records in by_device.items():
            most = max(records, key=lambda record: str(record["recorded_at"]))
            name = f"device {device!r}" if device else "that device"
            what = f"{len(records):,} records of {table} were" if len(records) > 1 else f"a record of {table} was"
            found.append(
                fault_at(
                    most,
                    "note",
                    f"{what} written down after today: the clock of {name} is ahead",
                    "recorded_at",
                    str(most["recorded_at"]),
                    f"a day up to {last}; set the clock of {name}",
                )
            )
    return found
