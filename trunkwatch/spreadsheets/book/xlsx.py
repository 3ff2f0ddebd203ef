"""Workbooks (.xlsx, .xlsm) as raw cells: values, merged areas, colours and formulas of a sheet in one pass."""

import re
import zipfile
from pathlib import Path
from typing import Any
from xml.parsers import expat

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.book.pages import (
    Page,
    column_place,
    fill_merged,
    is_filled,
    leave_hidden_columns,
    tell_hidden_lines,
)
from trunkwatch.spreadsheets.worksheet import MAX_CELLS, MAX_COLUMNS, MAX_LINES, MAX_SHEETS, refuse_packed

__all__ = ["read_xlsx_pages"]

_WHITE = frozenset({"FFFFFFFF", "00FFFFFF"})
_COMMENTS = re.compile(r"xl/comments[^/]*\.xml|xl/comments/[^/]+\.xml")
_REFERENCE = re.compile(r"([A-Z]{1,3})(\d{1,7})")


def read_xlsx_pages(path: Path) -> list[Page]:
    """Read every sheet of a workbook.

    Raises
    ------
    FileError
        If it is none, damaged, or has more in it than any workbook.
    """
    import openpyxl

    refuse_packed(path)
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except MemoryError:
        raise
    except Exception as error:  # openpyxl raises many kinds for damaged files
        raise FileError(
            f"{path.name} cannot be read as a workbook (damaged, or something else renamed): {error}"
        ) from error
    try:
        if len(book.sheetnames) > MAX_SHEETS:
            raise FileError(
                f"{path.name} has {len(book.sheetnames):,} sheets; {MAX_SHEETS} is the limit: save those that count in a file of their own"
            )
        return _sheets(path, book)
    finally:
        book.close()


def _sheets(path: Path, book: Any) -> list[Page]:
    pages: list[Page] = []
    reader = _Reader(path, book)
    with zipfile.ZipFile(path) as packed:
        names = packed.namelist()
        for sheet in book.worksheets:
            page = Page(f"{path.name}[{sheet.title}]", sheet.title, [])
            if sheet.sheet_state != "visible":
                page.hidden = True
            inside = str(sheet._worksheet_path).lstrip("/")  # noqa: SLF001 - a read-only sheet tells its part nowhere else
            try:
                reader.read(page, packed.read(inside) if inside in names else b"<worksheet/>")
            except (expat.ExpatError, zipfile.BadZipFile, ValueError, IndexError) as error:
                raise FileError(f"{path.name}, sheet {sheet.title}, is damaged: {error}; save it anew") from error
            pages.append(page)
        if pages:
            pages[0].comments = sum(
                packed.read(name).count(b"<comment ") for name in names if _COMMENTS.fullmatch(name)
            )
    return pages


class _Reader:
    """Reads the sheets of one workbook, and counts their cells."""

    def __init__(self, path: Path, book: Any) -> None:
        self.path, self.cells_read = path, 0
        self.strings = [_text_of(one) for one in next((sheet._shared_strings for sheet in book.worksheets), [])]  # noqa: SLF001
        self.dates, self.spans = book._date_formats, book._timedelta_formats  # noqa: SLF001
        self.epoch = book.epoch
        self.coloured = _coloured_styles(book)

    def read(self, page: Page, raw: bytes) -> None:
        """Read one sheet."""
        self.page = page
        self.line = self.column = 0
        self.cells: list[Any] = []
        self.kind, self.style = "", 0
        self.text: list[str] = []
        self.taking = self.formula = False
        self.areas: list[tuple[int, int, int, int]] = []
        self.hidden: list[tuple[int, int]] = []
        self.hidden_lines: set[int] = set()
        parser = expat.ParserCreate(namespace_separator="}")
        parser.buffer_text = True
        parser.StartElementHandler = self._start
        parser.EndElementHandler = self._end
        parser.CharacterDataHandler = self._characters
        parser.StartDoctypeDeclHandler = self._refuse
        parser.Parse(raw, True)
        fill_merged(page, self.areas)
        leave_hidden_columns(page, self.hidden)
        tell_hidden_lines(page, self.hidden_lines)

    def _refuse(self, *_: Any) -> None:
        raise FileError(f"{self.path.name} holds a document type, which no spreadsheet program writes: save it anew")

    def _start(self, name: str, given: dict[str, str]) -> None:
        tag = name.rpartition("}")[2]
        if tag == "c":
            found = _REFERENCE.fullmatch(given.get("r", ""))
            self.column = column_place(found[1]) if found else len(self.cells)
            self.kind, self.style = given.get("t", "n"), int(given.get("s", "0"))
            self.text, self.formula = [], False
        elif tag in ("v", "t"):
            self.taking = True
        elif tag == "f":
            self.formula = True
        elif tag == "rPh":  # how a word is pronounced
            self.kind = "phonetic"
        elif tag == "row":
            self.line = int(given.get("r", self.line + 1))
            self.cells = []
            if given.get("hidden") in ("1", "true"):
                self.hidden_lines.add(self.line)
            if self.line > MAX_LINES:
                raise FileError(
                    f"{self.page.file} goes on past line {MAX_LINES:,}: save what is filled in a file of its own"
                )
        elif tag == "col" and given.get("hidden") in ("1", "true"):
            self.hidden.append((int(given.get("min", "0")) - 1, int(given.get("max", "0")) - 1))
        elif tag == "mergeCell":
            ends = _REFERENCE.findall(given.get("ref", ""))
            if len(ends) == 2:
                (left, first), (right, last) = ends
                self.areas.append((int(first), column_place(left), int(last), column_place(right)))

    def _characters(self, text: str) -> None:
        if self.taking:
            self.text.append(text)

    def _end(self, name: str) -> None:
        tag = name.rpartition("}")[2]
        if tag in ("v", "t"):
            self.taking = False
        elif tag == "c":
            self._cell()
        elif tag == "row" and any(is_filled(cell) for cell in self.cells):
            self.cells_read += len(self.cells)
            if self.cells_read > MAX_CELLS:
                raise FileError(f"{self.path.name} has more than {MAX_CELLS:,} cells: save it in several files")
            self.page.lines.append((self.line, self.cells))

    def _cell(self) -> None:
        if self.style in self.coloured:
            self.page.coloured[(self.line, self.column)] = self.coloured[self.style]
        text = "".join(self.text)
        if not text:
            if self.formula:
                self.page.no_result.append((self.line, self.column))
            return
        if self.column >= MAX_COLUMNS:
            raise FileError(
                f"{self.page.file} line {self.line} has a cell in column {self.column + 1:,}; {MAX_COLUMNS:,} is the limit: take out columns"
            )
        short = self.column - len(self.cells)
        if short > 0:
            self.cells += [None] * short
        self.cells.append(self._value(text))

    def _value(self, text: str) -> Any:
        if self.kind == "s":
            return self.strings[int(text)]
        if self.kind in ("inlineStr", "str", "e", "phonetic"):
            return text
        if self.kind == "b":
            return text == "1"
        if self.kind == "d":
            from openpyxl.utils.datetime import from_ISO8601

            return from_ISO8601(text)
        number = float(text)
        if self.style in self.dates:
            return self._date(number)
        return int(number) if number.is_integer() and abs(number) < 1e15 else number

    def _date(self, number: float) -> Any:
        from openpyxl.utils.datetime import from_excel

        try:
            return from_excel(number, self.epoch, timedelta=self.style in self.spans)
        except (OverflowError, ValueError):
            return number


def _text_of(text: Any) -> str:
    return text if isinstance(text, str) else str(text)


def _coloured_styles(book: Any) -> dict[int, int]:
    """Return the styles of cells that have a colour behind them or are struck through, and which of these it is."""
    found: dict[int, int] = {}
    fills, fonts, styles = list(book._fills), list(book._fonts), list(book._cell_styles)  # noqa: SLF001 - read-only books tell styles nowhere else
    for number, style in enumerate(styles):
        fill, font = fills[style.fillId], fonts[style.fontId]
        colour = getattr(fill, "fgColor", None)
        plain = getattr(fill, "fill_type", None) in (None, "none", "gray125")
        white = getattr(colour, "type", "") == "rgb" and getattr(colour, "rgb", "") in _WHITE
        white = white or (
            getattr(colour, "type", "") == "theme"
            and getattr(colour, "theme", 1) == 0
            and not getattr(colour, "tint", 0)
        )
        if not plain and not white:
            found[number] = style.fillId + 1
        elif font.strike:
            found[number] = -style.fontId - 1
    return found
