"""Where is the strongest cluster: Bernoulli scan over circles, ellipses and stretches of row in meters."""

from dataclasses import dataclass, field
from typing import get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import xlogy

from trunkwatch.stats.chance import Rng, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.relabelling import plain_labellings
from trunkwatch.stats.result import Result
from trunkwatch.stats.scan_windows import Family, Nested, nested_windows

__all__ = ["Family", "Scan", "Window", "log_likelihood_ratio", "scan"]

#: So many windows are told at most.
TOLD = 5
#: Likelihood ratios that differ by less are compared one by one.
SLACK = 1e-9


@dataclass(frozen=True, slots=True)
class Window(Result):
    """One window: its vines and cases, and how far they stand out.

    Attributes
    ----------
    vines, cases : int
        Inside.
    statistic : float
        Log-likelihood ratio.
    pvalue : float
        Against the highest ratio of each relabelled map.
    centre : (int, int)
        Row and station index; the first vine of a stretch of row.
    cells : tuple of (int, int)
        Row and station index of each vine inside.
    """

    vines: int
    cases: int
    statistic: float
    pvalue: float
    centre: tuple[int, int]  # row and station index; the first vine of a stretch of row
    cells: tuple[tuple[int, int], ...] = field(repr=False)


@dataclass(frozen=True, slots=True)
class Scan(Result):
    """The window that stands out most, and others that do not overlap with it or each other.

    `pvalue` is that of the strongest window, by random labelling over all windows; the p-values
    of the others are against the same maximum and so too large rather than too small.

    Attributes
    ----------
    statistic, pvalue : float
        Log-likelihood ratio of the strongest window, and its p-value.
    n_windows : int
        Windows that were searched.
    windows : tuple of Window
        Strongest first; they do not overlap.
    null_distribution : (permutations,) float array
        Highest ratio of each relabelled map.
    n_cases : int
        Cases.
    n_vines : int
        Vines that count.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: float
    pvalue: float
    n_cases: int
    n_vines: int
    n_windows: int
    windows: tuple[Window, ...]
    reason: str
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)

    def __str__(self) -> str:
        if self.reason:
            return f"scan: no test: {self.reason}"
        top = self.windows[0]
        return f"strongest window {top.cases} of {top.vines} vines, likelihood ratio {self.statistic:.2f}, p = {self.pvalue:.3g}"


def log_likelihood_ratio(cases: ArrayLike, vines: ArrayLike, total_cases: int, total_vines: int) -> NDArray[np.float64]:
    """Return the Bernoulli log-likelihood ratio of windows; 0 where the share inside is not higher.

    Parameters
    ----------
    cases, vines : (k,) int array_like
        Inside each window.
    total_cases, total_vines : int
        Of the whole map.

    Returns
    -------
    (k,) float array
        The ratio of each window.

    References
    ----------
    .. [1] Kulldorff, M. (1997) Commun. Stat. Theory Methods 26, 1481-1496. (content from memory)

    Examples
    --------
    >>> import trunkwatch as tw
    >>> tw.stats.log_likelihood_ratio([5, 1], [5, 20], 17, 96).round(3)
    array([9.343, 0.   ])
    """
    c, m = np.asarray(cases, dtype=float), np.asarray(vines, dtype=float)
    outside, out_cases = total_vines - m, total_cases - c
    with np.errstate(divide="ignore", invalid="ignore"):
        inside = xlogy(c, c / m) + xlogy(m - c, 1 - c / m)
        beyond = xlogy(out_cases, out_cases / outside) + xlogy(outside - out_cases, 1 - out_cases / outside)
        whole = xlogy(total_cases, total_cases / total_vines) + xlogy(
            total_vines - total_cases, 1 - total_cases / total_vines
        )
        higher = c * outside > out_cases * m
    return np.where(higher & (outside > 0), inside + np.where(outside > 0, beyond, 0.0) - whole, 0.0)


def scan(
    cases: ArrayLike,
    vines: ArrayLike,
    *,
    row_spacing: float,
    vine_spacing: float,
    family: Family = "circles",
    max_share: float = 0.5,
    max_radius: float | None = None,
    permutations: int = 999,
    rng: Rng = None,
) -> Scan:
    """Find the windows in which cases are most crowded.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    row_spacing, vine_spacing : float
        Meters.
    family : {"circles", "ellipses", "segments"}
        Windows around every vine; ellipses are twice as long along the row; segments are stretches
        of one row, and a gap ends a stretch.
    max_share : float
        Largest share of the vines in a window.
    max_radius : float, optional
        Meters, of ellipses across the row; at most half the longer side of the block where left out,
        and not more than 30 m.
    permutations : int
        Relabelled maps.
    rng : Generator, int or None
        Source of chance.

    Returns
    -------
    Scan
        The window that stands out most with its p-value, and others that do not overlap with it.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, a spacing, share or radius is out of range, or
        the family is unknown.

    Notes
    -----
    Windows of a single vine are left out. The family decides the answer: two foci of equal size
    tie and dilute each other, and an infected planting batch gives a perfect stretch of row.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.zeros((6, 10), dtype=int)
    >>> cases[1:4, 2:4] = cases[5, 9] = 1
    >>> found = tw.stats.scan(cases, np.ones_like(cases), row_spacing=2.5, vine_spacing=1.5, permutations=99, rng=1)
    >>> print(found)
    strongest window 6 of 9 vines, likelihood ratio 10.96, p = 0.01
    >>> found.windows[0].cases, found.windows[0].vines
    (6, 9)
    """
    if family not in get_args(Family):
        raise ValueError(f"family is {family!r}: one of {', '.join(get_args(Family))} is needed")
    if row_spacing <= 0 or vine_spacing <= 0 or not 0 < max_share <= 1:
        raise ValueError(
            f"spacings {row_spacing}, {vine_spacing} m and max_share {max_share}: above 0, and at most 1, are needed"
        )
    if max_radius is not None and not max_radius > 0:
        raise ValueError(f"max_radius is {max_radius} m: above 0, or left out, is needed")
    marked, mask = checked_labels(cases, vines)
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    reason = nothing_to_move(n_cases, n_vines)
    if reason:
        return _no_test(n_cases, n_vines, reason)
    most = max(int(max_share * n_vines), 1)
    windows = nested_windows(mask, row_spacing, vine_spacing, family, most, max_radius)
    n_windows, largest = _count(windows, most)
    if n_windows == 0:
        return _no_test(n_cases, n_vines, "no window holds two vines or more")
    ratios = _Ratios(n_cases, n_vines, largest)
    drawn = plain_labellings(n_cases, n_vines, permutations, generator(rng), chunk=windows.chunk)
    null = np.concatenate([np.empty(0), *(_highest(windows, windows.lay(labels), ratios) for labels in drawn)])
    found = _strongest(windows, ratios, marked[mask], np.argwhere(mask), null)
    top = found[0].statistic
    pvalue = permutation_pvalue(top, null) if null.size else float("nan")
    return Scan(top, pvalue, n_cases, n_vines, n_windows, found, "", null)


def _no_test(cases: int, vines: int, reason: str) -> Scan:
    return Scan(float("nan"), float("nan"), cases, vines, 0, (), reason, np.empty(0))


def _count(windows: Nested, most: int) -> tuple[int, int]:
    """Count the windows of two vines to `most`, and the vines of the largest."""
    number, largest = 0, 0
    before = np.ones(windows.length, dtype=np.int64)
    for vines in windows.sizes(most + 1):
        # A step that takes in no vine makes no window.
        ends = (vines <= most) & (vines > before)
        number += int(np.count_nonzero(ends))
        largest = max(largest, int(vines[ends].max(initial=0)))
        before[:] = vines
    return number, largest


class _Ratios:
    """Likelihood ratios from a table of n log n: sums instead of logarithms, window by window."""

    def __init__(self, cases: int, vines: int, largest: int) -> None:
        self.cases, self.vines, self.largest = cases, vines, largest
        n = np.arange(vines + 1)
        self._table = xlogy(n, n)
        self._whole = self._table[cases] + self._table[vines - cases] - self._table[vines]

    def of(self, inside: NDArray[np.integer], vines: NDArray[np.integer]) -> NDArray[np.float64]:
        """As `log_likelihood_ratio`, for counts that can be."""
        c, m, t = inside.astype(np.int64), vines.astype(np.int64), self._table
        beyond, out_cases = self.vines - m, self.cases - c
        ratio = t[c] + t[m - c] - t[m] + t[out_cases] + t[beyond - out_cases] - t[beyond] - self._whole
        return np.where(c * beyond > out_cases * m, np.maximum(ratio, 0.0), 0.0)

    def most_below(self, floor: float) -> NDArray[np.int64]:
        """Return the most cases in windows of 0, 1, ... vines whose ratio is not above `floor`.

        The ratio grows with the cases, so halving finds them. What is no window, under two vines
        or over the largest, comes out above any number of cases.
        """
        vines = np.arange(self.largest + 1)
        low, high = np.maximum(0, vines + self.cases - self.vines), np.minimum(vines, self.cases)
        while (low < high).any():
            middle = (low + high + 1) // 2
            below = self.of(middle, vines) <= floor
            low, high = np.where(below, middle, low), np.where(below, high, middle - 1)
        low[:2] = np.iinfo(np.int64).max
        return np.append(low, np.iinfo(np.int64).max)


def _highest(windows: Nested, line: NDArray[np.uint8], ratios: _Ratios) -> NDArray[np.float64]:
    """Return the highest ratio on each labelled map.

    A window counts only where it is above the lowest of the highest so far, and whether it is
    shows in its cases: one comparison of bytes a window, and a ratio for the few that pass.
    """
    best = np.zeros(len(line))
    both = zip(windows.sizes(ratios.largest + 1), windows.counts(line), strict=True)
    for step, (vines, inside) in enumerate(both):
        if step & (step - 1) == 0:
            limit = enough = ratios.most_below(float(best.min()))
        if limit.dtype != inside.dtype:
            limit = np.minimum(enough, np.iinfo(inside.dtype).max).astype(inside.dtype)
        held = np.minimum(vines, ratios.largest + 1)
        above = inside > limit[held]
        maps = np.flatnonzero(above.any(axis=1))
        if maps.size:
            which, cell = np.divmod(np.flatnonzero(above[maps]), windows.length)
            np.maximum.at(best, maps[which], ratios.of(inside[maps[which], cell], held[cell]))
    return best


def _strongest(
    windows: Nested,
    ratios: _Ratios,
    labels: NDArray[np.bool_],
    cells: NDArray[np.int64],
    null: NDArray[np.float64],
) -> tuple[Window, ...]:
    """Take windows by strength as long as they do not overlap with a stronger one."""
    taken = np.zeros(labels.size, dtype=bool)
    found: list[Window] = []
    while len(found) < TOLD:
        value, centre, step = _top(windows, ratios, labels, taken)
        if value <= 0:
            break
        members = windows.members(centre, step)
        taken[members] = True
        inside = tuple((int(r), int(s)) for r, s in cells[members])
        pvalue = permutation_pvalue(value, null) if null.size else float("nan")
        row, station = cells[centre].tolist()
        found.append(Window(len(members), int(labels[members].sum()), value, pvalue, (row, station), inside))
    return tuple(found) or (Window(0, 0, 0.0, 1.0, (0, 0), ()),)


def _top(
    windows: Nested, ratios: _Ratios, labels: NDArray[np.bool_], taken: NDArray[np.bool_]
) -> tuple[float, int, int]:
    """Return the highest ratio, its centre and its step; of equal ones the first centre's smallest window."""
    best, top = 0.0, (0, 0)
    enough = ratios.most_below(best)
    both = zip(windows.sizes(ratios.largest + 1, taken), windows.counts(windows.lay(labels[None])), strict=True)
    for step, (vines, inside) in enumerate(both):
        held = np.minimum(vines[windows.place], ratios.largest + 1)
        cases = inside[0, windows.place]
        centres = np.flatnonzero(cases > enough[held])
        if not centres.size:
            continue
        values = ratios.of(cases[centres], held[centres])
        highest, centre = float(values.max()), int(centres[values.argmax()])
        if highest > best or (highest == best and centre < top[0]):
            top = centre, step
        if highest > best:
            best = highest
            enough = ratios.most_below(max(0.0, best - SLACK))
    return best, *top
