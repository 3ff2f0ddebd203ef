"""The rows that a block has on a day, in the order of the ground."""

import datetime as dt
import math
import re
from collections.abc import Sequence
from itertools import pairwise

import pandas as pd

from trunkwatch.errors import RecordError
from trunkwatch.vineyard.calendar import is_iso_date
from trunkwatch.vineyard.one_line import line_numbers, refuse_strangers, share_a_line
from trunkwatch.vineyard.tables import Record, number_in, records_of

__all__ = ["natural_key", "ordered_rows", "rows_valid_on"]


def natural_key(label: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key that puts 2 before 10 and 12A after 12."""
    return tuple(
        (0, int(piece), "") if piece.isdecimal() and len(piece) < 1000 else (1, 0, piece.casefold())
        for piece in re.findall(r"\d+|\D+", label)
    )


def rows_valid_on(block: str, rows: pd.DataFrame, on: str | None = None) -> list[Record]:
    """Return the row records of a block that hold on a day, each label once.

    Rows of other blocks are passed over. Where no day (YYYY-MM-DD) is given it is the last state
    on record: the day of the last change after which there still are rows.

    Raises
    ------
    RecordError
        If no row holds on that day, a label stands twice, or a day cannot be read.
    """
    own = records_of(rows[rows["block"] == block])
    if not own:
        raise RecordError(f"block {block!r} has no rows; expected: a line for each in rows: block, row, first, last")
    if on is not None and not is_iso_date(on):
        raise RecordError(f"block {block!r}: the day is {on!r}; expected: YYYY-MM-DD")
    spans = [_span(block, record) for record in own]
    changes = {"0001-01-01", *(since for since, _ in spans), *(until for _, until in spans)}
    for day in [on] if on is not None else sorted(changes, reverse=True):
        valid = [record for record, (since, until) in zip(own, spans, strict=True) if since <= day < until]
        if valid:
            return _each_once(block, valid)
    raise RecordError(f"block {block!r} has no rows on {on}; expected: valid_from and valid_to around that day")


def _span(block: str, record: Record) -> tuple[str, str]:
    """Return the first day of a label and the first day after it."""
    days = []
    for column in ("valid_from", "valid_to"):
        text = str(record.get(column) or "")
        if text and not is_iso_date(text):
            raise RecordError(f"block {block!r}, row {record['row']!r}: {column} is {text!r}; expected: YYYY-MM-DD")
        days.append(text)
    since, until = days
    if since and until and until < since:
        raise RecordError(
            f"block {block!r}, row {record['row']!r}: valid_to is {until!r}; expected: {since} (valid_from) or later"
        )
    after = (dt.date.fromisoformat(until) + dt.timedelta(days=1)).isoformat() if until else "9999-12-31"
    return since or "0001-01-01", after


def _each_once(block: str, records: Sequence[Record]) -> list[Record]:
    seen: set[str] = set()
    for record in records:
        label = str(record["row"]).strip()
        if not label:
            raise RecordError(f"block {block!r} has a row whose row is ''; expected: the label on the end post")
        if label in seen:
            raise RecordError(f"block {block!r}: row is {label!r} twice; expected: each label once on the same day")
        seen.add(label)
    return [{**record, "row": str(record["row"]).strip()} for record in records]


def ordered_rows(block: str, records: Sequence[Record]) -> list[Record]:
    """Put rows in the order of the ground: by row_order, else by across_m, else by label.

    Rows with the same row_order (or across_m) stand on one line of posts, one behind the other: by start_m
    where all of them have one, else by label.

    Raises
    ------
    RecordError
        If only some rows have a row_order or across_m, two rows that are not parts of one row have the
        same, or the two columns contradict each other.
    """
    by_order, by_metres = (_all_or_none(block, records, column) for column in ("row_order", "across_m"))
    column = "row_order" if by_order else "across_m" if by_metres else ""
    ordered = sorted(
        records, key=lambda record: (number_in(record, column) if column else 0.0, natural_key(record["row"]))
    )
    ordered = _along_lines(ordered)
    for before, after in pairwise(ordered):
        together = share_a_line(before, after)
        if together:
            refuse_strangers(block, before, after)
        across = [number_in(record, "across_m") for record in (before, after)]
        if not (by_order and by_metres) or (across[0] == across[1] if together else across[0] < across[1]):
            continue
        wanted = f"{across[0]:g} as in row" if together else f"more than the {across[0]:g} of row"
        told = "which has the same row_order" if together else "which row_order puts before it"
        raise RecordError(
            f"block {block!r}, row {after['row']!r}: across_m is {across[1]:g}; expected: {wanted} {before['row']!r}, {told}"
        )
    return ordered


def _along_lines(ordered: Sequence[Record]) -> list[Record]:
    """Put the rows of each line of posts one behind the other."""
    numbers = line_numbers(ordered)
    found: list[Record] = []
    for number in dict.fromkeys(numbers):
        own = [record for record, at in zip(ordered, numbers, strict=True) if at == number]
        starts = [number_in(record, "start_m") for record in own]
        known = not any(math.isnan(start) for start in starts)
        found += [own[place] for place in sorted(range(len(own)), key=starts.__getitem__)] if known else own
    return found


def _all_or_none(block: str, records: Sequence[Record], column: str) -> bool:
    empty = [record["row"] for record in records if math.isnan(number_in(record, column))]
    if empty and len(empty) < len(records):
        raise RecordError(
            f"block {block!r}, row {empty[0]!r}: {column} is ''; expected: a number, "
            "since other rows have one (or none in any row)"
        )
    return not empty
