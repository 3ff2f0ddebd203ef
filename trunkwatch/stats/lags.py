"""At what distance do cases go together: pairs of cases at every lag, with one p for the whole map."""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trunkwatch.stats.chance import Rng, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.moments import falling
from trunkwatch.stats.relabelling import plain_labellings
from trunkwatch.stats.result import Result

__all__ = ["Correlation", "LagPairs", "lag_pairs"]


@dataclass(frozen=True, slots=True)
class LagPairs(Result):
    """Pairs of cases by lag along and across.

    Arrays have the shape (max_rows + 1, 2 max_stations + 1): rows apart, and stations apart from
    -max_stations to max_stations. Lags with rows 0 and stations <= 0 repeat others (or pair a vine with itself) and
    are no evidence: z and ratio are nan there.

    Attributes
    ----------
    statistic : float
        Largest z over the lags.
    pvalue : float
        Chance of so large a largest z: one p for the whole map.
    observed, expected, z : array
        Pairs seen, expected under random labelling (or from the risk given), and the distance in standard deviations.
    ratio : array
        Observed over expected; nan where nothing is expected.
    limit : float
        z above which a lag stands out of 95 of 100 whole maps (global envelope).
    max_rows, max_stations : int
        Farthest lag.
    n_cases : int
        Cases.
    n_vines : int
        Vines that count.
    reason : str
        Why there is no figure or no test; empty where there is.
    null_distribution : (permutations,) array
        The statistic of each relabelled map.
    """

    statistic: float
    pvalue: float
    limit: float
    n_cases: int
    n_vines: int
    max_rows: int
    max_stations: int
    reason: str
    observed: NDArray[np.int64] = field(repr=False, compare=False)
    expected: NDArray[np.float64] = field(repr=False, compare=False)
    z: NDArray[np.float64] = field(repr=False, compare=False)
    ratio: NDArray[np.float64] = field(repr=False, compare=False)
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"pairs by lag: no test: {self.reason}"
        return f"largest z {self.statistic:.2f} over all lags, p = {self.pvalue:.3g}"

    def at(self, rows: int, stations: int) -> tuple[int, float, float]:
        """Return observed, expected and z of one lag.

        Raises
        ------
        ValueError
            If the lag lies outside the map of lags.
        """
        if not 0 <= rows <= self.max_rows or abs(stations) > self.max_stations:
            raise ValueError(
                f"lag ({rows}, {stations}): 0 to {self.max_rows} rows and up to {self.max_stations} stations are held"
            )
        where = (rows, stations + self.max_stations)
        return int(self.observed[where]), float(self.expected[where]), float(self.z[where])


def lag_pairs(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    max_rows: int = 5,
    max_stations: int = 10,
    permutations: int = 999,
    rng: Rng = None,
) -> LagPairs:
    """Count pairs of cases at every lag and test the largest excess over all of them.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    max_rows, max_stations : int
        Farthest lag across and along; cut to the size of the map.
    permutations : int
        Relabelled maps.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    LagPairs
        Pairs seen and expected at each lag, (max_rows + 1, 2 max_stations + 1) arrays, and one p-value over all lags.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or a lag is negative.

    Notes
    -----
    All lags at once are the autocorrelation of the map, taken by Fourier transform; the moments
    are those of random labelling, so edges and gaps need no correction.

    References
    ----------
    .. [1] Gray, S.M., Moyer, J.W. and Bloomfield, P. (1986) Phytopathology 76, 243-248. (from memory)
    .. [2] Myllymaki, M. et al. (2017) Global envelope tests for spatial processes. J. R. Stat. Soc. B 79, 381-404.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> found = tw.stats.lag_pairs(cases, vines, max_rows=1, max_stations=2, permutations=99, rng=1)
    >>> print(found)
    largest z 1.70 over all lags, p = 0.53
    >>> found.at(0, 1)
    (2, 0.9803921568627452, 1.2977713690461001)
    """
    if max_rows < 0 or max_stations < 0:
        raise ValueError(f"max_rows is {max_rows}, max_stations {max_stations}: 0 or more is needed")
    marked, mask = checked_labels(cases, vines)
    if not mask.size:
        marked = mask = np.zeros((1, 1), dtype=bool)
    max_rows, max_stations = min(max_rows, mask.shape[0] - 1), min(max_stations, mask.shape[1] - 1)
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    take = Correlation(mask.shape, max_rows, max_stations)
    joins = take.pairs(mask[None])[0]
    observed = take.pairs(marked[None])[0]
    mean, deviation = _moments(mask, joins, take, n_cases, n_vines)
    use = (deviation > 1e-9) & take.half
    z = np.where(use, (observed - mean) / np.where(use, deviation, 1.0), np.nan)
    ratio = np.divide(observed, mean, out=np.full(mean.shape, np.nan), where=(mean > 0) & take.half)
    reason = _no_test(n_cases, n_vines, use)
    null = np.empty(0)
    if not reason and permutations:
        null = _largest(mask, n_cases, take, mean, deviation, use, permutations, generator(rng))
    top = float(np.nanmax(z)) if use.any() else math.nan
    return LagPairs(
        top,
        permutation_pvalue(top, null) if null.size else math.nan,
        float(np.quantile(null, 0.95)) if null.size else math.nan,
        n_cases,
        n_vines,
        max_rows,
        max_stations,
        reason or ("" if null.size else "no permutations asked for"),
        observed,
        mean,
        z,
        ratio,
        null,
    )


def _no_test(cases: int, vines: int, use: NDArray[np.bool_]) -> str:
    reason = nothing_to_move(cases, vines, fewest=2)
    return reason or ("" if use.any() else "no two vines lie at any of the lags")


class Correlation:
    """Counts pairs of set cells at all lags of many maps by Fourier transform."""

    rows: int
    stations: int
    size: tuple[int, int]
    half: NDArray[np.bool_]

    def __init__(self, shape: tuple[int, ...], max_rows: int, max_stations: int) -> None:
        from scipy.fft import next_fast_len

        self.rows, self.stations = max_rows, max_stations
        self.size = (next_fast_len(shape[0] + max_rows, real=True), next_fast_len(shape[1] + max_stations, real=True))
        self.half = np.ones((max_rows + 1, 2 * max_stations + 1), dtype=bool)
        self.half[0, : max_stations + 1] = False

    def pairs(self, maps: NDArray[np.bool_]) -> NDArray[np.int64]:
        """Return (maps, rows apart, stations apart) counts."""
        return np.asarray(
            np.rint(self.products(maps.astype(np.float32 if maps.shape[0] > 1 else np.float64))), dtype=np.int64
        )

    def products(self, maps: NDArray[np.floating]) -> NDArray[np.float64]:
        """Return the sums of products of values so far apart, (maps, rows apart, stations apart)."""
        from scipy import fft

        spectrum = fft.rfft2(maps, self.size)
        whole = fft.irfft2(np.abs(spectrum) ** 2, self.size)
        ahead = whole[:, : self.rows + 1, : self.stations + 1]
        behind = whole[:, : self.rows + 1, self.size[1] - self.stations :]
        return np.asarray(np.concatenate([behind, ahead], axis=2), dtype=np.float64)


def _moments(
    mask: NDArray[np.bool_], joins: NDArray[np.int64], take: Correlation, cases: int, vines: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Mean and standard deviation of every lag: J joins of a lag share a vine only in chains of three."""
    two, three, four = (falling(cases, vines, k) for k in (2, 3, 4))
    shared = np.zeros(joins.shape)
    for dr in range(joins.shape[0]):
        for column in range(joins.shape[1]):
            if take.half[dr, column]:
                shared[dr, column] = _chains(mask, dr, column - take.stations)
    mean = joins * two
    variance = mean + 2 * shared * three + (joins * (joins - 1.0) - 2 * shared) * four - mean**2
    return np.asarray(mean, dtype=np.float64), np.asarray(np.sqrt(np.maximum(variance, 0.0)), dtype=np.float64)


def _chains(mask: NDArray[np.bool_], dr: int, ds: int) -> int:
    """Count chains of three vines, each one lag from the next."""
    rows, stations = mask.shape
    if 2 * dr >= rows or 2 * abs(ds) >= stations:
        return 0
    low, high = max(0, -2 * ds), stations - max(0, 2 * ds)
    first = mask[: rows - 2 * dr, low:high]
    middle = mask[dr : rows - dr, low + ds : high + ds]
    last = mask[2 * dr :, low + 2 * ds : high + 2 * ds]
    return int((first & middle & last).sum())


def _largest(
    mask: NDArray[np.bool_],
    cases: int,
    take: Correlation,
    mean: NDArray[np.float64],
    deviation: NDArray[np.float64],
    use: NDArray[np.bool_],
    permutations: int,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    flat, out = np.flatnonzero(mask), []
    for drawn in plain_labellings(cases, flat.size, permutations, rng, chunk=max(2, 400_000 // mask.size)):
        maps = np.zeros((len(drawn), mask.size), dtype=bool)
        maps[:, flat] = drawn
        counts = take.pairs(maps.reshape(len(drawn), *mask.shape))
        out.append(((counts[:, use] - mean[use]) / deviation[use]).max(axis=1))
    return np.concatenate(out)
