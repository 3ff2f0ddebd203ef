"""From the coordinates of row ends to what a block and its rows measure.

Starts, distances and spacings of the rows; the bearing, side and numbering that they share. What
was measured is held against what is written.
"""

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.errors import RecordError
from trunkwatch.ground.block_frame import BlockFrame, Points, degrees_of, directions
from trunkwatch.vineyard.row_cells import breaks_of, positions_of
from trunkwatch.vineyard.row_layout import runs_other_way
from trunkwatch.vineyard.rows_on_day import natural_key, rows_valid_on
from trunkwatch.vineyard.tables import TABLES, Record, frame_of, number_in

__all__ = ["measured_numbering", "measured_spacing", "rows_from_ends", "shared_bearing"]

#: Written and measured bearing may differ by a compass's declination, not by more.
BEARING_SLACK_DEG = 20.0
#: A row further than this from the direction of the others is a slip in its coordinates.
SKEW_DEG = 30.0


def rows_from_ends(block: Record, rows: pd.DataFrame, on: str | None = None) -> tuple[dict[str, Any], pd.DataFrame]:
    """Turn the coordinates of row ends into metres, and the block's bearing and spacings with them.

    Parameters
    ----------
    block : mapping
        The block's record.
    rows : DataFrame
        As the `rows` table: start_longitude, start_latitude of each row's first position, and
        end_longitude, end_latitude of its last.
    on : str, optional
        Day whose row labels are taken, as in `RowGrid.from_tables`.

    Returns
    -------
    block : dict
        With longitude, latitude, row_bearing_deg, rows_go and numbering as measured; spacings are
        filled only where none is written.
    rows : DataFrame
        The rows of that day with start_m, across_m and spacing_m as measured. Without any
        coordinates, block and rows come back as they were.

    Raises
    ------
    RecordError
        If only some rows have coordinates, or they contradict each other or what is written.
    """
    name = str(block["block"])
    records = rows_valid_on(name, rows, on)
    if all(math.isnan(number_in(r, c)) for r in records for c in ("start_longitude", "start_latitude")):
        return dict(block), rows
    orders = [number_in(record, "row_order") for record in records]
    if any(math.isnan(order) for order in orders):
        records = sorted(records, key=lambda record: natural_key(record["row"]))
        # Labels give the side that the rows go to; the ground then gives their order.
        across = _Ends(block, records).across_m
        records = [records[place] for place in np.argsort(across, kind="stable")]
    else:
        records = sorted(records, key=lambda record: number_in(record, "row_order"))
    ends = _Ends(block, records)
    measured = {"across_m": ends.across_m, "start_m": ends.start_m, "spacing_m": ends.spacing_m}
    return ends.block(), frame_of("rows", records).assign(**measured)


class _Ends:
    """Row ends measured in the frame of the first row's first vine.

    Parameters
    ----------
    block : mapping
        The block's record.
    records : sequence of mapping
        Its rows in the order of the ground.
    """

    def __init__(self, block: Record, records: Sequence[Record]) -> None:
        self.written, self.records, self.name = block, records, str(block["block"])
        start = degrees_of(records, "start_")
        self._check_known(start)
        self.frame = BlockFrame(*start[0].tolist())
        starts, ends = self.frame.points(start), self.frame.points(degrees_of(records, "end_"))
        self.bearing = shared_bearing(block, records, ends - starts)
        along, right = directions(self.bearing)
        reach = (ends - starts) @ along
        self.numbering = measured_numbering(block, records, reach)
        vine = number_in(block, "vine_spacing_m")
        spaced = [
            measured_spacing(r, float(m), vine, self._where(i))
            for i, (r, m) in enumerate(zip(records, np.abs(reach), strict=True))
        ]
        self.spacing_m, lengths = np.array(spaced).T
        back = np.array(runs_other_way(records, self.numbering))
        self.start_m = starts @ along - np.where(back, lengths, 0.0)
        across = np.where(np.isnan(reach), starts @ right, (starts @ right + ends @ right) / 2)
        self.rows_go = self._side(across - across[0])
        self.across_m = _one_a_line(records, (across - across[0]) * (-1.0 if self.rows_go == "left" else 1.0))

    def _where(self, place: int) -> str:
        return f"block {self.name!r}, row {self.records[place]['row']!r}"

    def _check_known(self, start: Points) -> None:
        unknown = np.flatnonzero(np.isnan(start).any(axis=1))
        if unknown.size:
            raise RecordError(
                f"{self._where(int(unknown[0]))}: start_longitude or start_latitude is ''; "
                "expected: degrees, since other rows have them (or none in any row)"
            )

    def _side(self, across: Points) -> str:
        written = str(self.written.get("rows_go") or "")
        if len(across) < 2:
            return written
        side = "left" if across[-1] < 0 else "right"
        if written and written != side:
            raise RecordError(
                f"block {self.name!r}: rows_go is {written!r}; expected: {side!r}, where row "
                f"{self.records[-1]['row']!r} lies, seen from row {self.records[0]['row']!r}"
            )
        return side

    def block(self) -> dict[str, Any]:
        """Return the block's record with what was measured."""
        found = {
            **self.written,
            "longitude": self.frame.longitude,
            "latitude": self.frame.latitude,
            "row_bearing_deg": self.bearing,
            "rows_go": self.rows_go,
            "numbering": self.numbering,
        }
        known = self.spacing_m[~np.isnan(self.spacing_m)]
        if math.isnan(number_in(found, "vine_spacing_m")) and known.size:
            found["vine_spacing_m"] = float(np.median(known))
        lines = np.unique(self.across_m)
        if math.isnan(number_in(found, "row_spacing_m")) and lines.size > 1:
            found["row_spacing_m"] = float(np.median(np.diff(lines)))
        return found


def _one_a_line(records: Sequence[Record], across_m: Points) -> Points:
    """Put rows of one row_order, measured each by itself, at the mean of their distances."""
    orders = np.array([number_in(record, "row_order") for record in records])
    if np.isnan(orders).any():
        return across_m
    lines = np.unique(orders, return_inverse=True)[1]
    return np.asarray((np.bincount(lines, across_m) / np.bincount(lines))[lines])


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
    off = abs((bearing - written + 180) % 360 - 180)
    if off > BEARING_SLACK_DEG:
        label = records[int(measured[0])]["row"]
        turned = f"; or numbered_from for row {label!r}, if its numbers run against the others" if off > 90 else ""
        raise RecordError(
            f"block {name!r}: row_bearing_deg is {written:g}; expected: about {bearing:.0f}, "
            f"as its rows run from start to end coordinates{turned}"
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
    tried = [written] if written else ["same_end", "serpentine"]
    odd = [_fewer(known & ((reach < 0) != np.array(runs_other_way(records, one))), known) for one in tried]
    for numbering, rows in zip(tried, odd, strict=True):
        if not rows.any():
            return numbering
    row = records[int(np.flatnonzero(min(odd, key=np.count_nonzero))[0])]
    own = str(row.get("numbered_from") or "")
    says = f"numbered_from {own!r}" if own else f"numbering {written or 'of either kind'!r}"
    other = "start" if own == "end" else "end"
    raise RecordError(
        f"block {block['block']!r}, row {row['row']!r}: from start to end it runs the other way than {says} says; "
        f"expected: start at its first position; or numbered_from {other}, if its numbers run against the others "
        "(or look at row_order)"
    )


def _fewer(odd: NDArray[np.bool_], known: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return the rows at odds with the others: the other side, where that is the smaller one.

    The way that rows run is taken from the first of them; if it is the one that is turned, all
    others seem to be.
    """
    rest = known & ~odd
    return rest if rest.any() and np.count_nonzero(rest) < np.count_nonzero(odd) else odd


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
