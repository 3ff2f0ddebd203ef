"""Tables out to CSV and XLSX without loss, and one more record into a folder."""

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pandas as pd

from trunkwatch.errors import FileError
from trunkwatch.spreadsheets.guard import guarded
from trunkwatch.spreadsheets.headings import meant_by
from trunkwatch.spreadsheets.one_step import OneStep, replace_file, why
from trunkwatch.spreadsheets.table import FOOT_M, read_table
from trunkwatch.spreadsheets.worksheet import Worksheet, read_csv
from trunkwatch.vineyard.tables import TABLES

__all__ = ["append_records", "cell_text", "fill_column", "replace_file", "write_folder", "write_xlsx"]

#: Letters that a cell of a workbook holds; programs cut off the rest without a word.
MOST_LETTERS = 32_767
_SHARES = frozenset(column.name for table in TABLES.values() for column in table.columns if column.unit == "%")


def cell_text(value: Any) -> str:
    """Return a cell as text: whole numbers without a point, other numbers in full, text guarded."""
    if value is None or (isinstance(value, float) and value != value):
        return ""
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return guarded(str(value))


def _signed(name: str, value: Any) -> str:
    """Return a cell as text; a share under one percent has its sign, or it would be taken for a fraction."""
    text = cell_text(value)
    return f"{text} %" if name in _SHARES and isinstance(value, float) and 0 < value < 1 else text


def _used(table: str, frame: pd.DataFrame) -> list[str]:
    """Columns with anything in them, and those that every record needs."""
    return [
        column.name
        for column in TABLES[table].columns
        if column.required
        or (frame[column.name].notna().any() if column.is_number else (frame[column.name] != "").any())
    ]


def csv_bytes(table: str, frame: pd.DataFrame) -> bytes:
    """Return a table as CSV, UTF-8 with a byte order mark, which spreadsheet programs need to see accents."""
    names = _used(table, frame)
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(names)
    columns = [[_signed(name, value) for value in frame[name].tolist()] for name in names]
    writer.writerows(zip(*columns, strict=True))
    return out.getvalue().encode("utf-8-sig", errors="replace")  # half a letter is none


@contextmanager
def _part_of(step: OneStep | None, folder: Path) -> Iterator[OneStep]:
    """Hand out the step that a change is part of; where it is of none, it is a step of its own."""
    own = OneStep(folder) if step is None else step
    yield own
    if step is None:
        own.put_in_place()


def write_folder(folder: Path, frames: Mapping[str, pd.DataFrame], *, step: OneStep | None = None) -> list[Path]:
    """Write each table that has records to <table>.csv of a folder; all of them in one step.

    Parameters
    ----------
    folder : Path
        Made if it is not there.
    frames : mapping of table name to DataFrame
        Records.
    step : OneStep, optional
        What this is part of.

    Raises
    ------
    FileError
        If the folder cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileError(f"{folder} cannot be made: {error.strerror}") from error
    written = []
    with _part_of(step, folder) as own:
        for table in TABLES:
            if table in frames and len(frames[table]):
                path = folder / f"{table}.csv"
                own.write(path, csv_bytes(table, frames[table]))
                written.append(path)
    return written


def write_xlsx(path: Path, frames: Mapping[str, pd.DataFrame]) -> None:
    """Write a workbook with one sheet for each table that has records; text stays text.

    Raises
    ------
    FileError
        If the file cannot be written.
    """
    import openpyxl

    try:
        data = _workbook(openpyxl.Workbook(write_only=True), frames)
    except OSError as error:  # pages lie in files of their own until the book is saved
        raise FileError(f"{path} cannot be written: {why(error)}; nothing of it was changed") from error
    replace_file(path, data)


def _workbook(book: Any, frames: Mapping[str, pd.DataFrame]) -> bytes:
    for table in TABLES:
        if table not in frames or not len(frames[table]):
            continue
        names = _used(table, frames[table])
        rows = [
            [_xlsx_cell(name, value) for name, value in zip(names, values, strict=True)]
            for values in frames[table][names].itertuples(index=False)
        ]
        page = book.create_sheet(table)
        for row in (names, *rows):
            page.append(row)
    if not book.worksheets:
        book.create_sheet("blocks")
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def _xlsx_cell(name: str, value: Any) -> Any:
    if name in _SHARES and 0 < value < 1:
        return _signed(name, value)
    if isinstance(value, float):
        return None if value != value else (int(value) if value.is_integer() else value)
    text = guarded(re.sub(r"[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff]", "\ufffd", str(value)))
    if len(text) > MOST_LETTERS:
        raise FileError(
            f"{name} has {len(text):,} letters ({text[:30]!r}...), and a cell of a workbook holds {MOST_LETTERS:,}: export as CSV"
        )
    return text or None


def append_records(
    folder: Path, table: str, records: Sequence[Mapping[str, Any]], *, step: OneStep | None = None
) -> Path:
    """Add records to a folder: a new file takes the place of the old one in one step.

    The table's own file keeps its lines, separator and encoding to the letter; headings that
    are missing are added at the right.

    Parameters
    ----------
    folder : Path
        The folder.
    table : str
        Name of the table.
    records : sequence of mappings
        Values as the table holds them.
    step : OneStep, optional
        What this is part of.

    Raises
    ------
    FileError
        If the file cannot be read or written.
    """
    path = folder / f"{table}.csv"
    with _part_of(step, folder) as own:
        own.write(path, _with_records(path, own.read(path), table, records))
    return path


def _with_records(path: Path, old: bytes | None, table: str, records: Sequence[Mapping[str, Any]]) -> bytes:
    """Return a file with more records in it."""
    sheet = Worksheet(path.name, table, [], [], encoding="utf-8-sig") if old is None else read_csv(path, raw=old)
    names = [_column_of(heading, table, sheet) for heading in sheet.headings]
    wanted = [c for c in TABLES[table].names if any(cell_text(record.get(c)) for record in records)]
    new = [name for name in wanted if name not in names and _in_feet(name) not in names]
    if new or not sheet.headings:
        needed = [c.name for c in TABLES[table].columns if c.required and c.name not in names + new]
        return _rewrite(sheet, names, [*new, *needed], records)
    if not _fits(_lines(_cells(names, records), sheet.separator), sheet.encoding):
        return _rewrite(sheet, names, [], records)
    return _with_newline(old or b"", sheet.encoding) + _encoded(
        _lines(_cells(names, records), sheet.separator), sheet.encoding
    )


def fill_column(path: Path, table: str, column: str, values: Sequence[str], *, step: OneStep | None = None) -> Path:
    """Write values into the empty cells of a column of a CSV file; the column is added where it is not there.

    Parameters
    ----------
    path : Path
        A CSV file.
    table : str
        Which table it is.
    column : str
        The column.
    values : sequence of str
        One for each line that is read; empty where a cell stays as it is.
    step : OneStep, optional
        What this is part of.

    Raises
    ------
    FileError
        If the file cannot be read or written.
    """
    with _part_of(step, path.parent) as own:
        own.write(path, _with_column(read_csv(path, raw=own.read(path)), table, column, values))
    return path


def _with_column(sheet: Worksheet, table: str, column: str, values: Sequence[str]) -> bytes:
    """Return a file with a column filled."""
    read_table(sheet, table)  # leaves out headings that stand again, as when the lines were counted
    names = [_column_of(heading, table, sheet) for heading in sheet.headings]
    at = names.index(column) if column in names else len(names)
    headings = sheet.headings if at < len(names) else [*sheet.headings, column]
    rows: list[list[str]] = [list(headings)]
    for (_, cells), value in zip(sheet.lines, values, strict=True):
        line = ["" if cell is None else str(cell) for cell in cells] + [""] * (len(headings) - len(cells))
        rows.append([*line[:at], line[at] or guarded(value), *line[at + 1 :]])
    encoding = sheet.encoding if _fits(_lines(rows, sheet.separator), sheet.encoding) else "utf-8-sig"
    return _lines(rows, sheet.separator).encode(encoding)


def _fits(text: str, encoding: str) -> bool:
    """Whether an encoding has all the letters of a text."""
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True


def _column_of(heading: str, table: str, sheet: Worksheet) -> str:
    """Return the column that a heading of the file means; what is left out when read, is left empty."""
    plain = heading.casefold().replace(" ", "_")
    if plain.endswith("_ft"):
        return plain
    return "" if plain.startswith(("#", "x_")) else meant_by(heading, TABLES[table], sheet.headings)[0]


def _with_newline(old: bytes, encoding: str) -> bytes:
    text = old.decode(encoding, errors="replace")
    return old if text.endswith(("\n", "\r")) else old + _encoded("\r\n", encoding)


def _encoded(text: str, encoding: str) -> bytes:
    """Encode text that follows other text: without another byte order mark."""
    if encoding == "utf-8-sig":
        return text.encode("utf-8")
    if encoding == "utf-16":
        return text.encode("utf-16-le")
    return text.encode(encoding)


def _lines(rows: Sequence[Sequence[str]], separator: str) -> str:
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=separator, lineterminator="\r\n").writerows(rows)
    return out.getvalue()


def _cells(names: Sequence[str], records: Sequence[Mapping[str, Any]]) -> list[list[str]]:
    return [[_cell(name, record) for name in names] for record in records]


def _in_feet(name: str) -> str:
    return f"{name.removesuffix('_m')}_ft" if name.endswith("_m") else ""


def _cell(name: str, record: Mapping[str, Any]) -> str:
    metres = record.get(f"{name[:-3]}_m") if name.endswith("_ft") else None
    if isinstance(metres, (int, float)):  # the file is in feet
        return cell_text(round(metres / FOOT_M, 6))
    return _signed(name, record.get(name))


def _rewrite(sheet: Worksheet, names: Sequence[str], new: Sequence[str], records: Sequence[Mapping[str, Any]]) -> bytes:
    rows = [[*sheet.headings, *new]]
    rows += [["" if cell is None else str(cell) for cell in cells] + [""] * len(new) for _, cells in sheet.lines]
    rows += _cells([*names, *new], records)
    encoding = sheet.encoding if sheet.encoding in ("utf-8-sig", "utf-16") else "utf-8-sig"
    return _lines(rows, sheet.separator).encode(encoding)
