"""How clumped are cases in groups of vines: quadrats of any shape, bays by default."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc, ndtr

from trunkwatch.stats.beta_binomial import BetaBinomial, fit_beta_binomial
from trunkwatch.stats.labels import checked_labels, nothing_to_move
from trunkwatch.stats.result import Result

__all__ = ["Dispersion", "dispersion", "dispersion_by_size", "quadrat_counts"]


@dataclass(frozen=True, slots=True)
class Dispersion(Result):
    """Variation of cases between groups beside binomial variation.

    Attributes
    ----------
    statistic : float
        Index of dispersion: observed over binomial variance; nan where groups differ in size.
    pvalue : float
        Of C(alpha), one-sided for clumping; nan where no test is possible.
    c_alpha : float
        C(alpha) z of Tarone; holds for groups of unequal size.
    chi_square_p : float
        One-sided p of the index, groups of equal size.
    rho : float
        Intra-class correlation by analysis of variance; can be below 0.
    deff : float
        Design effect 1 + rho (n - 1) for the mean group, not below 1.
    fit : BetaBinomial
        Maximum likelihood.
    groups : int
        Groups with a vine.
    group_size : float
        Mean number of vines in them.
    n_cases : int
        Cases.
    n_vines : int
        Vines that count.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: float
    pvalue: float
    c_alpha: float
    chi_square_p: float
    rho: float
    deff: float
    groups: int
    group_size: float
    n_cases: int
    n_vines: int
    fit: BetaBinomial | None
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"dispersion: no test: {self.reason}"
        return f"{self.groups} groups of {self.group_size:.3g}: C(alpha) z {self.c_alpha:.2f}, p = {self.pvalue:.3g}, rho {self.rho:.3f}"


def quadrat_counts(
    cases: ArrayLike, vines: ArrayLike, quadrat: tuple[int, int] | ArrayLike, *, whole_only: bool = False
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Count cases and vines of every quadrat.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    quadrat : (int, int) or (rows, stations) int array_like
        Rows and stations of a quadrat, laid from the first corner; or the number of the group
        (a bay, say) of every cell, -1 for none.
    whole_only : bool
        Leave out quadrats with a gap or cut by the edge.

    Returns
    -------
    cases, vines : (groups,) int array
        Groups without a vine are left out.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or a quadrat is below 1 by 1.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> x, n = tw.stats.quadrat_counts(cases, vines, quadrat=(1, 3))
    >>> x.tolist(), n.tolist()
    ([2, 0, 2, 0, 0, 1], [3, 3, 3, 3, 3, 3])
    """
    marked, mask = checked_labels(cases, vines)
    if isinstance(quadrat, tuple):
        rows, stations = quadrat
        if rows < 1 or stations < 1:
            raise ValueError(f"quadrat is {quadrat}: rows and stations of 1 or more are needed")
        wide = -(-mask.shape[1] // stations)
        r, s = np.indices(mask.shape)
        group = r // rows * wide + s // stations
        full = rows * stations
    else:
        group = np.asarray(quadrat)
        full = 0
        if group.shape != mask.shape:
            raise ValueError(f"quadrat is {group.shape} but vines is {mask.shape}: the same grid is needed")
    use = mask & (group >= 0)
    n = np.bincount(group[use])
    x = np.bincount(group[use & marked], minlength=n.size)
    if whole_only:
        full = full or int(n.max(initial=0))
        return x[n == full], n[n == full]
    return x[n > 0], n[n > 0]


def dispersion(
    cases: ArrayLike, vines: ArrayLike, *, quadrat: tuple[int, int] | ArrayLike = (1, 5), whole_only: bool = False
) -> Dispersion:
    """Index of dispersion, C(alpha), intra-class correlation and design effect of groups of vines.

    Parameters
    ----------
    cases, vines, quadrat, whole_only
        As in `quadrat_counts`.

    Returns
    -------
    Dispersion
        Index of dispersion with its p-value, C(alpha), intra-class correlation and design effect; nan with a reason where
        there are fewer than two groups.

    Raises
    ------
    ValueError
        As in `quadrat_counts`.

    References
    ----------
    .. [1] Tarone, R.E. (1979) Biometrika 66, 585-590. (from memory)
    .. [2] Hughes, G. and Madden, L.V. (1993) Phytopathology 83, 759-763.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> print(tw.stats.dispersion(cases, vines, quadrat=(1, 3)))
    6 groups of 3: C(alpha) z 0.72, p = 0.236, rho 0.237
    """
    x, n = quadrat_counts(cases, vines, quadrat, whole_only=whole_only)
    return of_counts(x, n)


def of_counts(x: NDArray[np.int64], n: NDArray[np.int64]) -> Dispersion:
    """Return the dispersion of counts x of n."""
    groups, total, found = int(n.size), int(n.sum()), int(x.sum())
    p = found / total if total else math.nan
    reason = _no_test(groups, total, found, n)
    if reason:
        return Dispersion(
            math.nan,
            math.nan,
            math.nan,
            math.nan,
            math.nan,
            math.nan,
            groups,
            total / groups if groups else math.nan,
            found,
            total,
            None,
            reason,
        )
    pq = p * (1 - p)
    s = float(((x - n * p) ** 2).sum() / pq)
    z = (s - total) / math.sqrt(2 * float((n * (n - 1.0)).sum()))
    index = chi = math.nan
    if (n == n[0]).all():
        index = float(((x - n * p) ** 2 / (n * pq)).sum() / (groups - 1))
        chi = float(chdtrc(groups - 1, (groups - 1) * index))
    rho = _anova_icc(x, n)
    mean_size = total / groups
    return Dispersion(
        index,
        float(ndtr(-z)),
        z,
        chi,
        rho,
        max(1.0, 1 + rho * (mean_size - 1)),
        groups,
        mean_size,
        found,
        total,
        fit_beta_binomial(x, n),
        "",
    )


def _no_test(groups: int, total: int, found: int, n: NDArray[np.int64]) -> str:
    if groups < 2:
        return "fewer than two groups"
    reason = nothing_to_move(found, total)
    return reason or ("every group has a single vine" if (n == 1).all() else "")


def _anova_icc(x: NDArray[np.int64], n: NDArray[np.int64]) -> float:
    groups, total = n.size, n.sum()
    share, p = x / n, x.sum() / total
    between = float((n * (share - p) ** 2).sum() / (groups - 1))
    within = float((x * (1 - share)).sum() / (total - groups))
    size = float((total - (n**2).sum() / total) / (groups - 1))
    spread = between + (size - 1) * within
    return (between - within) / spread if spread > 0 else 0.0


def dispersion_by_size(
    cases: ArrayLike,
    vines: ArrayLike,
    quadrats: Sequence[tuple[int, int]] = ((1, 3), (1, 5), (1, 10), (2, 2), (2, 5), (4, 4)),
) -> list[tuple[tuple[int, int], Dispersion]]:
    """Return the dispersion over a range of quadrats: one size alone misleads.

    Parameters
    ----------
    cases, vines
        As in `quadrat_counts`.
    quadrats : sequence of (int, int)
        Rows and stations of each size.

    Returns
    -------
    list of ((int, int), Dispersion)
        Each quadrat with what was found.

    Raises
    ------
    ValueError
        As in `quadrat_counts`.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> for quadrat, found in tw.stats.dispersion_by_size(cases, vines, [(1, 2), (1, 3)]):
    ...     print(quadrat, round(found.statistic, 2))
    (1, 2) 0.69
    (1, 3) 1.61
    """
    return [(quadrat, dispersion(cases, vines, quadrat=quadrat)) for quadrat in quadrats]
