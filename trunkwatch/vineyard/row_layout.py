"""How the rows of a block lie: each one's stations and metres.

A row is measured along itself: its first vine, the spacing, the alleys in it. Its stations are
whole vines counted from the block's base line, once for the row: were every vine's metres
rounded by itself, a spacing that is 1 % wrong would put two vines on one station or skip one.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.codes import NUMBERED_FROM
from trunkwatch.vineyard.one_line import line_numbers
from trunkwatch.vineyard.row_cells import MOST_METRES, bay_ends_of, breaks_of, positions_of
from trunkwatch.vineyard.tables import Record, number_in

__all__ = ["RowLine", "Spacings", "lay_out", "runs_other_way", "whole"]

#: A break narrower than this share of the spacing stands beside a vine planted between two others.
NARROW = 0.9
#: Of two rows on one line: less than so many spacings between them is a slip, this many or more an alley.
NARROWEST_JOIN, ALLEY = 0.5, 1.5


@dataclass(frozen=True, slots=True)
class Spacings:
    """Metres between vines and between rows, and whether they are a guess."""

    vine_m: float
    row_m: float
    assumed: bool


@dataclass(frozen=True, slots=True)
class RowLine:
    """One row laid out; element 0 of each array is the row's first position.

    Attributes
    ----------
    label : str
        Row label.
    across_m : float
        Metres from the block's first row.
    first : int
        First position.
    stations : (positions,) int64 array
        Whole vines from the base line.
    along_m : (positions,) float64 array
        Metres from the base line, the way positions grow in a row numbered from it.
    bay_ends : tuple of int
        Last position of each bay.
    cultivar : str
        Where the row says one.
    goes_on : bool
        Whether it stands behind the row before it, on the same line of posts.
    """

    label: str
    across_m: float
    first: int
    stations: NDArray[np.int64]
    along_m: NDArray[np.float64]
    bay_ends: tuple[int, ...]
    cultivar: str
    goes_on: bool = False


def runs_other_way(records: Sequence[Record], numbering: str) -> list[bool]:
    """Tell of each row, in the order of the ground, whether it is numbered from the far end.

    Under serpentine numbering that is every other row, counted by row_order where it is written,
    so that a row taken out does not turn all that follow. What a row itself says (`numbered_from`)
    goes before what its block says.
    """
    by_block = _turned_by_block(records, numbering)
    own = [str(record.get("numbered_from") or "") for record in records]
    return [end == "end" if end in NUMBERED_FROM else turned for end, turned in zip(own, by_block, strict=True)]


def _turned_by_block(records: Sequence[Record], numbering: str) -> list[bool]:
    if numbering != "serpentine":
        return [False] * len(records)
    orders = [number_in(record, "row_order") for record in records]
    if all(order.is_integer() for order in orders):  # nan is no integer
        return [int(order - orders[0]) % 2 == 1 for order in orders]
    return [number % 2 == 1 for number in line_numbers(records)]


def lay_out(block: Record, ordered: Sequence[Record], spacings: Spacings) -> list[RowLine]:
    """Lay out the rows of a block, given in the order of the ground.

    `start_m` is where the row begins as seen from the base line, whichever end it is numbered
    from. Breaks follow the positions: ``30:6.0`` lies between 30 and 31 also where these run
    towards the base line. A row on the line of the one before it begins where that ends, one spacing
    further on, or at its own `start_m`.

    Raises
    ------
    RecordError
        If a cell cannot be read, or a row begins before the row before it on its line ends; the message
        names block, row, column and value.
    """
    own = [_spacing_of(block, record, spacings) for record in ordered]
    # Rows that keep step share the stations of their common spacing, which may differ from the
    # spacing written for the block by the error of a tape over a hundred vines.
    lattice = float(np.median(own))
    reverse = runs_other_way(ordered, str(block.get("numbering") or ""))
    across = _across_of(ordered, spacings.row_m)
    numbers = line_numbers(ordered)
    found: list[RowLine] = []
    for place, record in enumerate(ordered):
        line = _row_line(str(block["block"]), record, across[place], own[place], lattice, other_way=reverse[place])
        behind = place > 0 and numbers[place] == numbers[place - 1]
        found.append(_behind(found[-1], line, record, own[place], str(block["block"])) if behind else line)
    return found


def _behind(before: RowLine, line: RowLine, record: Record, spacing: float, block: str) -> RowLine:
    """Put a row behind the one before it on the same line of posts."""
    end, own = float(before.along_m.max()), float(line.along_m.min())
    written = not math.isnan(number_in(record, "start_m"))
    gap = own - end if written else spacing
    if gap < NARROWEST_JOIN * spacing:
        raise RecordError(
            f"block {block!r}, row {line.label!r}: start_m is {own:g}; expected: about {end + spacing:g} or more, "
            f"behind the last vine of row {before.label!r} on the same line (empty: without an alley between them)"
        )
    # What is wider than this is an alley, and no vine beside it is the neighbor of one beyond.
    step = 1 if gap < ALLEY * spacing else 1 + max(1, whole(gap / spacing) - 1)
    stations = line.stations - line.stations.min() + before.stations.max() + step
    return replace(line, along_m=line.along_m - own + end + gap, stations=stations, goes_on=True)


def _spacing_of(block: Record, record: Record, spacings: Spacings) -> float:
    own = number_in(record, "spacing_m")
    if math.isnan(own):
        return spacings.vine_m
    if not 0 < own < math.inf:
        raise RecordError(
            f"block {block['block']!r}, row {record['row']!r}: spacing_m is {own:g}; expected: meters above 0"
        )
    return own


def _across_of(ordered: Sequence[Record], row_m: float) -> list[float]:
    """Return the metres of each row from the first."""
    metres = [number_in(record, "across_m") for record in ordered]
    if not any(math.isnan(value) for value in metres):
        return [value - metres[0] for value in metres]
    orders = [number_in(record, "row_order") for record in ordered]
    if any(math.isnan(order) for order in orders):
        orders = [float(number) for number in line_numbers(ordered)]
    return [(order - orders[0]) * row_m for order in orders]


def _row_line(
    block: str, record: Record, across_m: float, spacing: float, lattice: float, *, other_way: bool
) -> RowLine:
    where = f"block {block!r}, row {record['row']!r}"
    first, last = positions_of(record, where)
    steps = np.ones(last - first, dtype=np.int64)
    metres = np.full(last - first, spacing)
    for position, gap in breaks_of(str(record.get("breaks") or ""), where).items():
        if not first <= position < last:
            wanted = f"positions from {first} to {last - 1}" if last > first else "none in a row of one position"
            raise RecordError(f"{where}: breaks has '{position}:{gap:g}'; expected: {wanted}")
        # An alley is an alley even where it is hardly wider than a spacing: never a join across it.
        # A gap narrower than the spacing is none: a vine was planted between two.
        steps[position - first] = 1 if gap < NARROW * spacing else 1 + max(1, whole(gap / spacing) - 1)
        metres[position - first] = gap
    start = number_in(record, "start_m")
    start = 0.0 if math.isnan(start) else start
    if abs(start) > MOST_METRES:
        raise RecordError(f"{where}: start_m is {start:g}; expected: at most {MOST_METRES:g} m from the base line")
    stations = np.concatenate([[0], np.cumsum(steps)])
    along = np.concatenate([[0.0], np.cumsum(metres)])
    if other_way:
        stations, along = stations[-1] - stations, along[-1] - along
    return RowLine(
        label=record["row"],
        across_m=across_m,
        first=first,
        along_m=start + along,
        stations=(whole(start / lattice) + stations).astype(np.int64),
        bay_ends=bay_ends_of(str(record.get("bay_ends") or ""), first, last, where),
        cultivar=str(record.get("cultivar") or ""),
    )


def whole(value: float) -> int:
    """Round halves up: a headland that gains half a vine a row then moves every second row by one."""
    return math.floor(value + 0.5 + 1e-9)
