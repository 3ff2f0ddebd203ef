"""The sheets of a workbook as raw cells, merged cells filled, with what lies beside the cells: colours, comments, formulas."""

import re
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.worksheet import MAX_COLUMNS, MAX_LINES, MAX_SHEETS, csv_lines, page_lines, refuse_packed

__all__ = ["Page", "column_letters", "is_filled", "read_pages"]

_CELL = re.compile(rb'<c r="([A-Z]{1,3})(\d{1,7})"(?: s="(\d{1,6})")?')
_MERGED = re.compile(rb'<mergeCell ref="([A-Z]{1,3})(\d{1,7}):([A-Z]{1,3})(\d{1,7})"')
_NO_RESULT = re.compile(
    rb'<c r="([A-Z]{1,3})(\d{1,7})"[^<>]*>\s*+<f(?:[^<>]*/>|[^<>]*>[^<]*</f>)\s*+(?:<v\s*+/>|<v>\s*+</v>)?+\s*+</c>'
)
#: A merged area of more cells than this is a slip: a whole column merged by a click.
_MOST_MERGED = 20_000
_WHITE = frozenset({"FFFFFFFF", "00FFFFFF"})


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
    """

    file: str
    name: str
    lines: list[tuple[int, list[Any]]]
    coloured: dict[tuple[int, int], int] = field(default_factory=dict)
    no_result: list[tuple[int, int]] = field(default_factory=list)
    merged: int = 0
    comments: int = 0
    notes: list[str] = field(default_factory=list)


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
        pages = _read_xlsx(path)
    elif ending == ".ods":
        from trunkwatch.spreadsheets.book.ods import read_ods

        pages = read_ods(path)
    elif ending in (".xls", ".xlsb", ".numbers"):
        raise FileError(f"{path.name} is a workbook of a kind that is not read: save it as .xlsx, .ods or CSV and load that")
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


def _read_xlsx(path: Path) -> list[Page]:
    import openpyxl

    refuse_packed(path)
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except MemoryError:
        raise
    except Exception as error:  # openpyxl raises many kinds for damaged files
        raise FileError(f"{path.name} cannot be read as a workbook (damaged, or something else renamed): {error}") from error
    pages: list[Page] = []
    cells_read = 0
    try:
        if len(book.sheetnames) > MAX_SHEETS:
            raise FileError(f"{path.name} has {len(book.sheetnames):,} sheets; {MAX_SHEETS} is the limit: save those that count in a file of their own")
        styles = _coloured_styles(book)
        with zipfile.ZipFile(path) as packed:
            comments = sum(packed.read(name).count(b"<comment ") for name in packed.namelist() if re.fullmatch(r"xl/comments[^/]*\.xml|xl/comments/[^/]+\.xml", name))
            for sheet in book.worksheets:
                page = Page(f"{path.name}[{sheet.title}]", sheet.title, page_lines(path, sheet, cells_read))
                cells_read += sum(len(cells) for _, cells in page.lines)
                if sheet.sheet_state != "visible":
                    page.notes.append("the sheet is hidden in the workbook, and read all the same")
                _beside(packed, sheet, page, styles)
                pages.append(page)
        if pages:
            pages[0].comments = comments
    finally:
        book.close()
    return pages


def _beside(packed: zipfile.ZipFile, sheet: Any, page: Page, styles: dict[int, int]) -> None:
    """Find what the values do not tell: merged areas, colours, formulas without a result."""
    inside = str(getattr(sheet, "_worksheet_path", "")).lstrip("/")
    raw = packed.read(inside) if inside in packed.namelist() else b""
    if b"<f" in raw:
        page.no_result = [(int(line), column_place(column.decode())) for column, line in _NO_RESULT.findall(raw)]
    if styles:
        for column, line, style in _CELL.findall(raw):
            if style and int(style) in styles:
                page.coloured[(int(line), column_place(column.decode()))] = styles[int(style)]
    fill_merged(page, [
        (int(first), column_place(left.decode()), int(last), column_place(right.decode()))
        for left, first, right, last in _MERGED.findall(raw)
    ])  # fmt: skip


def _coloured_styles(book: Any) -> dict[int, int]:
    """Return the styles of cells that have a colour behind them or are struck through, and which of these it is."""
    found: dict[int, int] = {}
    try:
        fills, fonts, styles = list(book._fills), list(book._fonts), list(book._cell_styles)  # noqa: SLF001 - read-only books tell styles nowhere else
    except AttributeError:
        return found
    for number, style in enumerate(styles):
        fill, font = fills[style.fillId], fonts[style.fontId]
        colour = getattr(fill, "fgColor", None)
        plain = getattr(fill, "fill_type", None) in (None, "none", "gray125")
        white = getattr(colour, "type", "") == "rgb" and colour.rgb in _WHITE
        white = white or (getattr(colour, "type", "") == "theme" and colour.theme == 0 and not colour.tint)
        if not plain and not white:
            found[number] = style.fillId + 1
        elif font.strike:
            found[number] = -style.fontId - 1
    return found
