"""A new block out of a file of points or lines: read, laid out, and said in sentences."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.ground import Placed, PointBlock, block_of_lines, block_of_points, on_the_ground, place, rows_from_ends
from trunkwatch.spreadsheets.point_files import read_point_file
from trunkwatch.vineyard.manner import meters
from trunkwatch.vineyard.tables import frame_of

__all__ = ["LaidFile", "laid_from_file"]

#: Rows that a sentence names; of more it gives the number.
MOST_NAMED = 12


@dataclass(frozen=True, slots=True)
class LaidFile:
    """A block laid out from a file.

    Attributes
    ----------
    found : PointBlock
        Its record, rows and plants.
    grid, placed
        The grid that they make, and where it lies.
    sentences : list of str
        What was understood.
    doubts : dict
        Row to what about it is doubtful.
    """

    found: PointBlock
    grid: RowGrid = field(repr=False)
    placed: Placed = field(repr=False)
    sentences: list[str]
    doubts: dict[str, str]


def laid_from_file(
    path: Path,
    block: Mapping[str, Any],
    *,
    crs: str = "",
    layer: str = "",
    accuracy_m: float | None = None,
    vine_m: float | None = None,
    first_row_at: str = "",
    first_vine_at: str = "",
    gaps: bool = False,
    keep_points: bool = False,
) -> LaidFile:
    """Read a file of points or lines and lay its block out.

    Parameters
    ----------
    path : Path
        The file.
    block : mapping
        What else is known of the block.
    crs, layer : str
        As of `read_point_file`.
    accuracy_m : float, optional
        Accuracy of the points; what the file says where left out.
    vine_m : float, optional
        Metres between vines, needed for lines.
    first_row_at, first_vine_at, gaps, keep_points
        As of `block_of_points`.

    Raises
    ------
    FileError
        If the file cannot be read.
    RecordError
        If rows or vines cannot be told apart.
    """
    read = read_point_file(path, crs=crs, layer=layer)
    sides = {"first_row_at": first_row_at, "first_vine_at": first_vine_at}
    if read.lines:
        if vine_m is None:
            raise RecordError(
                f"{path.name} holds {len(read.lines)} lines, and nothing says how far apart vines stand; expected: --vine-spacing-m, such as 1.2"
            )
        found = block_of_lines(block, read.lines, vine_m, **sides)
    else:
        accuracy = read.accuracy_m if accuracy_m is None else accuracy_m
        found = block_of_points(
            block, read.points, accuracy_m=accuracy, missing_are_gaps=gaps, keep_points=keep_points, **sides
        )
    label = str(block["block"])
    record, rows = rows_from_ends(found.record, frame_of("rows", [{**row, "block": label} for row in found.rows]))
    grid = RowGrid.from_tables(record, rows)
    plants = frame_of("plants", [{**plant, "block": label} for plant in found.plants])
    placed = place(grid, record, rows, plants)
    return LaidFile(
        found,
        on_the_ground(grid, placed),
        placed,
        _sentences(path.name, found, read.left_out, lines=bool(read.lines), gaps=gaps),
        dict(found.unsure),
    )


def _sentences(name: str, found: PointBlock, left_out: int, *, lines: bool, gaps: bool) -> list[str]:
    record = found.record
    positions = sum(int(row["last"]) for row in found.rows)
    form = "curved rows" if found.curved else "straight rows"
    apart = f"{meters(record['row_spacing_m'], '.2f')} between rows and {meters(record['vine_spacing_m'], '.2f')} between vines"
    said = [f"{name}: {len(found.rows)} {form}, {positions:,} positions, {apart}."]
    if not lines:
        need = min(record["row_spacing_m"], record["vine_spacing_m"])
        said.append(
            f"Two thirds of the points lie within {meters(found.accuracy_m, '.2f')} of where their row puts the vine; vines {meters(need, '.2f')} apart "
            f"need {meters(0.25 * need, '.2f')}."
        )
        what = (
            "no vine stands there"
            if gaps
            else "nothing is on record of them (--no-point-is-missing: no vine stands there)"
        )
        said.append(
            f"{len(found.missing):,} positions have no point: {what}."
            if found.missing
            else "Every position has a point."
        )
    if found.alleys:
        said.append(f"Openings taken for alleys: {found.alleys:,}, counted row by row; positions go on behind them.")
    far = math.floor(record["row_bearing_deg"] + 0.5) % 360
    said.append(
        f"Row 1 and position 1 are where the drawing has them: positions grow towards {far} degrees, rows go to the {record['rows_go']} "
        "(--first-row-at and --first-vine-at turn that)."
    )
    if found.unsure:
        rows = [row for row, _ in found.unsure]
        shown = ", ".join(rows[:MOST_NAMED]) + (f" and {len(rows) - MOST_NAMED} more" if len(rows) > MOST_NAMED else "")
        said.append(f"Count vines on the ground in rows {shown}: something about them is doubtful.")
    if found.lost:
        x, y = found.lost_at[0].tolist()
        said.append(f"{found.lost} points lie in no row and are left out, the first at {x:.7f}, {y:.7f}.")
    if left_out:
        said.append(f"{left_out} lines of the file have no coordinate and are left out.")
    return said
