"""The four lists of the year for a crew: mark, leave the shoot, cut, finish training."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockRecords
from trunkwatch.history.places import Places
from trunkwatch.sheets.paper import Size, _checked, render
from trunkwatch.vineyard import codes
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
    "Finish training": ("in the next two years", frozenset({"train", "replant"})),
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
    """Sort planned and done work into the four lists, in walking order.

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
    found: dict[str, list[tuple[tuple[int, int], CrewLine]]] = {name: [] for name in LISTS}
    for record in records_of(work[work["status"].isin(["planned", "done"])]):
        cell = places.find(
            str(record["row"]), str(record["position"]), str(record["bay"]), float(record["vine"]), str(record["date"])
        )
        if cell is None or (record["status"] == "done" and str(record["date"]) < done_since):
            continue
        for name, (_, kinds) in LISTS.items():
            if record["kind"] in kinds:
                found[name].append((cell, _line(grid, cell, record)))
    return {name: [line for _, line in sorted(lines, key=lambda pair: pair[0])] for name, lines in found.items()}


def _line(grid: RowGrid, cell: tuple[int, int], record: Mapping[str, Any]) -> CrewLine:
    row, position = grid.label(*cell)
    bay, vine = grid.bay_of(row, position)
    trunk, cut = float(record["trunk"]), float(record["cut_height_cm"])
    return CrewLine(
        str(record["id"]), row, str(position), f"{bay}, {vine}" if bay else "",
        "" if math.isnan(trunk) else f"{trunk:.0f}", str(record["arm"]).replace("_", " "),
        codes.WORK_KINDS[str(record["kind"])], "" if math.isnan(cut) else f"{cut:.0f} cm", str(record["note"]),
        record["status"] == "done",
    )  # fmt: skip


def crew_lists(records: BlockRecords, grid: RowGrid, season: int, *, size: Size = "A4") -> str:
    """Write the four lists for printing, a page each at least; empty lists are left out.

    Raises
    ------
    ValueError
        If there is no such paper.
    """
    _checked(size)
    lines = {name: [line for line in found if not line.done] for name, found in crew_lines(records, grid).items()}
    told = [(name, LISTS[name][0], found) for name, found in lines.items() if found]
    return render("crew_list.html", block=grid.block, season=season, size=size, lists=told)
