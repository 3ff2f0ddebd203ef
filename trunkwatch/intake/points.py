"""Records with a coordinate and no position: named where the coordinate is sharp enough."""

from collections.abc import Callable, Mapping

import pandas as pd

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.ground import Placed, names_one_vine, place, rows_from_ends
from trunkwatch.vineyard.block_names import Block, BlockNames
from trunkwatch.vineyard.records import standing, with_ids
from trunkwatch.vineyard.tables import records_of

__all__ = ["name_points"]


def name_points(
    new: Mapping[str, pd.DataFrame],
    blocks: pd.DataFrame,
    rows: pd.DataFrame,
    plants: Callable[[], pd.DataFrame] | None = None,
) -> dict[str, pd.DataFrame]:
    """Fill in row and position of findings whose coordinate names one vine.

    A coordinate names a vine only if its accuracy is under 0.3 of the smaller spacing. Others are
    left as they are: the checks list the vines they may mean.

    Parameters
    ----------
    new : mapping of table name to DataFrame
        New records, under the first names of their blocks.
    blocks, rows : DataFrame
        Every version of all blocks and rows, the new ones included.
    plants : callable, optional
        Returns every version of the plants, which hold where surveyed rows lie; asked only where a finding waits.
    """
    out = dict(new)
    frame = new.get("symptoms")
    if frame is None:
        return out
    if not (frame["row"].to_numpy() == "").any():
        return out
    waiting = (frame["row"] == "") & frame["longitude"].notna() & frame["latitude"].notna()
    if not waiting.any():
        return out
    frame = frame.copy()
    names = BlockNames(blocks)
    layouts: dict[Block, tuple[RowGrid, Placed] | None] = {}
    for number in frame.index[waiting]:
        name = str(frame.loc[number, "vineyard"]), str(frame.loc[number, "block"])
        block = names.of_name(*name)
        if block is None:
            continue
        if block not in layouts:
            known = plants() if plants is not None else None
            layouts[block] = _layout(blocks, rows, names, block, known)
        layout = layouts[block]
        if layout is None:
            continue
        record = frame.loc[number]
        found = names_one_vine(
            *layout, float(record["longitude"]), float(record["latitude"]), float(record["accuracy_m"])
        )
        if found is not None:
            frame.loc[number, ["row", "position", "id"]] = [found.row, str(found.position), ""]
    out["symptoms"] = with_ids("symptoms", frame)
    return out


def _layout(
    blocks: pd.DataFrame, rows: pd.DataFrame, names: BlockNames, block: Block, plants: pd.DataFrame | None = None
) -> tuple[RowGrid, Placed] | None:
    label = names.outside(block)
    own, lines = (names.outwards(table, standing(frame)) for table, frame in (("blocks", blocks), ("rows", rows)))
    found = records_of(own[own["block"] == label])
    if not found:
        return None
    try:
        record, lines = rows_from_ends(found[-1], lines[lines["block"] == label])
        grid = RowGrid.from_tables(record, lines)
    except RecordError:
        return None
    points = names.outwards("plants", standing(plants)) if plants is not None else None
    return grid, place(grid, record, lines, points[points["block"] == label] if points is not None else None)
