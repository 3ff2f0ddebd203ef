"""Checks of the settings of a vineyard: a value has to be one of its name."""

import pandas as pd

from trunkwatch.intake.fault_at import fault_at
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.manner import SETTINGS
from trunkwatch.vineyard.tables import records_of

__all__ = ["check_settings"]


def check_settings(settings: pd.DataFrame) -> list[Fault]:
    """Check that every setting has a value of its own.

    Parameters
    ----------
    settings : DataFrame
        Standing lines of the `settings` table.
    """
    return [
        fault_at(
            one,
            "fault",
            f"no value of {one['name']}",
            "value",
            str(one["value"]),
            f"one of {', '.join(SETTINGS[one['name']])}",
        )
        for one in records_of(settings)
        if one["name"] in SETTINGS and one["value"] not in SETTINGS[one["name"]]
    ]
