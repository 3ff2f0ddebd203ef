"""Runs and doublets along the rows: views of the along-row joins, with exact p-values."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from trunkwatch.stats.chance import Alternative, check_alternative, exact_pvalue
from trunkwatch.stats.join_counts import join_count
from trunkwatch.stats.labels import checked_labels
from trunkwatch.stats.result import Result

__all__ = ["RowRuns", "Runs", "runs"]


@dataclass(frozen=True, slots=True)
class RowRuns(Result):
    """Runs of one stretch of row between gaps.

    `expected` and `variance` are those of ordinary runs given the stretch's own cases; `pvalue` is
    the exact chance of so few runs.

    Attributes
    ----------
    row : int
        Row index.
    vines, cases : int
        Of the stretch.
    runs : int
        Runs seen.
    expected, variance : float
        Given the cases of the stretch.
    pvalue : float
        Exact chance of so few runs.
    """

    row: int
    vines: int
    cases: int
    runs: int
    expected: float
    variance: float
    pvalue: float


@dataclass(frozen=True, slots=True)
class Runs(Result):
    """Ordinary runs pooled over the stretches, each keeping its own number of cases.

    Attributes
    ----------
    statistic : int
        Runs in stretches that hold both cases and free vines; few runs mean clustering.
    expected, variance, z : float
        Sums over these stretches; z carries the continuity correction of 0.5 towards few runs, whatever the alternative.
    pvalue : float
        Exact, from the convolution of the stretches' laws; nan where no test is possible.
    doublets, expected_doublets : int, float
        Neighboring pairs of cases in the whole map, and their mean under random labelling.
    rows : tuple of RowRuns
        Each stretch.
    alternative : {"greater", "less", "two-sided"}
        Which way the test looked.
    reason : str
        Why there is no figure or no test; empty where there is.
    """

    statistic: int
    expected: float
    variance: float
    z: float
    pvalue: float
    doublets: int
    expected_doublets: float
    alternative: Alternative
    rows: tuple[RowRuns, ...]
    reason: str

    def __str__(self) -> str:
        if self.reason:
            return f"runs: no test: {self.reason}"
        return f"{self.statistic} runs, {self.expected:.1f} expected, p = {self.pvalue:.3g}"


def runs(cases: ArrayLike, vines: ArrayLike, *, alternative: Alternative = "less") -> Runs:
    """Ordinary-runs test along the rows, broken at gaps, given the cases of every stretch.

    Parameters
    ----------
    cases, vines : (rows, stations) bool array_like
        Cases and the vines that count.
    alternative : {"less", "greater", "two-sided"}
        "less" tests for clustering: fewer runs than chance makes.

    Returns
    -------
    Runs
        Runs seen and expected, z and p-value over all stretches, and each stretch by itself.

    Raises
    ------
    ValueError
        If shapes differ, a case lies outside the mask, or the alternative is unknown.

    Notes
    -----
    In a stretch, runs = mixed joins + 1. Stretches without a case, or all cases, say nothing and
    are left out.

    References
    ----------
    .. [1] Madden, L.V., Louie, R., Abt, J.J. and Knoke, J.K. (1982) Phytopathology 72, 195-198.
    .. [2] Mood, A.M. (1940) Ann. Math. Stat. 11, 367-392.

    Examples
    --------
    >>> import numpy as np
    >>> import trunkwatch as tw
    >>> cases = [[0, 1, 1, 0, 0, 0], [0, 1, 1, 0, 0, 0], [0, 0, 0, 0, 0, 1]]
    >>> vines = np.ones((3, 6))
    >>> print(tw.stats.runs(cases, vines))
    8 runs, 10.0 expected, p = 0.148
    """
    check_alternative(alternative)
    marked, mask = checked_labels(cases, vines)
    whole = join_count(marked, mask, joins="row", permutations=0)
    told, law = [], np.ones(1)
    for row, line in _stretches(marked, mask):
        n, m = line.size, int(line.sum())
        seen = 1 + int((line[1:] != line[:-1]).sum())
        mean = 1 + 2 * m * (n - m) / n
        variance = 2 * m * (n - m) * (2 * m * (n - m) - n) / (n * n * (n - 1)) if n > 1 else 0.0
        own = _runs_law(n, m)
        told.append(
            RowRuns(row, n, m, seen, mean, max(variance, 0.0), exact_pvalue(seen, np.arange(own.size), own, "less"))
        )
        if 0 < m < n:
            law = np.convolve(law, own)
    used = [one for one in told if 0 < one.cases < one.vines]
    total, mean = sum(one.runs for one in used), sum(one.expected for one in used)
    variance = sum(one.variance for one in used)
    reason = "" if used else "no stretch of row holds both cases and vines without symptoms"
    if used and variance <= 1e-12:
        reason = "every labelling makes the same number of runs"
    pvalue = exact_pvalue(total, np.arange(law.size), law, alternative) if not reason else math.nan
    z = (total + 0.5 - mean) / math.sqrt(variance) if not reason else math.nan
    return Runs(
        total, mean, variance, z, pvalue, whole.case_case, whole.expected_case_case, alternative, tuple(told), reason
    )


def _stretches(marked: NDArray[np.bool_], mask: NDArray[np.bool_]) -> list[tuple[int, NDArray[np.bool_]]]:
    found = []
    for row in range(mask.shape[0]):
        at = np.flatnonzero(mask[row])
        if at.size:
            found += [(row, marked[row, part]) for part in np.split(at, np.flatnonzero(np.diff(at) > 1) + 1)]
    return found


def _runs_law(vines: int, cases: int) -> NDArray[np.float64]:
    """Return the probability of 0, 1, 2, ... runs of cases and free vines in one stretch.

    With r runs of cases there are, given r, free runs r - 1, r or r + 1; the numbers of ways are
    products of compositions (Mood 1940).
    """
    if cases in (0, vines):
        return np.array([0.0, 1.0])
    free = vines - cases
    total = math.comb(vines, cases)
    law = np.zeros(2 * min(cases, free) + 2)
    for r in range(1, cases + 1):
        ways = math.comb(cases - 1, r - 1)
        for other in (r - 1, r, r + 1):
            if 1 <= other <= free:
                law[r + other] += (2 if other == r else 1) * ways * math.comb(free - 1, other - 1) / total
    return law
