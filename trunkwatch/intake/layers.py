"""The map layers of a file: blocks, rows, vines and the condition of each season, for any GIS."""

from collections.abc import Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import shapely

from trunkwatch.block.opening import BlockSeason, load
from trunkwatch.errors import RecordError
from trunkwatch.history import Condition
from trunkwatch.store import Store, upgrade_file
from trunkwatch.store.shared import SharedStore
from trunkwatch.vineyard.block_names import Block

__all__ = ["draw_shared", "layers_of", "refresh_layers", "upgrade_vineyard"]


def upgrade_vineyard(path: Path) -> tuple[Path | None, list[str]]:
    """Bring a file to the present version, its layers drawn anew in the same step; as `upgrade_file`."""

    def redraw(db: Any) -> None:
        store = Store(db, path)
        refresh_layers(store, store.names().blocks)

    return upgrade_file(path, redraw)


def refresh_layers(store: Store, blocks: Iterable[Block]) -> None:
    """Draw the layers of some blocks anew; blocks without coordinates or seasons get none.

    Parameters
    ----------
    store : Store
        Open to write, in no transaction.
    blocks : iterable of Block
        Blocks whose records changed; those that changed while there was no time to draw them come with them.
    """
    names = store.names()
    waited = (names.of_name(*name) for name in store.stale())
    blocks = [*blocks, *(block for block in waited if block is not None)]
    store.clear_strays()
    there = store.mapped()
    gone = [name for name in there if name not in names.labels]
    for name in gone:
        store.clear_map(name)
    changed = {names.outside(block) for block in blocks}
    for name in names.labels:
        # A block that was renamed, or shares its label now, stood on the map under its name of before.
        if name in changed or (gone and name not in there):
            _refresh(store, name)
    store.note_drawn()


def draw_shared(path: Path) -> bool:
    """Draw the layers of what changed in a shared store, while others write on; tell whether anything was drawn.

    Where somebody else draws at this moment nothing is done: what they do not see yet is drawn after the next record.
    """
    with Store.open(path) as store:
        if not store.stale():
            return False
    with SharedStore.open_to_draw(path) as drawn:
        if drawn is None:
            return False
        refresh_layers(drawn, ())
    return True


def _refresh(store: Store, block: str) -> None:
    try:
        season = load(store, block)
    except RecordError:
        store.clear_map(block)
        return
    if not season.placed:
        store.clear_map(block)
        return
    store.write_map(block, *layers_of(season))


def layers_of(
    season: BlockSeason,
) -> tuple[dict[str, pd.DataFrame], list[tuple[str, int, int, str, int]], tuple[float, float, float, float]]:
    """Return what the layers show of a block that is placed: features by layer, conditions, and its bounds."""
    history, grid, placed = season.history, season.history.grid, season.placed
    cells = np.argwhere(grid.exists)
    longitude, latitude = placed.longitude[grid.exists], placed.latitude[grid.exists]
    points = np.asarray(shapely.points(longitude, latitude), dtype=object)
    labels = [grid.label(int(row), int(station)) for row, station in cells]
    vines = pd.DataFrame(
        {
            "geom": shapely.to_wkb(points),
            "block": grid.block,
            "row": [row for row, _ in labels],
            "position": [position for _, position in labels],
        }
    )
    lines, records = [], []
    for row in grid.named:
        at = np.sort(row.stations)
        shown = at if row.label in placed.surveyed else at[[0, -1]]  # a curved row goes through all its vines
        lines.append(
            shapely.linestrings([(placed.longitude[row.line, s], placed.latitude[row.line, s]) for s in shown])
        )
        records.append((grid.block, row.label, row.first, row.last))
    rows = pd.DataFrame(records, columns=["block", "row", "first", "last"])
    rows.insert(0, "geom", shapely.to_wkb(np.array(lines, dtype=object)))
    hull: Any = shapely.convex_hull(shapely.multipoints(points))
    if hull.geom_type != "Polygon":  # a block of one row is a line: give it half a metre of width
        hull = hull.buffer(5e-6)
    record = season.block
    block = pd.DataFrame(
        [
            {
                "geom": shapely.to_wkb(hull),
                "block": grid.block,
                "vineyard": str(record.get("vineyard") or ""),
                "cultivar": str(record.get("cultivar") or ""),
                "positions": int(grid.exists.sum()),
            }
        ]
    )
    words = {int(one): one.word for one in Condition}
    told = []
    for number, year in enumerate(history.seasons):
        condition, seen = history.condition[number][grid.exists], history.looked_at[number][grid.exists]
        told += [
            (row, position, year, words[int(value)], int(look))
            for (row, position), value, look in zip(labels, condition, seen, strict=True)
        ]
    west, east = float(longitude.min()), float(longitude.max())
    return (
        {"map_blocks": block, "map_rows": rows, "map_vines": vines},
        told,
        (west, float(latitude.min()), east, float(latitude.max())),
    )
