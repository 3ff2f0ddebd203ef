"""A foreign spreadsheet with its own columns: one line a plant, its status in one of them.

The user says which column is what. Each day (or survey) becomes a survey that covers every plant
that was looked at, and each plant whose status makes a case becomes a finding. Every word of the
status column needs a meaning (see `meanings`). The account tells what was taken and what was left,
and why.
"""

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

import pandas as pd

from trunkwatch.errors import RecordError
from trunkwatch.spreadsheets.cells import DayOrder
from trunkwatch.spreadsheets.located import Known, ListedPlant, check_days, heading_of, located, text_of, word_key
from trunkwatch.spreadsheets.meanings import Meaning, StatusWord, listed_meanings, refuse_unknown, status_words
from trunkwatch.spreadsheets.worksheet import Worksheet
from trunkwatch.vineyard.faults import Fault
from trunkwatch.vineyard.rows_on_day import natural_key
from trunkwatch.vineyard.tables import frame_of

__all__ = ["ColumnMap", "Mapped", "map_sheet", "with_headings_of"]

#: Meanings of a vine that stands there and was looked at.
_SEEN = frozenset({"case", "sound", "replanted"})


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
    case_when, sound_when, missing_when, unseen_when, replanted_when : tuple of str, or str
        Which status means a case, looked at and sound, no plant, not looked at, a new plant: rules
        like ``1``, ``Y``, ``>0``, ``>=2``, ``!=healthy``; each of them holds.
    meanings : mapping of str to Meaning
        Meaning of single words (see `word_key`); goes before the rules.
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
    hemisphere : str
        Of the blocks that are made, north or south; it says which season and look a day belongs to.
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
    case_when: tuple[str, ...] | str = ("1",)
    sound_when: tuple[str, ...] | str = ()
    missing_when: tuple[str, ...] | str = ()
    unseen_when: tuple[str, ...] | str = ()
    replanted_when: tuple[str, ...] | str = ()
    meanings: Mapping[str, Meaning] = field(default_factory=dict)
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
    hemisphere: str = ""

    def rules(self) -> dict[Meaning, tuple[str, ...]]:
        """Return the rules of each meaning."""
        written: dict[Meaning, tuple[str, ...] | str] = {
            "case": self.case_when,
            "sound": self.sound_when,
            "missing": self.missing_when,
            "unseen": self.unseen_when,
            "replanted": self.replanted_when,
        }
        return {
            meaning: tuple(rule for rule in ((rules,) if isinstance(rules, str) else rules) if rule.strip())
            for meaning, rules in written.items()
        }


@dataclass(slots=True)
class Mapped:
    """Tables made from a spreadsheet, and the account of it.

    Attributes
    ----------
    frames : dict of table name to DataFrame
        Records of the good lines.
    account : list of str
        What was taken and what was left, and why.
    faults : list of Fault
        What is wrong in the other lines.
    taken : int
        Lines that were taken.
    behind : dict of str to tuple of int
        The lines that a survey was made of, by where it says it was read from.
    """

    frames: dict[str, pd.DataFrame]
    account: list[str] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    taken: int = 0
    behind: dict[str, tuple[int, ...]] = field(default_factory=dict)

    def lines_of(self, fault: Fault) -> tuple[int, ...]:
        """Return the lines of the sheet that a record at fault was made of."""
        return self.behind.get(f"{fault.file}:{fault.line}", (fault.line,) if fault.line else ())


def map_sheet(
    sheet: Worksheet, told: ColumnMap, known: Known | None = None, *, without: Collection[int] = ()
) -> Mapped:
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
    without : collection of int
        Lines that are to be left out.

    Returns
    -------
    Mapped
        Tables from the good lines, and the faults of the others.

    Raises
    ------
    RecordError
        If a column named is not there, a day or a rule of the map cannot be read, a word of the
        status column has no meaning or two, or no line says anything.
    """
    there = known or {}
    told = with_headings_of(sheet, told)
    check_days(told)
    account: list[str] = []
    plants, faults = located(sheet, told, there, account)
    bad = {fault.line for fault in faults if fault.weight == "fault"}
    words = status_words(plants, told, sheet.file) if told.status else []
    refuse_unknown(words, told.status, sheet.file)
    plants = [plant for plant in plants if plant.line not in bad and plant.line not in without]
    if not plants and not bad and not without:
        raise RecordError(f"{sheet.file}: no line names a row and a position; nothing was imported")
    tables: dict[str, list[dict[str, Any]]] = {name: [] for name in ("blocks", "rows", "plants", "surveys", "symptoms")}
    _blocks(plants, told, tables, there, account, whole=not bad and not without)
    behind: dict[str, tuple[int, ...]] = {}
    if told.status:
        meanings: dict[str, Meaning | None] = {"": "unseen", **{word.key: word.meaning for word in words}}
        of_days, behind = _surveys(plants, sheet, told, meanings, tables)
        account += of_days + _words_told(words, plants, told)
    blocks = {plant.block for plant in plants}
    rows = {(plant.block, plant.row) for plant in plants}
    account.insert(0, f"{len(plants)} of {len(sheet.lines)} lines imported, {len(blocks)} block(s), {len(rows)} rows")
    frames = {name: frame_of(name, records) for name, records in tables.items()}
    return Mapped(frames, account, faults, len(plants), behind)


def with_headings_of(sheet: Worksheet, told: ColumnMap) -> ColumnMap:
    """Return the map with headings as the sheet writes them.

    Raises
    ------
    RecordError
        If a column named is not there.
    """
    names = ["row", "status", "block", "date", "bay", "cultivar", "rootstock"] + (
        [] if told.order_within else ["position"]
    )
    found: dict[str, Any] = {name: heading_of(getattr(told, name), sheet) for name in names if getattr(told, name)}
    return replace(told, **found, order_within=tuple(heading_of(name, sheet) for name in told.order_within))


def _blocks(
    plants: Sequence[ListedPlant],
    told: ColumnMap,
    tables: dict[str, list[dict[str, Any]]],
    there: Known,
    account: list[str],
    *,
    whole: bool,
) -> None:
    """Make the blocks and rows that are not there yet; where lines are left out, a position without a line is no gap."""
    extent: dict[tuple[str, str], list[ListedPlant]] = {}
    for plant in plants:
        extent.setdefault((plant.block, plant.row), []).append(plant)
    blocks = list(dict.fromkeys(block for block, _ in extent))
    old = {block for block, _ in there}
    tables["blocks"] += [
        {
            "block": block,
            "row_spacing_m": told.row_spacing_m,
            "vine_spacing_m": told.vine_spacing_m,
            "planted": told.planted,
            "hemisphere": told.hemisphere,
        }
        for block in blocks
        if block not in old
    ]
    new = [block for block in blocks if block not in old]
    if new and not told.hemisphere:
        account.append(
            f"no hemisphere is written for block(s) {', '.join(new)}: days are read as north of the equator (--hemisphere "
            "south, if they lie south of it); season and look of every day hang on it"
        )
    gaps = 0
    for block, row in sorted(extent, key=lambda key: (blocks.index(key[0]), natural_key(key[1]))):
        if (block, row) in there:
            continue
        here = sorted({plant.position for plant in extent[(block, row)]})
        tables["rows"].append(
            {
                "block": block,
                "row": row,
                "first": here[0],
                "last": here[-1],
                "bay_ends": _bay_ends(extent[(block, row)]),
                "cultivar": next((text_of(p.cells[told.cultivar]) for p in extent[(block, row)] if told.cultivar), ""),
            }
        )
        if block in old:
            account.append(f"row {row} is new in block {block}")
        missing = sorted(set(range(here[0], here[-1] + 1)) - set(here))
        gaps += len(missing)
        for gap in missing if whole else ():
            tables["plants"].append({"block": block, "row": row, "position": str(gap), "reason": "missing"})
    if gaps and whole:
        account.append(f"{gaps} position(s) that no line names are taken for gaps: no vine stands there")
    elif gaps:
        account.append(
            f"{gaps} position(s) have no good line: they are taken for vines that nobody scouted, not for gaps"
        )
    if told.rootstock:
        for plant in {(p.block, p.row, p.position): p for p in plants}.values():
            tables["plants"].append(
                {
                    "block": plant.block,
                    "row": plant.row,
                    "position": str(plant.position),
                    "rootstock": text_of(plant.cells[told.rootstock]),
                }
            )


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
    meanings: Mapping[str, Meaning | None],
    tables: dict[str, list[dict[str, Any]]],
) -> tuple[list[str], dict[str, tuple[int, ...]]]:
    """Make a survey of each day and block; return the account, and the lines behind each survey."""
    account: list[str] = []
    behind: dict[str, tuple[int, ...]] = {}
    past: dict[tuple[str, str, int], list[Meaning]] = {}
    days = sorted({plant.day for plant in plants})
    for day in days:
        own = [(plant, meanings[word_key(plant.status)] or "unseen") for plant in plants if plant.day == day]
        seen: dict[tuple[str, str], list[int]] = {}
        for plant, meaning in own:
            if meaning in _SEEN:
                seen.setdefault((plant.block, plant.row), []).append(plant.position)
            if meaning == "case":
                tables["symptoms"].append(_finding(plant, sheet, told))
            if meaning != "unseen":
                earlier = past.setdefault((plant.block, plant.row, plant.position), [])
                tables["plants"] += _changed_plant(plant, meaning, earlier, sheet)
                earlier.append(meaning)
        name = told.survey if len(days) == 1 else f"{told.survey} {day}"
        for block in dict.fromkeys(block for block, _ in seen):
            covered = [_stretches(row, positions) for (other, row), positions in seen.items() if other == block]
            lines = tuple(plant.line for plant, _ in own if plant.block == block)
            read_from = f"{sheet.file} survey {day}:{lines[0]}"
            behind[read_from] = lines
            tables["surveys"].append(
                {
                    "survey": name,
                    "block": block,
                    "date": day,
                    "look": told.look,
                    "covered": "; ".join(covered),
                    "purpose": "all",
                    "read_from": read_from,
                }
            )
        cases = sum(meaning == "case" for _, meaning in own)
        account.append(f"{day}: {sum(len(p) for p in seen.values())} plants scouted, {cases} cases")
    return account, behind


def _finding(plant: ListedPlant, sheet: Worksheet, told: ColumnMap) -> dict[str, Any]:
    return {
        "block": plant.block,
        "row": plant.row,
        "position": str(plant.position),
        "date": plant.day,
        "symptom": told.symptom,
        "class": plant.status if told.scale else "",
        "scale": told.scale,
        "read_from": f"{sheet.file}:{plant.line}",
    }


def _changed_plant(
    plant: ListedPlant, meaning: Meaning, earlier: Sequence[Meaning], sheet: Worksheet
) -> list[dict[str, Any]]:
    """Return the removal or planting that a line tells; `earlier` is what earlier days said of the vine.

    A vine that is called replanted day after day was planted once.
    """
    at = {
        "block": plant.block,
        "row": plant.row,
        "position": str(plant.position),
        "read_from": f"{sheet.file}:{plant.line}",
    }
    if meaning == "missing":
        return [{**at, "removed": plant.day}]
    if meaning != "replanted" or earlier[-1:] == ["replanted"]:
        return []
    planted = [{**at, "planted": plant.day}]
    replaced = "replanted" in earlier and earlier[-1] != "missing"
    return [{**at, "removed": plant.day, "reason": "replaced"}, *planted] if replaced else planted


def _counted(words: Sequence[StatusWord], plants: Sequence[ListedPlant]) -> list[StatusWord]:
    """Return the words as they stand in the lines that are taken."""
    counts = Counter(word_key(plant.status) for plant in plants if plant.status)
    return [replace(word, count=counts[word.key]) for word in words if counts[word.key]]


def _words_told(words: Sequence[StatusWord], plants: Sequence[ListedPlant], told: ColumnMap) -> list[str]:
    """Tell how each word was read, so that none is taken for what it is not."""
    taken = _counted(words, plants)
    account = listed_meanings(taken, told.status)
    meanings = {word.meaning for word in taken}
    if "case" in meanings and "sound" not in meanings:
        account.append("every vine listed is a case: if others were scouted, log a survey of rows scouted")
    if blank := sum(not plant.status for plant in plants):
        account.append(f"{blank} line(s) with an empty {told.status}: not scouted")
    return account


def _stretches(row: str, positions: list[int]) -> str:
    """Write positions as stretches of a row: 16:1..40; 16:43..60."""
    parts: list[list[int]] = []
    for position in sorted(set(positions)):
        if parts and position == parts[-1][1] + 1:
            parts[-1][1] = position
        else:
            parts.append([position, position])
    return "; ".join(f"{row}:{low}..{high}" for low, high in parts)
