"""From the standing records of one block to its history as arrays."""

from collections import defaultdict
from collections.abc import Mapping, Sequence

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history.block_history import BlockHistory, BlockRecords, SeasonLook, VineEvent
from trunkwatch.history.block_reader import BlockReader
from trunkwatch.history.condition import Condition
from trunkwatch.history.definitions import CaseDefinition, definition_named, is_lasting
from trunkwatch.history.events import events_of
from trunkwatch.history.looks import Look, needed_parts
from trunkwatch.history.places import Cell
from trunkwatch.history.plant_fates import cohort_followed, deaths_between
from trunkwatch.history.plants import ORIGINAL
from trunkwatch.history.vine import Clearing, Finding, Vine, vine_season
from trunkwatch.vineyard.calendar import season_bounds, season_of
from trunkwatch.vineyard.codes import CLEARING
from trunkwatch.vineyard.tables import number_or_none

__all__ = ["build_history"]


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
        self.block_planted = reader.records.planted

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
        case = self.rule.makes_case(line)
        if self.without_winter and line["cause"] == "winter_injury":
            case = False
        look = self.reader.look_at(cell, date)
        counted = look is not None and look.look in self.rule.looks
        return Finding(date, season, symptom, _trunk(line), str(line["arm"]), case, is_lasting(symptom), counted)

    def history(self) -> BlockHistory:
        """Fill the arrays."""
        looked_at = np.zeros(self.shape, dtype=bool)
        condition = np.full(self.shape, Condition.NO_POSITION, dtype=np.uint8)
        flags = {name: np.zeros(self.shape, dtype=bool) for name in ("case", "had", "risk", "relapse", "damaged")}
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
                flags["damaged"][at] = state.damaged
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
        ever, lost = cohort_followed(
            condition, looked_at, plant, flags["had"], seasons=self.seasons, counted=counted, vines=self.vines
        )
        died, death_risk = deaths_between(condition, looked_at, plant, counted=counted, vines=self.vines)
        return BlockHistory(
            block=self.reader.records.name, definition=self.rule.name, grid=self.reader.grid, seasons=self.seasons,
            looks=tuple(summary), condition=condition, looked_at=looked_at, plant=plant, case=flags["case"], had_case=flags["had"],
            relapse_risk=flags["risk"], relapse=flags["relapse"], damaged=flags["damaged"], ever_case=ever, lost_track=lost,
            died=died, death_risk=death_risk, events=self._events(), without_winter=self.without_winter,
            notes=self._notes(),
        )  # fmt: skip

    def _events(self) -> dict[Cell, tuple[VineEvent, ...]]:
        reader = self.reader
        covered = [reader.look_at(cell, str(line["date"])) is not None for cell, line in reader.findings]
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
    return number_or_none(block.get("latitude")) is None


def _trunk(line: Mapping[str, object]) -> int:
    return int(number_or_none(line["trunk"]) or 0)
