"""From the reading of one block to its history as arrays."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history.block_history import BlockHistory, SeasonLook
from trunkwatch.history.condition import Condition
from trunkwatch.history.definitions import CaseDefinition, Part, definition_named
from trunkwatch.history.looks import Look
from trunkwatch.history.places import Cell
from trunkwatch.history.plant_fates import cohort_followed, deaths_between
from trunkwatch.history.plants import ORIGINAL, plant_after
from trunkwatch.history.reading import BlockReading
from trunkwatch.history.reasons import NotCounted, NoteKind, SeasonNote
from trunkwatch.history.vine import Vine, case_vine, vine_season
from trunkwatch.vineyard.calendar import hemisphere_is_known, season_bounds

__all__ = ["build_history"]

Flags = NDArray[np.bool_]
_FIRST = (ORIGINAL,)


def build_history(
    reading: BlockReading, definition: str = "any", *, without_winter: bool = False, through: int | None = None
) -> BlockHistory:
    """Build the history of one block under one case definition.

    Parameters
    ----------
    reading : BlockReading
        The block's records, as `read_block` reads them.
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
    seasons = tuple(s for s in reading.seasons() if through is None or s <= through)
    return _Builder(reading, rule, seasons, without_winter=without_winter).history()


class _Builder:
    """Fills the arrays of one history, season by season, vine by vine where there is something."""

    def __init__(
        self, reading: BlockReading, rule: CaseDefinition, seasons: tuple[int, ...], *, without_winter: bool
    ) -> None:
        self.reading, self.rule, self.seasons, self.without_winter = reading, rule, seasons, without_winter
        self.shape = (len(seasons), *reading.grid.shape)
        self.looks = [[look for look in reading.looks if look.season == season] for season in seasons]
        self.vines = self._vines()
        self.block_planted = reading.records.planted

    def _vines(self) -> dict[Cell, Vine]:
        reading = self.reading
        within = [look for look in reading.looks if self.seasons and look.season <= self.seasons[-1]]
        return {
            cell: case_vine(
                cell,
                vine.findings,
                vine.work,
                reading.damages.of(cell),
                reading.deaths.get(cell, ()),
                vine.plants,
                looks=within,
                definition=self.rule,
                without_winter=self.without_winter,
            )
            for cell, vine in reading.vines.items()
            if vine.findings or vine.work or vine.plants != _FIRST or cell in reading.deaths
        }

    def history(self) -> BlockHistory:
        """Fill the arrays."""
        looked_at = np.zeros(self.shape, dtype=bool)
        condition = np.full(self.shape, Condition.NO_POSITION, dtype=np.uint8)
        names = ("seen", "carried", "had", "risk", "relapse", "damaged")
        flags = {name: np.zeros(self.shape, dtype=bool) for name in names}
        plant = np.full(self.shape, -1, dtype=np.int16)
        exists = self.reading.grid.exists
        summary = []
        for number, season in enumerate(self.seasons):
            asked = self._asked(self.looks[number])
            looked_at[number] = self._looked_at(self.looks[number], asked)
            condition[number][exists] = Condition.NOT_SEEN
            condition[number][exists & looked_at[number]] = Condition.SOUND
            plant[number][exists] = 0
            bounds = season_bounds(season, self.reading.hemisphere)
            for cell, vine in self.vines.items():
                if vine.is_plain:
                    continue
                at = (number, *cell)
                state = vine_season(
                    vine,
                    season,
                    bounds,
                    [k for k in self.looks[number] if cell in k.cells],
                    self.rule,
                    looked_at=bool(looked_at[at]),
                    block_planted=self.block_planted,
                )
                condition[at], plant[at] = state.condition, state.plant
                flags["seen"][at], flags["carried"][at] = state.seen, state.carried
                flags["had"][at], flags["damaged"][at] = state.had_case, state.damaged
                flags["risk"][at], flags["relapse"][at] = state.relapse_risk, state.relapse
            summary.append(self._season_look(number, season, asked, looked_at[number]))
        self._plain(condition, looked_at, flags)
        return self._finish(condition, looked_at, plant, flags, _compared(summary))

    def _plain(self, condition: NDArray[np.uint8], looked_at: Flags, flags: Mapping[str, Flags]) -> None:
        """Fill in the vines whose rule needs no vine-by-vine thought, all at once: most of any block."""
        number = {season: index for index, season in enumerate(self.seasons)}
        plain, seen = np.zeros(self.shape[1:], dtype=bool), np.zeros(self.shape, dtype=bool)
        for cell, vine in self.vines.items():
            if vine.is_plain:
                plain[cell] = True
                for case in vine.cases:
                    if case.seen and case.finding.season in number:
                        seen[(number[case.finding.season], *cell)] = True
        had = np.logical_or.accumulate(seen, axis=0) if len(seen) else seen
        looked = looked_at & plain
        condition[looked & had] = Condition.HIDDEN
        condition[looked & seen] = Condition.SHOWING
        flags["seen"][seen] = True
        flags["had"][had] = True

    def _asked(self, looks: Sequence[Look]) -> tuple[Part, ...]:
        """Return the parts whose looks a vine must have had in a season to be looked at."""
        if self.rule.every_part:
            return self.rule.parts
        return tuple(part for part in self.rule.parts if any(look.covers_part(part) for look in looks))

    def _looked_at(self, looks: Sequence[Look], asked: Sequence[Part]) -> Flags:
        seen = self.reading.grid.exists & bool(asked)
        for part in asked:
            covered = np.zeros_like(seen)
            for look in looks:
                if look.covers_part(part) and look.cells:
                    rows, stations = np.array(list(look.cells)).T
                    covered[rows, stations] = True
            seen = seen & covered
        return seen

    def _season_look(self, number: int, season: int, asked: Sequence[Part], seen: Flags) -> SeasonLook:
        looks = self.looks[number]
        took = tuple(name for name in ("dormant", "spring", "summer") if any(k.kind == name for k in looks))
        reasons: tuple[NotCounted, ...] = ()
        classes = frozenset(part.name for part in asked if any(look.covers_part(part) for look in looks))
        if not looks:
            reasons = (NotCounted.NO_SURVEY,)
        elif not asked:
            reasons = (NotCounted.NOTHING_LOOKED_FOR,)
        elif len(classes) < len(asked):
            reasons = tuple(_MISSING[part.name] for part in asked if part.name not in classes)
        elif not seen.any():
            reasons = (NotCounted.NO_VINE_WITH_ALL,)
        return SeasonLook(season, reasons, False, took, classes, int(seen.sum()))

    def _finish(
        self,
        condition: NDArray[np.uint8],
        looked_at: Flags,
        plant: NDArray[np.int16],
        flags: Mapping[str, Flags],
        summary: Sequence[SeasonLook],
    ) -> BlockHistory:
        compared = [number for number, look in enumerate(summary) if look.compared]
        counted = [number for number, look in enumerate(summary) if look.counted]
        ever, lost = cohort_followed(
            condition, looked_at, plant, flags["had"], seasons=self.seasons, counted=compared, vines=self.vines
        )
        died, death_risk = deaths_between(condition, looked_at, plant, counted=counted, vines=self.vines)
        return BlockHistory(
            block=self.reading.records.name,
            definition=self.rule.name,
            grid=self.reading.grid,
            seasons=self.seasons,
            looks=tuple(summary),
            condition=condition,
            looked_at=looked_at,
            plant=plant,
            seen=flags["seen"],
            carried=flags["carried"],
            had_case=flags["had"],
            relapse_risk=flags["risk"],
            relapse=flags["relapse"],
            damaged=flags["damaged"],
            ever_case=ever,
            lost_track=lost,
            died=died,
            death_risk=death_risk,
            outside=self._outside(flags),
            reading=self.reading,
            without_winter=self.without_winter,
            notes=self._notes(),
        )

    def _outside(self, flags: Mapping[str, Flags]) -> Flags:
        """Find positions with damage at a season's end that the definition does not count in it."""
        found = np.zeros(self.shape, dtype=bool)
        ends = [season_bounds(season, self.reading.hemisphere)[1] for season in self.seasons]
        for cell, damages in self.reading.damages.by_cell.items():
            plants = self.reading.vine(cell).plants
            for number, end in enumerate(ends):
                at = (number, *cell)
                if not (flags["seen"][at] or flags["carried"][at]):
                    plant = plant_after(plants, end)
                    found[at] = any(d.finding.plant == plant and d.stands(end, cut_that_day=True) for d in damages)
        return found

    def _notes(self) -> tuple[SeasonNote, ...]:
        notes = []
        if self.block_planted is not None and any(s - self.block_planted < 3 for s in self.seasons):
            notes.append(SeasonNote(NoteKind.YOUNG_BLOCK, self.block_planted))
        if not hemisphere_is_known(self.reading.records.block):
            notes.append(SeasonNote(NoteKind.HEMISPHERE_UNKNOWN, 0))
        return tuple(notes)


_MISSING = {"bare": NotCounted.NO_BARE_LOOK, "leafy": NotCounted.NO_LEAFY_LOOK}


def _compared(summary: Sequence[SeasonLook]) -> list[SeasonLook]:
    """Mark the counted seasons that had the same classes of looks as the last of them."""
    last = next((look for look in reversed(summary) if look.counted), None)
    if last is None:
        return list(summary)
    return [replace(look, compared=look.counted and look.classes == last.classes) for look in summary]
