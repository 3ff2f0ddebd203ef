"""Do new cases lie near earlier ones more often than chance would put them there?"""

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import gammaln, ndtri, xlog1py, xlogy

from trunkwatch.stats.chance import (
    Alternative,
    Rng,
    check_alternative,
    exact_pvalue,
    holm,
)
from trunkwatch.stats.joins import Joins, joined_pairs
from trunkwatch.stats.labels import checked_mask, checked_strata
from trunkwatch.stats.result import Result
from trunkwatch.stats.shift import Shifted, shifted_mean_of

__all__ = ["CAUTION", "NewNearOld", "near_old_orders", "new_near_old", "shifted_near_old"]

CAUTION = (
    "New cases near old ones are no proof of spread: foci that were infected from the start, with symptoms "
    "that come and go, look the same."
)
#: Steps of the exact recursion above which the law is inverted from its transform instead.
MOST_STEPS = 100_000_000
#: Probabilities below this are rounding of the inversion.
ROUNDING = 1e-13


@dataclass(frozen=True, slots=True)
class NewNearOld(Result):
    """New cases against earlier ones, among the vines at risk.

    Attributes
    ----------
    statistic : int
        Joins between a new and an old case.
    expected, variance, z : float
        When the new cases fall on a random subset of the vines at risk.
    pvalue : float
        Exact; nan where no test is possible. Of thousands of new cases never below 1e-12, the law then being exact
        to about 1e-13.
    table : ((int, int), (int, int))
        Vines at risk with an old neighbor: new, not; without one: new, not.
    odds_ratio, odds_low, odds_high : float
        Of the table, with 95 % limits (half a vine added to each cell where one is empty).
    fisher : float
        One-sided exact p of the table: more new cases beside old ones.
    n_new, n_old, n_at_risk : int
        New cases, earlier cases, vines at risk.
    method : str
        exact, or none where no test is possible.
    null_distribution : (k,) float array
        Chance of each number of new-old joins, from 0 on.
    caution : str
        What nearness does not show.
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
    table: tuple[tuple[int, int], tuple[int, int]]
    odds_ratio: float
    odds_low: float
    odds_high: float
    fisher: float
    n_new: int
    n_old: int
    n_at_risk: int
    alternative: Alternative
    method: str
    reason: str
    null_distribution: NDArray[np.float64] = field(repr=False, compare=False)
    caution: str = CAUTION

    def __str__(self) -> str:
        if self.reason:
            return f"{self.statistic} new-old joins; no test: {self.reason}"
        return f"{self.statistic} new-old joins, {self.expected:.1f} expected, p = {self.pvalue:.3g}"


def new_near_old(
    old: ArrayLike,
    new: ArrayLike,
    at_risk: ArrayLike,
    *,
    joins: Joins = "queen",
    order: int = 1,
    strata: ArrayLike | None = None,
    alternative: Alternative = "greater",
    rng: Rng = None,  # noqa: ARG001 - all tests are called alike
) -> NewNearOld:
    """Test new against earlier cases under random labelling among the vines at risk.

    Parameters
    ----------
    old : (rows, stations) bool array_like
        Vines that were a case before, wherever they are now.
    new : (rows, stations) bool array_like
        Vines that became a case now.
    at_risk : (rows, stations) bool array_like
        Vines that could have become a case now, the new ones included.
    joins, order
        Which vines are neighbors, as in `trunkwatch.stats.joins.half_offsets`.
    strata : (rows, stations) array_like, optional
        New cases may fall only as many times in a stratum as they did.
    alternative : {"greater", "less", "two-sided"}
        "greater" tests for nearness.
    rng : Generator, int or None
        Not used: the law is exact. Taken so that all tests can be called alike.

    Returns
    -------
    NewNearOld
        Pairs of a new and an old case, seen and expected, the exact p-value, the table of near and far, and a caution.

    Raises
    ------
    ValueError
        If shapes differ, a new case is not at risk, or an old case is at risk.

    Notes
    -----
    Old cases are fixed, so each vine at risk has a fixed number of old neighbors, and the
    statistic is a sum over a sample without replacement: its law is a convolution of
    hypergeometric pieces over the classes of equal numbers, and needs no permutation.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> old = [[0, 1, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 0, 1, 0]]
    >>> new = [[0, 0, 1, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 1, 0, 0]]
    >>> at_risk = [[1, 0, 1, 1, 1, 1, 1, 1], [1, 1, 1, 1, 1, 1, 0, 1]]
    >>> found = tw.stats.new_near_old(old, new, at_risk, joins="row")
    >>> print(found)
    2 new-old joins, 0.6 expected, p = 0.0659
    >>> found.table
    ((2, 2), (0, 10))
    """
    check_alternative(alternative)
    before, now, risk = checked_mask(old, "old"), checked_mask(new, "new"), checked_mask(at_risk, "at_risk")
    _check(before, now, risk)
    groups = checked_strata(strata, risk)
    weight = _old_neighbours(before, risk, joins, order)
    at, is_new = weight[risk], now[risk]
    stratum = groups[risk] if groups is not None else np.zeros(at.size, dtype=np.int64)
    statistic = int(at[is_new].sum())
    expected, variance = _moments(at, is_new, stratum)
    table = _table(at, is_new)
    odds, low, high = _odds(table)
    reason = _no_test(int(before.sum()), int(is_new.sum()), at, variance)
    z = (statistic - expected) / math.sqrt(variance) if variance > 1e-12 else math.nan
    pvalue, method, law = math.nan, "none", np.empty(0)
    if not reason:
        law, least = _law(at, is_new, stratum)
        pvalue, method = max(exact_pvalue(statistic, np.arange(law.size), law, alternative), least), "exact"
    return NewNearOld(
        statistic,
        expected,
        variance,
        z,
        pvalue,
        table,
        odds,
        low,
        high,
        _fisher(table),
        int(is_new.sum()),
        int(before.sum()),
        int(risk.sum()),
        alternative,
        method,
        reason,
        law,
    )


def _check(before: NDArray[np.bool_], now: NDArray[np.bool_], risk: NDArray[np.bool_]) -> None:
    if not before.shape == now.shape == risk.shape:
        raise ValueError(f"old is {before.shape}, new {now.shape}, at_risk {risk.shape}: the same grid is needed")
    if (now & ~risk).any():
        raise ValueError(f"{int((now & ~risk).sum())} new case(s) not at risk: a new case must be in at_risk")
    if (before & risk).any():
        raise ValueError(f"{int((before & risk).sum())} old case(s) at risk: a vine is new only once")


def _old_neighbours(before: NDArray[np.bool_], risk: NDArray[np.bool_], joins: Joins, order: int) -> NDArray[np.int64]:
    pairs = joined_pairs(joins, before | risk, order)
    flat = before.ravel()
    count = np.bincount(pairs[:, 0][flat[pairs[:, 1]]], minlength=before.size)
    count = count + np.bincount(pairs[:, 1][flat[pairs[:, 0]]], minlength=before.size)
    return count.reshape(before.shape)


def _moments(at: NDArray[np.int64], is_new: NDArray[np.bool_], stratum: NDArray[np.int64]) -> tuple[float, float]:
    mean = variance = 0.0
    for code in np.unique(stratum):
        inside = at[stratum == code].astype(float)
        m, size = int(is_new[stratum == code].sum()), inside.size
        mean += m * inside.mean()
        if size > 1:
            variance += m * (1 - m / size) * inside.var(ddof=1)
    return float(mean), float(variance)


def _log_choose(n: ArrayLike, k: ArrayLike) -> NDArray[np.float64]:
    return np.asarray(gammaln(np.add(n, 1)) - gammaln(np.add(k, 1)) - gammaln(np.subtract(n, k) + 1))


def _law(
    at: NDArray[np.int64], is_new: NDArray[np.bool_], stratum: NDArray[np.int64]
) -> tuple[NDArray[np.float64], float]:
    """Return the law of the statistic, and the smallest p-value that it can give."""
    law, least = np.ones(1), 1e-300
    for code in np.unique(stratum):
        inside = stratum == code
        weights, new = at[inside], int(is_new[inside].sum())
        if _steps(weights, new) <= MOST_STEPS:
            law = np.convolve(law, _stratum_law(weights, new))
        else:
            law, least = np.convolve(law, _inverted_law(weights, new)), 1e-12
    return law, least


def _steps(at: NDArray[np.int64], new: int) -> int:
    sizes = np.unique(at[at > 0], return_counts=True)[1]
    return int(np.minimum(sizes, new).sum()) * new * int(np.sort(at)[at.size - new :].sum())


def _stratum_law(at: NDArray[np.int64], new: int) -> NDArray[np.float64]:
    """Return the law of the sum of `new` of the weights, drawn without replacement.

    Every vine is taken to become a case by itself with the chance new / vines; given that `new` do, it is a sample
    without replacement. The state is (new cases placed, sum); the class of weight 0, by far the largest, comes last and
    takes what is left. All terms are positive, so nothing cancels.
    """
    values, sizes = np.unique(at, return_counts=True)
    chance = new / at.size
    top = int(np.sort(at)[at.size - new :].sum()) if new else 0
    state = np.zeros((new + 1, top + 1))
    state[0, 0] = 1.0
    rest = np.zeros(new + 1)
    rest[0] = 1.0
    for value, size in zip(values.tolist(), sizes.tolist(), strict=True):
        took = np.arange(min(size, new) + 1)
        weight = np.exp(_log_choose(size, took) + xlogy(took, chance) + xlog1py(size - took, -chance))
        if value == 0:
            rest[: took.size] = weight
            rest[took.size :] = 0.0
            continue
        after = weight[0] * state
        for k in took[1:].tolist():
            step = value * k
            if step > top:
                break
            after[k:, step:] += weight[k] * state[: new + 1 - k, : top + 1 - step]
        state = after
    law = rest[::-1] @ state  # what the class of weight 0 gives where `placed` are placed
    return np.asarray(law / law.sum())


def _inverted_law(at: NDArray[np.int64], new: int) -> NDArray[np.float64]:
    """Return the same law by Fourier inversion, for many new cases: absolute error about 1e-13.

    The generating function of (new cases, sum) is a product over the vines; a period of nine deviations of the number
    of new cases and twenty of the sum keeps what folds over under the rounding.
    """
    values, sizes = np.unique(at, return_counts=True)
    chance = new / at.size
    around = min(at.size + 1, 2 * int(4.5 * math.sqrt(new * (1 - chance)) + 4) + 1)
    top = int(np.sort(at)[at.size - new :].sum())
    mean = new * float(at.mean())
    reach = 10 * math.sqrt(new * (1 - chance) * float(at.var())) + 16 * float(values.max())
    low = max(0, int(mean - reach))
    deep = min(top, int(mean + reach)) - low + 1
    y = np.exp(2j * np.pi * np.arange(deep) / deep)
    by_y = np.zeros(deep, dtype=np.complex128)
    for turn in np.arange(around) / around:
        x = chance * np.exp(2j * np.pi * turn)
        factors = [
            (1 - chance + x * y**value) ** size for value, size in zip(values.tolist(), sizes.tolist(), strict=True)
        ]
        by_y += np.prod(factors, axis=0) * np.exp(-2j * np.pi * turn * new)
    law = np.zeros(low + deep)
    law[low:] = np.roll(np.real(np.fft.fft(by_y)) / deep / np.real(by_y[0]), -(low % deep))
    law = np.where(law < ROUNDING, 0.0, law)
    return np.asarray(law / law.sum(), dtype=np.float64)


def _table(at: NDArray[np.int64], is_new: NDArray[np.bool_]) -> tuple[tuple[int, int], tuple[int, int]]:
    near = at > 0
    return (
        (int((near & is_new).sum()), int((near & ~is_new).sum())),
        (int((~near & is_new).sum()), int((~near & ~is_new).sum())),
    )


def _odds(table: tuple[tuple[int, int], tuple[int, int]]) -> tuple[float, float, float]:
    cells = np.array(table, dtype=float)
    if (cells.sum(axis=0) == 0).any() or (cells.sum(axis=1) == 0).any():
        return math.nan, math.nan, math.nan
    if (cells == 0).any():
        cells += 0.5
    ratio = cells[0, 0] * cells[1, 1] / (cells[0, 1] * cells[1, 0])
    half = float(ndtri(0.975)) * math.sqrt((1 / cells).sum())
    return float(ratio), float(ratio * math.exp(-half)), float(ratio * math.exp(half))


def _fisher(table: tuple[tuple[int, int], tuple[int, int]]) -> float:
    (a, b), (c, d) = table
    took = np.arange(a, min(a + b, a + c) + 1)
    logs = _log_choose(a + b, took) + _log_choose(c + d, a + c - took) - _log_choose(a + b + c + d, a + c)
    return min(1.0, float(np.exp(logs).sum()))


def _no_test(old: int, new: int, at: NDArray[np.int64], variance: float) -> str:
    if at.size == 0:
        return "no vine is at risk"
    if old == 0:
        return "there is no earlier case"
    if new == 0:
        return "there is no new case"
    if new == at.size:
        return "every vine at risk became a case"
    if variance <= 1e-12:
        return "every vine at risk has the same number of old neighbors"
    return ""


def near_old_orders(
    old: ArrayLike,
    new: ArrayLike,
    at_risk: ArrayLike,
    *,
    joins: tuple[str, ...] = ("row", "across"),
    orders: tuple[int, ...] = (1, 2, 3, 4, 5),
    strata: ArrayLike | None = None,
    rng: Rng = None,
) -> dict[tuple[str, int], tuple[NewNearOld, float]]:
    """Test new against earlier cases at several distances, along and across.

    Parameters
    ----------
    old, new, at_risk, strata, rng
        As in `new_near_old`.
    joins, orders
        Rules, and how many vines apart.

    Returns
    -------
    dict of (rule, order) to (test, p corrected for their number by Holm's rule)

    Raises
    ------
    ValueError
        As in `new_near_old`.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> old = [[0, 1, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 0, 1, 0]]
    >>> new = [[0, 0, 1, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 1, 0, 0]]
    >>> at_risk = [[1, 0, 1, 1, 1, 1, 1, 1], [1, 1, 1, 1, 1, 1, 0, 1]]
    >>> found = tw.stats.near_old_orders(old, new, at_risk, joins=("row",), orders=(1, 2))
    >>> for (rule, order), (test, corrected) in found.items():
    ...     print(rule, order, round(test.pvalue, 4), round(corrected, 4))
    row 1 0.0659 0.1319
    row 2 1.0 1.0
    """
    found = {
        (rule, order): new_near_old(old, new, at_risk, joins=rule, order=order, strata=strata, rng=rng)  # type: ignore[arg-type]
        for rule in joins
        for order in orders
    }
    corrected = holm({f"{rule} {order}": test.pvalue for (rule, order), test in found.items()})
    return {(rule, order): (test, corrected[f"{rule} {order}"]) for (rule, order), test in found.items()}


def shifted_near_old(
    old: ArrayLike, new: ArrayLike, at_risk: ArrayLike, *, joins: Joins = "queen", order: int = 1
) -> Shifted:
    """Test new against earlier cases by shifting the new pattern as a whole, on a torus.

    New cases that clump by themselves are near whatever lies there more often than single vines would be; shifts
    keep their clumps. Foci from the start still look like spread.

    Parameters
    ----------
    old, new, at_risk, joins, order
        As in `new_near_old`; one season, or (seasons, rows, stations) arrays of several, shifted together.

    Returns
    -------
    Shifted
        Mean number of old neighbors of the new cases, seen and over all shifts, and the p-value.

    Raises
    ------
    ValueError
        As in `new_near_old`.

    Examples
    --------
    >>> import trunkwatch as tw
    >>> old = [[0, 1, 0, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 0, 1, 0]]
    >>> new = [[0, 0, 1, 0, 0, 0, 0, 0], [0, 0, 0, 0, 0, 1, 0, 0]]
    >>> at_risk = [[1, 0, 1, 1, 1, 1, 1, 1], [1, 1, 1, 1, 1, 1, 0, 1]]
    >>> print(tw.stats.shifted_near_old(old, new, at_risk))
    mean 1, 0.643 over 14 shifts, p = 0.467
    """
    parts = [np.asarray(one, dtype=bool) for one in (old, new, at_risk)]
    parts = [one[None] if one.ndim == 2 else one for one in parts]
    for before, now, risk in zip(*parts, strict=True):
        _check(before, now, risk)
    fields = [_old_neighbours(before, risk, joins, order).astype(float) for before, _, risk in zip(*parts, strict=True)]
    return shifted_mean_of(list(parts[1]), list(parts[2]), fields)
