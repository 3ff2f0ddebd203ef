"""From the standing records of one block to its history as arrays."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from itertools import pairwise

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history.block_history import BlockHistory, BlockRecords, SeasonLook, VineEvent
from trunkwatch.history.condition import MATURE_LIVING, Condition
from trunkwatch.history.definitions import CaseDefinition, definition_named, is_lasting, spur_share
from trunkwatch.history.events import events_of
from trunkwatch.history.looks import Look, cells_of, is_of_recheck, look_for, looks_of, needed_parts
from trunkwatch.history.places import Cell, Empty, Places
from trunkwatch.history.plants import ORIGINAL, plant_on, plants_of
from trunkwatch.history.vine import Clearing, Finding, Vine, vine_season
from trunkwatch.vineyard.calendar import is_iso_date, look_of, season_bounds, season_of
from trunkwatch.vineyard.codes import CLEARING
from trunkwatch.vineyard.tables import records_of

__all__ = ["BlockReader", "build_history", "hemisphere_of", "located", "look_map"]


def hemisphere_of(block: Mapping[str, object]) -> str:
    """Return north or south: from the block's column, else its latitude, else north."""
    if block.get("hemisphere"):
        return str(block["hemisphere"])
    latitude = block.get("latitude")
    return "south" if isinstance(latitude, (int, float)) and latitude < 0 else "north"


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


def build_history(
    records: BlockRecords,
    grid: RowGrid,
    definition: str = "any",
    *,
    without_winter: bool = False,
    through: int | None = None,
) -> BlockHistory:
    """Build the history of one block under one case definition.

    Parameters
    ----------
    records : BlockRecords
        Standing records of the block.
    grid : RowGrid
        Its rows and positions.
    definition : {"any", "leaf", "dieback"}
        What makes a case.
    without_winter : bool
        Take findings with suspected winter injury as no case; the vines that count stay the same.
    through : int, optional
        Last season to build.

    Raises
    ------
    ValueError
        If there is no such definition.
    """
    rule = definition_named(definition)
    reader = BlockReader(records, grid)
    seasons = tuple(s for s in reader.seasons() if through is None or s <= through)
    return _Builder(reader, rule, seasons, without_winter=without_winter).history()


class _Builder:
    """Fills the arrays of one history, season by season, vine by vine where there is something."""

    def __init__(
        self, reader: BlockReader, rule: CaseDefinition, seasons: tuple[int, ...], *, without_winter: bool
    ) -> None:
        self.reader, self.rule, self.seasons, self.without_winter = reader, rule, seasons, without_winter
        self.shape = (len(seasons), *reader.grid.shape)
        self.looks = [[look for look in reader.looks if look.season == season] for season in seasons]
        self.vines = self._vines()
        planted = reader.records.block.get("planted")
        known = isinstance(planted, (int, float)) and planted == planted
        self.block_planted = int(planted) if known else None  # type: ignore[call-overload]

    def _vines(self) -> dict[Cell, Vine]:
        findings: defaultdict[Cell, list[Finding]] = defaultdict(list)
        clearings: defaultdict[Cell, list[Clearing]] = defaultdict(list)
        for cell, line in self.reader.findings:
            findings[cell].append(self._finding(cell, line))
        for cell, line in self.reader.work:
            if line["kind"] in CLEARING:
                clearings[cell].append(
                    Clearing(str(line["date"]), CLEARING[str(line["kind"])], _trunk(line), str(line["arm"]))
                )
        cells = {*findings, *clearings, *self.reader.plants, *self.reader.deaths}
        return {
            cell: Vine(
                tuple(findings.get(cell, ())),
                tuple(clearings.get(cell, ())),
                tuple(self.reader.deaths.get(cell, ())),
                self.reader.plants.get(cell, (ORIGINAL,)),
            )
            for cell in sorted(cells)
        }

    def _finding(self, cell: Cell, line: Mapping[str, object]) -> Finding:
        date, symptom = str(line["date"]), str(line["symptom"])
        season = season_of(date, self.reader.hemisphere)
        numbers = [float(str(line[name])) for name in ("dead", "total", "percent")]
        case = self.rule.is_case(symptom, spur_share(*numbers))
        if self.without_winter and line["cause"] == "winter_injury":
            case = False
        look = look_for(self.reader.looks, cell, date, season, look_of(date, self.reader.hemisphere))
        counted = look is not None and look.look in self.rule.looks
        return Finding(date, season, symptom, _trunk(line), str(line["arm"]), case, is_lasting(symptom), counted)

    def history(self) -> BlockHistory:
        """Fill the arrays."""
        looked_at = np.zeros(self.shape, dtype=bool)
        condition = np.full(self.shape, Condition.NO_POSITION, dtype=np.uint8)
        flags = {name: np.zeros(self.shape, dtype=bool) for name in ("case", "had", "risk", "relapse")}
        plant = np.full(self.shape, -1, dtype=np.int16)
        exists = self.reader.grid.exists
        summary = []
        for number, season in enumerate(self.seasons):
            looked_at[number] = self._looked_at(self.looks[number])
            condition[number][exists] = Condition.NOT_SEEN
            condition[number][exists & looked_at[number]] = Condition.SOUND
            plant[number][exists] = 0
            bounds = season_bounds(season, self.reader.hemisphere)
            for cell, vine in self.vines.items():
                if vine.is_plain:
                    continue
                at = (number, *cell)
                state = vine_season(
                    vine, season, bounds, [k for k in self.looks[number] if cell in k.cells], self.rule,
                    looked_at=bool(looked_at[at]), block_planted=self.block_planted,
                )  # fmt: skip
                condition[at], plant[at] = state.condition, state.plant
                flags["case"][at], flags["had"][at] = state.case, state.had_case
                flags["risk"][at], flags["relapse"][at] = state.relapse_risk, state.relapse
            summary.append(self._season_look(number, season, looked_at[number]))
        self._plain(condition, looked_at, flags)
        return self._finish(condition, looked_at, plant, flags, summary)

    def _plain(
        self, condition: NDArray[np.uint8], looked_at: NDArray[np.bool_], flags: Mapping[str, NDArray[np.bool_]]
    ) -> None:
        """Fill in the vines whose rule needs no vine-by-vine thought, all at once: most of any block."""
        number = {season: index for index, season in enumerate(self.seasons)}
        plain, case = np.zeros(self.shape[1:], dtype=bool), np.zeros(self.shape, dtype=bool)
        for cell, vine in self.vines.items():
            if vine.is_plain:
                plain[cell] = True
                for finding in vine.findings:
                    if finding.case and finding.counted and finding.season in number:
                        case[(number[finding.season], *cell)] = True
        had = np.logical_or.accumulate(case, axis=0) if len(case) else case
        seen = looked_at & plain
        condition[seen & had] = Condition.HIDDEN
        condition[seen & case] = Condition.SHOWING
        flags["case"][case] = True
        flags["had"][had] = True

    def _looked_at(self, looks: Sequence[Look]) -> np.ndarray:
        seen = self.reader.grid.exists.copy()
        for part in self.rule.parts:
            covered = np.zeros_like(seen)
            for look in looks:
                if look.covers_part(part) and look.cells:
                    rows, stations = np.array(list(look.cells)).T
                    covered[rows, stations] = True
            seen &= covered
        return seen

    def _season_look(self, number: int, season: int, seen: np.ndarray) -> SeasonLook:
        looks = self.looks[number]
        took = tuple(name for name in ("dormant", "spring", "summer") if any(k.look == name for k in looks))
        missing = needed_parts(self.rule, looks)
        reason = ""
        if not looks:
            reason = "no survey"
        elif missing:
            reason = " and ".join(part.needs for part in missing)
        elif not seen.any():
            reason = "no vine had all the looks that the definition needs"
        return SeasonLook(season, not reason, reason, took, int(seen.sum()))

    def _finish(
        self,
        condition: np.ndarray,
        looked_at: np.ndarray,
        plant: np.ndarray,
        flags: Mapping[str, np.ndarray],
        summary: Sequence[SeasonLook],
    ) -> BlockHistory:
        counted = [number for number, look in enumerate(summary) if look.counted]
        ever, lost = self._cohort(condition, looked_at, plant, flags["had"], counted)
        died, death_risk = self._deaths(condition, looked_at, plant, counted)
        return BlockHistory(
            block=self.reader.records.name, definition=self.rule.name, grid=self.reader.grid, seasons=self.seasons,
            looks=tuple(summary), condition=condition, looked_at=looked_at, plant=plant, case=flags["case"], had_case=flags["had"],
            relapse_risk=flags["risk"], relapse=flags["relapse"], ever_case=ever, lost_track=lost,
            died=died, death_risk=death_risk, events=self._events(), without_winter=self.without_winter,
            notes=self._notes(),
        )  # fmt: skip

    def _cohort(
        self,
        condition: np.ndarray,
        looked_at: np.ndarray,
        plant: np.ndarray,
        had: np.ndarray,
        counted: Sequence[int],
    ) -> tuple[np.ndarray, np.ndarray]:
        """Follow the plants of the first counted season, also when they are dead, gone or renewed."""
        ever, lost = np.zeros(self.shape, dtype=bool), np.zeros(self.shape, dtype=bool)
        if not counted:
            return ever, lost
        first = counted[0]
        cohort = np.isin(condition[first], MATURE_LIVING)
        known = np.zeros(self.shape[1:], dtype=bool)
        for number in range(first, len(self.seasons)):
            same = plant[number] == plant[first]
            for cell in zip(*np.nonzero(cohort & ~same & ~known), strict=True):
                known[cell] = self._was_case((int(cell[0]), int(cell[1])), int(plant[first][cell]), number)
            if number in counted:
                known |= cohort & same & had[number]
            ever[number] = known
            gone = ~same | (condition[number] == Condition.DEAD)
            lost[number] = cohort & ~known & ~gone & ~looked_at[number]
        return ever, lost

    def _was_case(self, cell: Cell, plant: int, number: int) -> bool:
        """Tell whether a plant that has gone was a case in the season it went."""
        vine = self.vines[cell]
        spell = vine.plants[plant]
        season = self.seasons[number]
        return any(f.case and f.counted and f.season <= season and spell.stands(f.date) for f in vine.findings)

    def _deaths(
        self, condition: np.ndarray, looked_at: np.ndarray, plant: np.ndarray, counted: Sequence[int]
    ) -> tuple[np.ndarray, np.ndarray]:
        """Compare each counted season with the one before: who was alive then, and is dead now."""
        died, risk = np.zeros(self.shape, dtype=bool), np.zeros(self.shape, dtype=bool)
        alive = (*MATURE_LIVING, Condition.YOUNG)
        for before, now in pairwise(counted):
            seen_alive = np.isin(condition[before], alive)
            same = plant[now] == plant[before]
            dead = same & (condition[now] == Condition.DEAD)
            for cell in zip(*np.nonzero(seen_alive & ~same), strict=True):
                dead[cell] = self._left_dead((int(cell[0]), int(cell[1])), int(plant[before][cell]))
            risk[now] = seen_alive & looked_at[now] & (same | dead)
            died[now] = risk[now] & dead
        return died, risk

    def _left_dead(self, cell: Cell, plant: int) -> bool:
        vine = self.vines[cell]
        spell = vine.plants[plant]
        return spell.died or any(spell.since <= day <= spell.until for day in vine.deaths)

    def _events(self) -> dict[Cell, tuple[VineEvent, ...]]:
        reader = self.reader
        covered = [
            look_for(reader.looks, cell, str(line["date"]), season_of(str(line["date"]), reader.hemisphere),
                     look_of(str(line["date"]), reader.hemisphere)) is not None
            for cell, line in reader.findings
        ]  # fmt: skip
        return events_of(reader.findings, covered, reader.all_work, reader.plants, reader.hemisphere)

    def _notes(self) -> tuple[str, ...]:
        notes = []
        if self.block_planted is not None and any(s - self.block_planted < 3 for s in self.seasons):
            notes.append(
                f"the block was planted in {self.block_planted}: in its first three seasons rates are of all vines"
            )
        if not self.reader.records.block.get("hemisphere") and _unknown_latitude(self.reader.records.block):
            notes.append("no latitude is known: seasons are those north of the equator")
        return tuple(notes)


def _unknown_latitude(block: Mapping[str, object]) -> bool:
    latitude = block.get("latitude")
    return not isinstance(latitude, (int, float)) or latitude != latitude


def _trunk(line: Mapping[str, object]) -> int:
    trunk = line["trunk"]
    return int(trunk) if isinstance(trunk, (int, float)) and trunk == trunk else 0


def look_map(
    records: BlockRecords, grid: RowGrid, surveys: pd.DataFrame, rule: CaseDefinition
) -> tuple[np.ndarray, np.ndarray]:
    """Return cases and living vines of some surveys alone, two (rows, stations) bool arrays.

    Parameters
    ----------
    records : BlockRecords
        All records of the block: plants and deaths tell which vines live.
    grid : RowGrid
        Its rows and positions.
    surveys : DataFrame
        The surveys, lines of the block's `surveys` table.
    rule : CaseDefinition
        What makes a case.
    """
    only = BlockRecords(records.block, records.rows, records.plants, surveys, records.symptoms, records.work)
    reader = BlockReader(only, grid)
    cases, vines = np.zeros(grid.shape, dtype=bool), np.zeros(grid.shape, dtype=bool)
    for look in reader.looks:
        for cell in look.cells:
            vines[cell] = not reader.empty(cell, look.date)
    for cell, line in reader.findings:
        day = str(line["date"])
        inside = any(look.date <= day <= look.until and cell in look.cells for look in reader.looks)
        numbers = [float(str(line[name])) for name in ("dead", "total", "percent")]
        if inside and line["symptom"] == "dead":
            vines[cell] = False
        elif inside and rule.is_case(str(line["symptom"]), spur_share(*numbers)):
            cases[cell] = True
    return cases & vines, vines
