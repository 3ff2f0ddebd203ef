"""Records in the bytes of a damaged file that no question reaches: a page above them is gone, or what says where they begin.

The bytes are looked through for what could be a record of a table as SQLite writes it (its database file format, section
2.1). It counts only where its seal says that it is a record of that table under that running number: nothing is guessed.
What is spread over several pages is not found.
"""

import mmap
import re
import struct
from collections.abc import Collection, Sequence
from typing import Any

from trunkwatch.store.seal import SEAL, seals_of
from trunkwatch.vineyard.tables import TABLES

__all__ = ["raw_records"]

#: Bytes of numbers by their kind; 7 is a real number, 8 and 9 are 0 and 1.
_WIDTHS = {1: 1, 2: 2, 3: 3, 4: 4, 5: 6, 6: 8, 8: 0, 9: 0}
#: A number of one byte ends below, and so does the head of a record with our columns.
_LOW = 128
_MOST_DIGITS = 8
Found = dict[int, dict[str, Any]]
Raw = bytes | mmap.mmap


def raw_records(raw: Raw, table: str, names: Sequence[str], wanted: Collection[int] | None) -> Found:
    """Return records of a table that stand anywhere in the bytes of a file, by running number.

    Parameters
    ----------
    raw : bytes or mmap
        The whole file.
    table : str
        Name of the table.
    names : sequence of str
        All its columns in their order in the file; the running number is the first.
    wanted : collection of int or None
        Running numbers that are looked for; None for all.
    """
    if not names or names[0] != "number" or SEAL not in names:
        return {}
    numbers, rows = [], []
    least = names.index(SEAL) + 1
    # A record begins with the size of its head, and with the kind of its first cell, which is kept apart from it.
    for place in re.finditer(b"(?=[%b]\x00)" % re.escape(bytes(range(least + 1, _LOW))), raw, flags=re.DOTALL):
        at = place.start()
        number = _number_before(raw, at)
        if wanted is not None and number not in wanted:
            continue
        cells = _cells(raw, at, least, len(names))
        if cells is not None:
            numbers.append(number)
            rows.append(cells)
    return _sealed_ones(table, names, numbers, rows)


def _sealed_ones(table: str, names: Sequence[str], numbers: list[int], rows: list[list[Any]]) -> Found:
    if not rows:
        return {}
    ours = TABLES[table]
    told = dict(zip(names, zip(*rows, strict=True), strict=True))
    cells = {
        column.name: [_as_kept(cell, is_number=column.is_number) for cell in told[column.name]]
        for column in ours.columns
        if column.name in told
    }
    right = seals_of(table, cells, numbers).tolist()
    return {
        number: {name: listed[place] for name, listed in cells.items()}
        for place, (number, seal, wanted) in enumerate(zip(numbers, told[SEAL], right, strict=True))
        if seal == wanted
    }


def _as_kept(cell: Any, *, is_number: bool) -> Any:
    if is_number:
        return float(cell) if isinstance(cell, (int, float)) else None
    return cell if isinstance(cell, str) else ""


def _number_before(raw: Raw, at: int) -> int:
    """Return the running number that ends before a place: seven bits a byte, all but the last one marked."""
    start = at - 1
    while start > 0 and raw[start - 1] >= _LOW and at - start < _MOST_DIGITS:
        start -= 1
    number = 0
    for digit in raw[max(start, 0) : at]:
        number = number << 7 | digit & 127
    return number


def _cells(raw: Raw, at: int, least: int, most: int) -> list[Any] | None:
    """Return the cells of what could be a record that begins at a place; None where it is none."""
    kinds, place, end = [], at + 1, at + raw[at]
    while place < end:
        kind, place = _digits(raw, place)
        kinds.append(kind)
    if place != end or not least <= len(kinds) <= most:
        return None
    cells: list[Any] = []
    for kind in kinds:
        cell, place = _cell(raw, place, kind)
        if cell is _NONE:
            return None
        cells.append(cell)
    return cells + [None] * (most - len(cells))


_NONE = object()


def _digits(raw: Raw, place: int) -> tuple[int, int]:
    number = 0
    for digit in raw[place : place + _MOST_DIGITS]:
        number, place = number << 7 | digit & 127, place + 1
        if digit < _LOW:
            break
    return number, max(place, 1)


def _cell(raw: Raw, place: int, kind: int) -> tuple[Any, int]:
    if kind == 0:
        return None, place
    if kind == 7:
        return (struct.unpack_from(">d", raw, place)[0], place + 8) if place + 8 <= len(raw) else (_NONE, place)
    if kind in _WIDTHS:
        width = _WIDTHS[kind]
        number = kind - 8 if kind >= 8 else int.from_bytes(raw[place : place + width], "big", signed=True)
        return number, place + width
    if kind < 13 or not kind % 2:  # bytes, which no column of ours holds, or a kind that there is not
        return _NONE, place
    size = (kind - 13) // 2
    text = raw[place : place + size]
    try:
        return (text.decode() if len(text) == size else _NONE), place + size
    except UnicodeDecodeError:
        return _NONE, place
