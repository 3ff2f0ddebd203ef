"""A CSV or XLSX file as headings and lines of raw cells, whatever program wrote it."""

import csv
import io
import zipfile
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError
from trunkwatch.vineyard.faults import Fault

__all__ = ["Sheet", "read_csv", "read_sheets", "read_xlsx"]

MAX_UNPACKED = 400_000_000  # bytes; a workbook that unpacks to more is refused
MAX_CELLS = 30_000_000


@dataclass(slots=True)
class Sheet:
    """One table of raw cells.

    Attributes
    ----------
    file : str
        Name for messages.
    name : str
        Name of the sheet, or of the file without its ending.
    headings : list of str
        As written, without spaces around.
    lines : list of (int, list)
        Line number in the file (the heading is 1) and the cells.
    separator, encoding : str
        Of a CSV file, to write it back the same way.
    """

    file: str
    name: str
    headings: list[str]
    lines: list[tuple[int, list[Any]]]
    faults: list[Fault] = field(default_factory=list)
    separator: str = ","
    encoding: str = "utf-8"


def read_sheets(path: Path, heading: int = 1) -> list[Sheet]:
    """Read a CSV file (one sheet) or a workbook (each sheet).

    Parameters
    ----------
    path : Path
        The file.
    heading : int
        Line of the headings, where a title or merged cells stand above them; the first line that is not
        empty, from there on.

    Raises
    ------
    FileError
        If the file cannot be read at all.
    """
    if path.suffix.casefold() in (".xlsx", ".xlsm"):
        return read_xlsx(path, heading)
    return [read_csv(path, heading)]


def read_csv(path: Path, heading: int = 1) -> Sheet:
    """Read a CSV file in any of the usual encodings and separators; `heading` as in `read_sheets`.

    Raises
    ------
    FileError
        If it cannot be opened.
    """
    try:
        raw = path.read_bytes()
    except OSError as error:
        raise FileError(f"{path.name} cannot be read: {error.strerror}") from error
    text, encoding, faults = _decode(raw, path.name)
    if "\0" in text:
        faults.append(Fault("fault", "the file holds NUL bytes: it is damaged or no text", path.name))
        text = text.replace("\0", "")
    separator = _separator(text, heading)
    if separator != ",":
        shown = {"\t": "tabs", ";": "semicolons"}[separator]
        faults.append(Fault("note", f"cells are separated by {shown}", path.name))
    sheet = Sheet(path.name, path.stem, [], [], faults, separator, encoding)
    if text.strip():
        _fill(sheet, text, separator, heading)
    return sheet


def _decode(raw: bytes, name: str) -> tuple[str, str, list[Fault]]:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace"), "utf-16", []
    try:
        encoding = "utf-8-sig" if raw.startswith(b"\xef\xbb\xbf") else "utf-8"
        return raw.decode("utf-8-sig"), encoding, []
    except UnicodeDecodeError:
        note = Fault("note", "read as Windows-1252: the file is not UTF-8", name)
        return raw.decode("cp1252", errors="replace"), "cp1252", [note]


def _separator(text: str, heading: int = 1) -> str:
    first = next((line for line in text.splitlines()[heading - 1 :] if line.strip()), "")
    counts = {mark: first.count(mark) for mark in (",", ";", "\t")}
    best = max(counts, key=lambda mark: counts[mark])
    return best if counts[best] else ","


def _fill(sheet: Sheet, text: str, separator: str, heading: int) -> None:
    limit = csv.field_size_limit(10_000_000)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    at = 0
    try:
        for cells in reader:
            line, at = at + 1, reader.line_num
            if line < heading or not any(cell.strip() for cell in cells):
                continue
            if not sheet.headings:
                sheet.headings = [cell.strip() for cell in cells]
            else:
                sheet.lines.append((line, list(cells)))
    except csv.Error as error:
        sheet.faults.append(
            Fault("fault", f"the file breaks off or has a stray quotation mark ({error})", sheet.file, at + 1)
        )
    finally:
        csv.field_size_limit(limit)
    _even(sheet)


def _even(sheet: Sheet) -> None:
    """Drop empty columns at the right, and name lines with more cells than headings."""
    while sheet.headings and not sheet.headings[-1]:
        sheet.headings.pop()
    width = len(sheet.headings)
    for number, (line, cells) in enumerate(sheet.lines):
        surplus = [cell for cell in cells[width:] if cell is not None and str(cell).strip()]
        if surplus:
            sheet.faults.append(
                Fault("fault", f"the line has {len(cells)} cells", sheet.file, line, value=str(surplus[0]),
                      expected=f"{width}, as many as headings; put text with a comma in quotation marks")
            )  # fmt: skip
        sheet.lines[number] = (line, (cells + [None] * width)[:width])


def read_xlsx(path: Path, heading: int = 1) -> list[Sheet]:
    """Read every sheet of a workbook; `heading` as in `read_sheets`.

    Raises
    ------
    FileError
        If it is no workbook, damaged, locked with a password, or unpacks to too much.
    """
    import openpyxl

    _guard(path)
    try:
        book = openpyxl.load_workbook(path, read_only=True, data_only=True)
    except Exception as error:  # openpyxl raises many kinds for damaged files
        raise FileError(f"{path.name} cannot be read as a workbook: {error}") from error
    sheets, cells_read = [], 0
    try:
        for page in book.worksheets:
            sheet = Sheet(f"{path.name}[{page.title}]", page.title, [], [])
            for line, cells in enumerate(page.iter_rows(values_only=True), start=1):
                cells_read += len(cells)
                if cells_read > MAX_CELLS:
                    raise FileError(f"{path.name} has more than {MAX_CELLS:,} cells; save it as CSV")
                if line < heading or not any(cell is not None and str(cell).strip() for cell in cells):
                    continue
                if not sheet.headings:
                    sheet.headings = ["" if cell is None else str(cell).strip() for cell in cells]
                else:
                    sheet.lines.append((line, list(cells)))
            if sheet.headings:
                _even(sheet)
                sheets.append(sheet)
    finally:
        book.close()
    return sheets


def _guard(path: Path) -> None:
    try:
        with zipfile.ZipFile(path) as packed:
            size = sum(entry.file_size for entry in packed.infolist())
    except (OSError, zipfile.BadZipFile) as error:
        raise FileError(f"{path.name} is no workbook that can be read (damaged, or locked): {error}") from error
    if size > MAX_UNPACKED:
        raise FileError(f"{path.name} unpacks to {size / 1e6:.0f} MB; {MAX_UNPACKED / 1e6:.0f} MB is the limit")
