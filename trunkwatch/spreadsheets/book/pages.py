"""The sheets of a workbook as raw cells, merged cells filled, with what lies beside the cells: colours, comments, formulas."""

from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.worksheet import MAX_COLUMNS, MAX_LINES, csv_lines

__all__ = ["Page", "column_letters", "column_place", "even", "fill_merged", "is_filled", "read_pages"]

#: A merged area of more cells than this is a slip: a whole column merged by a click.
_MOST_MERGED = 20_000


@dataclass(slots=True)
class Page:
    """One sheet of raw cells.

    Attributes
    ----------
    file, name : str
        Name for messages, and name of the sheet; of a CSV file, that of the file without its ending.
    lines : list of (int, list)
        Line number and cells, empty lines left out; every list has the width of the widest.
    coloured : dict of (int, int) to int
        Line and column of each cell with a colour of its own or struck through; the number tells colours apart.
    no_result : list of (int, int)
        Formulas whose result was not saved.
    merged : int
        Merged areas that were filled.
    comments : int
        Comments hung on cells.
    notes : list of str
        What the file made odd.
    hidden : bool
        Whether the workbook does not show the sheet.
    """

    file: str
    name: str
    lines: list[tuple[int, list[Any]]]
    coloured: dict[tuple[int, int], int] = field(default_factory=dict)
    no_result: list[tuple[int, int]] = field(default_factory=list)
    merged: int = 0
    comments: int = 0
    notes: list[str] = field(default_factory=list)
    hidden: bool = False


def is_filled(cell: Any) -> bool:
    """Tell whether anything is written in a cell."""
    return cell is not None and (not isinstance(cell, str) or bool(cell.strip()))


def column_letters(place: int) -> str:
    """Return the letters of a column by its place, 0 is A."""
    text = ""
    place += 1
    while place:
        place, rest = divmod(place - 1, 26)
        text = chr(65 + rest) + text
    return text


def column_place(letters: str) -> int:
    """Return the place of a column by its letters, A is 0."""
    place = 0
    for letter in letters:
        place = place * 26 + ord(letter) - 64
    return place - 1


def read_pages(path: Path) -> list[Page]:
    """Read every sheet of a workbook (.xlsx, .xlsm, .ods) or a CSV file; sheets with nothing in them are left out.

    Raises
    ------
    FileError
        If the file cannot be read at all.
    """
    ending = path.suffix.casefold()
    if ending in (".xlsx", ".xlsm"):
        from trunkwatch.spreadsheets.book.xlsx import read_xlsx_pages

        pages = read_xlsx_pages(path)
    elif ending == ".ods":
        from trunkwatch.spreadsheets.book.ods import read_ods

        pages = read_ods(path)
    elif ending in (".xls", ".xlsb", ".numbers"):
        raise FileError(
            f"{path.name} is a workbook of a kind that is not read: save it as .xlsx, .ods or CSV and load that"
        )
    else:
        pages = [_read_csv(path)]
    for page in pages:
        even(page)
    return [page for page in pages if page.lines]


def even(page: Page) -> None:
    """Give all lines the width of the widest one that is filled."""
    width = 0
    for _, cells in page.lines:
        last = len(cells)
        while last > width and not is_filled(cells[last - 1]):
            last -= 1
        width = max(width, last)
    page.lines = [(line, (cells + [None] * (width - len(cells)))[:width]) for line, cells in page.lines]


def fill_merged(page: Page, areas: list[tuple[int, int, int, int]]) -> None:
    """Write the value of each merged area (first line, column, last line, column) into all of its cells."""
    at = {line: place for place, (line, _) in enumerate(page.lines)}
    added = False
    for first, left, last, right in areas:
        if (last - first + 1) * (right - left + 1) > _MOST_MERGED or last > MAX_LINES or right > MAX_COLUMNS:
            page.notes.append(f"a merged area of {last - first + 1:,} lines is not filled: it is larger than any list")
            continue
        cells = page.lines[at[first]][1] if first in at else []
        value = cells[left] if left < len(cells) else None
        if not is_filled(value):
            continue
        page.merged += 1
        for line in range(first, last + 1):
            if line not in at:
                at[line] = len(page.lines)
                page.lines.append((line, []))
                added = True
            own = page.lines[at[line]][1]
            own.extend([None] * (right + 1 - len(own)))
            own[left : right + 1] = [value] * (right + 1 - left)
    if added:
        page.lines.sort(key=lambda pair: pair[0])


def _read_csv(path: Path) -> Page:
    sheet, lines = csv_lines(path)
    for fault in sheet.faults:
        if fault.weight == "fault":
            raise FileError(str(fault))
    return Page(path.name, path.stem, lines, notes=[str(fault) for fault in sheet.faults])
