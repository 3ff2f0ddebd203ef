"""What a cell that is kept may be: as it is read again, not as it was first written.

What comes in is read generously and kept in one form. So a kept cell that has another form was not written by us, and
what would become of it further on is not known: it could be counted as something else without a word.
"""

import re
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from trunkwatch.vineyard.calendar import is_iso_date
from trunkwatch.vineyard.tables import TABLES, Column

__all__ = ["MOST_KEPT", "Wrong", "circle_in", "described", "expected_in", "first_wrong"]

#: Nothing that is written about vines is so large.
MOST_KEPT = 1e12
#: Text columns that hold a day or a year.
_DAYS_OR_YEARS = ("planted", "removed")
#: Columns that tell which record is meant.
_TOLD_BY = ("vineyard", "block", "row", "position", "survey", "date", "name", "id")


class Wrong(NamedTuple):
    """A cell that cannot be: which record of those looked at, and what was expected."""

    place: int
    expected: str


def first_wrong(column: Column, cells: Sequence[Any]) -> Wrong | None:
    """Return the first cell of a column that cannot be; None where all can.

    Parameters
    ----------
    column : Column
        What its cells may be.
    cells : sequence
        As the file has them: text, numbers, None for a number that is not written.
    """
    # Far fewer distinct cells than cells: of a million findings that saves seconds.
    bad = {cell for cell in set(cells) if not _can_be(column, cell)}
    if not bad:
        return None
    return Wrong(next(place for place, cell in enumerate(cells) if cell in bad), expected_in(column))


def _can_be(column: Column, cell: Any) -> bool:
    if column.is_number:
        return cell is None or (isinstance(cell, (int, float)) and (cell != cell or _number_can_be(column, cell)))
    if not isinstance(cell, str):
        return False
    if not cell:
        return not column.required
    if column.kind == "code":
        return cell in column.codes
    if column.kind == "date":
        return is_iso_date(cell)
    if column.name in _DAYS_OR_YEARS:
        return bool(re.fullmatch(r"\d{4}", cell)) or is_iso_date(cell)
    return True


def _number_can_be(column: Column, number: float) -> bool:
    return (
        abs(number) < MOST_KEPT
        and (column.low is None or number >= column.low)
        and (column.high is None or number <= column.high)
        and (column.kind != "whole" or float(number).is_integer())
    )


def expected_in(column: Column) -> str:
    """Say what the cells of a column may be."""
    if column.is_number:
        kind = "a whole number" if column.kind == "whole" else "a number"
        unit = f" of {column.unit}" if column.unit else ""
        if column.low is not None and column.high is not None:
            return f"{kind}{unit} from {column.low:g} to {column.high:g}"
        return f"{kind}{unit}" + (f", {column.low:g} or more" if column.low is not None else "")
    if column.kind == "code":
        return f"one of {', '.join(column.codes)}"
    if column.kind == "date":
        return "a real day as YYYY-MM-DD"
    return "a day as YYYY-MM-DD or a year" if column.name in _DAYS_OR_YEARS else f"text: {column.meaning}"


def described(table: str, record: Mapping[str, Any], number: int | None = None) -> str:
    """Say which record is meant: its running number, block, row, position, day and id, as far as it has them."""
    parts = [f"{name} {record[name]}" for name in _TOLD_BY if name in TABLES[table].names and record.get(name)]
    which = f"record {number}" if number is not None else "a record"
    return f"{which} of {table}" + (f" ({', '.join(parts)})" if parts else "")


def circle_in(ids: Sequence[str], corrects: Sequence[str]) -> list[str]:
    """Return the ids of a circle of corrections, where there is one: none of them says which record they are about."""
    parent = {name: target for name, target in zip(ids, corrects, strict=True) if target}
    done: set[str] = set()
    for start in parent:
        seen: dict[str, None] = {}
        at = start
        while at in parent and at not in done and at not in seen:
            seen[at] = None
            at = parent[at]
        if at in seen:
            chain = list(seen)
            return chain[chain.index(at) :]
        done |= seen.keys()
    return []
