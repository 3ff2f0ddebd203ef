"""Workbooks as growers keep them: what a case is, and what its writers share."""

import re
import zipfile
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from openpyxl import Workbook
from openpyxl.worksheet.worksheet import Worksheet

#: block, row, position, season or day, what was seen or done (with "@arm" and " percent%" where they are written).
Entry = tuple[str, str, str, str, str]
Places = set[tuple[str, str]]
Lines = Iterable[Iterable[Any]]


@dataclass(frozen=True)
class Case:
    """One workbook, what a grower would have to be asked, what must come out of it and what never may.

    `scouted` are the vines that stood and were looked at, by block and season or day; `either` those of which both
    readings can be defended; `records` is None where nothing of the workbook may be taken. `made_first` is the block,
    where the sheet does not say how long its rows are.
    """

    name: str
    write: Callable[[Path], Path]
    asked: str
    records: set[Entry] | None = None
    scouted: dict[tuple[str, str], Places] = field(default_factory=dict)
    either: dict[tuple[str, str], Places] = field(default_factory=dict)
    never: str = ""
    made_first: tuple[str, ...] = ()
    ends: dict[tuple[str, str], str] = field(default_factory=dict)


def save(folder: Path, name: str, sheets: dict[str, Lines], dress: Callable[[Workbook], None] | None = None) -> Path:
    """Write a workbook of these sheets, dressed up afterwards with what plain cells cannot hold."""
    book = Workbook()
    book.remove(book.active)
    for title, lines in sheets.items():
        sheet = book.create_sheet(title)
        for line in lines:
            sheet.append(list(line))
    if dress:
        dress(book)
    path = folder / name
    book.save(path)
    return path


def merge(sheet: Worksheet, *ranges: str) -> None:
    """Merge cells, as a heading over several columns is."""
    for cells in ranges:
        sheet.merge_cells(cells)


def with_values(path: Path, values: dict[str, float | str]) -> None:
    """Put the computed values beside the formulas of the first sheet, as a spreadsheet program saves them."""
    with zipfile.ZipFile(path) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    name = "xl/worksheets/sheet1.xml"
    text = parts[name].decode()
    for cell, value in values.items():
        kind = ' t="str"' if isinstance(value, str) else ""
        pattern = rf'<c r="{cell}"[^>]*><f>(.*?)</f><v\s*/?>(?:</v>)?</c>'
        text, count = re.subn(pattern, rf'<c r="{cell}"{kind}><f>\1</f><v>{value}</v></c>', text)
        if count != 1:
            raise ValueError(f"cell {cell} holds no formula")
    parts[name] = text.encode()
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as book:
        for part, content in parts.items():
            book.writestr(part, content)


def grid(rows: Iterable[Any], positions: Iterable[Any], but: Places | None = None) -> Places:
    """All vines of these rows and positions, but some."""
    places = list(positions)
    return {(str(row), str(position)) for row in rows for position in places} - (but or set())


def entries(block: str, when: str, *seen: tuple[Any, Any, str]) -> set[Entry]:
    """Entries of one block and time: (row, position, what was seen)."""
    return {(block, str(row), str(position), when, what) for row, position, what in seen}


def listed(
    rows: Iterable[Any], positions: Iterable[Any], cells: dict[tuple[Any, Any], tuple[Any, ...]], else_: tuple[Any, ...]
) -> list[list[Any]]:
    """Lines of a long list: a row, a vine and its cells, `else_` where nothing special stands."""
    places = list(positions)
    return [[row, place, *cells.get((row, place), else_)] for row in rows for place in places]


def crossed(
    rows: Iterable[Any], positions: Iterable[Any], cells: dict[tuple[Any, Any], Any], else_: Any = None
) -> list[list[Any]]:
    """Lines of a grid: a row label, and a cell a vine."""
    places = list(positions)
    return [[row, *(cells.get((row, place), else_) for place in places)] for row in rows]
