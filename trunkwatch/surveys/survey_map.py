"""Cases and living vines of some surveys by themselves, whatever other surveys saw."""

import numpy as np
import pandas as pd

from trunkwatch.grid import RowGrid
from trunkwatch.history.block_history import BlockRecords
from trunkwatch.history.block_reader import BlockReader
from trunkwatch.history.definitions import CaseDefinition

__all__ = ["look_map"]


def look_map(
    records: BlockRecords, grid: RowGrid, surveys: pd.DataFrame, rule: CaseDefinition
) -> tuple[np.ndarray, np.ndarray]:
    """Return cases and living vines of some surveys alone, two (rows, stations) bool arrays.

    Parameters
    ----------
    records : BlockRecords
        All records of the block: plants and deaths tell which vines live.
    grid : RowGrid
        Its rows and positions.
    surveys : DataFrame
        The surveys, lines of the block's `surveys` table.
    rule : CaseDefinition
        What makes a case.
    """
    only = BlockRecords(records.block, records.rows, records.plants, surveys, records.symptoms, records.work)
    reader = BlockReader(only, grid)
    cases, vines = np.zeros(grid.shape, dtype=bool), np.zeros(grid.shape, dtype=bool)
    for look in reader.looks:
        for cell in look.cells:
            vines[cell] = not reader.empty(cell, look.date)
    for cell, line in reader.findings:
        day = str(line["date"])
        inside = any(look.date <= day <= look.until and cell in look.cells for look in reader.looks)
        if inside and line["symptom"] == "dead":
            vines[cell] = False
        elif inside and rule.makes_case(line):
            cases[cell] = True
    return cases & vines, vines
