"""Who looked at which vines in a season, what each of them found, and where two of them disagree."""

from collections import defaultdict
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.history.definitions import definition_named
from trunkwatch.history.looks import Look, look_for
from trunkwatch.history.places import Cell
from trunkwatch.history.reading import BlockReading
from trunkwatch.vineyard.calendar import look_of

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


def who_looked(reading: BlockReading, definition: str, season: int) -> Observers:
    """Tell who looked at which vines.

    Parameters
    ----------
    reading : BlockReading
        The block's records.
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
    looks = [
        look for look in reading.looks if look.season == season and any(look.covers_part(part) for part in rule.parts)
    ]
    shape = reading.grid.shape
    seen: dict[str, NDArray[np.bool_]] = {}
    for look in looks:
        mask = seen.setdefault(look.observer, np.zeros(shape, dtype=bool))
        for cell in look.cells:
            mask[cell] = True
    names = tuple(sorted(seen))
    code = np.zeros(shape, dtype=np.int64)
    for bit, name in enumerate(names):
        code += seen[name].astype(np.int64) << bit
    kinds = [int(kind) for kind in np.unique(code) if kind]
    group = np.full(shape, -1, dtype=np.int64)
    for number, kind in enumerate(kinds):
        group[code == kind] = number
    sets = tuple(tuple(name for bit, name in enumerate(names) if kind >> bit & 1) for kind in kinds)
    both, disagree = _disagreements(reading, looks, definition, season)
    return Observers(names, seen, group, sets, both, disagree)


def _disagreements(reading: BlockReading, looks: list[Look], definition: str, season: int) -> tuple[int, int]:
    """Count vines looked at by two observers in one kind of look, and those they differ on."""
    rule = definition_named(definition)
    by_kind: defaultdict[str, defaultdict[Cell, set[str]]] = defaultdict(lambda: defaultdict(set))
    for look in looks:
        for cell in look.cells:
            by_kind[look.kind][cell].add(look.observer)
    found: defaultdict[tuple[str, Cell], defaultdict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for finding in reading.findings:
        if finding.season != season or not rule.makes_case(finding):
            continue
        made = look_for(looks, finding.cell, finding.date, season, look_of(finding.date, reading.hemisphere))
        if made is not None:
            found[made.kind, finding.cell][finding.observer or made.observer].add(finding.symptom)
    both = disagree = 0
    for kind, cells in by_kind.items():
        for cell, who in cells.items():
            if len(who) < 2:
                continue
            both += 1
            noted = found.get((kind, cell))
            disagree += noted is not None and len({frozenset(noted.get(name, ())) for name in who}) > 1
    return both, disagree
