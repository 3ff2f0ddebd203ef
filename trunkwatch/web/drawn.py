"""What the pages draw of a block of which nothing is on record: places, and every vine as not seen."""

from typing import Any

import numpy as np

from trunkwatch.grid import RowGrid
from trunkwatch.history import Condition
from trunkwatch.maps.frame import DrawingFrame, drawing_frame
from trunkwatch.maps.map_data import look_data
from trunkwatch.maps.symbols import INK, PAPER, SYMBOLS
from trunkwatch.vineyard.tables import Record, number_or_none

__all__ = ["bare", "frame_for", "laid_out"]

#: Of more vines than these only the ends of the rows are drawn while a block is typed.
MOST_DRAWN = 20_000


def frame_for(grid: RowGrid, block: Record) -> DrawingFrame:
    """Return where the vines are drawn on the desk: in the block's own meters, turned as its line says."""
    return drawing_frame(
        grid,
        None,
        bearing_deg=number_or_none(block.get("row_bearing_deg")),
        rows_go=str(block.get("rows_go") or "right"),
    )


def bare(grid: RowGrid, frame: DrawingFrame, *, ends_only: bool = False) -> dict[str, Any]:
    """Return a block without any season."""
    shown = grid.exists
    if ends_only:
        shown = shown & (
            (grid.position == np.asarray(grid.first)[:, None]) | (grid.position == np.asarray(grid.last)[:, None])
        )
    at = np.argwhere(shown)
    return {
        "block": grid.block, "seasons": [], "first": 0, "x": np.rint(100 * frame.x[shown]).astype(int).tolist(),
        "y": np.rint(100 * frame.y[shown]).astype(int).tolist(), "row": at[:, 0].tolist(),
        "position": grid.position[shown].tolist(), "labels": list(grid.rows), "events": {}, "vine_m": frame.vine_m, "north": frame.north,
        "along": [[round(float(v), 4) for v in pair] for pair in frame.along], "ink": INK, "paper": PAPER,
        "looks": {str(int(one)): look_data(one, SYMBOLS[one]) for one in Condition if one in SYMBOLS},
    }  # fmt: skip


def laid_out(grid: RowGrid, block: Record, unit: str) -> dict[str, Any]:
    """Return a block that is being typed: its places, the first position of each row, and a sentence on it."""
    vines = int(grid.exists.sum())
    ends_only = vines > MOST_DRAWN
    frame = frame_for(grid, block)
    data = bare(grid, frame, ends_only=ends_only)
    first = [int(one) for one in grid.first]
    data["starts"] = [
        vine
        for vine, (row, position) in enumerate(zip(data["row"], data["position"], strict=True))
        if position == first[row]
    ]
    data["unit"] = unit
    lengths = [int(count) for count in grid.exists.sum(axis=1) if count]
    per_row = f"{min(lengths)}" if min(lengths) == max(lengths) else f"{min(lengths)} to {max(lengths)}"
    rows = f"{len(lengths)} row{'s' if len(lengths) != 1 else ''} of {per_row} vines, {vines:,} in all"
    north = "North is up." if frame.north else "Without a bearing, north is not known: the first row lies on top."
    spacing = " No spacing is written: drawn with a usual one." if grid.assumed_spacing else ""
    more = " So many vines are drawn by the ends of their rows." if ends_only else ""
    data["line"] = f"{rows}. {north}{spacing}{more}"
    return data
