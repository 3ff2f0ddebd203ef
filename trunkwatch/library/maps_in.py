"""Maps from tables of one's own: a long table of vines on rows, or points where there is no lattice."""

from dataclasses import dataclass, field

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.spatial import cKDTree

from trunkwatch.vineyard.rows_on_day import natural_key

__all__ = ["Map", "map_of_points", "map_of_table"]


@dataclass(frozen=True, slots=True, eq=False)
class Map:
    """A map for `trunkwatch.stats`.

    Attributes
    ----------
    cases : (rows, stations) masked bool array
        True for a case; masked where no vine counts.
    vines : (rows, stations) bool array
        The vines that count.
    rows : tuple of str
        Labels of the rows; one empty label for points.
    joins : (k, 2) int array or None
        Pairs of cells that are neighbors where there is no lattice; `join_count` takes it.
    """

    cases: "np.ma.MaskedArray[tuple[int, int], np.dtype[np.bool_]]" = field(repr=False)
    vines: NDArray[np.bool_] = field(repr=False)
    rows: tuple[str, ...]
    joins: NDArray[np.int64] | None = field(default=None, repr=False)


def map_of_table(table: pd.DataFrame, *, row: str = "row", position: str = "position", case: str = "case") -> Map:
    """Lay a long table, one line a vine, out as rows by stations.

    Parameters
    ----------
    table : DataFrame
        One line a vine. A vine whose case is empty was not scouted, and does not count.
    row, position, case : str
        Its columns: label of the row, whole number in the row, and 0 or 1 (or true and false).

    Raises
    ------
    ValueError
        If a column is not there, a position is no whole number, a vine stands twice, or a case is neither 0 nor 1.

    Examples
    --------
    >>> import pandas as pd
    >>> found = map_of_table(pd.DataFrame({"row": [1, 1, 2], "position": [1, 2, 2], "case": [0, 1, 1]}))
    >>> found.cases.filled(False).astype(int).tolist(), found.vines.astype(int).tolist()
    ([[0, 1], [0, 1]], [[1, 1], [0, 1]])
    """
    lost = [name for name in (row, position, case) if name not in table.columns]
    if lost:
        raise ValueError(f"the table has no column {lost[0]!r}; it has: {', '.join(map(str, table.columns))}")
    places = pd.to_numeric(table[position], errors="coerce")
    odd = table[position][places.isna() | (places % 1 != 0)]
    if len(odd):
        raise ValueError(f"{position} is {_shown(odd.iloc[0])} in line {odd.index[0]}: a whole number is needed")
    twice = table.duplicated([row, position])
    if twice.any():
        first = table[twice].iloc[0]
        raise ValueError(
            f"row {_shown(first[row])}, position {_shown(first[position])} stands twice: one line a vine is needed"
        )
    state = _states(table[case], case)
    labels = sorted({str(one) for one in table[row]}, key=natural_key)
    where = table[row].astype(str).map({label: number for number, label in enumerate(labels)}).to_numpy()
    station = (places - places.min()).to_numpy().astype(int)
    cases, vines = (np.zeros((len(labels), int(station.max()) + 1), dtype=bool) for _ in range(2))
    known = state.notna().to_numpy()
    vines[where[known], station[known]] = True
    cases[where[known], station[known]] = state[known].to_numpy().astype(bool)
    return Map(np.ma.array(cases, mask=~vines), vines, tuple(labels))


def map_of_points(
    east: NDArray[np.floating], north: NDArray[np.floating], case: NDArray[np.generic], *, within: float
) -> Map:
    """Make a map of points that lie on no lattice: neighbors are points no farther apart than `within`.

    Parameters
    ----------
    east, north : (vines,) float array
        Meters, or any one unit.
    case : (vines,) array
        0 or 1; NaN for a vine that was not scouted.
    within : float
        Largest distance of neighbors, in the same unit.

    Returns
    -------
    Map
        One row of all points; `joins` are its pairs.

    Raises
    ------
    ValueError
        If the lengths differ, a case is neither 0 nor 1, or no two points are that near.

    Examples
    --------
    >>> import numpy as np
    >>> found = map_of_points(np.array([0.0, 1, 5]), np.zeros(3), np.array([1, 1, 0]), within=1.5)
    >>> found.joins.tolist()
    [[0, 1]]
    """
    state = _states(pd.Series(np.asarray(case)), "case")
    if not len(state) == len(east) == len(north):
        raise ValueError(f"{len(east)} east, {len(north)} north, {len(state)} cases: as many of each are needed")
    known = state.notna().to_numpy()
    pairs = cKDTree(np.column_stack([east, north])).query_pairs(within, output_type="ndarray")
    joins = pairs[known[pairs].all(axis=1)].astype(np.int64)
    if not len(joins):
        raise ValueError(f"no two points lie within {within:g}: take a larger distance")
    cases = np.where(known, state.fillna(0).to_numpy(), 0).astype(bool)
    return Map(
        np.ma.array(cases[None, :], mask=~known[None, :]), known[None, :], ("",), joins[np.lexsort(joins.T[::-1])]
    )


def _shown(value: object) -> str:
    return repr(value.item() if isinstance(value, np.generic) else value)


def _states(column: "pd.Series[float]", name: str) -> "pd.Series[float]":
    state = pd.to_numeric(column, errors="coerce") if column.dtype != bool else column.astype(float)
    odd = column[(column.notna() & state.isna()) | (state.notna() & ~state.isin((0, 1)))]
    if len(odd):
        raise ValueError(f"{name} is {_shown(odd.iloc[0])} in line {odd.index[0]}: 0, 1 or nothing is needed")
    return state
