"""A CSV or XLSX file as headings and lines of raw cells, whatever program wrote it."""

import csv
import io
import re
import zipfile
from collections import Counter
from collections.abc import Collection
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.headings import KNOWN, heading_place
from trunkwatch.vineyard.faults import Fault

__all__ = ["Worksheet", "csv_lines", "read_csv", "read_sheets", "read_xlsx", "refuse_packed"]

MAX_UNPACKED = 200_000_000  # bytes; a workbook that unpacks to more is refused
LARGE = 20_000_000  # bytes; a part that unpacks to more ...
MAX_RATIO = 200  # ... and to so many times its packed size is no real sheet: these reach 10 to 30
MAX_CELLS = 5_000_000
MAX_SHEETS = 200
MAX_PARTS = 5_000  # of the packed file; a workbook has some dozens
MAX_LINES = 1_048_576  # of a sheet, as the format has it
MAX_COLUMNS = 1_000
MAX_BYTES = 100_000_000  # of a CSV file
MAX_CELL = 100_000  # letters in one cell
#: How files begin that are no text, and what they are.
_NO_TEXT = {
    b"PK\x03\x04": "a workbook or another packed file", b"\xd0\xcf\x11\xe0": "a workbook of an old kind (.xls), or locked with a password",
    b"SQLite format 3": "a database", b"%PDF": "a PDF",
}  # fmt: skip
#: Endings of spreadsheets that cannot be read here.
_FOREIGN = {
    ".xls": "an old workbook",
    ".xlsb": "a binary workbook",
    ".ods": "an OpenDocument sheet",
    ".numbers": "a Numbers sheet",
}
_SEPARATORS = (",", ";", "\t")
# Nothing in it gives back what it took (*+, ?+) or runs over the next mark: time grows with the text and no faster.
_NO_RESULT = re.compile(
    rb'<c r="([A-Z]{1,3})(\d{1,7})"[^<>]*>\s*+<f(?:[^<>]*/>|[^<>]*>[^<]*</f>)\s*+(?:<v\s*+/>|<v>\s*+</v>)?+\s*+</c>'
)


@dataclass(slots=True)
class Worksheet:
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
        Line number in the file and the cells.
    heading_at : int
        Line number of the headings.
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
    heading_at: int = 1


def read_sheets(
    path: Path, wanted: Collection[str] = KNOWN, *, heading: int | None = None, raw: bytes | None = None
) -> list[Worksheet]:
    """Read a CSV file (one sheet) or a workbook (each sheet).

    Parameters
    ----------
    path : Path
        The file.
    wanted : collection of str
        Headings by which the line of headings is recognised, where there is a title above it.
    heading : int, optional
        Line of the headings where somebody says so: the first from there on that is not empty.
    raw : bytes, optional
        What a CSV file will be, where that is not on disk yet.

    Raises
    ------
    FileError
        If the file cannot be read at all.
    """
    ending = path.suffix.casefold()
    if ending in _FOREIGN:
        raise FileError(f"{path.name} is {_FOREIGN[ending]}: save it as .xlsx or CSV and load that")
    if ending in (".xlsx", ".xlsm"):
        return read_xlsx(path, wanted, heading=heading)
    return [read_csv(path, wanted, heading=heading, raw=raw)]


def read_csv(
    path: Path, wanted: Collection[str] = KNOWN, *, heading: int | None = None, raw: bytes | None = None
) -> Worksheet:
    """Read a CSV file in any of the usual encodings and separators; parameters as `read_sheets`.

    Raises
    ------
    FileError
        If it cannot be opened.
    """
    sheet, lines = csv_lines(path, raw)
    _headed(sheet, lines, wanted, heading)
    return sheet


def csv_lines(path: Path, raw: bytes | None = None) -> tuple[Worksheet, list[tuple[int, list[Any]]]]:
    """Return a CSV file without headings, and all its lines that are not empty, those above the headings too.

    Raises
    ------
    FileError
        If it cannot be opened.
    """
    try:
        size = path.stat().st_size if raw is None else len(raw)
        if size > MAX_BYTES:
            raise FileError(
                f"{path.name} has {size / 1e6:.0f} MB; {MAX_BYTES / 1e6:.0f} MB is the limit: save it in several files"
            )
        raw = path.read_bytes() if raw is None else raw
    except OSError as error:
        raise FileError(f"{path.name} cannot be read: {error.strerror}") from error
    for start, what in _NO_TEXT.items():
        if raw.startswith(start):
            told = Fault(
                "fault",
                f"the file is {what}, no CSV file whatever its name",
                path.name,
                expected="its right ending, or the sheet saved as .xlsx or CSV",
            )
            return Worksheet(path.name, path.stem, [], [], [told]), []
    text, encoding, faults = _decode(raw, path.name)
    if "\0" in text:
        faults.append(Fault("fault", "the file holds NUL bytes: it is damaged or no text", path.name))
        text = text.replace("\0", "")
    separator = _separator(text)
    if separator != ",":
        shown = {"\t": "tabs", ";": "semicolons"}[separator]
        faults.append(Fault("note", f"cells are separated by {shown}", path.name))
    sheet = Worksheet(path.name, path.stem, [], [], faults, separator, encoding)
    return sheet, _lines_of(sheet, text, separator) if text.strip() else []


def _decode(raw: bytes, name: str) -> tuple[str, str, list[Fault]]:
    if raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        return raw.decode("utf-16", errors="replace"), "utf-16" if raw[:1] == b"\xff" else "utf-16-be", []
    for encoding, nul in (("utf-16-le", 1), ("utf-16-be", 0)):
        head = raw[:200]
        if len(head) > 20 and head[nul::2].count(0) > 0.8 * len(head) / 2:  # without the mark at its start
            return raw.decode(encoding, errors="replace"), encoding, [Fault("note", "read as UTF-16", name)]
    try:
        encoding = "utf-8-sig" if raw.startswith(b"\xef\xbb\xbf") else "utf-8"
        return raw.decode("utf-8-sig"), encoding, []
    except UnicodeDecodeError:
        note = Fault("note", "read as Windows-1252: the file is not UTF-8", name)
        return raw.decode("cp1252", errors="replace"), "cp1252", [note]


def _separator(text: str) -> str:
    """Return the mark that most of the first lines have equally often."""
    first = [line for line in text[:20_000].splitlines() if line.strip()][:20]
    if first and (told := re.fullmatch(r'"?sep=([,;\t])"?', first[0].strip(" "))):
        return told[1]
    bare = [re.sub(r'"[^"]*"', "", line) for line in first]
    scores = {}
    for mark in _SEPARATORS:
        counts = Counter(line.count(mark) for line in bare if mark in line)
        often, lines = max(counts.items(), key=lambda pair: (pair[1], pair[0]), default=(0, 0))
        scores[mark] = (lines, often)
    best = max(_SEPARATORS, key=lambda mark: scores[mark])
    return best if scores[best][0] else ","


def _lines_of(sheet: Worksheet, text: str, separator: str) -> list[tuple[int, list[Any]]]:
    limit = csv.field_size_limit(MAX_CELL)
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True)
    lines: list[tuple[int, list[Any]]] = []
    at = many = 0
    try:
        for cells in reader:
            line, at = at + 1, reader.line_num
            many += _sane(sheet.file, line, cells, many)
            if line == 1 and cells and cells[0].startswith("sep="):  # for a spreadsheet program
                continue
            if any(cell.strip() for cell in cells):
                lines.append((line, cells))
    except csv.Error as error:
        if "field larger" in str(error):
            raise FileError(
                f"{sheet.file} line {at + 1}: a cell has more than {MAX_CELL:,} letters; a quotation mark is missing, or it is no sheet"
            ) from error
        sheet.faults.append(
            Fault("fault", f"the file breaks off or has a stray quotation mark ({error})", sheet.file, at + 1)
        )
    finally:
        csv.field_size_limit(limit)
    return lines


def _sane(file: str, line: int, cells: list[Any] | tuple[Any, ...], before: int) -> int:
    """Return how many cells a line has; refuse what no sheet of a vineyard has."""
    if line > MAX_LINES:
        raise FileError(f"{file} goes on past line {MAX_LINES:,}: save what is filled in a file of its own")
    if len(cells) > MAX_COLUMNS and any(cell not in (None, "") for cell in cells[MAX_COLUMNS:]):
        raise FileError(f"{file} line {line} has {len(cells):,} cells; {MAX_COLUMNS:,} is the limit: take out columns")
    if before + len(cells) > MAX_CELLS:
        raise FileError(f"{file} has more than {MAX_CELLS:,} cells: save it in several files")
    return len(cells)


def _headed(sheet: Worksheet, lines: list[tuple[int, list[Any]]], wanted: Collection[str], heading: int | None) -> None:
    """Take the headings out of the lines, and leave out what stands above them."""
    if not lines:
        return
    if heading is not None:
        lines = [one for one in lines if one[0] >= heading]
        if not lines:
            return
    place = heading_place(lines, wanted) if heading is None else 0
    sheet.heading_at, cells = lines[place]
    sheet.headings = ["" if cell is None else str(cell).strip() for cell in cells]
    sheet.lines = lines[place + 1 :]
    if place:
        sheet.faults.append(
            Fault(
                "note",
                f"the headings are taken from line {sheet.heading_at}; what stands above was left out",
                sheet.file,
            )
        )
    _even(sheet)


def _even(sheet: Worksheet) -> None:
    """Drop empty columns at the right, and name lines with more cells than headings."""
    while sheet.headings and not sheet.headings[-1]:
        sheet.headings.pop()
    width = len(sheet.headings)
    for number, (line, cells) in enumerate(sheet.lines):
        surplus = [cell for cell in cells[width:] if cell is not None and str(cell).strip()]
        if surplus:
            sheet.faults.append(
                Fault(
                    "fault",
                    f"the line has {len(cells)} cells",
                    sheet.file,
                    line,
                    value=str(surplus[0]),
                    expected=f"{width}, as many as headings; put text with a comma in quotation marks",
                )
            )
        sheet.lines[number] = (line, (cells + [None] * width)[:width])


def read_xlsx(path: Path, wanted: Collection[str] = KNOWN, *, heading: int | None = None) -> list[Worksheet]:
    """Read every sheet of a workbook; parameters as `read_sheets`.

    Raises
    ------
    FileError
        If it is no workbook, damaged, locked with a password, or unpacks to too much.
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
    sheets, cells_read = [], 0
    try:
        if len(book.sheetnames) > MAX_SHEETS:
            raise FileError(
                f"{path.name} has {len(book.sheetnames):,} sheets; {MAX_SHEETS} is the limit: save the one that counts as CSV"
            )
        for page in book.worksheets:
            sheet = Worksheet(f"{path.name}[{page.title}]", page.title, [], [])
            lines = _page_lines(path, page, cells_read)
            cells_read += sum(len(cells) for _, cells in lines)
            _headed(sheet, lines, wanted, heading)
            if sheet.headings:
                sheet.faults += _formulas_without_result(path, page, sheet)
                sheets.append(sheet)
    finally:
        book.close()
    return sheets


def _page_lines(path: Path, page: Any, cells_read: int) -> list[tuple[int, list[Any]]]:
    """Read the lines of a sheet that have anything in them."""
    if hasattr(page, "reset_dimensions"):
        page.reset_dimensions()  # a sheet that was formatted to its far corner says that it is full
    lines: list[tuple[int, list[Any]]] = []
    rows = enumerate(page.iter_rows(values_only=True), start=1)
    while True:
        try:
            line, cells = next(rows, (0, ()))
        except MemoryError:
            raise
        except Exception as error:  # a damaged sheet is noticed only when it is read
            raise FileError(f"{path.name}, sheet {page.title}, is damaged: {error}") from error
        if not line:
            return lines
        cells_read += _sane(f"{path.name} sheet {page.title}", line, cells, cells_read)
        if any(cell is not None and str(cell).strip() for cell in cells):
            lines.append((line, list(cells)))


def _formulas_without_result(path: Path, page: Any, sheet: Worksheet) -> list[Fault]:
    """Name formulas whose result was not saved: their cells read as empty."""
    inside = str(getattr(page, "_worksheet_path", "")).lstrip("/")
    with zipfile.ZipFile(path) as packed:
        raw = packed.read(inside) if inside in packed.namelist() else b""
    if b"<f" not in raw:
        return []
    taken = {line for line, _ in sheet.lines}
    return [
        Fault(
            "fault",
            "the result of this formula was not saved in the file",
            sheet.file,
            int(line),
            column.decode(),
            expected="open and save the file in your spreadsheet program, or paste the values",
        )
        for column, line in _NO_RESULT.findall(raw)
        if int(line) in taken
    ]


def refuse_packed(path: Path) -> None:
    """Refuse a packed file that unpacks to more than any workbook, or is none.

    Raises
    ------
    FileError
        With the size and the way out.
    """
    try:
        with zipfile.ZipFile(path) as packed:
            entries = packed.infolist()
            size = sum(entry.file_size for entry in entries)
    except (OSError, zipfile.BadZipFile) as error:
        told = getattr(error, "strerror", None) or str(error)
        raise FileError(
            f"{path.name} is no workbook that can be read ({told}): damaged, locked with a password, or something else renamed"
        ) from error
    if len(entries) > MAX_PARTS:
        raise FileError(
            f"{path.name} is packed of {len(entries):,} parts; {MAX_PARTS:,} is the limit: save the sheet as CSV"
        )
    if size > MAX_UNPACKED:
        raise FileError(
            f"{path.name} unpacks to {size / 1e6:.0f} MB; {MAX_UNPACKED / 1e6:.0f} MB is the limit: save the sheet as CSV"
        )
    if any(entry.file_size > LARGE and entry.file_size > MAX_RATIO * max(1, entry.compress_size) for entry in entries):
        raise FileError(
            f"{path.name} unpacks to far more than any real workbook of its size: save the sheet as CSV, if it is one"
        )
