"""Checks of blocks, rows and places: is there such a block, row, position, bay, arm, day?"""

import difflib
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from threading import Lock
from typing import Any

import pandas as pd

from trunkwatch.errors import RecordError, UnknownVineError
from trunkwatch.grid import RowGrid
from trunkwatch.ground import Placed, place, rows_from_ends, vines_near
from trunkwatch.history import hemisphere_of
from trunkwatch.history.places import Places
from trunkwatch.intake.fault_at import fault_at
from trunkwatch.spreadsheets.located import plain_label
from trunkwatch.vineyard.calendar import day_after, is_iso_date
from trunkwatch.vineyard.codes import ARMS, HEMISPHERES
from trunkwatch.vineyard.covered import CoverageError, parse_covered
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.one_line import halves_of
from trunkwatch.vineyard.tables import TABLES, number_or_none, records_of

__all__ = ["BlockLayout", "check_layout", "check_places"]

#: Row labels that a message lists; of more it gives the first and the last.
MOST_NAMED = 30
#: Places of all blocks together: more fill the memory, and are a slip of the pen in many blocks.
MOST_PLACES = 3_000_000


@dataclass(frozen=True, slots=True)
class BlockLayout:
    """A block whose rows can be laid out."""

    record: Mapping[str, Any]
    grid: RowGrid = field(repr=False)
    places: Places = field(repr=False)
    placed: Placed = field(repr=False)

    @property
    def hemisphere(self) -> str:
        """North or south."""
        return hemisphere_of(self.record)

    @property
    def planted(self) -> int | None:
        """Year of planting."""
        year = number_or_none(self.record.get("planted"))
        return None if year is None else int(year)


def check_layout(
    blocks: pd.DataFrame, rows: pd.DataFrame, plants: pd.DataFrame | None = None
) -> tuple[list[Fault], dict[str, BlockLayout]]:
    """Lay out every block, surveyed rows by the points of their plants; what cannot be laid out is a fault."""
    faults: list[Fault] = []
    layouts: dict[str, BlockLayout] = {}
    places = 0
    for record in records_of(blocks):
        label = str(record["block"])
        if label in layouts:
            faults.append(fault_at(record, "fault", "two blocks of one label", "block", label, "each block once"))
            continue
        own = rows[rows["block"] == label]
        try:
            layout = _laid_out(record, own, _surveyed(label, plants))
            grid = layout.grid
            places = _not_too_many(label, places + grid.position.size)
        except RecordError as error:
            faults.append(fault_at(record, "fault", str(error), about=(label,)))
            continue
        layouts[label] = layout
        faults += _side_of_the_equator(record, layout.record)
        if grid.assumed_spacing:
            faults.append(
                fault_at(record, "note", "no spacing is on record: nothing can be said in meters", "block", label)
            )
        faults += _side_by_side(record, grid)
        if grid.drifting:
            faults.append(fault_at(record, "note", f"rows {', '.join(grid.drifting)} do not keep step with the others"))
    known = blocks["block"].tolist()
    labels = set(known)
    strange = [label not in labels for label in rows["block"]]
    faults += [
        fault_at(
            record,
            "fault",
            "unknown block",
            "block",
            str(record["block"]),
            _near(str(record["block"]), known),
            about=(str(record["block"]),),
            waits=True,
        )
        for record in (records_of(rows[strange]) if any(strange) else ())
    ]
    return faults, layouts


def _side_by_side(record: Mapping[str, Any], grid: RowGrid) -> list[Fault]:
    """Say where rows whose labels sound like parts of one row were not put on one line of posts."""
    apart = [own for own in halves_of(grid.labels).values() if len({grid.row(label).line for label in own}) > 1]
    if not apart:
        return []
    pair = f"{apart[0][0]} and {apart[0][1]}"
    return [
        fault_at(
            record,
            "note",
            f"rows {pair} are laid out side by side; where they are parts of one row on one line of posts, "
            "give both the same row_order (or across_m), and start_m where an alley lies between them",
        )
    ]


#: The layouts of the last blocks, by what is written of them: a desk asks for the same ones with every record.
_LAID: OrderedDict[bytes, BlockLayout] = OrderedDict()
#: So many blocks and places at most, but always the last block.
_BLOCKS_KEPT, _PLACES_KEPT = 256, 400_000
_LOCK = Lock()


def _surveyed(label: str, plants: pd.DataFrame | None) -> pd.DataFrame | None:
    """Return the plants of a block that have a coordinate; None where there are none."""
    if plants is None or not plants["longitude"].notna().any():
        return None
    own = plants[(plants["block"] == label) & plants["longitude"].notna()]
    return None if own.empty else own[["row", "position", "longitude", "latitude", "accuracy_m"]]


def _laid_out(record: Mapping[str, Any], own: pd.DataFrame, points: pd.DataFrame | None = None) -> BlockLayout:
    written = [sorted((name, str(cell)) for name, cell in record.items()), own.to_numpy(dtype=object).tolist()]
    if points is not None:
        written.append(points.to_numpy(dtype=object).tolist())
    key = sha256(repr(written).encode("utf-8", "surrogatepass")).digest()
    with _LOCK:
        if key in _LAID:
            _LAID.move_to_end(key)
            return _LAID[key]
    found, lines = rows_from_ends(record, own) if len(own) else (record, own)
    grid = RowGrid.from_tables(found, lines)
    layout = BlockLayout(found, grid, Places(grid, own, found), place(grid, found, lines, points))
    with _LOCK:
        _LAID[key] = layout
        kept = sum(one.grid.position.size for one in _LAID.values())
        while len(_LAID) > _BLOCKS_KEPT or (kept > _PLACES_KEPT and len(_LAID) > 1):
            kept -= _LAID.popitem(last=False)[1].grid.position.size
    return layout


def _not_too_many(label: str, places: int) -> int:
    """Return how many places the blocks have so far; refuse more than any vineyard has."""
    if places > MOST_PLACES:
        raise RecordError(
            f"with block {label!r} the vineyard has more than {MOST_PLACES:,} places: look at last of its rows, or keep it in two vineyards"
        )
    return places


def _side_of_the_equator(record: Mapping[str, Any], found: Mapping[str, Any]) -> list[Fault]:
    """Say where nothing tells on which side of the equator a block lies, or two things tell it differently."""
    written, latitude = str(record.get("hemisphere") or ""), number_or_none(found.get("latitude"))
    if written and latitude is not None and written != ("south" if latitude < 0 else "north"):
        return [
            fault_at(
                record,
                "note",
                f"the latitude is {latitude:g}, and days are read as {HEMISPHERES[written]}",
                "hemisphere",
                written,
                "one of the two left empty",
            )
        ]
    if written or latitude is not None:
        return []
    identity = f" --record {record['id']}" if record.get("id") else ""
    return [
        fault_at(
            record,
            "note",
            f"block {record['block']} has neither latitude nor hemisphere: its days are read as north of the equator; which "
            "season a day belongs to and which inspection is made on it hang on this (3 February: a dormant inspection north, a summer inspection south)",
            "hemisphere",
            "",
            "north or south in blocks.csv, or for a file: trunkwatch log VINEYARD correct --table blocks"
            f"{identity} --set hemisphere=south",
        )
    ]


def check_places(table: str, frame: pd.DataFrame, layouts: Mapping[str, BlockLayout], today: str) -> list[Fault]:
    """Check block, row, position, arm and day of every record of a table."""
    faults: list[Fault] = []
    for record in records_of(frame):
        layout = layouts.get(str(record["block"]))
        if layout is None:
            faults.append(
                fault_at(
                    record,
                    "fault",
                    "unknown block, or one whose rows cannot be laid out",
                    "block",
                    str(record["block"]),
                    _near(str(record["block"]), list(layouts)),
                    about=(str(record["block"]),),
                    waits=True,
                )
            )
            continue
        faults += _day_faults(table, record, layout, today)
        if table in ("surveys", "pruning"):
            faults += _survey_faults(record, layout)
        elif "row" in TABLES[table].names:
            faults += _place_faults(table, record, layout)
        if table in ("symptoms", "work"):
            faults += _arm_faults(record, layout)
    return faults


def _near(label: str, known: Sequence[str]) -> str:
    close = difflib.get_close_matches(label, known, n=1, cutoff=0.5)
    return f"{close[0]} perhaps" if close else f"one of {', '.join(known)}" if known else "a block in the blocks table"


def _near_row(row: str, known: Sequence[str]) -> str:
    """Propose a row only where nothing but zeros, spaces, case or the word row differs."""
    same = [label for label in known if plain_label(label) == plain_label(row)]
    if same:
        return f"{same[0]} perhaps"
    named = [label for label in known if label]
    return (
        f"one of {', '.join(named)}" if len(named) <= MOST_NAMED else f"a row of the block, {named[0]} to {named[-1]}"
    )


def _day_faults(table: str, record: Mapping[str, Any], layout: BlockLayout, today: str) -> list[Fault]:
    faults = []
    for column in ("planted", "removed") if table == "plants" else ("date",):
        day = str(record[column])
        if not day and table == "plants":
            continue
        if not is_iso_date(day) and not (table == "plants" and len(day) == 4 and day.isdecimal()):
            faults.append(fault_at(record, "fault", f"{column} is no date", column, day, "a real day as YYYY-MM-DD"))
            continue
        ahead = table == "work" and record["status"] in ("planned", "dropped")  # dropped before its day came
        if day > today[: len(day)] and not ahead:
            faults.append(_future(record, column, day, today))
        if layout.planted is not None and int(day[:4]) < layout.planted - (column == "planted"):
            faults.append(
                fault_at(
                    record,
                    "fault",
                    "the day lies before the block was planted",
                    column,
                    day,
                    f"{layout.planted} or later",
                )
            )
    if table == "surveys" and record["until"] and record["until"] < record["date"]:
        faults.append(fault_at(record, "fault", "the survey ends before it began", "until", str(record["until"])))
    return faults


def _future(record: Mapping[str, Any], column: str, day: str, today: str) -> Fault:
    """Refuse a day that has not come; tomorrow has, further east, and a phone may be in it."""
    if is_iso_date(today) and day == day_after(today)[: len(day)]:
        return fault_at(
            record,
            "note",
            f"the day is tomorrow here ({today} is today)",
            column,
            day,
            "right for a phone further east",
        )
    return fault_at(record, "fault", "the day lies in the future", column, day, f"{today} or earlier")


def _survey_faults(record: Mapping[str, Any], layout: BlockLayout) -> list[Fault]:
    try:
        stretches = parse_covered(str(record["covered"]), layout.places.labels_on(str(record["date"])))
    except CoverageError as error:
        return [fault_at(record, "fault", str(error), "covered", str(record["covered"]))]
    faults = []
    for stretch in stretches:
        number = layout.places.row_number(stretch.row, str(record["date"])) or 0
        first, last = layout.grid.named[number].first, layout.grid.named[number].last
        if stretch.last is not None and stretch.last > last:
            faults.append(
                fault_at(
                    record,
                    "fault",
                    f"row {stretch.row} is not that long",
                    "covered",
                    f"{stretch.row}:{stretch.first}..{stretch.last}",
                    f"positions {first} to {last}",
                )
            )
    return faults


def _place_faults(table: str, record: Mapping[str, Any], layout: BlockLayout) -> list[Fault]:
    row, position = str(record["row"]), str(record["position"])
    day = str(record["date"]) if table != "plants" else ""
    if not row and "longitude" in record and record["longitude"] == record["longitude"]:
        return [_waits(record, layout)]
    number = layout.places.row_number(row, day)
    if not row:
        return [
            fault_at(
                record,
                "fault",
                "row is empty",
                "row",
                "",
                "row label as painted on the end post; a merged cell holds its value in its first line only",
            )
        ]
    if number is None:
        return [
            fault_at(
                record,
                "fault",
                "unknown row",
                "row",
                row,
                _near_row(row, layout.grid.labels),
                about=(layout.grid.block, row),
                waits=True,
            )
        ]
    if not position:
        return _bay_faults(record, layout) if table != "plants" else []
    if layout.places.find(row, position, day=day) is None:
        span = f"{layout.grid.named[number].first} to {layout.grid.named[number].last} in row {row}"
        return [fault_at(record, "fault", "no such position", "position", position, span)]
    return []


def _waits(record: Mapping[str, Any], layout: BlockLayout) -> Fault:
    """List the vines that a coordinate may mean; the record waits until someone says which."""
    where = f"{record['longitude']}, {record['latitude']}"
    if not layout.placed:
        return fault_at(
            record,
            "fault",
            "a coordinate names no vine here: the block is not placed on the earth",
            "longitude",
            where,
            f"row and position; or the corner of the block: {layout.placed.reason}",
        )
    near = vines_near(
        layout.grid, layout.placed, float(record["longitude"]), float(record["latitude"]), float(record["accuracy_m"])
    )
    listed = "; ".join(f"row {one.row} position {one.position} ({one.distance_m:.1f} m)" for one in near[:4])
    return fault_at(
        record,
        "fault",
        "the coordinate is not sharp enough to name a vine",
        "longitude",
        where,
        f"row and position: {listed or 'none of this block is near'}",
    )


def _bay_faults(record: Mapping[str, Any], layout: BlockLayout) -> list[Fault]:
    bay, vine = str(record["bay"]), record["vine"]
    if not bay or vine != vine:
        if record["longitude"] == record["longitude"] if "longitude" in record else False:
            return [
                fault_at(
                    record,
                    "note",
                    "a coordinate alone names no vine here: the record waits for row and position",
                )
            ]
        return [fault_at(record, "fault", "neither position nor bay and vine", "position", "", "a position")]
    if not bay.isdecimal() or len(bay) > 6:
        return [fault_at(record, "fault", "bays are numbers, counted from the row's start", "bay", bay)]
    try:
        layout.grid.position_of_bay(str(record["row"]), int(bay), int(vine))
    except UnknownVineError as error:
        return [fault_at(record, "fault", str(error), "bay", bay)]
    return []


def _arm_faults(record: Mapping[str, Any], layout: BlockLayout) -> list[Fault]:
    training, arm, trunk = str(layout.record.get("training") or ""), str(record["arm"]), record["trunk"]
    faults = []
    if arm and training in ARMS and arm not in ARMS[training]:
        faults.append(
            fault_at(
                record,
                "fault",
                f"{training} vines have no such arm",
                "arm",
                arm,
                f"one of {', '.join(ARMS[training])}",
            )
        )
    if trunk == trunk and trunk > 1 and training and training != "multi_trunk":
        faults.append(fault_at(record, "note", f"a second trunk on a {training} vine", "trunk", f"{trunk:.0f}"))
    return faults
