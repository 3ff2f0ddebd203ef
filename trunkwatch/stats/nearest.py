"""How near is each case to the next one, in meters, beside what chance would have it?"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trunkwatch.stats.chance import Alternative, Rng, check_alternative, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.relabelling import plain_labellings
from trunkwatch.stats.result import Result

__all__ = ["NearestNeighbour", "nearest_neighbour"]


@dataclass(frozen=True, slots=True)
class NearestNeighbour(Result):
    """Distances from each case to its nearest other case.

    Attributes
    ----------
    statistic : float
        Mean distance, meters.
    expected : float
        Mean of the relabelled maps, meters.
    pvalue : float
        "less" is clustering: nearer than chance would have it.
    radii, share_within, expected_within : (k,) float array
        G function: share of cases with another case within each radius (meters), seen and
        expected; radii lie between the distances that the grid allows.
    n_cases : int
        Cases.
    n_vines : int
        Vines that count.
    alternative : {"greater", "less", "two-sided"}
        Which way the test looked.
    reason : str
        Why there is no figure or no test; empty where there is.
    null_distribution : (permutations,) array
        The statistic of each relabelled map.
    """

    statistic: float
    expected: float
    pvalue: float
    n_cases: int
    n_vines: int
    alternative: Alternative
    reason: str
    radii: NDArray[np.float64] = field(repr=False, compare=False)
    share_within: NDArray[np.float64] = field(repr=False, compare=False)
    expected_within: NDArray[np.float64] = field(repr=False, compare=False)
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"nearest case: no test: {self.reason}"
        return f"nearest case {self.statistic:.1f} m away on average, {self.expected:.1f} m expected, p = {self.pvalue:.3g}"


def nearest_neighbour(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    row_spacing: float,
    vine_spacing: float,
    alternative: Alternative = "less",
    permutations: int = 999,
    rng: Rng = None,
) -> NearestNeighbour:
    """Nearest-neighbor distances between cases under random labelling.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    row_spacing, vine_spacing : float
        Meters.
    alternative : {"less", "greater", "two-sided"}
        "less": cases lie nearer to each other than chance would have it.
    permutations : int
        Labellings drawn.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    NearestNeighbour
        Mean distance in meters, seen and expected, p-value, and shares within (radii,) meters.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or a spacing is not positive.

    Notes
    -----
    The null is random labelling of the vines that count, never complete spatial randomness:
    vines stand on a lattice, and against points anywhere every vineyard looks regular.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> print(tw.stats.nearest_neighbour(cases, vines, row_spacing=2.5, vine_spacing=1.5, permutations=199, rng=1))
    nearest case 2.2 m away on average, 2.6 m expected, p = 0.2
    """
    check_alternative(alternative)
    if row_spacing <= 0 or vine_spacing <= 0:
        raise ValueError(f"row_spacing is {row_spacing} m, vine_spacing {vine_spacing} m: both must be above 0")
    marked, mask = checked_labels(cases, vines)
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    nothing = np.empty(0)
    reason = nothing_to_move(n_cases, n_vines, fewest=2)
    if reason:
        return NearestNeighbour(
            math.nan,
            math.nan,
            math.nan,
            n_cases,
            n_vines,
            alternative,
            reason,
            nothing,
            nothing,
            nothing,
            nothing,
        )
    ladder = _ladder(mask.shape, row_spacing, vine_spacing)
    flat = np.flatnonzero(mask)
    seen = _distances(marked[None], ladder)[0][marked]
    radii = _between(ladder)[:12]
    total, null = np.zeros(radii.size), []
    for drawn in plain_labellings(n_cases, flat.size, permutations, generator(rng), chunk=64):
        maps = np.zeros((len(drawn), mask.size), dtype=bool)
        maps[:, flat] = drawn
        maps = maps.reshape(len(drawn), *mask.shape)
        found = _distances(maps, ladder)
        each = found[maps].reshape(len(drawn), n_cases)
        null.append(each.mean(axis=1))
        total += (each[:, :, None] <= radii).mean(axis=1).sum(axis=0)
    means = np.concatenate(null) if null else nothing
    pvalue = permutation_pvalue(float(seen.mean()), means, alternative) if means.size else math.nan
    return NearestNeighbour(
        float(seen.mean()),
        float(means.mean()) if means.size else math.nan,
        pvalue,
        n_cases,
        n_vines,
        alternative,
        "",
        radii,
        (seen[:, None] <= radii).mean(axis=0),
        total / max(means.size, 1),
        means,
    )


def _ladder(shape: tuple[int, ...], row_m: float, vine_m: float) -> list[tuple[float, list[tuple[int, int]]]]:
    """Group the offsets by distance, nearest first; the rungs a search climbs until all are found."""
    rows, stations = shape
    rungs: dict[float, list[tuple[int, int]]] = {}
    for dr in range(rows):
        for ds in range(-(stations - 1) if dr else 1, stations):
            if dr or ds:
                rungs.setdefault(round(math.hypot(dr * row_m, ds * vine_m), 9), []).append((dr, ds))
    return sorted(rungs.items())


def _between(ladder: list[tuple[float, list[tuple[int, int]]]]) -> NDArray[np.float64]:
    steps = np.array([distance for distance, _ in ladder])
    return (steps[:-1] + steps[1:]) / 2 if steps.size > 1 else steps * 1.5


def _distances(maps: NDArray[np.bool_], ladder: list[tuple[float, list[tuple[int, int]]]]) -> NDArray[np.float64]:
    """Distance of every case to its nearest other case, (maps, rows, stations); inf elsewhere."""
    out = np.full(maps.shape, np.inf)
    waiting = maps.copy()
    rows, stations = maps.shape[1:]
    for distance, offsets in ladder:
        hit = np.zeros_like(maps)
        for dr, ds in offsets:
            here = (slice(None), slice(0, rows - dr), slice(max(0, -ds), stations - max(0, ds)))
            there = (slice(None), slice(dr, rows), slice(max(0, ds), stations - max(0, -ds)))
            both = maps[here] & maps[there]
            hit[here] |= both
            hit[there] |= both
        fresh = hit & waiting
        out[fresh] = distance
        waiting &= ~fresh
        if not waiting.any():
            break
    return out
