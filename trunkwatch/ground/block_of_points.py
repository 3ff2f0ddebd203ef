"""A block made of points or lines of vines: its record, its rows and the plants that hold a curve."""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from trunkwatch.errors import RecordError
from trunkwatch.ground.block_frame import BlockFrame, Points
from trunkwatch.ground.laid_points import TWO_THIRDS, LaidPoints, LaidRow, laid_points
from trunkwatch.ground.rows_of_lines import laid_lines
from trunkwatch.vineyard.tables import Record

__all__ = ["COMPASS", "PointBlock", "block_of_lines", "block_of_points"]

#: Sides that a row or a vine can be the first at, degrees clockwise from north.
COMPASS = {
    "north": 0, "northeast": 45, "east": 90, "southeast": 135, "south": 180, "southwest": 225, "west": 270, "northwest": 315,
}  # fmt: skip
#: A row that leaves the line between its ends by more than this share of a spacing, or three times the points' error, is curved.
CURVED = 0.15


@dataclass(frozen=True, slots=True)
class PointBlock:
    """A block proposed from points or lines.

    Attributes
    ----------
    record : dict
        Columns of the `blocks` table.
    rows, plants : list of dict
        Lines of the `rows` table, and of `plants` where points hold a curve, without block and vineyard.
    curved : bool
        Whether a row is curved.
    accuracy_m : float
        Two thirds of the points lie within so many metres of where their row puts the vine; 0 for lines.
    missing : list of (row, position)
        Positions without a point.
    unsure : list of (row, reason)
        Rows in which something is doubtful.
    alleys, lost : int
        Openings taken for alleys, over all rows; points that are in no row.
    lost_at : (lost, 2) float array
        Longitude and latitude of those.
    """

    record: dict[str, Any]
    rows: list[dict[str, Any]] = field(repr=False)
    plants: list[dict[str, Any]] = field(repr=False)
    curved: bool
    accuracy_m: float
    missing: list[tuple[str, int]] = field(repr=False)
    unsure: list[tuple[str, str]]
    alleys: int
    lost: int
    lost_at: Points = field(repr=False)


def block_of_points(
    block: Record,
    degrees: Points,
    *,
    first_row_at: str = "",
    first_vine_at: str = "",
    accuracy_m: float = math.nan,
    missing_are_gaps: bool = False,
    keep_points: bool = False,
) -> PointBlock:
    """Propose a block from a point of every vine.

    Parameters
    ----------
    block : mapping
        Its record as far as it is known: the label, and what rows and spacings cannot tell.
    degrees : (n, 2) float array
        Longitude and latitude, in any order.
    first_row_at, first_vine_at : str
        Side of the block that row 1 lies at, and end of the rows that position 1 stands at: a word of `COMPASS`; west, or south
        where rows run that way, where empty.
    accuracy_m : float
        Accuracy that the receiver tells, nan for unknown: points that cannot be as good as they need to be are refused at once.
    missing_are_gaps : bool
        Whether positions without a point hold no vine; else nothing is written of them.
    keep_points : bool
        Whether the points are kept of straight rows as well.

    Raises
    ------
    RecordError
        If rows or vines cannot be told apart, or a side does not fit the rows.
    """
    frame, points = _in_metres(degrees, str(block["block"]))
    laid = laid_points(points, str(block["block"]), accuracy_m)
    return _proposed(
        block, frame, points, laid, (first_row_at, first_vine_at), gaps=missing_are_gaps, keep_points=keep_points
    )


def block_of_lines(
    block: Record, lines: Sequence[Sequence[Points]], vine_m: float, *, first_row_at: str = "", first_vine_at: str = ""
) -> PointBlock:
    """Propose a block from a line of every row, with vines `vine_m` apart; parts of a line are parted by alleys.

    Parameters and errors as of `block_of_points`.
    """
    frame, _ = _in_metres(np.concatenate([part for line in lines for part in line]), str(block["block"]))
    metres = [[frame.points(part) for part in line] for line in lines]
    points, laid = laid_lines(metres, vine_m, str(block["block"]))
    return _proposed(block, frame, points, laid, (first_row_at, first_vine_at), gaps=False, keep_points=False)


def _in_metres(degrees: Points, name: str) -> tuple[BlockFrame, Points]:
    if not len(degrees):
        raise RecordError(f"block {name!r} has 0 points; expected: a point of every vine, or a line of every row")
    frame = BlockFrame(*np.median(degrees, axis=0).tolist())
    points = frame.points(degrees)
    far = float(np.hypot(*points.T).max())
    if not far < 5000:
        raise RecordError(
            f"block {name!r}: its points reach {far / 1000:.1f} km from their middle; expected: the points of one block, within 5 km "
            "(look for a point at 0, 0, for longitude and latitude changed about, and at --crs)"
        )
    return frame, points


def _proposed(
    block: Record,
    frame: BlockFrame,
    points: Points,
    laid: LaidPoints,
    sides: tuple[str, str],
    *,
    gaps: bool,
    keep_points: bool,
) -> PointBlock:
    rows, rightward = _turned(str(block["block"]), points, laid, *sides)
    serpentine = block.get("numbering") == "serpentine"
    base = min(row.start_m for row in rows)
    first_across = rows[0].across_m
    off = laid.accuracy_m / TWO_THIRDS
    curved = any(_bows(points, row, laid.vine_m, off) for row in rows)
    lines, plants, missing, unsure = [], [], [], []
    for number, row in enumerate(rows):
        label = str(number + 1)
        other_way = serpentine and number % 2 == 1
        position = row.last + 1 - row.position if other_way else row.position
        breaks = {row.last - at: wide for at, wide in row.breaks.items()} if other_way else row.breaks
        line: dict[str, Any] = {
            "row": label,
            "first": 1,
            "last": row.last,
            "breaks": "; ".join(f"{at}:{wide:.3f}" for at, wide in sorted(breaks.items())),
        }
        if curved:
            line |= {
                "row_order": number + 1,
                "across_m": round(abs(row.across_m - first_across), 3),
                "start_m": round(row.start_m - base, 3),
                "spacing_m": round(row.step_m, 4),
            }
        else:
            line |= _ends(points, row, frame, other_way=other_way)
        lines.append(line)
        if curved or keep_points:
            longitude, latitude = frame.to_degrees(*points[row.points].T)
            plants += [
                {
                    "row": label,
                    "position": str(at),
                    "longitude": round(x, 8),
                    "latitude": round(y, 8),
                    "accuracy_m": max(round(laid.accuracy_m, 3), 0.001),
                }
                for at, x, y in zip(position.tolist(), longitude.tolist(), latitude.tolist(), strict=True)
            ]
        empty = sorted(set(range(1, row.last + 1)) - set(position.tolist()))
        missing += [(label, at) for at in empty]
        unsure += [(label, row.unsure)] if row.unsure else []
    if gaps:
        plants += [{"row": label, "position": str(at), "reason": "missing"} for label, at in missing]
    lost_at = np.column_stack(frame.to_degrees(*points[laid.lost].T))
    return PointBlock(
        _record(block, frame, points, laid, rows, rightward=rightward),
        lines,
        plants,
        curved,
        laid.accuracy_m,
        missing,
        unsure,
        sum(len(row.breaks) for row in rows),
        int(laid.lost.size),
        lost_at,
    )


def _record(
    block: Record, frame: BlockFrame, points: Points, laid: LaidPoints, rows: Sequence[LaidRow], *, rightward: bool
) -> dict[str, Any]:
    start = points[rows[0].points[0]]
    longitude, latitude = frame.to_degrees(start[:1], start[1:])
    east, north = _chords(points, rows).sum(axis=0)
    return {
        **block,
        "row_spacing_m": round(laid.row_m, 3),
        "vine_spacing_m": round(laid.vine_m, 3),
        "longitude": round(float(longitude[0]), 8),
        "latitude": round(float(latitude[0]), 8),
        "row_bearing_deg": round(math.degrees(math.atan2(east, north)) % 360, 2),
        "rows_go": "right" if rightward else "left",
        "numbering": str(block.get("numbering") or "same_end"),
    }


def _chords(points: Points, rows: Sequence[LaidRow]) -> Points:
    return np.array([points[row.points[-1]] - points[row.points[0]] for row in rows])


def _turned(
    name: str, points: Points, laid: LaidPoints, first_row_at: str, first_vine_at: str
) -> tuple[list[LaidRow], bool]:
    """Turn rows and their order so that the first lie where they are wanted; tell whether rows then go to the right."""
    rows = list(laid.rows)
    chord = _chords(points, rows).sum(axis=0)
    chord /= max(float(np.hypot(*chord)), 1e-9)
    across = points[rows[-1].points].mean(axis=0) - points[rows[0].points].mean(axis=0)
    across = across - (across @ chord) * chord
    across /= max(float(np.hypot(*across)), 1e-9)
    rightward = True
    if _lies_at(name, "position 1", "first-vine-at", chord, first_vine_at):
        rows, rightward = [_reversed(row) for row in rows], not rightward
    if _lies_at(name, "row 1", "first-row-at", across, first_row_at):
        rows, rightward = rows[::-1], not rightward
    return rows, rightward


def _lies_at(name: str, what: str, option: str, way: Points, side: str) -> bool:
    """Tell whether the far end of a way is the one that is wanted as the first."""
    if not side:
        side = "west" if abs(way[0]) > 0.5 else "south"
    angle = math.radians(COMPASS[side])
    toward = float(way @ np.array([math.sin(angle), math.cos(angle)]))
    if abs(toward) < 0.3:
        turn = math.degrees(math.atan2(way[0], way[1]))
        ends = [
            min(COMPASS, key=lambda word: abs((COMPASS[word] - turn - half + 180) % 360 - 180)) for half in (0, 180)
        ]
        raise RecordError(
            f"block {name!r}: {what} cannot lie at the {side}, since neither end does; expected: --{option} {ends[0]} or {ends[1]}"
        )
    return toward > 0


def _reversed(row: LaidRow) -> LaidRow:
    """Return a row counted from its other end."""
    long = float((row.last - 1 - len(row.breaks)) * row.step_m + sum(row.breaks.values()))
    return LaidRow(
        row.points[::-1],
        row.last + 1 - row.position[::-1],
        long - row.along_m[::-1],
        {row.last - at: wide for at, wide in row.breaks.items()},
        row.step_m,
        row.across_m,
        -(row.start_m + long),
        row.unsure,
    )


def _line_through(points: Points, row: LaidRow) -> tuple[Points, Points, Points]:
    """Return the middle of a row's points, the way of the line through them, and how far each lies beside it."""
    own = points[row.points]
    middle = own.mean(axis=0)
    way = np.linalg.svd(own - middle, full_matrices=False)[2][0]
    way = way if (own[-1] - own[0]) @ way >= 0 else -way
    return middle, way, (own - middle) @ np.array([way[1], -way[0]])


def _bows(points: Points, row: LaidRow, vine_m: float, off_m: float) -> bool:
    if row.points.size < 5:
        return False
    beside = _line_through(points, row)[2]
    smooth = np.convolve(beside, np.ones(5) / 5, mode="valid")
    # The mean of five points errs by less than half of one point's error; of many means the largest by four times that.
    return bool(np.abs(smooth).max() > CURVED * vine_m + 4 * off_m / math.sqrt(5))


def _ends(points: Points, row: LaidRow, frame: BlockFrame, *, other_way: bool) -> dict[str, float]:
    """Return where the first and the last position of a straight row stand, by all its points."""
    middle, way, _ = _line_through(points, row)
    along = (points[row.points] - middle) @ way
    # Where position 1 stands by each point: the metres from it are known.
    places = row.position - 1 - np.array([sum(at < p for at in row.breaks) for p in row.position.tolist()], dtype=float)
    gaps = np.array([sum(wide for at, wide in row.breaks.items() if at < p) for p in row.position.tolist()])
    step, start = np.polyfit(places, along - gaps, 1) if row.points.size > 2 else (row.step_m, float(along[0]))
    last = start + step * (row.last - 1 - len(row.breaks)) + sum(row.breaks.values())
    ends = middle + np.array([[start], [last]]) * way
    longitude, latitude = frame.to_degrees(*(ends[::-1] if other_way else ends).T)
    return {
        "start_longitude": round(float(longitude[0]), 8),
        "start_latitude": round(float(latitude[0]), 8),
        "end_longitude": round(float(longitude[1]), 8),
        "end_latitude": round(float(latitude[1]), 8),
    }
