"""One sheet of raw cells as a table of the vineyard, with everything that is wrong in it."""

import difflib
from dataclasses import replace
from typing import Any

import pandas as pd

from trunkwatch.spreadsheets.cells import Said, read_cell
from trunkwatch.spreadsheets.guard import unguarded
from trunkwatch.spreadsheets.headings import is_second_table, meant_by, tidy
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.vineyard.faults import DayFault, Fault
from trunkwatch.vineyard.tables import TABLES, Column, Table, frame_of

__all__ = ["read_table"]

#: So many temperatures that cannot be are slips, each named by its line; more are another unit.
_FEW_HOT = 2
FOOT_M = 0.3048  # exactly, international foot
_SHORT = {"degrees": "deg", "min": "minutes", "C": "°c"}


def read_table(sheet: Worksheet, table_name: str) -> tuple[pd.DataFrame, list[Fault]]:
    """Read a sheet whose headings are those of a table.

    Parameters
    ----------
    sheet : Worksheet
        Raw cells.
    table_name : str
        Which table it is.

    Returns
    -------
    frame : DataFrame
        Good lines only, columns as in `trunkwatch.vineyard.tables`, `read_from` filled.
    faults : list of Fault
        Faults and notes, in the order of lines.
    """
    table = TABLES[table_name]
    faults = list(sheet.faults)
    columns = _columns(sheet, table, faults)
    _without_headings(sheet, faults)
    if not sheet.headings and not faults:
        faults.append(Fault("note", "the file is empty", sheet.file))
    missing = [
        c.name for c in table.columns if c.required and c.name not in {found.name for found, _ in columns.values()}
    ]
    if sheet.headings and missing:
        faults.append(
            Fault(
                "fault",
                f"the heading {missing[0]} is missing",
                sheet.file,
                sheet.heading_at,
                expected=", ".join(c.name for c in table.columns if c.required),
                lines=len(sheet.lines),
            )
        )
        return frame_of(table_name, []), faults
    values = {number: _column(sheet, number, column, factor, faults) for number, (column, factor) in columns.items()}
    if table_name == "weather" and (hot := [fault for fault in faults if _is_hot(fault)])[_FEW_HOT:]:
        told = Fault(
            "fault",
            f"{len(hot)} temperatures are warmer than any ever measured on earth: this looks like Fahrenheit",
            sheet.file,
            hot[0].line,
            hot[0].column,
            hot[0].value,
            "Celsius; `trunkwatch load ... --table weather --units F` turns it",
            lines=len(sheet.lines),
        )
        return frame_of(table_name, []), [*(fault for fault in faults if not _is_hot(fault)), told]
    bad = {fault.line for fault in faults if fault.weight == "fault" and fault.line}
    if table_name in ("blocks", "rows"):
        faults[:] = _about(
            table_name, sheet, {columns[number][0].name: found for number, found in values.items()}, faults
        )
    records = []
    for place, (line, _) in enumerate(sheet.lines):
        if line in bad:
            continue
        record: dict[str, Any] = {columns[number][0].name: found[place] for number, found in values.items()}
        record["read_from"] = record.get("read_from") or f"{sheet.file}:{line}"
        records.append(record)
    faults.sort(key=lambda fault: (fault.line, fault.column))
    return frame_of(table_name, records), faults


def _is_hot(fault: Fault) -> bool:
    """Whether a cell of the weather is too warm to be Celsius; line by line the rest of its winter would pass for a warm one."""
    if fault.weight != "fault" or fault.column not in ("t_min_c", "t_max_c"):
        return False
    most = TABLES["weather"].column(fault.column).high
    try:
        return most is not None and float(fault.value.replace(",", ".")) > most
    except ValueError:
        return False


def _about(table_name: str, sheet: Worksheet, values: dict[str, list[Any]], faults: list[Fault]) -> list[Fault]:
    """Say of which block or row a faulty line is: what names it waits for it."""
    places = {line: place for place, (line, _) in enumerate(sheet.lines)}
    names = ("block",) if table_name == "blocks" else ("block", "row")
    return [
        replace(fault, about=tuple(str(values[name][places[fault.line]]) for name in names))
        if fault.weight == "fault" and fault.line in places and all(name in values for name in names)
        else fault
        for fault in faults
    ]


def _without_headings(sheet: Worksheet, faults: list[Fault]) -> None:
    """Leave out headings that are repeated, and all from where a second table begins."""
    names = [tidy(heading) for heading in sheet.headings]
    kept: list[tuple[int, list[Any]]] = []
    for place, (line, cells) in enumerate(sheet.lines):
        if not is_second_table(cells):
            kept.append((line, cells))
        elif [tidy(cell) for cell in cells] == names:
            faults.append(Fault("note", "the headings stand here again: line left out", sheet.file, line))
        else:
            faults[:] = [fault for fault in faults if fault.line < line]
            faults.append(
                Fault(
                    "fault",
                    "a second table begins here",
                    sheet.file,
                    line,
                    value=", ".join(str(c) for c in cells if c),
                    expected="each table on a sheet or in a file of its own",
                    lines=len(sheet.lines) - place,
                )
            )
            break
    sheet.lines = kept


def _columns(sheet: Worksheet, table: Table, faults: list[Fault]) -> dict[int, tuple[Column, float]]:
    """Match headings with columns; spacings and distances may be given in feet."""
    found: dict[int, tuple[Column, float]] = {}
    taken: set[str] = set()
    for number, heading in enumerate(sheet.headings):
        at = (sheet.file, sheet.heading_at, heading)
        factor = 1.0
        plain = heading.casefold().replace(" ", "_")
        if not heading or heading.startswith("#") or plain.startswith("x_"):
            if heading:
                faults.append(Fault("note", "column left out", *at))
            continue
        name, unit = meant_by(heading, table, sheet.headings)
        feet = plain if plain.endswith("_ft") else f"{tidy(heading)}_ft" if unit == "ft" else tidy(heading)
        if feet.endswith("_ft") and f"{feet[:-3].removesuffix('_m')}_m" in table.names:
            name, factor, unit = f"{feet[:-3].removesuffix('_m')}_m", FOOT_M, ""
            faults.append(Fault("note", "feet were turned into meters", *at))
        if not name:
            near = difflib.get_close_matches(tidy(heading), table.names, n=1, cutoff=0.7)
            expected = f"{near[0]} perhaps" if near else "a column of the table; begin its name with x_ to keep it out"
            faults.append(Fault("fault", f"unknown column in {table.name}", *at, expected=expected, lines=0))
            continue
        known = {_SHORT.get(table.column(name).unit, table.column(name).unit), table.column(name).unit.casefold()}
        if unit and table.column(name).is_number and unit not in known:
            faults.append(
                Fault("fault", f"{name} in an unknown unit", *at, expected=table.column(name).unit or "no unit")
            )
            continue
        if name != plain and factor == 1.0:
            faults.append(Fault("note", f"read as {name}", *at))
        if name in taken:
            faults.append(
                Fault("fault", "the heading stands twice", *at, expected="each column once, one table beside no other")
            )
            continue
        taken.add(name)
        found[number] = (table.column(name), factor)
    return found


def _column(sheet: Worksheet, number: int, column: Column, factor: float, faults: list[Fault]) -> list[Any]:
    """Read one column; equal cells are read once."""
    known: dict[Any, Said] = {}
    out: list[Any] = []
    noted: dict[str, int] = {}
    for line, cells in sheet.lines:
        raw = cells[number]
        if isinstance(raw, str):
            raw = unguarded(raw)
        key = (type(raw), raw)
        if key not in known:
            known[key] = read_cell(column, raw)
        said = known[key]
        if said.weight == "fault":
            kind = DayFault if said.days else Fault
            faults.append(kind("fault", said.problem, sheet.file, line, column.name, _shown(raw), said.expected))
        elif said.weight == "note":
            noted[said.problem] = noted.get(said.problem, 0) + 1
            if noted[said.problem] <= 3:  # the same remark on every line would bury the others
                faults.append(Fault("note", said.problem, sheet.file, line, column.name, _shown(raw)))
        value = said.value
        out.append(value * factor if isinstance(value, float) and factor != 1.0 else value)
    for problem, count in noted.items():
        if count > 3:
            faults.append(
                Fault(
                    "note",
                    f"{problem}: {count - 3} more lines of this column alike",
                    sheet.file,
                    column=column.name,
                )
            )
    return out


def _shown(raw: Any) -> str:
    text = "" if raw is None else str(raw)
    return text if len(text) <= 60 else f"{text[:57]}..."
