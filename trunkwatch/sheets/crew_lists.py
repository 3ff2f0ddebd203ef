"""The lists of the year for a crew: mark, leave the shoot, cut, replant, finish training."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords, hemisphere_of
from trunkwatch.history.places import Places
from trunkwatch.sheets.paper import Size, _checked, render
from trunkwatch.vineyard import codes
from trunkwatch.vineyard.calendar import season_of
from trunkwatch.vineyard.tables import records_of

__all__ = ["LISTS", "CrewLine", "crew_lines", "crew_lists"]

#: Which kinds of work stand on which list, and when it is walked (common practice, no source).
LISTS: Mapping[str, tuple[str, frozenset[str]]] = {
    "Mark": ("in summer, while symptoms show", frozenset({"mark", "watch", "lab_sample"})),
    "Leave this shoot": ("at suckering: these shoots are the next trunks", frozenset({"keep_shoot"})),
    "Cut": (
        "in winter, dry weather ahead",
        frozenset(
            {
                "renew_arm",
                "renew_trunk",
                "cut_old_trunk",
                "remove",
                "regraft",
                "curettage",
                "clear_mummies",
                "protect_wound",
            }
        ),
    ),
    "Replant": ("when the ground allows", frozenset({"replant"})),
    "Finish training": ("in the next two years", frozenset({"train"})),
}


@dataclass(frozen=True, slots=True)
class CrewLine:
    """One piece of work on a list."""

    id: str
    row: str
    position: str
    bay: str
    trunk: str
    arm: str
    what: str
    cut: str
    note: str
    done: bool


def crew_lines(records: BlockRecords, grid: RowGrid, *, done_since: str = "") -> dict[str, list[CrewLine]]:
    """Sort planned and done work into the lists, in walking order.

    Work that was planned twice on the same part of a vine stands once, as it was planned for the later day; and not as
    planned where it was done since, or in the same season.

    Parameters
    ----------
    records : BlockRecords
        Standing records of the block; its numbering tells where a vine of an earlier layout stands today.
    grid : RowGrid
        Its rows and positions.
    done_since : str
        First day from which done work is listed.
    """
    places, work = Places(grid, records.rows, records.block), records.work
    hemisphere = hemisphere_of(records.block)
    planned: dict[_Piece, dict[str, Any]] = {}
    done: list[tuple[tuple[int, int], dict[str, Any]]] = []
    last_done: dict[_Piece, str] = {}
    for record in records_of(work[work["status"].isin(["planned", "done", ""])]):
        cell = places.find(
            str(record["row"]), str(record["position"]), str(record["bay"]), float(record["vine"]), str(record["date"])
        )
        if cell is None:
            continue
        piece = (cell, str(record["kind"]), _number(record["trunk"]), str(record["arm"]))
        if record["status"] == "planned":
            planned[piece] = max(planned.get(piece, record), record, key=_day_and_id)
            continue
        last_done[piece] = max(last_done.get(piece, ""), str(record["date"]))
        if str(record["date"]) >= done_since:
            done.append((cell, record))
    open_work = [
        (piece[0], record)
        for piece, record in planned.items()
        if piece not in last_done or not _is_done(str(record["date"]), last_done[piece], hemisphere)
    ]
    found: dict[str, list[tuple[tuple[int, int], CrewLine]]] = {name: [] for name in LISTS}
    for cell, record in (*open_work, *done):
        for name, (_, kinds) in LISTS.items():
            if record["kind"] in kinds:
                found[name].append((cell, _line(grid, cell, record)))
    return {name: [line for _, line in sorted(lines, key=lambda pair: pair[0])] for name, lines in found.items()}


#: Cell, kind, trunk (0 for not said) and arm.
_Piece = tuple[tuple[int, int], str, float, str]


def _number(value: float) -> float:
    return 0.0 if math.isnan(value) else float(value)


def _day_and_id(record: Mapping[str, Any]) -> tuple[str, str]:
    return str(record["date"]), str(record["id"])


def _is_done(planned: str, done: str, hemisphere: str) -> bool:
    """Tell whether work planned for one day was done on another: later, or before it in the same season."""
    return done >= planned or season_of(done, hemisphere) == season_of(planned, hemisphere)


def _line(grid: RowGrid, cell: tuple[int, int], record: Mapping[str, Any]) -> CrewLine:
    row, position = grid.label(*cell)
    bay, vine = grid.bay_of(row, position)
    trunk, cut = float(record["trunk"]), float(record["cut_height_cm"])
    return CrewLine(
        str(record["id"]), row, str(position), f"{bay}, {vine}" if bay else "",
        "" if math.isnan(trunk) else f"{trunk:.0f}", str(record["arm"]).replace("_", " "),
        codes.WORK_KINDS[str(record["kind"])], "" if math.isnan(cut) else f"{cut:.0f} cm", str(record["note"]),
        record["status"] != "planned",
    )  # fmt: skip


def crew_lists(records: BlockRecords, grid: RowGrid, season: int, *, size: Size = "A4") -> str:
    """Write the lists for printing, a page each at least; empty lists are left out.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    _checked(size)
    lines = {name: [line for line in found if not line.done] for name, found in crew_lines(records, grid).items()}
    told = [(name, LISTS[name][0], found) for name, found in lines.items() if found]
    return render("crew_list.html", block=grid.block, season=season, size=size, lists=told)
