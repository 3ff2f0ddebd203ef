"""The package's reading of a block in the words of the second reading, to set them side by side."""

from dataclasses import asdict
from typing import Any

import numpy as np
from reading.reference import read_block as second_reading
from reading.said import VineSaid
from reading.said import said as second_said

from trunkwatch.block import BlockSeason, vine_now, vines_now, winter_list
from trunkwatch.block.opening import season_of_block
from trunkwatch.errors import RecordError
from trunkwatch.grid import RowGrid
from trunkwatch.ground import Placed
from trunkwatch.history import RATES, BlockRecords, Condition, build_history, rate, read_block
from trunkwatch.vineyard.records import standing
from trunkwatch.vineyard.tables import frame_of, records_of

_NAN = np.full((1, 1), np.nan)
NOWHERE = Placed(_NAN, _NAN, _NAN, _NAN, None, "not placed")
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
        "seasons": history.seasons,
        "counted": set(history.counted_seasons),
        "compared": set(history.compared_seasons),
        "condition": {},
        "looked_at": {},
        "seen": {},
        "carried": {},
        "rates": {},
    }
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
            (
                d.finding.date,
                d.finding.symptom,
                d.finding.part.trunk,
                d.finding.part.arm,
                d.last_seen(),
                d.end.kind.value if d.end else "",
                d.end.day if d.end else "",
            )
            for d in damages
        )
        for cell, damages in reading.damages.by_cell.items()
    }
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
        name: getattr(found, name)
        for name in (
            "seasons",
            "counted",
            "compared",
            "condition",
            "looked_at",
            "seen",
            "carried",
            "rates",
            "covered",
            "second",
        )
    }
    told["damages"] = {
        vine: sorted(
            (
                d.date.isoformat(),
                d.symptom,
                d.trunk,
                d.arm,
                d.last_seen.isoformat(),
                d.end,
                d.end_day.isoformat() if d.end_day else "",
            )
            for d in damages
        )
        for vine, damages in found.damages.items()
        if damages
    }
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


def differences_said(tables: dict[str, list[dict[str, Any]]], definition: str, season: int | None) -> list[str]:
    """Return where what lists and pages say of a vine differs from the second reading, in words.

    Parameters
    ----------
    tables : dict
        Records of one block.
    definition : str
    season : int, optional
        The season that is asked for; the usual one where left out.
    """
    frames = {name: standing(frame_of(name, tables.get(name, []))) for name in TABLES}
    line = records_of(standing(frame_of("blocks", tables["blocks"])))[-1]
    reading = read_block(BlockRecords(block=line, **frames), RowGrid.from_tables(line, frames["rows"]))
    try:
        spoken = season_of_block(reading, NOWHERE, season, definition=definition)
    except RecordError:
        return []
    mine = {spoken.history.grid.label(*cell): said_by_package(spoken, cell) for cell in vines_now(spoken)}
    for listed in winter_list(spoken):
        cell = spoken.history.grid.cell(listed.row, listed.position)
        mine.setdefault((listed.row, listed.position), said_by_package(spoken, cell)).update(
            listed=True, list_percent=_rounded(listed.percent), list_seasons=listed.seasons
        )
    theirs = second_said(
        tables, str(tables["blocks"][0]["block"]), definition=definition, season=spoken.season, asked=season is not None
    )
    out = []
    for vine, said in theirs.items():
        other = {
            **asdict(said),
            "percent": _rounded(said.percent),
            "share": _rounded(said.share),
            "list_percent": _rounded(said.list_percent),
        }
        own = {**asdict(VineSaid()), **mine.get(vine, {})}
        out += [
            f"{name} {vine}: package {own[name]}, reference {other[name]}" for name in own if own[name] != other[name]
        ]
    return out


def said_by_package(season: BlockSeason, cell: tuple[int, int]) -> dict[str, Any]:
    """Return what the package says of a vine, in the words of the second reading."""
    now = vine_now(season, cell)

    def lines(damages: Any) -> list[tuple[str, str, int, str]]:
        return sorted((d.finding.date, d.finding.symptom, d.finding.part.trunk, d.finding.part.arm) for d in damages)

    return {
        "damages": lines(now.damages),
        "doubted": lines(now.doubted),
        "symptoms": sorted((f.date, f.symptom) for f in now.symptoms),
        "last_seen": now.last_seen,
        "percent": _rounded(now.percent),
        "share": _rounded(now.share),
        "shoot": now.shoot,
        "shoot_seen": now.shoot_seen,
        "shoot_quality": now.shoot_quality,
        "again": bool(now.doubted) and not now.open,
    }


def _rounded(share: float | None) -> float | None:
    return None if share is None else round(share, 9)


def _said(what: str, mine: Any, other: Any) -> str:
    if isinstance(mine, (set, list)) or isinstance(other, (set, list)):
        mine, other = (
            [one for one in mine or () if one not in (other or ())],
            [one for one in other or () if one not in (mine or ())],
        )
    return f"{what}: package {mine}, reference {other}"
