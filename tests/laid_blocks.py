"""Blocks laid on the ground for tests: rows, and a block 2.5 m x 1.8 m in the open ocean."""

from pyproj import Geod

from trunkwatch import ground
from trunkwatch.grid import RowGrid
from trunkwatch.vineyard.tables import frame_of

EARTH = Geod(ellps="WGS84")
BLOCK = {
    "block": "A", "row_spacing_m": 2.5, "vine_spacing_m": 1.8, "longitude": -30.0, "latitude": 44.0,
    "row_bearing_deg": 24.0, "rows_go": "right",
}  # fmt: skip


def rows_of(*rows):
    return frame_of("rows", [{"block": "A", **row} for row in rows])


def laid(rows, **block):
    record = {**BLOCK, **block}
    grid = RowGrid.from_tables(record, rows)
    return grid, ground.place(grid, record)
