"""Who looked at which vines in a season, what each of them found, and where two of them disagree."""

from collections import defaultdict
from dataclasses import dataclass, field, replace

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history.block_history import BlockRecords
from trunkwatch.history.block_reader import BlockReader
from trunkwatch.history.definitions import definition_named
from trunkwatch.history.looks import Look, look_for
from trunkwatch.history.places import Cell
from trunkwatch.vineyard.calendar import hemisphere_of, is_iso_date, look_of, season_of

__all__ = ["Observers", "who_looked"]


@dataclass(frozen=True, slots=True)
class Observers:
    """The observers of one season.

    Attributes
    ----------
    names : tuple of str
        Everyone who made a look that the definition needs; "" for a look without a name.
    seen : dict of name to (rows, stations) bool array
        Positions each of them looked at.
    group : (rows, stations) int array
        Number of the set of observers that looked at a position, -1 where nobody did.
    groups : tuple of tuple of str
        The sets.
    both : int
        Vines that two or more observers looked at in one look (both walked the row).
    disagree : int
        Of these, vines on which one saw a case symptom that another did not.
    """

    names: tuple[str, ...]
    seen: dict[str, NDArray[np.bool_]] = field(repr=False, compare=False)
    group: NDArray[np.int64] = field(repr=False, compare=False)
    groups: tuple[tuple[str, ...], ...] = ()
    both: int = 0
    disagree: int = 0


def who_looked(records: BlockRecords, grid: RowGrid, definition: str, season: int) -> Observers:
    """Tell who looked at which vines.

    Parameters
    ----------
    records : BlockRecords
        Standing records of the block.
    grid : RowGrid
        Its rows and positions.
    definition : {"any", "leaf", "dieback"}
        Only looks that the definition needs are taken.
    season : int
        Year of the harvest.

    Raises
    ------
    ValueError
        If there is no such definition.
    """
    rule = definition_named(definition)
    reader = BlockReader(_of_season(records, season), grid)
    looks = [
        look for look in reader.looks if look.season == season and any(look.covers_part(part) for part in rule.parts)
    ]
    seen: dict[str, NDArray[np.bool_]] = {}
    for look in looks:
        mask = seen.setdefault(look.observer, np.zeros(grid.shape, dtype=bool))
        for cell in look.cells:
            mask[cell] = True
    names = tuple(sorted(seen))
    code = np.zeros(grid.shape, dtype=np.int64)
    for bit, name in enumerate(names):
        code += seen[name].astype(np.int64) << bit
    kinds = [int(kind) for kind in np.unique(code) if kind]
    group = np.full(grid.shape, -1, dtype=np.int64)
    for number, kind in enumerate(kinds):
        group[code == kind] = number
    sets = tuple(tuple(name for bit, name in enumerate(names) if kind >> bit & 1) for kind in kinds)
    both, disagree = _disagreements(reader, looks, definition, season)
    return Observers(names, seen, group, sets, both, disagree)


def _of_season(records: BlockRecords, season: int) -> BlockRecords:
    """Keep the surveys and findings of a season, and every death: scouts who count living vines pass the dead."""
    hemisphere = hemisphere_of(records.block)

    def kept(table: pd.DataFrame) -> pd.Series:
        days = {day: is_iso_date(day) and season_of(day, hemisphere) == season for day in table["date"].unique()}
        return table["date"].map(days).astype(bool)

    surveys, symptoms = records.surveys, records.symptoms
    return replace(
        records, surveys=surveys[kept(surveys)], symptoms=symptoms[kept(symptoms) | (symptoms["symptom"] == "dead")]
    )


def _disagreements(reader: BlockReader, looks: list[Look], definition: str, season: int) -> tuple[int, int]:
    """Count vines looked at by two observers in one kind of look, and those they differ on."""
    rule = definition_named(definition)
    by_kind: defaultdict[str, defaultdict[Cell, set[str]]] = defaultdict(lambda: defaultdict(set))
    for look in looks:
        for cell in look.cells:
            by_kind[look.look][cell].add(look.observer)
    found: defaultdict[tuple[str, Cell], defaultdict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for cell, line in reader.findings:
        date, symptom = str(line["date"]), str(line["symptom"])
        if season_of(date, reader.hemisphere) != season:
            continue
        own = look_of(date, reader.hemisphere)
        look_made = look_for(looks, cell, date, season, own)
        if look_made is not None and rule.makes_case(line):
            found[look_made.look, cell][str(line["observer"]) or look_made.observer].add(symptom)
    both = disagree = 0
    for kind, cells in by_kind.items():
        for cell, who in cells.items():
            if len(who) < 2:
                continue
            both += 1
            told = found.get((kind, cell))
            disagree += told is not None and len({frozenset(told.get(name, ())) for name in who}) > 1
    return both, disagree
