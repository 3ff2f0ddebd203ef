"""What the phone knows of a block to count cut buds in it and to tick rows that are pruned."""

from dataclasses import dataclass

import numpy as np

from trunkwatch.cold.noted import bud_counts, noted_budbreak, rows_pruned
from trunkwatch.cold.of_store import cultivars_of
from trunkwatch.cold.pace import living_vines, vines_in
from trunkwatch.sheets.bud_form import BUDS
from trunkwatch.store import Store
from trunkwatch.surveys.to_walk import ToWalk
from trunkwatch.vineyard.calendar import as_date, season_bounds
from trunkwatch.winter_model.bud_count import buds_to_cut

__all__ = ["BudFacts", "bud_facts"]

#: How exact the number of buds that the phone asks for makes the answer, either way.
_WITHIN = 0.1


@dataclass(frozen=True, slots=True)
class BudFacts:
    """Of one block.

    Attributes
    ----------
    cultivars : tuple of str
        Its cultivars, that of most rows first; empty where none is written.
    parts : tuple of str
        Parts of it that were counted or noted apart before.
    pruned : tuple of str
        Labels of rows with a final cut of every vine on record in this winter.
    needed : int
        Buds to cut.
    """

    cultivars: tuple[str, ...] = ()
    parts: tuple[str, ...] = ()
    pruned: tuple[str, ...] = ()
    needed: int = 0


def bud_facts(store: Store, walk: ToWalk) -> BudFacts:
    """Read what is on record of a block's buds and pruning.

    Parameters
    ----------
    store : Store
        The vineyard.
    walk : ToWalk
        The block, and the season to be scouted.
    """
    label = walk.history.block
    parts = {one.part for one in bud_counts(store.frame("bud_counts", label))}
    parts |= {one.part for one in noted_budbreak(store.frame("budbreak", label))}
    return BudFacts(
        tuple(name for name in cultivars_of(store, label) if name),
        tuple(sorted(parts - {""})),
        _pruned(store, walk),
        buds_to_cut(0.5, _WITHIN, buds_per_cane=BUDS),
    )


def _pruned(store: Store, walk: ToWalk) -> tuple[str, ...]:
    since, until = (as_date(day) for day in season_bounds(walk.season, walk.reading.hemisphere))
    living = living_vines(walk.reading, walk.season)
    done = np.zeros_like(living)
    for line in rows_pruned(store.frame("pruning", walk.history.block)):
        if since <= line.date <= until and not line.first_cut:
            done |= vines_in(walk.reading, line, living)
    return tuple(
        row.label
        for row in walk.history.grid.named
        if (alive := living[row.line, row.stations]).any() and not (alive & ~done[row.line, row.stations]).any()
    )
