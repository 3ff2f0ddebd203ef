"""Every version of the records of one position, typed and placed: what was corrected, taken back, and what stands."""

from collections.abc import Callable, Mapping
from enum import Enum
from typing import Any, NamedTuple

import pandas as pd

from trunkwatch.history.looks import read_looks
from trunkwatch.history.places import Cell
from trunkwatch.history.reading import BlockReading, Reader, planting_of
from trunkwatch.history.written import Finding, Planting, Work
from trunkwatch.vineyard.calendar import is_iso_date
from trunkwatch.vineyard.tables import records_of

__all__ = ["Fate", "Version", "versions_at"]

#: Cell of a version that names no vine of the block.
NOWHERE: Cell = (-1, -1)


class Fate(Enum):
    """What became of a version: corrected where another of its root stands, taken back where none does."""

    STANDS = "stands"
    CORRECTED = "corrected"
    TAKEN_BACK = "taken back"
    TAKES_BACK = "takes back"


class Version(NamedTuple):
    """One version of a record.

    Attributes
    ----------
    table : str
    record : Finding, Work or Planting
        Typed; its cell is (-1, -1) where it names no vine.
    fate : Fate
    corrects, recorded_at, device
        As written.
    """

    table: str
    record: Finding | Work | Planting
    fate: Fate
    corrects: str
    recorded_at: str
    device: str


def versions_at(reading: BlockReading, tables: Mapping[str, pd.DataFrame], cell: Cell) -> list[Version]:
    """Return every version of the records of a position, and of records that were corrected from or to it.

    Parameters
    ----------
    reading : BlockReading
        The block's records that stand.
    tables : mapping of plants, symptoms and work to DataFrame
        All versions of the block's records.
    cell : (int, int)
    """
    reader = Reader(reading.records, reading.grid)
    reader.read()
    headers = [look for look, _ in read_looks(reading.records.surveys, reading.places, reading.hemisphere)]
    looks = [*reading.looks]
    makers: dict[str, tuple[Callable[[dict[str, Any]], Cell | None], Callable[[Cell, dict[str, Any]], Any]]] = {
        "plants": (reader.cell_of_planting, planting_of),
        "symptoms": (
            lambda line: reader.cell_of_finding(line, headers),
            lambda where, line: reader.finding_of(where, line, looks),
        ),
        "work": (reader.cell_of_work, reader.work_of),
    }
    found = []
    for table, (cell_of, typed) in makers.items():
        lines = [line for line in records_of(tables[table]) if table == "plants" or is_iso_date(str(line["date"]))]
        cells = {str(line["id"]): cell_of(line) for line in lines}
        root = _roots(lines)
        here = {root[name] for name, where in cells.items() if where == cell}
        # What stands was asked of the whole vineyard: a correction may have moved a record to another block.
        stands = set(getattr(reading.records, table)["id"])
        left = {root[name] for name in stands if name in root}
        gone = {root[line["id"]] for line in lines if line["void"] == "yes"} - left
        found += [
            Version(
                table,
                typed(cells[line["id"]] or NOWHERE, line),
                _fate(line, stands, gone, root[line["id"]]),
                line["corrects"],
                line["recorded_at"],
                line["device"],
            )
            for line in lines
            if root[line["id"]] in here
        ]
    return found


def _roots(lines: list[dict[str, Any]]) -> dict[str, str]:
    """Return the id to which the corrections of each record lead, by its own."""
    root = {line["id"]: line["corrects"] or line["id"] for line in lines}
    for name in tuple(root):
        seen = {name}
        while root.get(root[name], root[name]) != root[name] and root[name] not in seen:
            seen.add(root[name])
            root[name] = root[root[name]]
    return root


def _fate(line: Mapping[str, Any], stands: set[str], gone: set[str], root: str) -> Fate:
    if line["void"] == "yes":
        return Fate.TAKES_BACK
    if line["id"] in stands:
        return Fate.STANDS
    return Fate.TAKEN_BACK if root in gone else Fate.CORRECTED
