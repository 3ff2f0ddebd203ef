"""The standing records of one block, read once: looks, plants, deaths, and the cell of every finding and work."""

from collections import defaultdict
from collections.abc import Sequence

import pandas as pd

from trunkwatch.grid import RowGrid
from trunkwatch.history.block_history import BlockRecords
from trunkwatch.history.looks import Look, cells_of, is_of_recheck, look_for, looks_of
from trunkwatch.history.places import Cell, Empty, Places
from trunkwatch.history.plants import ORIGINAL, plant_on, plants_of
from trunkwatch.vineyard.calendar import hemisphere_of, is_iso_date, look_of, season_of
from trunkwatch.vineyard.tables import records_of

__all__ = ["BlockReader", "located"]


class BlockReader:
    """Reads the records of one block once; conditions can then be asked for by definition."""

    def __init__(self, records: BlockRecords, grid: RowGrid) -> None:
        self.records, self.grid = records, grid
        self.hemisphere = hemisphere_of(records.block)
        self.places = Places(grid, records.rows, records.block)
        self.plants = plants_of(records, self.places, self.hemisphere)
        self.deaths = self._deaths()
        first = looks_of(records.surveys, self.places, self.hemisphere, self.empty, {})
        self.rechecks = looks_of(records.surveys, self.places, self.hemisphere, self.empty, {}, rechecks=True)
        self.findings, self.second_findings = self._sorted_findings(first)
        unseen: defaultdict[str, set[Cell]] = defaultdict(set)
        for cell, line in self.findings:
            if line["symptom"] == "not_seen":
                unseen[str(line["date"])].add(cell)
        fixed = {day: frozenset(cells) for day, cells in unseen.items()}
        self.looks = looks_of(records.surveys, self.places, self.hemisphere, self.empty, fixed) if fixed else first
        self.all_work = located(records.work, self.places, (), self.empty)
        self.work = [(cell, line) for cell, line in self.all_work if line["status"] in ("", "done")]

    def _sorted_findings(
        self, looks: Sequence[Look]
    ) -> tuple[list[tuple[Cell, dict[str, object]]], list[tuple[Cell, dict[str, object]]]]:
        """Return findings, and those of blind second looks, which measure the observers and enter no rate."""
        found = located(self.records.symptoms, self.places, [*looks, *self.rechecks], self.empty)
        if not self.rechecks:
            return found, []
        second = [
            is_of_recheck(self.rechecks, looks, cell, str(line["date"]), str(line["observer"])) for cell, line in found
        ]
        return (
            [pair for pair, again in zip(found, second, strict=True) if not again],
            [pair for pair, again in zip(found, second, strict=True) if again],
        )

    def _deaths(self) -> dict[Cell, list[str]]:
        deaths: defaultdict[Cell, list[str]] = defaultdict(list)
        table = self.records.symptoms
        for line in records_of(table[table["symptom"] == "dead"]):
            cell = self.places.find(
                str(line["row"]), str(line["position"]), str(line["bay"]), line["vine"], str(line["date"])
            )
            if cell is not None:
                deaths[cell].append(str(line["date"]))
        return {cell: sorted(days) for cell, days in deaths.items()}

    def empty(self, cell: Cell, day: str) -> bool:
        """Tell whether a cell holds no living vine on a day."""
        plants = self.plants.get(cell, (ORIGINAL,))
        number = plant_on(plants, day)
        return number < 0 or any(plants[number].since <= died < day for died in self.deaths.get(cell, ()))

    def seasons(self) -> tuple[int, ...]:
        """Return every season from the first to the last that has a look, a finding or done work."""
        found = {look.season for look in self.looks}
        for table in (self.records.symptoms, self.records.work):
            found |= {season_of(day, self.hemisphere) for day in table["date"].unique() if is_iso_date(str(day))}
        return tuple(range(min(found), max(found) + 1)) if found else ()

    def look_at(self, cell: Cell, day: str) -> Look | None:
        """Return the look that covers a finding of a day in a cell, if any."""
        return look_for(self.looks, cell, day, season_of(day, self.hemisphere), look_of(day, self.hemisphere))


def located(
    table: pd.DataFrame, places: Places, looks: Sequence[Look], empty: Empty
) -> list[tuple[Cell, dict[str, object]]]:
    """Return the cell of every record of a table that has one, with the record, in order of date.

    A record without `counted_from` of its own was counted as its survey was.
    """
    found: list[tuple[Cell, dict[str, object]]] = []
    for line in records_of(table):
        row, position, day = str(line["row"]), str(line["position"]), str(line["date"])
        if not is_iso_date(day):
            continue  # the checks name it
        own = str(line.get("counted_from", ""))
        look = cells_of(looks, row, day, str(line["observer"])) if position.isdecimal() else None
        from_end = own == "end" or (not own and look is not None and look.from_end)
        living = look is not None and look.living_only and not own
        if from_end or living:
            cell = places.counted(
                row,
                int(position),
                from_end=from_end,
                living_only=living,
                empty=empty,
                day=day,
            )
        else:
            cell = places.find(row, position, str(line["bay"]), float(line["vine"]), day)
        if cell is not None:
            found.append((cell, line))
    return sorted(found, key=lambda pair: str(pair[1]["date"]))
