"""How many cases stand beside a vine at risk, next to it or within meters, and whether they were noted before or only later."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import sparse
from scipy.spatial import cKDTree

from trunkwatch.stats.joins import Rule, joined_pairs
from trunkwatch.yearly.steps import Intervals

__all__ = ["RINGS", "Exposure", "before_and_later", "kernel_exposure", "ring_exposure", "ring_pairs", "sources"]

#: Rings of neighbors on the grid: a rule of `trunkwatch.stats.joins`, and how many vines apart.
RINGS: Mapping[str, tuple[Rule, int]] = MappingProxyType(
    {"along": ("row", 1), "along_2": ("row", 2), "across": ("across", 1), "diagonal": ("diagonal", 1)}
)
#: A kernel is cut where it falls below one part in three hundred or so.
REACH = 6.0


@dataclass(frozen=True, slots=True)
class Exposure:
    """What each interval is exposed to.

    Attributes
    ----------
    names : tuple of str
        One for each column.
    values : (m, columns) float array
        Neighbors, or sums of the kernel, at the season before the look.
    """

    names: tuple[str, ...]
    values: NDArray[np.float64]

    def column(self, name: str) -> NDArray[np.float64]:
        """Return one column by its name."""
        if name not in self.names:
            raise ValueError(f"no exposure {name!r}: one of {', '.join(self.names)} is needed")
        return np.asarray(self.values[:, self.names.index(name)])


def sources(
    case: ArrayLike, plant: ArrayLike, *, cleared: ArrayLike | None = None, ever: bool = True
) -> NDArray[np.bool_]:
    """Tell which plants stand as a source at the end of each season.

    Parameters
    ----------
    case : (seasons, rows, stations) bool array_like
        Vines noted as a case.
    plant : (seasons, rows, stations) int array_like
        Which plant stands there, 0 for none; a replant is no source for what its forerunner showed.
    cleared : (seasons, rows, stations) bool array_like, optional
        Vines removed, renewed or cut clean after they were looked at in that season; a later case counts again.
    ever : bool
        True: every plant that has been a case by then. False: only those noted as a case in the season itself.

    Returns
    -------
    (seasons, rows, stations) bool array
    """
    shown, plants = np.asarray(case, dtype=bool), np.asarray(plant).astype(np.int64)
    gone = np.zeros(shown.shape, dtype=bool) if cleared is None else np.asarray(cleared, dtype=bool)
    if shown.ndim != 3 or not shown.shape == plants.shape == gone.shape:
        raise ValueError(
            f"case {shown.shape}, plant {plants.shape}, cleared {gone.shape}: one shape of three is needed"
        )
    out = np.zeros(shown.shape, dtype=bool)
    standing = np.zeros(shown.shape[1:], dtype=bool)
    for season in range(len(shown)):
        if season:
            standing &= plants[season] == plants[season - 1]
        standing = (standing & ever) | shown[season]
        standing &= ~gone[season] & (plants[season] > 0)
        out[season] = standing
    return out


def ring_pairs(shape: tuple[int, int]) -> dict[str, NDArray[np.int64]]:
    """Return the pairs of neighbors of each ring on a grid, flat indices (pairs, 2).

    A block whose rows drift against each other has pairs of its own, which `ring_exposure` takes as well.
    """
    every = np.ones(shape, dtype=bool)
    return {name: joined_pairs(rule, every, order) for name, (rule, order) in RINGS.items()}


def _graph(pairs: NDArray[np.int64], size: int, weight: ArrayLike = 1.0) -> sparse.csr_array:
    values = np.broadcast_to(np.asarray(weight, dtype=float), (len(pairs),))
    half = sparse.coo_array((values, (pairs[:, 0], pairs[:, 1])), shape=(size, size)).tocsr()
    return sparse.csr_array(half + half.T)


def _at_season_before(intervals: Intervals, maps: NDArray[np.float64]) -> NDArray[np.float64]:
    """Values of (seasons, cells) maps at the season before each look."""
    return np.asarray(maps[intervals.season - 1, intervals.cell])


def _flat(intervals: Intervals, source: ArrayLike) -> NDArray[np.float64]:
    maps = np.asarray(source, dtype=float)
    if maps.ndim != 3 or maps.shape[1:] != intervals.shape or len(maps) <= intervals.season.max(initial=0) - 1:
        raise ValueError(
            f"sources are {maps.shape}: every season before an inspection of a block {intervals.shape} is needed"
        )
    return maps.reshape(len(maps), -1)


def ring_exposure(
    intervals: Intervals, source: ArrayLike, *, pairs: Mapping[str, NDArray[np.int64]] | None = None
) -> Exposure:
    """Count the sources beside each vine at risk, ring by ring.

    Parameters
    ----------
    intervals : Intervals
        Vines between two looks.
    source : (seasons, rows, stations) bool array_like
        As `sources` makes it. What stood at the season before the look counts.
    pairs : dict of (k, 2) int array, optional
        Pairs of neighbors of each ring, flat indices; the rings of the grid where left out.

    Raises
    ------
    ValueError
        If the sources are of another block or end before the looks.
    """
    maps = _flat(intervals, source)
    rings = ring_pairs(intervals.shape) if pairs is None else dict(pairs)
    size = maps.shape[1]
    columns = [_at_season_before(intervals, (_graph(joined, size) @ maps.T).T) for joined in rings.values()]
    return Exposure(tuple(rings), np.column_stack(columns) if columns else np.empty((len(intervals), 0)))


def _near(
    along: NDArray[np.float64], across: NDArray[np.float64], range_m: float
) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.bool_]]:
    """Pairs within reach, their kernel, and which lie in one row of the grid."""
    points = np.column_stack([along.ravel(), across.ravel()])
    placed = np.flatnonzero(np.isfinite(points).all(axis=1))
    tree = cKDTree(points[placed])
    pairs = placed[tree.query_pairs(REACH * range_m, output_type="ndarray").reshape(-1, 2)]
    apart = np.hypot(*(points[pairs[:, 0]] - points[pairs[:, 1]]).T)
    row = np.arange(along.size) // along.shape[1]
    return pairs, np.exp(-apart / range_m), row[pairs[:, 0]] == row[pairs[:, 1]]


def kernel_exposure(
    intervals: Intervals, source: ArrayLike, *, along_m: ArrayLike, across_m: ArrayLike, range_m: float
) -> Exposure:
    """Sum an exponential kernel ``exp(-meters / range)`` over the sources, along the row and across the rows apart.

    Parameters
    ----------
    intervals, source
        As in `ring_exposure`.
    along_m, across_m : (rows, stations) float array_like
        Places of all vines; nan where there is none.
    range_m : float
        Meters over which the kernel falls to about a third.

    Returns
    -------
    Exposure
        Columns "along" (sources in the vine's own row) and "across" (in all other rows).
    """
    if not range_m > 0:
        raise ValueError(f"range_m is {range_m}: meters above 0 are needed")
    maps = _flat(intervals, source)
    places = [np.asarray(one, dtype=float) for one in (along_m, across_m)]
    if any(one.shape != intervals.shape for one in places):
        raise ValueError(f"along_m {places[0].shape}, across_m {places[1].shape}: {intervals.shape} is needed")
    pairs, weight, own = _near(places[0], places[1], range_m)
    columns = [
        _at_season_before(intervals, (_graph(pairs[use], maps.shape[1], weight[use]) @ maps.T).T) for use in (own, ~own)
    ]
    return Exposure(("along", "across"), np.column_stack(columns))


def before_and_later(
    intervals: Intervals, case: ArrayLike, plant: ArrayLike, *, pairs: Mapping[str, NDArray[np.int64]] | None = None
) -> Exposure:
    """Count neighbors that were noted before the look, and those noted only later.

    Parameters
    ----------
    intervals : Intervals
        Vines between two looks.
    case, plant
        As in `sources`.
    pairs : dict of (k, 2) int array, optional
        As in `ring_exposure`.

    Returns
    -------
    Exposure
        Columns "<ring> before" and "<ring> later". A neighbor first noted at the look itself is in neither; only the
        plant that stands there in the season of the look counts, for what it shows later as well.

    Notes
    -----
    Later cases are not known at the time: this is for telling spread from foci that were there from the start, where
    both kinds of neighbors go with the same risk, and for no forecast.
    """
    shown, plants = np.asarray(case, dtype=bool), np.asarray(plant).astype(np.int64)
    before = sources(shown, plants)
    # Read backwards, "has been a case by then" is "will be a case from then on".
    later = sources(shown[::-1], plants[::-1])[::-1]
    maps_before = _flat(intervals, before)
    season, seasons = intervals.season, len(shown)
    after = np.zeros((seasons + 1, maps_before.shape[1]), dtype=bool)
    after[:seasons] = later.reshape(seasons, -1)
    flat = plants.reshape(seasons, -1)
    by_now = before.reshape(seasons, -1)
    rings = ring_pairs(intervals.shape) if pairs is None else dict(pairs)
    columns, names = [], []
    # Noted before: by the season before, and still the same plant at the look.
    stays = np.zeros(by_now.shape, dtype=bool)
    stays[1:] = by_now[:-1] & (flat[1:] == flat[:-1])
    # Noted only later: not by the look, and from the next season on while the same plant stands.
    same = np.zeros(by_now.shape, dtype=bool)
    same[:-1] = flat[1:] == flat[:-1]
    only = after[1:] & same & ~by_now
    for name, joined in rings.items():
        graph = _graph(joined, flat.shape[1])
        for when, maps in (("before", stays), ("later", only)):
            columns.append((graph @ maps.astype(float).T).T[season, intervals.cell])
            names.append(f"{name} {when}")
    return Exposure(tuple(names), np.column_stack(columns) if columns else np.empty((len(intervals), 0)))
