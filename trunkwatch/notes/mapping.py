"""A foreign spreadsheet with its own columns: one line a plant, its status in one of them.

The user says which column is what. Each day (or survey) becomes a survey that covers every plant
with a status, and each plant whose status makes a case becomes a finding. The account tells what
was taken and what was left, and why.
"""

import datetime as dt
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

from trunkwatch.errors import FaultyNotesError, RecordError
from trunkwatch.notes.sheet import Sheet
from trunkwatch.vineyard.calendar import is_iso_date
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.rows_on_day import natural_key
from trunkwatch.vineyard.tables import frame_of

__all__ = ["ColumnMap", "Mapped", "map_sheet"]

_DAY = re.compile(r"(\d{1,2})[./ -](\d{1,2})[./ -](\d{4}|\d{2})\.?")
_TEST = re.compile(r"(>=|<=|>|<|!=|=)?\s*(.+)")
Line = tuple[int, dict[str, str]]


@dataclass(frozen=True, slots=True)
class ColumnMap:
    """What each column of the spreadsheet is.

    Attributes
    ----------
    row, position, block, date, bay, cultivar, rootstock : str
        Heading of the column; empty where there is none.
    block_label : str
        Label where there is no column of blocks.
    status : str
        Heading of the status column; empty for a plan of plants without status.
    case_when : str
        Which status makes a case: ``1``, ``Y``, ``>0``, ``>=2``, ``!=healthy``.
    missing_when : str
        Which status means no plant, likewise; empty: none does.
    symptom : str
        Symptom that a case is written down as.
    scale : str
        Name of the scale where the status is a class; the class itself is kept.
    day_zero : str
        Day from which a column of days counts.
    day : str
        Day of all lines where there is no date column.
    day_order : str
        How days are written in the date column: ``dmy`` (18.08.2026), ``mdy`` (8/18/2026); year, month and
        day where empty. It is never guessed.
    look, survey : str
        Look of the surveys, and their name (the day is added where there are several).
    order_within : tuple of str
        Columns within which the order of lines is the position, where there is no position column.
    row_spacing_m, vine_spacing_m, planted : float or None
        For the blocks that are made.
    """

    row: str = "row"
    position: str = "position"
    block: str = ""
    block_label: str = "imported"
    date: str = ""
    bay: str = ""
    cultivar: str = ""
    rootstock: str = ""
    status: str = ""
    case_when: str = "1"
    missing_when: str = ""
    symptom: str = "other"
    scale: str = ""
    day_zero: str = ""
    day: str = ""
    day_order: str = ""
    look: str = ""
    survey: str = "import"
    order_within: tuple[str, ...] = ()
    row_spacing_m: float | None = None
    vine_spacing_m: float | None = None
    planted: float | None = None


@dataclass(slots=True)
class Mapped:
    """Tables made from a spreadsheet, and the account of it."""

    frames: dict[str, pd.DataFrame]
    account: list[str] = field(default_factory=list)


def status_test(text: str) -> Callable[[str], bool]:
    """Return the test that a rule like ``>0`` or ``Y`` stands for.

    Raises
    ------
    RecordError
        If it cannot be read.
    """
    found = _TEST.fullmatch(text.strip())
    if not found:
        raise RecordError(f"{text!r} is no rule: a value, or one of > >= < <= != before a value")
    sign, wanted = found[1] or "=", found[2].strip()
    if sign in ("=", "!="):
        return lambda status: (_same(status, wanted)) == (sign == "=")
    limit = _number(wanted)
    if limit is None:
        raise RecordError(f"{text!r} compares with {wanted!r}, which is no number")
    tests: dict[str, Callable[[float], bool]] = {
        ">": lambda v: v > limit, ">=": lambda v: v >= limit, "<": lambda v: v < limit, "<=": lambda v: v <= limit,
    }  # fmt: skip
    compare = tests[sign]
    return lambda status: (value := _number(status)) is not None and compare(value)


def _number(text: str) -> float | None:
    try:
        return float(text.replace(",", "."))
    except ValueError:
        return None


def _same(status: str, wanted: str) -> bool:
    one, two = _number(status), _number(wanted)
    return one == two if one is not None and two is not None else status.casefold() == wanted.casefold()


def map_sheet(sheet: Sheet, told: ColumnMap, *, keep_good: bool = False) -> Mapped:
    """Turn a spreadsheet into blocks, rows, surveys, findings and plants.

    Parameters
    ----------
    sheet : Sheet
        Raw cells.
    told : ColumnMap
        What each column is.
    keep_good : bool
        Leave out lines whose day cannot be read, instead of refusing all.

    Returns
    -------
    Mapped

    Raises
    ------
    RecordError
        If a column named is not there, or nothing could be taken.
    FaultyNotesError
        If days cannot be read and `keep_good` is off.
    """
    lines = _lines(sheet, told)
    account: list[str] = []
    days = _days(lines, told, sheet)
    faults = [one for one in days.values() if isinstance(one, Fault)]
    if faults and not keep_good:
        raise FaultyNotesError(faults)
    plants = _located(lines, days, told, account)
    if not plants:
        raise RecordError(f"{sheet.file}: no line names a row and a position; nothing was taken")
    tables: dict[str, list[dict[str, Any]]] = {name: [] for name in ("blocks", "rows", "plants", "surveys", "symptoms")}
    _blocks(plants, told, tables)
    if told.status:
        _surveys(plants, sheet, told, tables, account)
    account.insert(
        0,
        f"{len(plants)} of {len(lines)} lines taken, {len(tables['blocks'])} block(s), {len(tables['rows'])} rows",
    )
    return Mapped({name: frame_of(name, records) for name, records in tables.items()}, account)


@dataclass(frozen=True, slots=True)
class _Plant:
    line: int
    block: str
    row: str
    position: int
    day: str
    status: str
    bay: str
    cells: Mapping[str, str]


def _lines(sheet: Sheet, told: ColumnMap) -> list[Line]:
    wanted = [
        told.row,
        told.status,
        told.block,
        told.date,
        told.bay,
        told.cultivar,
        told.rootstock,
        *told.order_within,
    ]
    wanted += [] if told.order_within else [told.position]
    for name in wanted:
        if name and name not in sheet.headings:
            raise RecordError(f"{sheet.file} has no column {name!r}; its columns: {', '.join(sheet.headings)}")
    return [
        (line, {h: "" if c is None else _text(c) for h, c in zip(sheet.headings, cells, strict=True)})
        for line, cells in sheet.lines
    ]


def _text(cell: Any) -> str:
    if isinstance(cell, float) and cell.is_integer():
        return str(int(cell))
    return cell.date().isoformat() if isinstance(cell, dt.datetime) else str(cell).strip()


def _located(lines: list[Line], days: Mapping[int, str | Fault], told: ColumnMap, account: list[str]) -> list[_Plant]:
    found: list[_Plant] = []
    left: dict[str, list[int]] = {"no row": [], "no position": [], "no day": []}
    orders: dict[tuple[str, ...], int] = {}
    for line, cells in lines:
        block = cells[told.block] if told.block else told.block_label
        row = cells[told.row]
        day = days.get(line, "")
        if not row or not block:
            left["no row"].append(line)
            continue
        if isinstance(day, Fault) or (told.status and not day):
            left["no day"].append(line)
            continue
        position = _position(cells, told, (block, row, day), orders)
        if position is None:
            left["no position"].append(line)
            continue
        status = cells[told.status] if told.status else ""
        found.append(_Plant(line, block, row, position, day, status, cells[told.bay] if told.bay else "", cells))
    account += [f"{len(which)} line(s) left: {why} (line {_numbers(which)})" for why, which in left.items() if which]
    return found


def _numbers(lines: list[int]) -> str:
    return ", ".join(str(line) for line in lines[:20]) + (" and more" if len(lines) > 20 else "")


def _position(
    cells: Mapping[str, str], told: ColumnMap, place: tuple[str, ...], orders: dict[tuple[str, ...], int]
) -> int | None:
    if not told.order_within:
        number = _number(cells[told.position])
        return int(number) if number is not None and number == int(number) else None
    orders[place] = orders.get(place, 0) + 1
    return orders[place]


def _days(lines: list[Line], told: ColumnMap, sheet: Sheet) -> dict[int, str | Fault]:
    return {line: _day(cells, told, sheet, line) for line, cells in lines} if told.status else {}


def _day(cells: Mapping[str, str], told: ColumnMap, sheet: Sheet, line: int) -> str | Fault:
    if not told.date:
        return told.day
    text = cells[told.date]
    if is_iso_date(text[:10]):
        return text[:10]
    parts = _DAY.fullmatch(text) if told.day_order else None
    if parts:
        day, month = (parts[1], parts[2]) if told.day_order == "dmy" else (parts[2], parts[1])
        year = parts[3] if len(parts[3]) == 4 else f"20{parts[3]}"
        if is_iso_date(iso := f"{year}-{month:0>2}-{day:0>2}"):
            return iso
    days = _number(text)
    if days is not None and told.day_zero:
        return (dt.date.fromisoformat(told.day_zero) + dt.timedelta(days=int(days))).isoformat()
    if not text:
        return ""
    orders = {"dmy": "day, month, year, as in 18.08.2026", "mdy": "month, day, year, as in 8/18/2026"}
    hint = " or name --day-zero for a column of days" if days is not None else ""
    return Fault("fault", "no day", sheet.file, line, told.date, text, orders.get(told.day_order, "YYYY-MM-DD") + hint)


def _blocks(plants: list[_Plant], told: ColumnMap, tables: dict[str, list[dict[str, Any]]]) -> None:
    extent: dict[tuple[str, str], list[_Plant]] = {}
    for plant in plants:
        extent.setdefault((plant.block, plant.row), []).append(plant)
    blocks = list(dict.fromkeys(block for block, _ in extent))
    for block in blocks:
        tables["blocks"].append({
            "block": block, "row_spacing_m": told.row_spacing_m, "vine_spacing_m": told.vine_spacing_m, "planted": told.planted,
        })  # fmt: skip
    for block, row in sorted(extent, key=lambda key: (blocks.index(key[0]), natural_key(key[1]))):
        here = sorted({plant.position for plant in extent[(block, row)]})
        tables["rows"].append({
            "block": block, "row": row, "first": here[0], "last": here[-1], "bay_ends": _bay_ends(extent[(block, row)]),
            "cultivar": next((p.cells[told.cultivar] for p in extent[(block, row)] if told.cultivar), ""),
        })  # fmt: skip
        there = set(here)
        for gap in range(here[0], here[-1] + 1):
            if gap not in there:
                tables["plants"].append({"block": block, "row": row, "position": str(gap), "reason": "missing"})
    if told.rootstock:
        for plant in {(p.block, p.row, p.position): p for p in plants}.values():
            tables["plants"].append({"block": plant.block, "row": plant.row, "position": str(plant.position),
                                     "rootstock": plant.cells[told.rootstock]})  # fmt: skip


def _bay_ends(plants: list[_Plant]) -> str:
    if not plants[0].bay:
        return ""
    last: dict[str, int] = {}
    for plant in plants:
        last[plant.bay] = max(plant.position, last.get(plant.bay, 0))
    return "; ".join(str(position) for position in sorted(last.values()))


def _surveys(
    plants: list[_Plant],
    sheet: Sheet,
    told: ColumnMap,
    tables: dict[str, list[dict[str, Any]]],
    account: list[str],
) -> None:
    is_case, is_gone = (
        status_test(told.case_when),
        status_test(told.missing_when) if told.missing_when else None,
    )
    days = sorted({plant.day for plant in plants})
    blank = gone = 0
    for day in days:
        seen: dict[tuple[str, str], list[int]] = {}
        cases = 0
        for plant in (p for p in plants if p.day == day):
            if not plant.status or (is_gone and is_gone(plant.status)):
                blank, gone = blank + (not plant.status), gone + bool(plant.status)
                if plant.status:
                    tables["plants"].append(
                        {
                            "block": plant.block,
                            "row": plant.row,
                            "position": str(plant.position),
                            "removed": day,
                        }
                    )
                continue
            seen.setdefault((plant.block, plant.row), []).append(plant.position)
            if is_case(plant.status):
                cases += 1
                tables["symptoms"].append({
                    "block": plant.block, "row": plant.row, "position": str(plant.position), "date": day, "symptom": told.symptom,
                    "class": plant.status if told.scale else "", "scale": told.scale, "read_from": f"{sheet.file}:{plant.line}",
                })  # fmt: skip
        name = told.survey if len(days) == 1 else f"{told.survey} {day}"
        for block in dict.fromkeys(block for block, _ in seen):
            covered = [_stretches(row, positions) for (other, row), positions in seen.items() if other == block]
            tables["surveys"].append({"survey": name, "block": block, "date": day, "look": told.look,
                                      "covered": "; ".join(covered), "purpose": "all"})  # fmt: skip
        account.append(f"{day}: {sum(len(p) for p in seen.values())} plants looked at, {cases} cases")
    if blank:
        account.append(f"{blank} line(s) with an empty {told.status}: not looked at")
    if gone:
        account.append(f"{gone} line(s) with {told.status} {told.missing_when}: no plant")


def _stretches(row: str, positions: list[int]) -> str:
    """Write positions as stretches of a row: 16:1..40; 16:43..60."""
    parts: list[list[int]] = []
    for position in sorted(set(positions)):
        if parts and position == parts[-1][1] + 1:
            parts[-1][1] = position
        else:
            parts.append([position, position])
    return "; ".join(f"{row}:{low}..{high}" for low, high in parts)
