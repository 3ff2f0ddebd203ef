"""Lines of a foreign spreadsheet as plants in a row and a position on a day, and what is unclear in them."""

import datetime as dt
import re
import unicodedata
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.cells import Said, day_as_told, read_cell
from trunkwatch.spreadsheets.headings import tidy
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.vineyard.calendar import is_iso_date
from trunkwatch.vineyard.faults import DayFault, Fault
from trunkwatch.vineyard.row_cells import MOST_POSITIONS
from trunkwatch.vineyard.tables import TABLES

if TYPE_CHECKING:
    from trunkwatch.spreadsheets.mapping import ColumnMap

__all__ = [
    "Known", "ListedPlant", "check_days", "heading_of", "located", "number_of", "plain_label", "status_of", "text_of",
    "word_key",
]  # fmt: skip

#: Rows that are there already: (block, row) -> first and last position.
Known = Mapping[tuple[str, str], tuple[int, int]]


@dataclass(frozen=True, slots=True)
class ListedPlant:
    """One line: a plant, and what was said of it on a day."""

    line: int
    block: str
    row: str
    position: int
    day: str
    status: str
    bay: str
    cells: Mapping[str, Any]


def text_of(cell: Any) -> str:
    """Return a raw cell as text; whole numbers without a point."""
    if cell is None:
        return ""
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return cell.date().isoformat() if isinstance(cell, dt.datetime) else " ".join(str(cell).split())


def status_of(cell: Any) -> str:
    """Return a cell of the status column as text: plain digits and spaces, without what no eye can see."""
    return _plain(text_of(cell))


@lru_cache(maxsize=4096)
def _plain(text: str) -> str:
    text = unicodedata.normalize("NFKC", text)
    return " ".join("".join(sign for sign in text if unicodedata.category(sign) not in ("Cc", "Cf")).split())


@lru_cache(maxsize=4096)
def word_key(status: str) -> str:
    """Return the form in which equal statuses are equal: 1, 1.0 and 1,0; Y and y."""
    plain = status_of(status)
    number = number_of(plain)
    return plain.casefold() if number is None else f"{number + 0.0:.12g}"


def number_of(text: str) -> float | None:
    """Return the number that a text is, with point or decimal comma; None where it is none."""
    return float(text.replace(",", ".")) if re.fullmatch(r"[+-]?\d+([.,]\d+)?", text) else None


def heading_of(name: str, sheet: Worksheet) -> str:
    """Return a heading as the sheet writes it; case, spaces and units make no difference.

    Raises
    ------
    RecordError
        If there is no such column, or several.
    """
    same = [heading for heading in sheet.headings if heading == name]
    same = same or [heading for heading in sheet.headings if heading and tidy(heading) == tidy(name)]
    if len(same) > 1:
        raise RecordError(f"{sheet.file} has {len(same)} columns {name!r}: give each its own heading")
    if not same:
        listed = ", ".join(heading for heading in sheet.headings if heading) or "none: the file is empty"
        raise RecordError(f"{sheet.file} has no column {name!r}; its columns: {listed}")
    return same[0]


def plain_label(label: str) -> str:
    """Return a label without what people leave away: "row", zeros in front, case, spaces."""
    bare = re.sub(r"^row[\s.:#_-]*", "", label.casefold())
    return re.sub(r"\s+", "", re.sub(r"(?<!\d)0+(?=\d)", "", re.sub(r"(?<=\d)\s+(?=\d)", "_", bare)))


def located(
    sheet: Worksheet, told: "ColumnMap", known: Known, account: list[str]
) -> tuple[list[ListedPlant], list[Fault]]:
    """Find the plant and the day of every line.

    Parameters
    ----------
    sheet : Worksheet
        Raw cells.
    told : ColumnMap
        What each column is, with headings as the sheet writes them.
    known : mapping
        Rows that the vineyard has already.
    account : list of str
        What was left out without being a fault is added to it.
    """
    faults = list(sheet.faults)
    bad = {fault.line for fault in faults if fault.weight == "fault"}
    found: list[ListedPlant] = []
    orders: Counter[tuple[str, ...]] = Counter()
    cells_read: dict[Any, Said] = {}
    empty = 0
    for line, raw in sheet.lines:
        cells = dict(zip(sheet.headings, raw, strict=True))
        if line in bad:
            continue
        if not any(text_of(cells[name]) for name in _told_columns(told)):
            empty += 1
            continue
        reader = _Line(sheet, line, cells, told, cells_read)
        plant = reader.plant(orders)
        faults += reader.faults
        if plant is not None:
            found.append(plant)
    if empty:
        account.append(f"{empty} line(s) left: nothing in the columns that were named")
    faults += _spelt_twice(sheet, found, known, told)
    faults += _past_the_end(sheet, found, known, told)
    found, twice = _once(sheet, found, told, account)
    faults += twice
    bad = {fault.line for fault in faults if fault.weight == "fault"}
    return [plant for plant in found if plant.line not in bad], sorted(faults, key=lambda fault: fault.line)


def _told_columns(told: "ColumnMap") -> list[str]:
    names = [told.row, "" if told.order_within else told.position, told.status, told.date]
    return [name for name in names if name]


class _Line:
    """Reads the cells of one line and keeps what is wrong with them."""

    def __init__(
        self, sheet: Worksheet, line: int, cells: Mapping[str, Any], told: "ColumnMap", known: dict[Any, Said]
    ) -> None:
        self.sheet, self.line, self.cells, self.told, self.known = sheet, line, cells, told, known
        self.faults: list[Fault] = []

    def plant(self, orders: Counter[tuple[str, ...]]) -> ListedPlant | None:
        told = self.told
        block = self._label(told.block, "block") if told.block else told.block_label
        row = self._label(told.row, "row")
        day = self._day() if told.status else ""
        position = self._position() if not told.order_within else 0
        if self.faults:
            return None
        if told.order_within:
            place = (block, row, day)
            orders[place] += 1
            position = orders[place]
        status = status_of(self.cells[told.status]) if told.status else ""
        bay = text_of(self.cells[told.bay]) if told.bay else ""
        return ListedPlant(self.line, block, row, position, day, status, bay, self.cells)

    def _said(self, table: str, column: str, raw: Any) -> Said:
        """Read a cell; equal cells are read once."""
        key = (column, type(raw), raw)
        if key not in self.known:
            self.known[key] = read_cell(TABLES[table].column(column), raw)
        return self.known[key]

    def _wrong(self, column: str, problem: str, expected: str, kind: type[Fault] = Fault) -> None:
        self.faults.append(
            kind("fault", problem, self.sheet.file, self.line, column, text_of(self.cells[column])[:60], expected)
        )

    def _label(self, column: str, name: str) -> str:
        said = self._said("rows", name, self.cells[column])
        if said.weight == "fault":
            self._wrong(column, said.problem, said.expected)
        return " ".join(str(said.value).split())

    def _position(self) -> int:
        column = self.told.position
        said = self._said("plants", "position", self.cells[column])
        text = str(said.value)
        if said.weight == "fault":
            self._wrong(column, said.problem, said.expected)
        elif not (text.isascii() and text.isdecimal() and len(text) < 10) or int(text) > MOST_POSITIONS:
            self._wrong(column, "position is no whole number", "the number of the vine in the row, 1 or more")
        else:
            return int(text)
        return 0

    def _day(self) -> str:
        column, told = self.told.date, self.told
        if not column:
            return told.day
        raw = self.cells[column]
        text = text_of(raw)
        days = number_of(text)
        if told.day_zero and days is not None and abs(days) < 50_000:
            return (dt.date.fromisoformat(told.day_zero) + dt.timedelta(days=int(days))).isoformat()
        day = day_as_told(text, told.day_order) if isinstance(raw, str) else raw
        said = self._said("surveys", "date", day)
        if said.weight == "fault":
            hint = ", or --day-zero for a column of days" if days is not None and not told.day_zero else ""
            two = " or --day-first, --month-first" if said.days == 2 else ""
            self._wrong(column, said.problem, said.expected + two + hint, DayFault if said.days else Fault)
        return str(said.value)


def _spelt_twice(sheet: Worksheet, plants: list[ListedPlant], known: Known, told: "ColumnMap") -> list[Fault]:
    """Name labels that differ in case, zeros or spaces only, among themselves or from those that are there."""
    faults = []
    there = {plain_label(block): block for block, _ in known}
    spelt = _Spellings(Counter(plant.block for plant in plants), there)
    for line, label, other in spelt.odd((plant.line, plant.block) for plant in plants):
        faults.append(
            Fault(
                "fault",
                f"block {label!r} here, {other!r} elsewhere",
                sheet.file,
                line,
                told.block,
                label,
                f"{other}, written alike everywhere",
            )
        )
    by_block: dict[str, list[ListedPlant]] = {}
    for plant in plants:
        by_block.setdefault(plant.block, []).append(plant)
    for block, own in by_block.items():
        there = {plain_label(row): row for name, row in known if name == block}
        spelt = _Spellings(Counter(plant.row for plant in own), there)
        for line, label, other in spelt.odd((plant.line, plant.row) for plant in own):
            faults.append(
                Fault(
                    "fault",
                    f"row {label!r} here, {other!r} elsewhere",
                    sheet.file,
                    line,
                    told.row,
                    label,
                    f"{other}, written alike everywhere",
                )
            )
    return faults


class _Spellings:
    """The usual spelling of each label: the one that is there already, else the commonest."""

    def __init__(self, counts: Counter[str], there: Mapping[str, str]) -> None:
        self.usual: dict[str, str] = {}
        for label, _ in sorted(counts.items(), key=lambda pair: (-pair[1], pair[0])):
            self.usual.setdefault(plain_label(label), label)
        self.usual |= there
        self.own = set(there.values())

    def odd(self, labels: Any) -> list[tuple[int, str, str]]:
        """Return line, label and usual spelling where they differ."""
        return [
            (line, label, self.usual[plain_label(label)])
            for line, label in labels
            if label not in self.own and self.usual[plain_label(label)] != label
        ]


def _past_the_end(sheet: Worksheet, plants: list[ListedPlant], known: Known, told: "ColumnMap") -> list[Fault]:
    return [
        Fault(
            "fault",
            "no such position",
            sheet.file,
            plant.line,
            told.position,
            str(plant.position),
            f"{first} to {last} in row {plant.row}",
        )
        for plant in plants
        for first, last in [known.get((plant.block, plant.row), (0, MOST_POSITIONS))]
        if not first <= plant.position <= last
    ]


def _once(
    sheet: Worksheet, plants: list[ListedPlant], told: "ColumnMap", account: list[str]
) -> tuple[list[ListedPlant], list[Fault]]:
    """Take a plant that stands twice on one day once; refuse it where the two lines differ."""
    first: dict[tuple[str, str, int, str], ListedPlant] = {}
    faults, again = [], 0
    for plant in plants:
        key = (plant.block, plant.row, plant.position, plant.day)
        before = first.setdefault(key, plant)
        if before is plant:
            continue
        if word_key(before.status) == word_key(plant.status):
            again += 1
        else:
            faults.append(
                Fault(
                    "fault",
                    f"the vine stands in line {before.line} with another status ({before.status or 'empty'})",
                    sheet.file,
                    plant.line,
                    told.status,
                    plant.status,
                    "one line a vine and day",
                )
            )
    if again:
        account.append(f"{again} line(s) left: the same vine and day stand in an earlier line")
    return list(first.values()), faults


def check_days(told: "ColumnMap") -> None:
    """Refuse days in the map itself that are none.

    Raises
    ------
    RecordError
        If `day` or `day_zero` is no day, or a status has no day at all.
    """
    for option, day in (("--date", told.day), ("--day-zero", told.day_zero)):
        if day and not is_iso_date(day):
            raise RecordError(f"{option} {day!r} is no date: a real day as YYYY-MM-DD is needed")
    if told.status and not told.date and not told.day:
        raise RecordError(
            "no day is known: --map date=COLUMN names the column of days, --date 2026-02-03 one day for all lines"
        )
