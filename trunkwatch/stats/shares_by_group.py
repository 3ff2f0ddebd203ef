"""Do groups of vines differ in their share of cases, beyond what pieces of ground differ among themselves?"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import expit, fdtrc

from trunkwatch.stats.labels import checked_labels
from trunkwatch.stats.result import Result

__all__ = ["GroupShares", "group_shares"]

Array = NDArray[np.float64]
#: Rows and stations of a piece of ground (our own convention: about as far as foci reach).
PIECE = (3, 25)
_TINY = 1e-9


@dataclass(frozen=True, slots=True)
class GroupShares(Result):
    """Cases and vines of each group, and a test of equal shares.

    Attributes
    ----------
    cases, vines : dict of int
        By the group's code.
    statistic : float
        F of the groups, nan where there is no test.
    pvalue : float
    swing : float
        Pearson variance of the pieces of ground over the binomial one, at least 1.
    pieces : int
    reason : str
        Why there is no test; empty where there is one.
    """

    cases: dict[int, int]
    vines: dict[int, int]
    statistic: float
    pvalue: float
    swing: float
    pieces: int
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"groups: no test: {self.reason}"
        shares = ", ".join(f"{code}: {self.cases[code]}/{self.vines[code]}" for code in self.cases)
        return f"groups {shares}; F = {self.statistic:.2f}, p = {self.pvalue:.3g}"


def group_shares(
    cases: ArrayLike, vines: ArrayLike, groups: ArrayLike, *, covariates: ArrayLike | None = None
) -> GroupShares:
    """Test groups of vines against pieces of ground: three rows by 25 stations, cut where the group changes.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases, and vines that count.
    groups : (rows, stations) int array_like
        Group of each vine; below 0 for none: such a vine does not count.
    covariates : (k, rows, stations) float array_like, optional
        What is taken off first, such as meters along and across.

    Returns
    -------
    GroupShares
        Cases and vines by group, F and its p-value; nan with a reason where there are too few pieces of ground.

    Raises
    ------
    ValueError
        If shapes differ or a case lies outside the vines.

    Notes
    -----
    A logistic regression with the Pearson variance of the pieces as its scale (quasi-binomial); the groups are judged by the F
    of the fall in deviance, with the groups less one and the pieces less all columns as degrees of freedom. Cases that lie in
    foci make pieces swing, so that foci alone do not make groups differ.

    References
    ----------
    .. [1] McCullagh, P. and Nelder, J.A. (1989) Generalized Linear Models, 2nd ed., section 4.5. Chapman and Hall.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = np.zeros((12, 50), dtype=int)
    >>> cases[:6, ::5] = 1
    >>> cases[6:, ::12] = 1
    >>> groups = np.repeat([0, 1], 6)[:, None] * np.ones(50, dtype=int)
    >>> print(tw.stats.group_shares(cases, np.ones_like(cases), groups))
    groups 0: 60/300, 1: 30/300; F = 11.96, p = 0.0135
    """
    marked, mask = checked_labels(cases, vines)
    codes = np.asarray(groups)
    if codes.shape != mask.shape:
        raise ValueError(f"groups is {codes.shape} but vines is {mask.shape}: the same grid is needed")
    use = mask & (codes >= 0)
    kinds = [int(code) for code in np.unique(codes[use])]
    held = {code: int((marked & use & (codes == code)).sum()) for code in kinds}
    size = {code: int((use & (codes == code)).sum()) for code in kinds}
    total = sum(held.values())
    if len(kinds) < 2 or not 0 < total < sum(size.values()):
        reason = "one group" if len(kinds) < 2 else "no case" if not total else "cases only"
        return GroupShares(held, size, math.nan, math.nan, math.nan, 0, reason)
    k, n, group, x = _pieces(marked, use, codes, covariates)
    dummies = np.column_stack([group == code for code in kinds[1:]]).astype(float)
    whole = np.column_stack([x, dummies])
    free = k.size - np.linalg.matrix_rank(whole)
    if free < len(kinds):
        return GroupShares(held, size, math.nan, math.nan, math.nan, k.size, f"{k.size} pieces of ground are too few")
    with_groups, without = _fit(k, n, whole), _fit(k, n, x)
    p = with_groups
    swing = max(1.0, float((((k - n * p) ** 2) / (n * p * (1 - p))).sum() / free))
    apart = len(kinds) - 1
    statistic = max(0.0, _deviance(k, n, without) - _deviance(k, n, with_groups)) / apart / swing
    return GroupShares(held, size, statistic, float(fdtrc(apart, free, statistic)), swing, k.size, "")


def _pieces(
    cases: NDArray[np.bool_], use: NDArray[np.bool_], codes: NDArray[np.int64], covariates: ArrayLike | None
) -> tuple[Array, Array, NDArray[np.int64], Array]:
    """Cases, vines, group, and columns (a constant, means of the covariates) of each piece."""
    row, station = np.nonzero(use)
    table = np.column_stack([row // PIECE[0], station // PIECE[1], codes[use]])
    kinds, which = np.unique(table, axis=0, return_inverse=True)
    at = which.reshape(-1)
    n = np.bincount(at).astype(float)
    columns = [np.ones(len(kinds))]
    for field in np.asarray(covariates, dtype=float) if covariates is not None else ():
        mean = np.bincount(at, field[use]) / n
        columns.append((mean - mean.mean()) / max(float(mean.std()), _TINY))
    return (
        np.bincount(at, cases[use].astype(float)).astype(float),
        n,
        kinds[:, 2].astype(np.int64),
        np.column_stack(columns),
    )


def _fit(k: Array, n: Array, x: Array) -> Array:
    """Chances of a logistic regression; a whisper of a ridge keeps groups without a case finite."""
    beta = np.zeros(x.shape[1])
    beta[0] = math.log((k.sum() + 0.5) / (n.sum() - k.sum() + 0.5))
    for _ in range(50):
        p = expit(x @ beta)
        weight = n * p * (1 - p)
        step = np.linalg.solve(x.T @ (x * weight[:, None]) + 1e-6 * np.eye(x.shape[1]), x.T @ (k - n * p) - 1e-6 * beta)
        beta = beta + np.clip(step, -2.0, 2.0)
        if np.abs(step).max() < 1e-10:
            break
    return np.asarray(np.clip(expit(x @ beta), _TINY, 1 - _TINY))


def _deviance(k: Array, n: Array, p: Array) -> float:
    with np.errstate(divide="ignore", invalid="ignore"):
        parts = np.where(k > 0, k * np.log(k / (n * p)), 0.0)
        parts += np.where(k < n, (n - k) * np.log((n - k) / (n * (1 - p))), 0.0)
    return 2.0 * float(parts.sum())
