"""The sheets of a workbook as raw cells, merged cells filled, with what lies beside the cells: colours, comments, formulas."""

import re
from collections.abc import Collection, Iterable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.worksheet import MAX_COLUMNS, MAX_LINES, csv_lines

__all__ = [
    "Page", "column_letters", "column_place", "even", "fill_merged", "is_filled", "leave_hidden_columns", "read_pages", "tell_hidden_lines",
    "without_text_sign",
]  # fmt: skip

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


#: An apostrophe before nothing but a number or a day, or before words without another one.
_TEXT_SIGN = re.compile(r"['\u2019](?:[\d.,/:\s-]*\d|[^\W\d_][^\d'\u2019]*)\s*")


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
        for _, cells in page.lines:
            for place, cell in enumerate(cells):
                if isinstance(cell, str) and cell[:1] in ("'", "\u2019"):
                    cells[place] = without_text_sign(cell)
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


def leave_hidden_columns(page: Page, hidden: Iterable[tuple[int, int]]) -> None:
    """Leave columns (first, last; 0 is A) out that the workbook does not show: what nobody sees there may be of another year."""
    letters = []
    spans = list(hidden)
    for place in range(max((len(cells) for _, cells in page.lines), default=0)):
        if any(first <= place <= last for first, last in spans):
            filled = [cells for _, cells in page.lines if place < len(cells) and is_filled(cells[place])]
            letters += [column_letters(place)] if filled else []
            for cells in filled:
                cells[place] = None
    if letters:
        page.notes.append(f"hidden in the workbook, and left out: column {', '.join(letters)}; show what is to be read")


def tell_hidden_lines(page: Page, hidden: Collection[int]) -> None:
    """Say which lines the workbook does not show; they are read, for a filter that was left on hides lines that count."""
    lines = [line for line, cells in page.lines if line in hidden and any(is_filled(cell) for cell in cells)]
    if not lines:
        return
    listed = ", ".join(map(str, lines[:8])) + (" ..." if len(lines) > 8 else "")
    page.notes.append(
        f"hidden in the workbook, by a filter perhaps, and read all the same: {len(lines):,} line{'s' if len(lines) > 1 else ''} "
        f"({listed}); delete what is not to count"
    )


def without_text_sign(text: str) -> str:
    """Return a text without the apostrophe that tells a spreadsheet that a number, a day or a word is text: '12, 'dead arm, not '82 vines."""
    return text[1:] if _TEXT_SIGN.fullmatch(text) else text


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
