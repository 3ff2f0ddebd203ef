"""Files of all kinds into a vineyard: tables as they are, foreign spreadsheets by a column map."""

from collections.abc import Collection, Iterable, Mapping
from dataclasses import replace
from pathlib import Path

import pandas as pd

from trunkwatch.block.whole_folder import read_whole_folder
from trunkwatch.errors import FaultyNotesError, FileError, RecordError
from trunkwatch.intake.add import Added, add_frames, add_made, merge_file
from trunkwatch.intake.foreign import frames_of_file
from trunkwatch.intake.handed_over import bound_frames, phone_of, read_sealed
from trunkwatch.intake.handed_photos import keep_handed_photos
from trunkwatch.intake.photos import bring_photo_files
from trunkwatch.intake.start import check_name
from trunkwatch.intake.station_distance import distance_note
from trunkwatch.intake.ticks import settle_ticks
from trunkwatch.intake.two_growers import may_be_two
from trunkwatch.spreadsheets.apart import apart
from trunkwatch.spreadsheets.folder import files_in, files_of
from trunkwatch.spreadsheets.headings import KNOWN, tidy
from trunkwatch.spreadsheets.located import Known, check_days, located
from trunkwatch.spreadsheets.mapping import ColumnMap, map_sheet, with_headings_of
from trunkwatch.spreadsheets.meanings import StatusWord, status_words
from trunkwatch.spreadsheets.open_data import place_of_station
from trunkwatch.spreadsheets.renamed import TableMap, renamed
from trunkwatch.spreadsheets.station import station_sheet, units_of
from trunkwatch.spreadsheets.table import read_table
from trunkwatch.spreadsheets.worksheet import Worksheet, read_sheets
from trunkwatch.store import Store, is_there
from trunkwatch.vineyard.block_names import BlockNames
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.row_cells import MOST_POSITIONS
from trunkwatch.vineyard.tables import empty_frame, number_in, records_of

__all__ = [
    "bring_files", "bring_sheet", "bring_table", "brought_by", "of_the_vineyard", "ready", "rows_there", "sheet_words",
]  # fmt: skip


#: Endings of what a phone sends: the share sheets of many phones take text, and refuse the same under its own ending.
HANDOVERS = (".json", ".txt")


def ready(vineyard: Path) -> None:
    """Make the folder or file of a vineyard that is not there yet.

    Raises
    ------
    FileError
        If it cannot be made.
    """
    if is_there(vineyard):
        return
    if vineyard.suffix.casefold() == ".gpkg":
        Store.create(vineyard)
    else:
        check_name(vineyard)
        try:
            vineyard.mkdir(parents=True)
        except OSError as error:
            raise FileError(f"{vineyard} cannot be made: {error.strerror}") from error


def bring_files(
    vineyard: Path,
    path: Path,
    *,
    take_changes: bool = False,
    keep_good: bool = False,
    unsigned: bool = False,
    desk: Path | None = None,
    device: str = "",
) -> tuple[Added, list[Fault]]:
    """Take a file, or a folder of files, whose names are those of tables.

    Parameters
    ----------
    vineyard, path : Path
        Where to, and what.
    take_changes, keep_good : bool
        As in `add_frames`.
    unsigned : bool
        Take what a phone hands over though no paired phone signed it.
    desk : Path, optional
        The vineyard with which phones are paired, where `vineyard` is a copy of it.
    device : str
        Who brings it, and on what: for records that do not say so themselves. Another vineyard's file stays as it is.

    Raises
    ------
    FileError
        If there is no such file, or its name is no table's.
    HandoverError
        If it is of a phone, and of another vineyard or not signed as it should be.
    FaultyNotesError
        If it has faults and `keep_good` is off.
    """
    if not path.exists():
        raise FileError(f"no file {str(path)!r}")
    if path.suffix.casefold() == ".gpkg":
        if vineyard.is_dir() or (not is_there(vineyard) and vineyard.suffix.casefold() != ".gpkg"):
            frames = frames_of_file(path)
            ready(vineyard)
            frames = {table: _numbered(path, table, frame) for table, frame in frames.items()}
            twofold = may_be_two(vineyard, frames)
            added = add_frames(vineyard, frames, take_changes=take_changes, keep_good=keep_good)
            return added, [*twofold, *bring_photo_files(vineyard, path)]
        ready(vineyard)
        return merge_file(vineyard, path), bring_photo_files(vineyard, path)
    if path.suffix.casefold() in HANDOVERS:
        told = {"take_changes": take_changes, "keep_good": keep_good, "unsigned": unsigned}
        return _bring_handover(vineyard, path, desk=desk or vineyard, device=device, **told)
    notes = apart(files_of, path, files_in(path) if path.is_dir() else [path])
    if notes.stopping and not keep_good:
        raise FaultyNotesError(notes.stopping)
    if not any(len(frame) for frame in notes.frames.values()):
        if notes.stopping:  # no good line is left: what is wrong says more than that
            raise FaultyNotesError(notes.stopping)
        raise FileError(
            f"{path.name}: nothing to take; it is empty, or neither its name nor that of a sheet is a table's "
            "(symptoms-2026.csv is); --table symptoms says what it is, --map names columns of its own"
        )
    ready(vineyard)
    frames = brought_by(notes.frames, device)
    twofold = may_be_two(vineyard, frames)
    added = add_frames(vineyard, frames, take_changes=take_changes, keep_good=keep_good)
    photos = bring_photo_files(vineyard, path if path.is_dir() else path.parent) if len(frames["photos"]) else []
    return added, [*notes.faults, *twofold, *photos]


def brought_by(frames: Mapping[str, pd.DataFrame], device: str) -> dict[str, pd.DataFrame]:
    """Say who brings records that do not say what they were written down on."""
    return {
        table: frame.assign(device=[own or device for own in frame["device"]]) if device else frame
        for table, frame in frames.items()
    }


def _numbered(path: Path, table: str, frame: pd.DataFrame) -> pd.DataFrame:
    """Say of each record of a file which one it is: where it was once read from may be the place of others too."""
    return frame.assign(read_from=[f"{path.name} {table}:{number}" for number in range(1, len(frame) + 1)])


def _bring_handover(
    vineyard: Path, path: Path, *, desk: Path, device: str, take_changes: bool, keep_good: bool, unsigned: bool
) -> tuple[Added, list[Fault]]:
    handover = apart(read_sealed, path)
    phone = phone_of(desk, handover, unsigned=unsigned)
    if handover.faults and not keep_good:
        raise FaultyNotesError(handover.faults)
    if not handover.frames:
        raise FileError(f"{path.name}: nothing to take; the phone had no record")
    ready(vineyard)
    handover, refused = keep_handed_photos(vineyard, handover)
    added = add_made(
        vineyard,
        lambda known: brought_by(bound_frames(handover, known("blocks"), phone), device),
        take_changes=take_changes,
        keep_good=keep_good,
        settle=settle_ticks,
    )
    return added, [*handover.faults, *refused]


def bring_sheet(
    vineyard: Path,
    path: Path,
    told: ColumnMap,
    *,
    sheet: str = "",
    heading: int | None = None,
    take_changes: bool = False,
    keep_good: bool = False,
    device: str = "",
) -> tuple[Added, list[str]]:
    """Take a foreign spreadsheet; blocks and rows that are there already are left as they are.

    Parameters
    ----------
    vineyard, path : Path
        Where to, and the spreadsheet.
    told : ColumnMap
        What each column is.
    sheet : str
        Name of the sheet, where the workbook has several.
    heading : int, optional
        Line of the headings; found by what it says where left out.
    take_changes, keep_good : bool
        As in `add_frames`.
    device : str
        As in `bring_files`.

    Raises
    ------
    FileError, RecordError
        If it cannot be read or a column is not there.
    FaultyNotesError
        If what it says has faults and `keep_good` is off, or no line is good.
    """
    page, (known, names) = _one_sheet(path, sheet, _named_columns(told), heading), rows_there(vineyard)
    without: set[int] = set()
    left_out: list[Fault] = []
    while True:
        mapped = map_sheet(page, told, known, without=without)
        faults = [fault for fault in mapped.faults if fault.weight == "fault"]
        if faults and not keep_good:
            raise FaultyNotesError(faults)
        if not mapped.taken:
            raise FaultyNotesError([*faults, *left_out])
        mapped.frames["blocks"] = of_the_vineyard(mapped.frames["blocks"], names)
        ready(vineyard)
        try:
            added = add_frames(vineyard, brought_by(mapped.frames, device), take_changes=take_changes)
        except FaultyNotesError as error:
            more = {line for fault in error.faults for line in mapped.lines_of(fault)} - without
            if not keep_good or not more:
                raise
            # Not the record alone: a finding left out of a survey that stays would make its vine a sound one.
            without |= more
            left_out += [
                replace(fault, file=page.file, line=line) for fault in error.faults for line in mapped.lines_of(fault)
            ]
            continue
        notes = [f"note: {fault}" for fault in mapped.faults if fault.weight == "note"]
        return replace(added, lines=mapped.taken, left_out=(*faults, *left_out)), mapped.account + notes


def sheet_words(
    vineyard: Path, path: Path, told: ColumnMap, *, sheet: str = "", heading: int | None = None
) -> list[StatusWord]:
    """List the words of the status column of a foreign spreadsheet, and what each means; parameters as `bring_sheet`.

    Raises
    ------
    FileError, RecordError
        If it cannot be read, a column is not there, or two rules claim one word.
    """
    page = _one_sheet(path, sheet, _named_columns(told), heading)
    named = with_headings_of(page, told)
    check_days(named)
    plants, _ = located(page, named, rows_there(vineyard)[0], [])
    return status_words(plants, named, page.file)


def _named_columns(told: ColumnMap) -> tuple[str, ...]:
    return (told.row, told.position, told.status, told.date, told.block)


#: Bytes of a file in which a station says where it lies.
_HEAD_BYTES = 4000


def bring_table(
    vineyard: Path,
    path: Path,
    told: TableMap,
    *,
    sheet: str = "",
    take_changes: bool = False,
    keep_good: bool = False,
    units: str = "",
    missing: Collection[str] = (),
) -> tuple[Added, list[Fault]]:
    """Take a spreadsheet whose lines are records of one table under headings and words of its own.

    Parameters and errors as in `bring_sheet`; of weather, `units` and `missing` as in `trunkwatch.spreadsheets.station`.
    """
    raw = _one_sheet(path, sheet, told.columns.values())
    far: list[Fault] = []
    if told.table == "weather":
        far = distance_note(place_of_station(raw, _head_of(path)), _blocks_there(vineyard), path.name)
        raw = station_sheet(raw, told.columns, units_of(units), missing)
        told = replace(told, columns={})
    frame, faults = read_table(renamed(raw, told), told.table)
    stopping = [fault for fault in faults if fault.weight == "fault"]
    if stopping and not keep_good:
        raise FaultyNotesError(stopping)
    if frame.empty:
        raise FileError(f"{path.name}: no line to take")
    ready(vineyard)
    return add_frames(vineyard, {told.table: frame}, take_changes=take_changes, keep_good=keep_good), [*faults, *far]


def _head_of(path: Path) -> str:
    """Return the first lines of a CSV file as they stand: above the headings a station may say where it lies."""
    if path.suffix.casefold() != ".csv":
        return ""
    with path.open("rb") as file:
        return file.read(_HEAD_BYTES).decode("utf-8", "replace")


def _blocks_there(vineyard: Path) -> list[tuple[str, float, float]]:
    """Return label, latitude and longitude of the blocks that have them."""
    if vineyard.is_dir():
        blocks = standing(read_whole_folder(vineyard).frames["blocks"]) if files_in(vineyard) else empty_frame("blocks")
    elif is_there(vineyard):
        with Store.open(vineyard) as store:
            blocks = store.frame("blocks")
    else:
        return []
    placed = [
        (str(one["block"]), number_in(one, "latitude"), number_in(one, "longitude")) for one in records_of(blocks)
    ]
    return [
        (label, latitude, longitude)
        for label, latitude, longitude in placed
        if latitude == latitude and longitude == longitude
    ]


def _one_sheet(path: Path, name: str, headings: Iterable[str], heading: int | None = None) -> Worksheet:
    if not path.exists():
        raise FileError(f"no file {str(path)!r}")
    sheets = apart(read_sheets, path, KNOWN | {tidy(one) for one in headings if one}, heading=heading)
    found = [one for one in sheets if not name or one.name.casefold() == name.strip().casefold()]
    names = ", ".join(one.name for one in sheets)
    if not found:
        raise FileError(f"{path.name} has no sheet {name!r} with anything in it; its sheets: {names or 'none'}")
    if len(found) > 1:
        raise FileError(f"{path.name} has {len(found)} sheets ({names}): say which with --sheet NAME")
    return found[0]


def rows_there(vineyard: Path) -> tuple[Known, BlockNames]:
    """Return first and last position of every row that a vineyard has, on any day, and what its blocks are called."""
    if vineyard.is_dir():
        if not files_in(vineyard):
            return {}, BlockNames(empty_frame("blocks"))
        frames = read_whole_folder(vineyard).frames
        rows, names = frames["rows"], BlockNames(frames["blocks"])
    elif is_there(vineyard):
        with Store.open(vineyard) as store:
            rows, names = store.stored("rows"), store.names()
    else:
        return {}, BlockNames(empty_frame("blocks"))
    return _extents(standing(rows), names), names


def of_the_vineyard(blocks: pd.DataFrame, names: BlockNames) -> pd.DataFrame:
    """Give blocks that a sheet makes to the vineyard that is there; of several, the name of the block says which.

    Raises
    ------
    RecordError
        If it does not.
    """
    if blocks.empty or not names.vineyards:
        return blocks
    told = []
    for label in blocks["block"]:
        owner = next((one for one in names.vineyards if one and label.startswith(f"{one}/")), None)
        if owner is None and len(names.vineyards) > 1:
            known = ", ".join(f"{one}/{label}" for one in names.vineyards if one)
            raise RecordError(f"which vineyard is block {label!r} of? Name it with its vineyard: {known}")
        told.append((names.vineyards[0], label) if owner is None else (owner, label.removeprefix(f"{owner}/")))
    return blocks.assign(vineyard=[one[0] for one in told], block=[one[1] for one in told])


def _extents(rows: pd.DataFrame, names: BlockNames) -> Known:
    """Return the rows under every name by which a sheet may call their block."""
    found: dict[tuple[str, str], tuple[int, int]] = {}
    for record in records_of(rows):
        first, last = number_in(record, "first"), number_in(record, "last")
        block = names.of_name(str(record["vineyard"]), str(record["block"]))
        low = 1 if first != first else int(first)
        high = MOST_POSITIONS if last != last else int(last)
        called = (
            {str(record["block"])} if block is None else {names.outside(block), *(label for _, label in block.names)}
        )
        for name in called:
            if block is not None and len(names.meant("", name)) != 1:
                continue  # several blocks are called so: the records say which
            key = (name, str(record["row"]))
            before = found.get(key, (MOST_POSITIONS, 0))
            found[key] = (min(before[0], low), max(before[1], high))
    return found
