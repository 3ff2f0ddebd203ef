"""The package's reading of a block in the words of the second reading, to set them side by side."""

from typing import Any

import numpy as np
from reading.reference import read_block as second_reading

from trunkwatch.grid import RowGrid
from trunkwatch.history import RATES, BlockRecords, Condition, build_history, rate, read_block
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import frame_of, records_of

TABLES = ("rows", "plants", "surveys", "symptoms", "work")


def ours(
    tables: dict[str, list[dict[str, Any]]], definition: str, *, without_winter: bool, through: int | None
) -> dict[str, Any]:
    """Read a block with the package."""
    frames = {name: standing(frame_of(name, tables.get(name, []))) for name in TABLES}
    line = records_of(standing(frame_of("blocks", tables["blocks"])))[-1]
    records = BlockRecords(block=line, **frames)
    grid = RowGrid.from_tables(line, records.rows)
    reading = read_block(records, grid)
    history = build_history(reading, definition, without_winter=without_winter, through=through)
    name = {
        cell: (grid.label(*cell)[0], grid.label(*cell)[1]) for cell in map(tuple, np.argwhere(grid.exists).tolist())
    }
    told: dict[str, Any] = {
        "seasons": history.seasons, "counted": set(history.counted_seasons), "compared": set(history.compared_seasons),
        "condition": {}, "looked_at": {}, "seen": {}, "carried": {}, "rates": {},
    }  # fmt: skip
    for number, season in enumerate(history.seasons):
        for cell, vine in name.items():
            told["condition"][season, vine] = Condition(history.condition[(number, *cell)]).word
        for kind in ("looked_at", "seen", "carried"):
            told[kind][season] = {vine for cell, vine in name.items() if getattr(history, kind)[(number, *cell)]}
        for what in RATES:
            found = rate(history, what, season)
            told["rates"][season, what] = None if found.why_not else (found.cases, found.vines)
    told["damages"] = {
        name[cell]: sorted(
            (d.finding.date, d.finding.symptom, d.finding.part.trunk, d.finding.part.arm, d.last_seen(), d.end.kind.value if d.end else "", d.end.day if d.end else "")
            for d in damages
        )
        for cell, damages in reading.damages.by_cell.items()
    }  # fmt: skip
    told["covered"] = {f.id: not f.casual for f in reading.findings} | {f.id: True for f in reading.second_findings}
    told["second"] = {f.id for f in reading.second_findings}
    return told


def theirs(
    tables: dict[str, list[dict[str, Any]]], definition: str, *, without_winter: bool, through: int | None
) -> dict[str, Any]:
    """Read a block with the second reader."""
    label = str(tables["blocks"][0]["block"])
    found = second_reading(tables, label, definition=definition, without_winter=without_winter, through=through)
    told = {
        name: getattr(found, name) for name in ("seasons", "counted", "compared", "condition", "looked_at", "seen", "carried", "rates", "covered", "second")
    }  # fmt: skip
    told["damages"] = {
        vine: sorted(
            (d.date.isoformat(), d.symptom, d.trunk, d.arm, d.last_seen.isoformat(), d.end, d.end_day.isoformat() if d.end_day else "")
            for d in damages
        )
        for vine, damages in found.damages.items() if damages
    }  # fmt: skip
    return told


def differences(
    tables: dict[str, list[dict[str, Any]]],
    definition: str,
    *,
    without_winter: bool = False,
    through: int | None = None,
) -> list[str]:
    """Return where the two readings differ, in words; empty where they are equal."""
    one = ours(tables, definition, without_winter=without_winter, through=through)
    two = theirs(tables, definition, without_winter=without_winter, through=through)
    out = []
    for part, mine in one.items():
        if through is not None and part in ("damages", "covered", "second"):
            continue  # these may speak of later records too
        other = two[part]
        if isinstance(mine, dict):
            keys = sorted({*mine, *other}, key=str)
            pairs = [(f"{part} {key}", mine.get(key), other.get(key)) for key in keys]
        else:
            pairs = [(part, mine, other)]
        out += [_said(*pair) for pair in pairs if (pair[1] or None) != (pair[2] or None)]
    return out


def _said(what: str, mine: Any, other: Any) -> str:
    if isinstance(mine, (set, list)) or isinstance(other, (set, list)):
        mine, other = (
            [one for one in mine or () if one not in (other or ())],
            [one for one in other or () if one not in (mine or ())],
        )
    return f"{what}: package {mine}, reference {other}"
