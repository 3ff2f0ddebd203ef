"""Records with a coordinate and no position: named where the coordinate is sharp enough."""

from collections.abc import Mapping

import pandas as pd

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.ground import Placed, names_one_vine, place, rows_from_ends
from trunkwatch.vineyard.records import with_ids
from trunkwatch.vineyard.tables import records_of

__all__ = ["name_points"]


def name_points(new: Mapping[str, pd.DataFrame], blocks: pd.DataFrame, rows: pd.DataFrame) -> dict[str, pd.DataFrame]:
    """Fill in row and position of findings whose coordinate names one vine.

    A coordinate names a vine only if its accuracy is under 0.3 of the smaller spacing. Others are
    left as they are: the checks list the vines they may mean.

    Parameters
    ----------
    new : mapping of table name to DataFrame
        New records.
    blocks, rows : DataFrame
        All blocks and rows, the new ones included.
    """
    out = dict(new)
    frame = new.get("symptoms")
    if frame is None:
        return out
    waiting = (frame["row"] == "") & frame["longitude"].notna() & frame["latitude"].notna()
    if not waiting.any():
        return out
    frame = frame.copy()
    layouts: dict[str, tuple[RowGrid, Placed] | None] = {}
    for number in frame.index[waiting]:
        block = str(frame.loc[number, "block"])
        if block not in layouts:
            layouts[block] = _layout(blocks, rows, block)
        layout = layouts[block]
        if layout is None:
            continue
        record = frame.loc[number]
        found = names_one_vine(
            *layout, float(record["longitude"]), float(record["latitude"]), float(record["accuracy_m"])
        )  # fmt: skip
        if found is not None:
            frame.loc[number, ["row", "position", "id"]] = [found.row, str(found.position), ""]
    out["symptoms"] = with_ids("symptoms", frame)
    return out


def _layout(blocks: pd.DataFrame, rows: pd.DataFrame, block: str) -> tuple[RowGrid, Placed] | None:
    own = records_of(blocks[blocks["block"] == block])
    if not own:
        return None
    try:
        record, lines = rows_from_ends(own[-1], rows[rows["block"] == block])
        grid = RowGrid.from_tables(record, lines)
    except RecordError:
        return None
    return grid, place(grid, record, lines)
