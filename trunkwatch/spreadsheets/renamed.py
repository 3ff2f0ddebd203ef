"""A sheet with columns and words of its own, turned into one that `read_table` takes."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.cells import DayOrder, day_as_told
from trunkwatch.spreadsheets.headings import meant_by
from trunkwatch.spreadsheets.located import heading_of, text_of
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.vineyard.tables import TABLES

__all__ = ["TableMap", "renamed"]


@dataclass(frozen=True, slots=True)
class TableMap:
    """What a sheet of one table is.

    Attributes
    ----------
    table : str
        Which table its lines are: symptoms, surveys, plants, work ...
    columns : mapping of str to str
        Column of the table -> heading of the sheet.
    words : mapping of str to str
        Word in a cell -> code, for columns of codes: dead cordon -> dead_arm.
    constants : mapping of str to str
        Column -> value of all lines, where the sheet has no such column.
    day_order : {"", "day", "month"}
        Which comes first in days like 03/04/2026; "" refuses them.
    """

    table: str
    columns: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, str] = field(default_factory=dict)
    constants: Mapping[str, str] = field(default_factory=dict)
    day_order: DayOrder = ""


def renamed(sheet: Worksheet, told: TableMap) -> Worksheet:
    """Return the sheet with the headings and words of the table.

    Once columns are named, headings that mean no column are left out (with a note), not refused.

    Raises
    ------
    RecordError
        If the table has no such column, or the sheet no such heading.
    """
    table = TABLES[told.table]
    headings = list(sheet.headings)
    for name, heading in told.columns.items():
        if name not in table.names:
            raise RecordError(f"{told.table} has no column {name!r}; it has {', '.join(table.names)}")
        headings[sheet.headings.index(heading_of(heading, sheet))] = name
    if told.columns:
        for number, heading in enumerate(headings):
            name = meant_by(heading, table, headings)[0] if heading and heading not in told.columns else ""
            taken = name in told.columns
            if heading and heading not in told.columns and (taken or not name) and not heading.startswith("#"):
                headings[number] = f"x_{heading}"
    there = {meant_by(heading, table, headings)[0] for heading in headings}
    added = {
        name: value for name, value in told.constants.items() if value and name in table.names and name not in there
    }
    lines = sheet.lines
    if told.words or told.day_order:
        kinds = _kinds(headings, told)
        lines = [(line, _translated(cells, kinds, told)) for line, cells in lines]
    if added:
        lines = [(line, [*cells, *added.values()]) for line, cells in lines]
    return replace(sheet, headings=[*headings, *added], lines=lines, faults=list(sheet.faults))


def _kinds(headings: list[str], told: TableMap) -> list[str]:
    table = TABLES[told.table]
    names = [meant_by(heading, table, headings)[0] for heading in headings]
    return [table.column(name).kind if name else "" for name in names]


def _translated(cells: list[Any], kinds: list[str], told: TableMap) -> list[Any]:
    words = {word.casefold(): code for word, code in told.words.items()}
    out = list(cells)
    for number, kind in enumerate(kinds):
        cell = cells[number]
        if kind == "code" and cell is not None:
            out[number] = words.get(text_of(cell).casefold(), cell)
        elif kind == "date" and isinstance(cell, str):
            out[number] = day_as_told(cell, told.day_order)
    return out
