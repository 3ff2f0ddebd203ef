"""Where is the strongest cluster: Bernoulli scan over circles, ellipses and stretches of row in metres."""

from dataclasses import dataclass, field
from typing import Literal, get_args

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import xlogy

from trunkwatch.stats.chance import Rng, generator, permutation_pvalue
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.relabelling import plain_labellings

__all__ = ["Family", "Scan", "Window", "log_likelihood_ratio", "scan"]

Family = Literal["circles", "ellipses", "segments"]
#: First vine, vines in the order they are taken in, and where a window can end.
Growing = tuple[int, NDArray[np.int64], NDArray[np.bool_]]


@dataclass(frozen=True, slots=True)
class Window:
    """One window: its vines and cases, and how far they stand out."""

    vines: int
    cases: int
    statistic: float
    pvalue: float
    centre: tuple[int, int]  # row and station index; the first vine of a stretch of row
    cells: tuple[tuple[int, int], ...] = field(repr=False)


@dataclass(frozen=True, slots=True)
class Scan:
    """The window that stands out most, and others that do not overlap with it or each other.

    `pvalue` is that of the strongest window, by random labelling over all windows; the p-values
    of the others are against the same maximum and so too large rather than too small.
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

    References
    ----------
    .. [1] Kulldorff, M. (1997) Commun. Stat. Theory Methods 26, 1481-1496. (content from memory)
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
        Metres.
    family : {"circles", "ellipses", "segments"}
        Windows around every vine; ellipses are twice as long along the row; segments are stretches
        of one row, and a gap ends a stretch.
    max_share : float
        Largest share of the vines in a window.
    max_radius : float, optional
        Metres; at most half the longer side of the block where left out, and not more than 30 m.
    permutations : int
        Relabelled maps.
    rng : Generator, int or None
        Source of chance.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, a spacing or share is out of range, or the
        family is unknown.

    Notes
    -----
    Windows of a single vine are left out. The family decides the answer: two foci of equal size
    tie and dilute each other, and an infected planting batch gives a perfect stretch of row.
    """
    if family not in get_args(Family):
        raise ValueError(f"family is {family!r}: one of {', '.join(get_args(Family))} is needed")
    if row_spacing <= 0 or vine_spacing <= 0 or not 0 < max_share <= 1:
        raise ValueError(
            f"spacings {row_spacing}, {vine_spacing} m and max_share {max_share}: above 0, and at most 1, are needed"
        )
    marked, mask = checked_labels(cases, vines)
    n_cases, n_vines = int(marked.sum()), int(mask.sum())
    nothing = np.empty(0)
    reason = nothing_to_move(n_cases, n_vines)
    if reason:
        return Scan(float("nan"), float("nan"), n_cases, n_vines, 0, (), reason, nothing)
    windows = _windows(mask, row_spacing, vine_spacing, family, int(max_share * n_vines), max_radius)
    if not windows:
        return Scan(float("nan"), float("nan"), n_cases, n_vines, 0, (), "no window holds two vines or more", nothing)
    order = np.concatenate([members for _, members, _ in windows])
    start = np.cumsum([0, *[len(members) for _, members, _ in windows]])
    sizes = np.concatenate([np.arange(1, len(members) + 1) for _, members, _ in windows])
    use = (sizes > 1) & np.concatenate([ends for _, _, ends in windows])
    seen = _score(marked[mask][None], order, start, sizes, use, n_cases, n_vines)[0]
    null = np.concatenate([
        _score(drawn, order, start, sizes, use, n_cases, n_vines).max(axis=1)
        for drawn in plain_labellings(n_cases, n_vines, permutations, generator(rng), chunk=16)
    ]) if permutations else nothing  # fmt: skip
    cells = np.argwhere(mask)
    found = _strongest(seen, sizes, order, start, windows, marked[mask], cells, null)
    top = found[0].statistic
    pvalue = permutation_pvalue(top, null) if null.size else float("nan")
    return Scan(top, pvalue, n_cases, n_vines, int(use.sum()), found, "", null)


def _windows(
    mask: NDArray[np.bool_], row_m: float, vine_m: float, family: Family, most: int, max_radius: float | None
) -> list[Growing]:
    """List, for every vine, the other vines in the order in which a growing window takes them in."""
    cells = np.argwhere(mask)
    if family == "segments":
        return _segments(mask, most)
    x, y = cells[:, 1] * vine_m, cells[:, 0] * row_m
    if family == "ellipses":
        x = x / 2
    reach = max_radius or min(30.0, max(np.ptp(x), np.ptp(y), vine_m) / 2)
    found = []
    for number in range(len(cells)):
        away = np.hypot(x - x[number], y - y[number])
        near = np.flatnonzero(away <= reach + 1e-9)
        near = near[np.argsort(np.round(away[near], 6), kind="stable")]
        # A circle takes in all vines at one distance together: it ends where the distance grows.
        steps = np.round(away[near], 6)
        ends = np.append(steps[1:] > steps[:-1], True)
        found.append((number, near[: max(most, 1)], ends[: max(most, 1)]))
    return [window for window in found if len(window[1]) > 1]


def _segments(mask: NDArray[np.bool_], most: int) -> list[Growing]:
    number = np.full(mask.shape, -1)
    number[mask] = np.arange(mask.sum())
    found = []
    for line in number:
        at = np.flatnonzero(line >= 0)
        for part in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1) if at.size else []:
            for k in range(len(part) - 1):
                members = line[part[k:]][: max(most, 1)]
                found.append((int(line[part[k]]), members, np.ones(len(members), dtype=bool)))
    return found


def _score(
    labels: NDArray[np.bool_],
    order: NDArray[np.int64],
    start: NDArray[np.int64],
    sizes: NDArray[np.int64],
    use: NDArray[np.bool_],
    cases: int,
    vines: int,
) -> NDArray[np.float64]:
    """Likelihood ratio of every window of every labelling, 0 for windows of one vine."""
    running = np.cumsum(labels[:, order], axis=1, dtype=np.int32)
    before = np.concatenate([np.zeros((len(labels), 1), dtype=np.int32), running], axis=1)[:, start[:-1]]
    inside = running - np.repeat(before, np.diff(start), axis=1)
    table = _ratios(int(sizes.max()), cases, vines)
    return np.where(use, table[sizes, np.minimum(inside, table.shape[1] - 1)], 0.0)


def _ratios(most: int, cases: int, vines: int) -> NDArray[np.float64]:
    m = np.arange(most + 1)[:, None]
    c = np.arange(min(most, cases) + 1)[None, :]
    table = log_likelihood_ratio(np.minimum(c, np.maximum(m, 1)), np.maximum(m, 1), cases, vines)
    return np.where(c <= m, table, 0.0)


def _strongest(
    seen: NDArray[np.float64],
    sizes: NDArray[np.int64],
    order: NDArray[np.int64],
    start: NDArray[np.int64],
    windows: list[Growing],
    labels: NDArray[np.bool_],
    cells: NDArray[np.int64],
    null: NDArray[np.float64],
) -> tuple[Window, ...]:
    """Take windows by strength as long as they do not overlap with a stronger one."""
    taken = np.zeros(labels.size, dtype=bool)
    found: list[Window] = []
    owner = np.repeat(np.arange(len(windows)), np.diff(start))
    for place in np.argsort(-seen, kind="stable")[:20_000]:
        if seen[place] <= 0 or len(found) >= 5:
            break
        first = start[owner[place]]
        members = order[first : first + sizes[place]]
        if taken[members].any():
            continue
        taken[members] = True
        value = float(seen[place])
        inside = tuple((int(r), int(s)) for r, s in cells[members])
        centre = cells[windows[owner[place]][0]]
        pvalue = permutation_pvalue(value, null) if null.size else float("nan")
        found.append(
            Window(len(members), int(labels[members].sum()), value, pvalue, (int(centre[0]), int(centre[1])), inside)
        )
    if not found:
        found.append(Window(0, 0, 0.0, 1.0, (0, 0), ()))
    return tuple(found)
