"""Vines looked at a second time without knowledge of the first: what each look saw."""

from collections import defaultdict
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from trunkwatch.grid import RowGrid
from trunkwatch.history.block_history import BlockRecords
from trunkwatch.history.block_reader import BlockReader
from trunkwatch.history.definitions import definition_named
from trunkwatch.history.looks import Look, look_for
from trunkwatch.history.places import Cell
from trunkwatch.vineyard.calendar import look_of

__all__ = ["second_looks"]


def second_looks(
    records: BlockRecords, grid: RowGrid, definition: str, season: int
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Return what the first and the second look saw, vine by vine.

    Parameters
    ----------
    records, grid
        The block and its rows.
    definition : {"any", "leaf", "dieback"}
        What makes a case.
    season : int
        Surveys with purpose `recheck` of this season are the second looks; a vine is taken where a survey of the
        same kind (dormant, spring, summer) looked at it before.

    Returns
    -------
    first, second : (k,) bool arrays
        A case was seen, for each vine looked at twice.

    Raises
    ------
    ValueError
        If there is no such definition.
    """
    rule = definition_named(definition)
    reader = BlockReader(records, grid)
    again = [one for one in reader.rechecks if one.season == season and one.look in rule.looks]
    firsts: list[bool] = []
    seconds: list[bool] = []
    for kind in sorted({one.look for one in again}):
        looks = [one for one in reader.looks if one.season == season and one.look == kind]
        before = frozenset().union(*(one.cells for one in looks))
        twice = sorted(frozenset().union(*(one.cells for one in again if one.look == kind)) & before)
        one = _cells_with_cases(reader, reader.findings, looks, definition, season, kind)
        two = _cells_with_cases(reader, reader.second_findings, again, definition, season, kind)
        firsts += [cell in one for cell in twice]
        seconds += [cell in two for cell in twice]
    return np.array(firsts, dtype=bool), np.array(seconds, dtype=bool)


def _cells_with_cases(
    reader: BlockReader,
    findings: Iterable[tuple[Cell, dict[str, object]]],
    looks: list[Look],
    definition: str,
    season: int,
    kind: str,
) -> set[Cell]:
    rule = definition_named(definition)
    seen: defaultdict[Cell, bool] = defaultdict(bool)
    for cell, line in findings:
        date = str(line["date"])
        look = look_for(looks, cell, date, season, look_of(date, reader.hemisphere))
        if look is not None and look.look == kind and rule.makes_case(line):
            seen[cell] = True
    return set(seen)
