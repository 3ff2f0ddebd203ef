"""A foreign spreadsheet with its own columns: one line a plant, its status in one of them.

The user says which column is what. Each day (or survey) becomes a survey that covers every plant
with a status, and each plant whose status makes a case becomes a finding. The account tells what
was taken and what was left, and why.
"""

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.cells import DayOrder
from trunkwatch.spreadsheets.located import Known, ListedPlant, check_days, heading_of, located, number_of, text_of
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.rows_on_day import natural_key
from trunkwatch.vineyard.tables import frame_of

__all__ = ["ColumnMap", "Mapped", "map_sheet"]

_TEST = re.compile(r"(>=|<=|>|<|!=|=)?\s*(.+)")
#: Values of the status column that the account lists.
_LISTED = 12


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
    day_order : {"", "day", "month"}
        Which comes first in days like 03/04/2026; "" refuses them.
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
    day_order: DayOrder = ""
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
    faults: list[Fault] = field(default_factory=list)


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
    limit = number_of(wanted)
    if limit is None:
        raise RecordError(f"{text!r} compares with {wanted!r}, which is no number")
    tests: dict[str, Callable[[float], bool]] = {
        ">": lambda v: v > limit, ">=": lambda v: v >= limit, "<": lambda v: v < limit, "<=": lambda v: v <= limit,
    }  # fmt: skip
    compare = tests[sign]
    return lambda status: (value := number_of(status)) is not None and compare(value)


def _same(status: str, wanted: str) -> bool:
    one, two = number_of(status), number_of(wanted)
    return one == two if one is not None and two is not None else status.casefold() == wanted.casefold()


def map_sheet(sheet: Worksheet, told: ColumnMap, known: Known | None = None) -> Mapped:
    """Turn a spreadsheet into blocks, rows, surveys, findings and plants.

    Parameters
    ----------
    sheet : Worksheet
        Raw cells.
    told : ColumnMap
        What each column is.
    known : mapping, optional
        Rows that are there already: (block, row) to first and last position. They and their blocks
        are left as they are, and positions that the sheet leaves out are no gaps in them.

    Returns
    -------
    Mapped
        Tables from the good lines, and the faults of the others.

    Raises
    ------
    RecordError
        If a column named is not there, a day or a rule of the map cannot be read, or no line says anything.
    """
    there = known or {}
    told = _as_written(sheet, told)
    check_days(told)
    account: list[str] = []
    plants, faults = located(sheet, told, there, account)
    faults += _unreadable(plants, sheet, told)
    bad = {fault.line for fault in faults if fault.weight == "fault"}
    plants = [plant for plant in plants if plant.line not in bad]
    if not plants and not bad:
        raise RecordError(f"{sheet.file}: no line names a row and a position; nothing was taken")
    tables: dict[str, list[dict[str, Any]]] = {name: [] for name in ("blocks", "rows", "plants", "surveys", "symptoms")}
    _blocks(plants, told, tables, there, account)
    if told.status:
        _surveys(plants, sheet, told, tables, account)
    blocks = {plant.block for plant in plants}
    rows = {(plant.block, plant.row) for plant in plants}
    account.insert(0, f"{len(plants)} of {len(sheet.lines)} lines taken, {len(blocks)} block(s), {len(rows)} rows")
    return Mapped({name: frame_of(name, records) for name, records in tables.items()}, account, faults)


def _as_written(sheet: Worksheet, told: ColumnMap) -> ColumnMap:
    """Return the map with headings as the sheet writes them."""
    names = ["row", "status", "block", "date", "bay", "cultivar", "rootstock"] + (
        [] if told.order_within else ["position"]
    )
    found: dict[str, Any] = {name: heading_of(getattr(told, name), sheet) for name in names if getattr(told, name)}
    return replace(told, **found, order_within=tuple(heading_of(name, sheet) for name in told.order_within))


def _unreadable(plants: Sequence[ListedPlant], sheet: Worksheet, told: ColumnMap) -> list[Fault]:
    """Name statuses that a rule like >0 cannot compare."""
    if not told.status or told.case_when.strip()[:1] not in (">", "<"):
        return []
    is_gone = status_test(told.missing_when) if told.missing_when else None
    return [
        Fault("fault", "the status is no number", sheet.file, plant.line, told.status, plant.status,
              f"a number, as {told.case_when} asks; empty where the vine was not looked at")
        for plant in plants
        if plant.status and number_of(plant.status) is None and not (is_gone and is_gone(plant.status))
    ]  # fmt: skip


def _blocks(
    plants: Sequence[ListedPlant],
    told: ColumnMap,
    tables: dict[str, list[dict[str, Any]]],
    there: Known,
    account: list[str],
) -> None:
    """Make the blocks and rows that are not there yet."""
    extent: dict[tuple[str, str], list[ListedPlant]] = {}
    for plant in plants:
        extent.setdefault((plant.block, plant.row), []).append(plant)
    blocks = list(dict.fromkeys(block for block, _ in extent))
    old = {block for block, _ in there}
    tables["blocks"] += [
        {"block": block, "row_spacing_m": told.row_spacing_m, "vine_spacing_m": told.vine_spacing_m, "planted": told.planted}
        for block in blocks if block not in old
    ]  # fmt: skip
    gaps = 0
    for block, row in sorted(extent, key=lambda key: (blocks.index(key[0]), natural_key(key[1]))):
        if (block, row) in there:
            continue
        here = sorted({plant.position for plant in extent[(block, row)]})
        tables["rows"].append({
            "block": block, "row": row, "first": here[0], "last": here[-1], "bay_ends": _bay_ends(extent[(block, row)]),
            "cultivar": next((text_of(p.cells[told.cultivar]) for p in extent[(block, row)] if told.cultivar), ""),
        })  # fmt: skip
        if block in old:
            account.append(f"row {row} is new in block {block}")
        missing = sorted(set(range(here[0], here[-1] + 1)) - set(here))
        gaps += len(missing)
        for gap in missing:
            tables["plants"].append({"block": block, "row": row, "position": str(gap), "reason": "missing"})
    if gaps:
        account.append(f"{gaps} position(s) that no line names are taken for gaps: no vine stands there")
    if told.rootstock:
        for plant in {(p.block, p.row, p.position): p for p in plants}.values():
            tables["plants"].append({"block": plant.block, "row": plant.row, "position": str(plant.position),
                                     "rootstock": text_of(plant.cells[told.rootstock])})  # fmt: skip


def _bay_ends(plants: Sequence[ListedPlant]) -> str:
    if not plants[0].bay:
        return ""
    last: dict[str, int] = {}
    for plant in plants:
        last[plant.bay] = max(plant.position, last.get(plant.bay, 0))
    return "; ".join(str(position) for position in sorted(last.values()))


def _surveys(
    plants: Sequence[ListedPlant],
    sheet: Worksheet,
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
                            "read_from": f"{sheet.file}:{plant.line}",
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
            line = next(p.line for p in plants if p.day == day and p.block == block)
            tables["surveys"].append({"survey": name, "block": block, "date": day, "look": told.look,
                                      "covered": "; ".join(covered), "purpose": "all",
                                      "read_from": f"{sheet.file}:{line}"})  # fmt: skip
        account.append(f"{day}: {sum(len(p) for p in seen.values())} plants looked at, {cases} cases")
    account += _statuses(plants, told, is_case)
    if blank:
        account.append(f"{blank} line(s) with an empty {told.status}: not looked at")
    if gone:
        account.append(f"{gone} line(s) with {told.status} {told.missing_when}: no plant")


def _statuses(plants: Sequence[ListedPlant], told: ColumnMap, is_case: Callable[[str], bool]) -> list[str]:
    """Tell how each status was read, so that a word nobody thought of is seen."""
    is_gone = status_test(told.missing_when) if told.missing_when else None
    counts = Counter(plant.status for plant in plants if plant.status and not (is_gone and is_gone(plant.status)))
    told_of = []
    for what, wanted in (("a case", True), ("no case", False)):
        own = [(status, count) for status, count in counts.most_common() if is_case(status) == wanted]
        if own:
            listed = ", ".join(f"{status[:30]} ({count})" for status, count in own[:_LISTED])
            told_of.append(
                f"{told.status} read as {what}: {listed}"
                + (f" and {len(own) - _LISTED} more" if len(own) > _LISTED else "")
            )
    if counts and all(is_case(status) for status in counts):
        told_of.append("every vine listed is a case: if others were looked at, log a survey of what was walked")
    return told_of


def _stretches(row: str, positions: list[int]) -> str:
    """Write positions as stretches of a row: 16:1..40; 16:43..60."""
    parts: list[list[int]] = []
    for position in sorted(set(positions)):
        if parts and position == parts[-1][1] + 1:
            parts[-1][1] = position
        else:
            parts.append([position, position])
    return "; ".join(f"{row}:{low}..{high}" for low, high in parts)
