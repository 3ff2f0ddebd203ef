"""How the rows of a block lie: which are valid on a day, their order, and each one's stations and metres.

A row is measured along itself: its first vine, the spacing, the alleys in it. Its stations are
whole vines counted from the block's base line, once for the row: were every vine's metres
rounded by itself, a spacing that is 1 % wrong would put two vines on one station or skip one.
"""

import datetime as dt
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.calendar import is_iso_date
from trunkwatch.vineyard.tables import TABLES, number_in, records_of

__all__ = [
    "RowLine",
    "Spacings",
    "bay_ends_of",
    "breaks_of",
    "fitted_spacing",
    "lay_out",
    "measured_numbering",
    "measured_spacing",
    "natural_key",
    "ordered_rows",
    "positions_of",
    "rows_valid_on",
    "runs_other_way",
    "shared_bearing",
    "sorted_into_rows",
    "whole",
]

#: Written and measured bearing may differ by a compass's declination, not by more.
BEARING_SLACK_DEG = 20.0
#: A row further than this from the direction of the others is a slip in its coordinates.
SKEW_DEG = 30.0
#: A break narrower than this share of the spacing stands beside a vine planted between two others.
NARROW = 0.9
#: More positions than this in a row are a slip of the pen, and would fill the memory.
MOST_POSITIONS = 100_000

Record = Mapping[str, Any]

_BREAK = re.compile(r"(\d+)\s*:\s*(\d+(?:\.\d+)?)")
_EVERY = re.compile(r"every\s+(\d+)", re.IGNORECASE)


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
        Metres from the base line, the way positions of the block's first row grow.
    bay_ends : tuple of int
        Last position of each bay.
    cultivar : str
        Where the row says one.
    """

    label: str
    across_m: float
    first: int
    stations: NDArray[np.int64]
    along_m: NDArray[np.float64]
    bay_ends: tuple[int, ...]
    cultivar: str


def natural_key(label: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts 2 before 10 and 12A after 12."""
    return tuple(
        (0, int(piece), "") if piece.isdecimal() else (1, 0, piece.casefold())
        for piece in re.findall(r"\d+|\D+", label)
    )


def breaks_of(text: str, where: str) -> dict[int, float]:
    """Read ``30:6.0; 55:8`` as {30: 6.0, 55: 8.0}: metres from a position to the next.

    Raises
    ------
    RecordError
        If a part cannot be read, is 0 m or names a position twice; the message names `where`.
    """
    breaks: dict[int, float] = {}
    for part in (piece.strip() for piece in text.split(";")):
        if not part:
            continue
        found = _BREAK.fullmatch(part)
        if not found or float(found[2]) <= 0:
            raise RecordError(f"{where}: breaks has {part!r}; expected: position:metres, for example 30:6.0")
        if int(found[1]) in breaks:
            raise RecordError(f"{where}: breaks has {part!r} after another for {found[1]}; expected: one a position")
        breaks[int(found[1])] = float(found[2])
    return breaks


def bay_ends_of(text: str, first: int, last: int, where: str) -> tuple[int, ...]:
    """Read ``5; 10; 15`` or ``every 5`` as the last position of each bay, the row's last included.

    ``every 5`` counts from the row's first position.

    Raises
    ------
    RecordError
        If it cannot be read, or the positions do not rise or are not in the row; the message
        names `where`.
    """
    if not text.strip():
        return ()
    every = _EVERY.fullmatch(text.strip())
    if every:
        step = int(every[1])
        if step < 1:
            raise RecordError(f"{where}: bay_ends is {text!r}; expected: every 1 or more")
        ends = list(range(first + step - 1, last, step))
        return (*ends, last)
    parts = [piece.strip() for piece in text.split(";") if piece.strip()]
    if not all(part.isdecimal() for part in parts):
        raise RecordError(f"{where}: bay_ends is {text!r}; expected: positions, 5; 10; 15, or every 5")
    ends = [int(part) for part in parts]
    if ends != sorted(set(ends)):
        raise RecordError(f"{where}: bay_ends is {text!r}; expected: positions that rise")
    if ends and not (first <= ends[0] and ends[-1] <= last):
        raise RecordError(f"{where}: bay_ends is {text!r}; expected: positions from {first} to {last}")
    return tuple(ends) if ends[-1:] == [last] else (*ends, last)


def rows_valid_on(block: str, rows: pd.DataFrame, on: str | None = None) -> list[Record]:
    """Return the row records of a block that hold on a day, each label once.

    Rows of other blocks are passed over. Where no day (YYYY-MM-DD) is given it is the last state
    on record: the day of the last change after which there still are rows.

    Raises
    ------
    RecordError
        If no row holds on that day, a label stands twice, or a day cannot be read.
    """
    own = records_of(rows[rows["block"] == block])
    if not own:
        raise RecordError(f"block {block!r} has no rows; expected: a line for each in rows: block, row, first, last")
    if on is not None and not is_iso_date(on):
        raise RecordError(f"block {block!r}: the day is {on!r}; expected: YYYY-MM-DD")
    spans = [_span(block, record) for record in own]
    changes = {"0001-01-01", *(since for since, _ in spans), *(until for _, until in spans)}
    for day in [on] if on is not None else sorted(changes, reverse=True):
        valid = [record for record, (since, until) in zip(own, spans, strict=True) if since <= day < until]
        if valid:
            return _each_once(block, valid)
    raise RecordError(f"block {block!r} has no rows on {on}; expected: valid_from and valid_to around that day")


def _span(block: str, record: Record) -> tuple[str, str]:
    """Return the first day of a label and the first day after it."""
    days = []
    for column in ("valid_from", "valid_to"):
        text = str(record.get(column) or "")
        if text and not is_iso_date(text):
            raise RecordError(f"block {block!r}, row {record['row']!r}: {column} is {text!r}; expected: YYYY-MM-DD")
        days.append(text)
    since, until = days
    if since and until and until < since:
        raise RecordError(
            f"block {block!r}, row {record['row']!r}: valid_to is {until!r}; expected: {since} (valid_from) or later"
        )
    after = (dt.date.fromisoformat(until) + dt.timedelta(days=1)).isoformat() if until else "9999-12-31"
    return since or "0001-01-01", after


def _each_once(block: str, records: Sequence[Record]) -> list[Record]:
    seen: set[str] = set()
    for record in records:
        label = str(record["row"]).strip()
        if not label:
            raise RecordError(f"block {block!r} has a row whose row is ''; expected: the label on the end post")
        if label in seen:
            raise RecordError(f"block {block!r}: row is {label!r} twice; expected: each label once on the same day")
        seen.add(label)
    return [{**record, "row": str(record["row"]).strip()} for record in records]


def ordered_rows(block: str, records: Sequence[Record]) -> list[Record]:
    """Put rows in the order of the ground: by row_order, else by across_m, else by label.

    Raises
    ------
    RecordError
        If only some rows have a row_order or across_m, two rows have the same row_order, or the
        two columns contradict each other.
    """
    by_order, by_metres = (_all_or_none(block, records, column) for column in ("row_order", "across_m"))
    column = "row_order" if by_order else "across_m" if by_metres else ""
    ordered = sorted(
        records, key=lambda record: (number_in(record, column) if column else 0.0, natural_key(record["row"]))
    )
    for before, after in pairwise(ordered):
        where = f"block {block!r}, row {after['row']!r}"
        if by_order and number_in(before, "row_order") == number_in(after, "row_order"):
            raise RecordError(
                f"{where}: row_order is {number_in(after, 'row_order'):g} as in row {before['row']!r}; "
                "expected: another place for each row"
            )
        if by_order and by_metres and number_in(after, "across_m") <= number_in(before, "across_m"):
            raise RecordError(
                f"{where}: across_m is {number_in(after, 'across_m'):g}; expected: more than the "
                f"{number_in(before, 'across_m'):g} of row {before['row']!r}, which row_order puts before it"
            )
    return ordered


def _all_or_none(block: str, records: Sequence[Record], column: str) -> bool:
    empty = [record["row"] for record in records if math.isnan(number_in(record, column))]
    if empty and len(empty) < len(records):
        raise RecordError(
            f"block {block!r}, row {empty[0]!r}: {column} is ''; expected: a number, "
            "since other rows have one (or none in any row)"
        )
    return not empty


def runs_other_way(records: Sequence[Record], numbering: str) -> list[bool]:
    """Tell of each row, in the order of the ground, whether it is numbered from the far end.

    Under serpentine numbering that is every other row, counted by row_order where it is written,
    so that a row taken out does not turn all that follow.
    """
    if numbering != "serpentine":
        return [False] * len(records)
    orders = [number_in(record, "row_order") for record in records]
    if all(order.is_integer() for order in orders):  # nan is no integer
        return [int(order - orders[0]) % 2 == 1 for order in orders]
    return [place % 2 == 1 for place in range(len(records))]


def positions_of(record: Record, where: str) -> tuple[int, int]:
    """Return the first and the last position of a row; the first is 1 where it is not written.

    Raises
    ------
    RecordError
        If they are not whole, below 0, or the last is before the first.
    """
    found = []
    for column, otherwise in (("first", 1.0), ("last", math.nan)):
        value = number_in(record, column)
        value = otherwise if math.isnan(value) else value
        if math.isnan(value):
            raise RecordError(f"{where}: {column} is ''; expected: the last position of the row")
        if not value.is_integer() or value < 0:
            raise RecordError(f"{where}: {column} is {value:g}; expected: a whole number, 0 or more")
        found.append(int(value))
    first, last = found
    if last < first:
        raise RecordError(f"{where}: last is {last}; expected: {first} (first) or more")
    if last - first >= MOST_POSITIONS:
        raise RecordError(f"{where}: last is {last}; expected: at most {MOST_POSITIONS} positions in a row")
    return first, last


def lay_out(block: Record, ordered: Sequence[Record], spacings: Spacings) -> list[RowLine]:
    """Lay out the rows of a block, given in the order of the ground.

    `start_m` is where the row begins as seen from the base line, whichever end it is numbered
    from. Breaks follow the positions: ``30:6.0`` lies between 30 and 31 also where these run
    towards the base line.

    Raises
    ------
    RecordError
        If a cell cannot be read; the message names block, row, column and value.
    """
    own = [_spacing_of(block, record, spacings) for record in ordered]
    # Rows that keep step share the stations of their common spacing, which may differ from the
    # spacing written for the block by the error of a tape over a hundred vines.
    lattice = float(np.median(own))
    reverse = runs_other_way(ordered, str(block.get("numbering") or ""))
    across = _across_of(ordered, spacings.row_m)
    return [
        _row_line(str(block["block"]), record, metres, spacing, lattice, other_way=other_way)
        for record, metres, spacing, other_way in zip(ordered, across, own, reverse, strict=True)
    ]


def _spacing_of(block: Record, record: Record, spacings: Spacings) -> float:
    own = number_in(record, "spacing_m")
    if math.isnan(own):
        return spacings.vine_m
    if not 0 < own < math.inf:
        raise RecordError(
            f"block {block['block']!r}, row {record['row']!r}: spacing_m is {own:g}; expected: metres above 0"
        )
    return own


def _across_of(ordered: Sequence[Record], row_m: float) -> list[float]:
    """Return the metres of each row from the first."""
    metres = [number_in(record, "across_m") for record in ordered]
    if not any(math.isnan(value) for value in metres):
        return [value - metres[0] for value in metres]
    orders = [number_in(record, "row_order") for record in ordered]
    if any(math.isnan(order) for order in orders):
        orders = [float(place) for place in range(len(ordered))]
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
    stations = np.concatenate([[0], np.cumsum(steps)])
    along = np.concatenate([[0.0], np.cumsum(metres)])
    if other_way:
        stations, along = stations[-1] - stations, along[-1] - along
    return RowLine(
        label=record["row"], across_m=across_m, first=first, along_m=start + along,
        stations=(whole(start / lattice) + stations).astype(np.int64),
        bay_ends=bay_ends_of(str(record.get("bay_ends") or ""), first, last, where),
        cultivar=str(record.get("cultivar") or ""),
    )  # fmt: skip


def whole(value: float) -> int:
    """Round halves up: a headland that gains half a vine a row then moves every second row by one."""
    return math.floor(value + 0.5 + 1e-9)


def shared_bearing(block: Record, records: Sequence[Record], vectors: NDArray[np.float64]) -> float:
    """Return the bearing that rows share, the longer a row the more it counts.

    Parameters
    ----------
    block, records
        The block, and its rows in the order of the ground.
    vectors : (rows, 2) float array
        Metres east and north from the first to the last vine of each row; nan where not measured.

    Returns
    -------
    float
        Degrees clockwise from north, 0 to 360.

    Raises
    ------
    RecordError
        If there is nothing to tell it from, it contradicts row_bearing_deg, or a row lies askew.
    """
    name, written = block["block"], number_in(block, "row_bearing_deg")
    measured = np.flatnonzero(np.hypot(*vectors.T) > 0)  # nan is not
    if not measured.size:
        if math.isnan(written):
            raise RecordError(
                f"block {name!r}, row {records[0]['row']!r}: end_longitude is ''; "
                "expected: degrees, or a row_bearing_deg for the block"
            )
        return written
    back = runs_other_way(records, str(block.get("numbering") or ""))[measured[0]]
    lead = -vectors[measured[0]] if back else vectors[measured[0]]
    signs = np.where(vectors[measured] @ lead < 0, -1.0, 1.0)
    east, north = (vectors[measured] * signs[:, None]).sum(axis=0)
    bearing = math.degrees(math.atan2(east, north)) % 360
    if abs((bearing - written + 180) % 360 - 180) > BEARING_SLACK_DEG:
        raise RecordError(
            f"block {name!r}: row_bearing_deg is {written:g}; expected: about {bearing:.0f}, "
            "as its rows run from start to end coordinates"
        )
    askew = np.abs((np.degrees(np.arctan2(*vectors[measured].T)) - bearing + 90) % 180 - 90)
    if (askew > SKEW_DEG).any():
        label = records[int(measured[int(askew.argmax())])]["row"]
        raise RecordError(
            f"block {name!r}, row {label!r}: its ends lie {askew.max():.0f} degrees off the other rows; "
            "expected: start and end coordinates of the same row"
        )
    return bearing


def measured_numbering(block: Record, records: Sequence[Record], reach: NDArray[np.float64]) -> str:
    """Return same_end or serpentine, as rows run.

    `reach` (rows,) holds the metres from the first to the last vine of each row, in the order of
    the ground, along the shared bearing.

    Raises
    ------
    RecordError
        If a row runs another way than is written, or the rows fit neither numbering.
    """
    written = str(block.get("numbering") or "")
    known = np.abs(reach) > 0  # not nan, a row without an end, nor 0, a row of one position
    for numbering in [written] if written else ["same_end", "serpentine"]:
        odd = known & ((reach < 0) != np.array(runs_other_way(records, numbering)))
        if not odd.any():
            return numbering
    label = records[int(np.flatnonzero(odd)[0])]["row"]
    raise RecordError(
        f"block {block['block']!r}, row {label!r}: from start to end it runs the other way than numbering "
        f"{written or 'of either kind'!r} says; expected: start at its first position (or look at row_order)"
    )


def measured_spacing(record: Record, reach_m: float, vine_m: float, where: str) -> tuple[float, float]:
    """Return spacing and length of a row whose ends lie `reach_m` apart.

    Where that is nan, the ends were not measured: the spacing is the row's own, nan for none, and
    the length follows from it or from `vine_m`. A row without ordinary steps has spacing nan.

    Raises
    ------
    RecordError
        If no spacing is known, or the measured one is beyond what the rows table allows.
    """
    first, last = positions_of(record, where)
    breaks = breaks_of(str(record.get("breaks") or ""), where)
    ordinary = last - first - len(breaks)
    if math.isnan(reach_m):
        own = number_in(record, "spacing_m")
        step = vine_m if math.isnan(own) else own
        if last > first and math.isnan(step):
            raise RecordError(f"{where}: end_longitude is ''; expected: degrees, or a spacing_m")
        return own, ordinary * step + sum(breaks.values()) if last > first else 0.0
    if ordinary < 1:
        return math.nan, reach_m
    column = TABLES["rows"].column("spacing_m")
    spacing = (reach_m - sum(breaks.values())) / ordinary
    if not (column.low or 0.0) <= spacing <= (column.high or math.inf):
        raise RecordError(
            f"{where}: its ends lie {reach_m:.1f} m apart, {spacing:.2f} m a vine; "
            f"expected: {column.low:g} to {column.high:g} m (look at first, last, breaks and the coordinates)"
        )
    return spacing, reach_m


def fitted_spacing(
    positions: NDArray[np.int64], metres: NDArray[np.float64], first: int, last: int
) -> tuple[NDArray[np.float64], dict[int, float]]:
    """Fit spacing and alleys to measured positions of a row, by least squares.

    Parameters
    ----------
    positions : (n,) int array
        Different positions, rising.
    metres : (n,) float array
        Where they were measured along the row.
    first, last : int
        First and last position of the row.

    Returns
    -------
    reach : (2,) float array
        Metres of the first and of the last position.
    breaks : dict
        Alleys, as of `breaks_of`. One beside positions that were not measured is put in front
        of them.
    """
    breaks: list[int] = []
    if positions.size > 1:
        steps = np.diff(positions)
        spacing = float(np.median(np.diff(metres) / steps))
        # Wider than one vine and three quarters: an alley, and no error of the coordinates.
        breaks = [int(p) for p in positions[:-1][np.diff(metres) - steps * spacing > 0.75 * spacing]]
    behind = np.array([positions > p for p in breaks], dtype=float).reshape(len(breaks), positions.size)
    vines = positions - first - behind.sum(axis=0)
    terms = np.column_stack([np.ones(positions.size), vines, behind.T])
    start, step, *gaps = np.linalg.lstsq(terms, metres, rcond=None)[0].tolist()
    end = start + step * (last - first - len(breaks)) + sum(gaps)
    return np.array([start, end]), dict(zip(breaks, gaps, strict=True))


def sorted_into_rows(
    points: NDArray[np.float64],
    bearing_deg: float,
    vine_m: float,
    smaller_m: float,
    *,
    leftward: bool,
    serpentine: bool,
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Sort points, a vine each, into rows and count their positions.

    Parameters
    ----------
    points : (n, 2) float array
        Metres east and north.
    bearing_deg : float
        About the way rows run; it is sharpened within 3 degrees.
    vine_m, smaller_m : float
        Spacing of vines in the row; the smaller of it and the row spacing.
    leftward, serpentine : bool
        Rows follow each other to the left; every other row is numbered from the other end.

    Returns
    -------
    row, position : (n,) int64 arrays
        Rows from 0, positions from 1.

    Raises
    ------
    ValueError
        If the points of a row lie too far from a line, or not whole vines apart.
    """
    bearings = math.pi / 180 * (bearing_deg + np.linspace(-3, 3, 601))
    # In the right direction the points lie in the thinnest rows.
    across = np.sort(np.outer(np.cos(bearings), points[:, 0]) - np.outer(np.sin(bearings), points[:, 1]), axis=1)
    gaps = np.diff(across, axis=1)
    bearing = float(bearings[np.where(gaps < 0.4 * smaller_m, gaps, 0.0).sum(axis=1).argmin()])
    along = points @ np.array([math.sin(bearing), math.cos(bearing)])
    away = points @ np.array([math.cos(bearing), -math.sin(bearing)]) * (-1 if leftward else 1)
    order = np.argsort(away)
    row, position = np.empty(len(points), dtype=np.int64), np.empty(len(points), dtype=np.int64)
    row[order] = np.concatenate([[0], np.cumsum(np.diff(away[order]) > 0.4 * smaller_m)])
    steps = []
    for number in range(int(row.max()) + 1):
        own = np.flatnonzero(row == number)
        own = own[np.argsort(along[own])]
        vines = np.diff(along[own]) / vine_m
        counted = np.cumsum([1, *(whole(gap) for gap in vines)])
        position[own] = counted[-1] + 1 - counted if serpentine and number % 2 else counted
        steps.append(np.abs(vines - np.round(vines)))
    wide = max(float(np.ptp(away[row == number])) for number in range(int(row.max()) + 1)) > smaller_m
    # A quarter is what steps at random leave over; lines drawn aslant through the rows leave more.
    if wide or np.median(np.concatenate([*steps, [0.0]])) > 0.25:
        raise ValueError(
            f"its points do not lie in rows at bearing {math.degrees(bearing):.1f}, {vine_m:.2f} m a vine; "
            "expected: row_bearing_deg and spacings as on the ground, or rows and positions with them"
        )
    return row, position
