"""What the pages draw of a block beside its seasons: a block without a record, one that is typed, and what was just written."""

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockReading, Condition
from trunkwatch.history.words import finding_words
from trunkwatch.history.written import Finding
from trunkwatch.maps.frame import DrawingFrame, drawing_frame
from trunkwatch.maps.map_data import look_data
from trunkwatch.maps.rules import page_rules
from trunkwatch.maps.symbols import INK, PAPER, SYMBOLS, Symbol
from trunkwatch.vineyard.tables import Record, number_or_none

__all__ = ["add_written", "bare", "frame_for", "laid_out"]

#: Of more vines than these only the ends of the rows are drawn while a block is typed.
MOST_DRAWN = 20_000
#: A finding that makes no case: the flag of a case, left open.
WRITTEN = Symbol("written, no case", "W", PAPER, "#8f3a00", (((0, 6), (0, -9), (9, -5), (0, -1)),), solid=True)
#: A vine of a block that is being typed: nothing is known of it but its place.
VINE = Symbol("vine", "", "", "#55534d", (((0, 5), (0, -5)),), with_row=True)
#: Conditions that say of a vine that it was not looked at, or that nothing was seen: a finding speaks against them.
_SILENT = (Condition.NOT_SEEN, Condition.RENEWED, Condition.HIDDEN, Condition.SOUND)


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
        shown = np.zeros(grid.shape, dtype=bool)
        for row in grid.named:
            shown[row.line, row.stations[[0, -1]]] = True
    which, labels, along = _by_label(grid, frame)
    return {
        "block": grid.block,
        "seasons": [],
        "first": 0,
        "x": np.rint(100 * frame.x[shown]).astype(int).tolist(),
        "y": np.rint(100 * frame.y[shown]).astype(int).tolist(),
        "row": which[shown].tolist(),
        "position": grid.position[shown].tolist(),
        "labels": labels,
        "events": {},
        "vine_m": frame.vine_m,
        "north": frame.north,
        "along": along,
        "ink": INK,
        "paper": PAPER,
        "looks": {str(int(one)): look_data(one, SYMBOLS[one]) for one in Condition if one in SYMBOLS},
        "rules": page_rules(),
    }


def _by_label(grid: RowGrid, frame: DrawingFrame) -> tuple[NDArray[np.int64], list[str], list[list[float]]]:
    """Return the number of each cell's row, and the label and the way of each row.

    Rows are numbered as the lines of the grid, so that nothing changes, unless several stand on one line.
    """
    along = [[round(float(v), 4) for v in pair] for pair in frame.along]
    if not grid.is_divided:
        return np.indices(grid.shape)[0], list(grid.rows), along
    return grid.which.astype(np.int64), list(grid.labels), [along[row.line] for row in grid.named]


def rows_by_label(data: Mapping[str, Any], grid: RowGrid, frame: DrawingFrame) -> dict[str, Any]:
    """Return the row of each vine of a map's data, and the ways of the rows, as the desk asks for them."""
    row = [run[-1] if grid.is_divided else run[0] for run in data["runs"] for _ in range(run[2])]
    return {"row": row, "along": _by_label(grid, frame)[2]}


def ends_of_rows(grid: RowGrid) -> dict[str, list[int]]:
    """Return the first and the last position of each row, numbered as in the drawing; 0 and -1 on an empty line."""
    if grid.is_divided:
        pairs = [(row.first, row.last) for row in grid.named]
    else:
        own = {row.line: (row.first, row.last) for row in grid.named}
        pairs = [own.get(line, (0, -1)) for line in range(grid.shape[0])]
    return {"first_of": [first for first, _ in pairs], "last_of": [last for _, last in pairs]}


def laid_out(grid: RowGrid, block: Record, unit: str) -> dict[str, Any]:
    """Return a block that is being typed: its places, the first position of each row, and a sentence on it."""
    vines = int(grid.exists.sum())
    ends_only = vines > MOST_DRAWN
    frame = frame_for(grid, block)
    data = bare(grid, frame, ends_only=ends_only)
    data["looks"][str(int(Condition.NOT_SEEN))] = look_data(None, VINE)
    first = ends_of_rows(grid)["first_of"]
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
    spacing = " No spacing is on record: drawn with a usual one." if grid.assumed_spacing else ""
    more = " So many vines are drawn by the ends of their rows." if ends_only else ""
    data["line"] = f"{rows}. {north}{spacing}{more}"
    return data


def add_written(data: dict[str, Any], reading: BlockReading, grid: RowGrid) -> None:
    """Add to each season what was written of vines that its count shows as not looked at, or without anything seen.

    What was logged a moment ago must not be answered by "nothing seen": a finding that no survey covers makes no case,
    and is on the drawing all the same.
    """
    number = {
        (row, position): vine for vine, (row, position) in enumerate(zip(data["row"], data["position"], strict=True))
    }
    by_season: dict[int, list[tuple[int, Finding]]] = defaultdict(list)
    for one in (*reading.findings, *reading.second_findings):
        vine = number.get((int(one.cell[0]), int(grid.position[one.cell])))
        if vine is not None and one.symptom != "not_seen":
            by_season[one.season].append((vine, one))
    silent = {str(int(one)) for one in _SILENT}
    for season in data["seasons"]:
        season["written"] = [
            [vine, f"{one.date} {finding_words(one)}", one.casual, one.symptom != "none"]
            for vine, one in by_season[season["season"]]
            if season["condition"][vine] in silent
        ]
    data["written"] = look_data(None, WRITTEN)
