"""Cells that were typed one by one, on the command line or on a page: read as those of a file, with the same faults."""

from collections.abc import Iterable, Mapping
from typing import Any

from trunkwatch.errors import FaultyNotesError
from trunkwatch.spreadsheets.cells import read_cell
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.tables import TABLES

__all__ = ["read_typed"]


def read_typed(table: str, values: Mapping[str, Any], columns: Iterable[str] | None = None) -> dict[str, Any]:
    """Return a record, or some of its cells, as the table holds them.

    Parameters
    ----------
    table : str
        Name of the table.
    values : mapping
        What was typed, by column.
    columns : iterable of str, optional
        Columns to read; all of the table where left out.

    Raises
    ------
    FaultyNotesError
        If a cell cannot be read.
    """
    wanted = None if columns is None else set(columns)
    record, faults = {}, []
    for column in TABLES[table].columns:
        if wanted is not None and column.name not in wanted:
            continue
        value = values.get(column.name)
        said = read_cell(column, value if isinstance(value, (str, int, float, type(None))) else str(value))
        if said.weight == "fault":
            shown = "" if value is None else str(value)[:80]
            faults.append(Fault("fault", said.problem, column=column.name, value=shown, expected=said.expected))
        record[column.name] = said.value
    if faults:
        raise FaultyNotesError(faults)
    return record
