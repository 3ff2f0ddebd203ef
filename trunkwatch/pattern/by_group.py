"""Cases by what is on record of the vines, and the groups inside which labels may move."""

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history import BlockHistory
from trunkwatch.pattern.on_record import OnRecord, on_record
from trunkwatch.stats.shares import Incidence, incidence
from trunkwatch.stats.shares_by_group import GroupShares, group_shares

__all__ = ["FEWEST_IN_GROUP", "GroupTable", "Groups", "groups_of", "meters_of"]

#: A label of fewer vines that count is put to the most frequent one (our own convention).
FEWEST_IN_GROUP = 10


@dataclass(frozen=True, slots=True)
class GroupTable:
    """Cases by one thing on record.

    Attributes
    ----------
    name : {"cultivar", "rootstock", "planting"}
    shares : tuple of (str, Incidence)
        Label (empty where nothing is written) and its cases over vines that count; all labels, small ones too.
    test : GroupShares
        Of equal shares, straight slopes over the block taken off.
    """

    name: str
    shares: tuple[tuple[str, Incidence], ...]
    test: GroupShares


@dataclass(frozen=True, slots=True)
class Groups:
    """What is on record of the vines that count.

    Attributes
    ----------
    tables : tuple of GroupTable
        One for each thing that tells at least two groups of `FEWEST_IN_GROUP` vines apart.
    unwritten : tuple of str
        What is written of no plant.
    strata : (rows, stations) int array or None
        Their combinations; None where there is one group only.
    """

    tables: tuple[GroupTable, ...]
    unwritten: tuple[str, ...]
    strata: NDArray[np.int64] | None = field(repr=False, compare=False)


def groups_of(
    history: BlockHistory,
    season: int,
    cases: NDArray[np.bool_],
    vines: NDArray[np.bool_],
    *,
    known: OnRecord | None = None,
) -> Groups:
    """Sort the vines of a season by what is on record of them.

    Parameters
    ----------
    history : BlockHistory
        The block over its years.
    season : int
        Year of the harvest.
    cases, vines : (rows, stations) bool array
        Cases, and vines that count.
    known : OnRecord, optional
        As `on_record` reads it, where it has been read already.
    """
    known = known or on_record(history)
    number = history.index_of(season)
    tables, strata = [], None
    for name, codes in known.codes.items():
        merged = _merged(codes[number], vines)
        if merged is None:
            continue
        shares = tuple(
            (label, incidence(int((cases & here).sum()), int((vines & here).sum())))
            for code, label in enumerate(known.labels[name])
            if (vines & (here := codes[number] == code)).any()
        )
        tables.append(GroupTable(name, shares, group_shares(cases, vines, merged, covariates=meters_of(history.grid))))
        strata = merged if strata is None else strata * (int(merged.max()) + 1) + merged
    return Groups(tuple(tables), known.unwritten, strata)


def _merged(codes: NDArray[np.int64], vines: NDArray[np.bool_]) -> NDArray[np.int64] | None:
    """Put labels of few vines to the most frequent one; None where one group is left."""
    many = np.bincount(codes[vines], minlength=int(codes.max(initial=0)) + 1)
    kept = many >= FEWEST_IN_GROUP
    if kept.sum() < 2:
        return None
    return np.asarray(np.where(kept[codes], codes, int(many.argmax())))


def meters_of(grid: RowGrid) -> NDArray[np.float64]:
    """Meters along and across, (2, rows, stations); 0 where there is no position."""
    return np.nan_to_num(np.stack([np.broadcast_to(one, grid.shape) for one in (grid.along_m, grid.across_m)]))
