"""OpenDocument spreadsheets as raw cells."""

import datetime as dt
import zipfile
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.book.pages import Page, fill_merged, is_filled, leave_hidden_columns, tell_hidden_lines
from trunkwatch.spreadsheets.worksheet import MAX_CELLS, MAX_COLUMNS, MAX_LINES, MAX_SHEETS, refuse_packed

__all__ = ["read_ods"]

_OFFICE = "{urn:oasis:names:tc:opendocument:xmlns:office:1.0}"
_TABLE = "{urn:oasis:names:tc:opendocument:xmlns:table:1.0}"
_TEXT = "{urn:oasis:names:tc:opendocument:xmlns:text:1.0}"
_STYLE = "{urn:oasis:names:tc:opendocument:xmlns:style:1.0}"
_FO = "{urn:oasis:names:tc:opendocument:xmlns:xsl-fo-compatible:1.0}"
_ROWS = (f"{_TABLE}table-row",)
_GROUPS = (f"{_TABLE}table-rows", f"{_TABLE}table-header-rows", f"{_TABLE}table-row-group")


def read_ods(path: Path) -> list[Page]:
    """Read every sheet of an OpenDocument spreadsheet.

    Raises
    ------
    FileError
        If it is none, damaged, or has more in it than any workbook.
    """
    refuse_packed(path)
    try:
        with zipfile.ZipFile(path) as packed:
            raw = packed.read("content.xml")
        if b"<!DOCTYPE" in raw or b"<!ENTITY" in raw:
            raise FileError(f"{path.name} holds a document type, which no spreadsheet program writes: save it anew")
        root = ET.fromstring(raw)  # noqa: S314 - without a document type there is nothing to expand
    except (KeyError, ET.ParseError, zipfile.BadZipFile) as error:
        raise FileError(
            f"{path.name} cannot be read as an OpenDocument spreadsheet: {error}; save it anew, or as .xlsx"
        ) from error
    colours = _coloured_styles(root)
    tables = list(root.iter(f"{_TABLE}table"))
    if len(tables) > MAX_SHEETS:
        raise FileError(
            f"{path.name} has {len(tables):,} sheets; {MAX_SHEETS} is the limit: save those that count in a file of their own"
        )
    reader = _Reader(path, colours, _hidden_styles(root))
    return [reader.page(table) for table in tables]


def _hidden_styles(root: ET.Element) -> frozenset[str]:
    """Return the styles of sheets that the workbook does not show."""
    return frozenset(
        style.get(f"{_STYLE}name", "")
        for style in root.iter(f"{_STYLE}style")
        for properties in style.iter(f"{_STYLE}table-properties")
        if properties.get(f"{_TABLE}display") == "false"
    )


def _coloured_styles(root: ET.Element) -> dict[str, int]:
    found: dict[str, int] = {}
    seen: dict[str, int] = {}
    for style in root.iter(f"{_STYLE}style"):
        for properties in style.iter(f"{_STYLE}table-cell-properties"):
            colour = properties.get(f"{_FO}background-color", "")
            if colour and colour.casefold() not in ("transparent", "#ffffff"):
                found[style.get(f"{_STYLE}name", "")] = seen.setdefault(colour, len(seen) + 1)
    return found


class _Reader:
    """Reads the sheets of one file, and counts their cells."""

    def __init__(self, path: Path, colours: dict[str, int], hidden: frozenset[str]) -> None:
        self.path, self.colours, self.hidden, self.cells = path, colours, hidden, 0

    def page(self, table: ET.Element) -> Page:
        """Read one sheet."""
        name = table.get(f"{_TABLE}name", "")
        page = Page(f"{self.path.name}[{name}]", name, [], hidden=table.get(f"{_TABLE}style-name", "") in self.hidden)
        unseen: set[int] = set()
        areas: list[tuple[int, int, int, int]] = []
        line = 1
        for row in _rows(table):
            again = int(row.get(f"{_TABLE}number-rows-repeated", "1"))
            cells = self._cells(row, line, page, areas)
            if any(is_filled(cell) for cell in cells):
                if line + again > MAX_LINES:
                    raise FileError(
                        f"{page.file} goes on past line {MAX_LINES:,}: save what is filled in a file of its own"
                    )
                self._count(len(cells) * again)
                page.lines += [(line + number, list(cells)) for number in range(again)]
                if row.get(f"{_TABLE}visibility") in ("collapse", "filter"):
                    unseen.update(range(line, line + again))
            line += again
        fill_merged(page, areas)
        leave_hidden_columns(page, _hidden_columns(table))
        tell_hidden_lines(page, unseen)
        return page

    def _count(self, more: int) -> None:
        self.cells += more
        if self.cells > MAX_CELLS:
            raise FileError(f"{self.path.name} has more than {MAX_CELLS:,} cells: save it in several files")

    def _cells(self, row: ET.Element, line: int, page: Page, areas: list[tuple[int, int, int, int]]) -> list[Any]:
        cells: list[Any] = []
        for cell in row:
            if not cell.tag.endswith("table-cell"):
                continue
            again = min(int(cell.get(f"{_TABLE}number-columns-repeated", "1")), MAX_COLUMNS)
            value = _value(cell)
            at = len(cells)
            if at >= MAX_COLUMNS:
                break
            right = int(cell.get(f"{_TABLE}number-columns-spanned", "1"))
            down = int(cell.get(f"{_TABLE}number-rows-spanned", "1"))
            if right > 1 or down > 1:
                areas.append((line, at, line + down - 1, at + right - 1))
            if cell.get(f"{_TABLE}formula") and not is_filled(value):
                page.no_result.append((line, at))
            colour = self.colours.get(cell.get(f"{_TABLE}style-name", ""))
            if colour and again < 50:
                page.coloured.update({(line, at + number): colour for number in range(again)})
            page.comments += sum(1 for _ in cell.iter(f"{_OFFICE}annotation"))
            cells += [value] * again
        while cells and not is_filled(cells[-1]):
            cells.pop()
        return cells


def _hidden_columns(table: ET.Element) -> list[tuple[int, int]]:
    """Return the columns that are not shown, first and last, 0 is A."""
    hidden, at = [], 0
    for column in table.iter(f"{_TABLE}table-column"):
        again = int(column.get(f"{_TABLE}number-columns-repeated", "1"))
        if column.get(f"{_TABLE}visibility") in ("collapse", "filter"):
            hidden.append((at, at + again - 1))
        at += again
    return hidden


def _rows(table: ET.Element) -> list[ET.Element]:
    rows: list[ET.Element] = []
    for part in table:
        if part.tag in _ROWS:
            rows.append(part)
        elif part.tag in _GROUPS:
            rows += _rows(part)
    return rows


def _value(cell: ET.Element) -> Any:
    kind = cell.get(f"{_OFFICE}value-type", "")
    if kind in ("float", "percentage", "currency"):
        number = float(cell.get(f"{_OFFICE}value", "nan"))
        return int(number) if number.is_integer() else number
    if kind == "date":
        text = cell.get(f"{_OFFICE}date-value", "")
        try:
            return dt.datetime.fromisoformat(text)
        except ValueError:
            return text
    if kind == "boolean":
        return cell.get(f"{_OFFICE}boolean-value") == "true"
    texts = ["".join(part.itertext()) for part in cell if part.tag == f"{_TEXT}p"]
    return "\n".join(texts) or None
